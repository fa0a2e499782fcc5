"""The confidence curve of one sample with its statement."""

from __future__ import annotations

import numpy as np

from brinemark.outputs.charts.frame import (
    BLUE,
    DASH,
    DOTS,
    FAINT,
    INK,
    QUIET,
    RUST,
    Spec,
    number,
    rows,
    shown_unit,
    titled,
)
from brinemark.outputs.charts.spans import Span, axis_for, span_layers, span_rows, stated_span
from brinemark.outputs.charts.words import wrapped
from brinemark.terms.amounts import ConfidenceCurve, Reading
from brinemark.terms.wording import film_words, statement_words

WIDTH, HEIGHT = 600, 230


def reading_chart(
    reading: Reading,
    sample: str,
    unit: str,
    analyte: str = "thiocyanate",
    critical_value: float | None = None,
    title: str | None = None,
) -> Spec:
    """Probability of a signal as low as the observed one, over the level, with the statement beneath.

    critical_value : [unit] of the sample (cell level times dilution), None when unknown; title : None = the statement.
    """
    title = title or f"{sample}: {statement_words(reading, unit, analyte)}"
    title = title.replace(unit, shown_unit(unit))
    if reading.curve is None:
        return _no_curve(reading, title)
    span = stated_span(reading)
    marks = [critical_value, *(reading.working_range or ())]
    if span is not None:
        marks += [span.lower, span.upper, span.median]
    if span is not None and span.upper is None and span.lower:
        marks.append(3.0 * span.lower)
    x = axis_for([mark for mark in marks if mark], float(reading.curve.level[-1]), unit)
    main = {"width": WIDTH, "height": HEIGHT, "layer": _curve_layers(reading, span, critical_value, x)}
    panels = [main] if span is None else [main, _span_panel(span, x)]
    body: Spec = {"vconcat": panels, "spacing": 4, "resolve": {"scale": {"x": "shared"}}}
    if span is not None:
        _bare(main)
    told = (
        f"{title}. Curve: probability of a signal at most as high as observed, against the level in {shown_unit(unit)}."
    )
    return titled(title, _subtitle(reading), told, body)


def _curve_layers(reading: Reading, span: Span | None, critical_value: float | None, x: Spec) -> list[Spec]:
    layers: list[Spec] = []
    if reading.working_range is not None:
        layers += _working_band(reading.working_range, x)
    if critical_value is not None and critical_value < x["scale"]["domain"][1]:
        layers += _critical_rule(critical_value, x)
    curve = reading.curve
    if curve is None:
        return layers
    ends = {} if span is None else _heights(curve, span)
    known = dict(zip(curve.level.tolist(), curve.probability.tolist(), strict=True)) | ends
    levels = sorted(known)
    table = rows(order=range(len(levels)), level=levels, probability=[known[level] for level in levels])
    line = {"type": "line", "color": BLUE, "strokeWidth": 2.4, "clip": True, "interpolate": "monotone"}
    place = {"x": x, "y": _probability("probability"), "order": {"field": "order"}}
    layers.append({"data": {"values": table}, "mark": line, "encoding": place})
    return layers + (_drops(ends, x) if ends else [])


def _heights(curve: ConfidenceCurve, span: Span) -> dict[float, float]:
    """Probability at each stated end above 0 and at the estimate.

    At an end it is the probability that defines the end, where that lies between the curve's two neighbouring points;
    else the curve's own. (The upper limit of a signal below a blank's median is defined by that median, and the
    estimate of several readings by their likelihood.)
    """
    tail = (1.0 - span.level) / span.sides
    heights = {}
    for end, target in ((span.median, None), (span.lower, 1.0 - tail), (span.upper, tail)):
        if end:
            after = min(int(np.searchsorted(curve.level, end)), curve.level.size - 1)
            high, low = curve.probability[max(after - 1, 0)], curve.probability[after]
            between = target is not None and low <= target <= high
            heights[end] = target if between else float(np.interp(end, curve.level, curve.probability))
    return {end: height for end, height in heights.items() if height is not None}


def _probability(field: str) -> Spec:
    return {
        "field": field,
        "type": "quantitative",
        "title": "probability of a signal at most as observed",
        "scale": {"domain": [0, 1]},
        "axis": {"values": [0, 0.25, 0.5, 0.75, 1], "format": ".2~f"},
    }


def _working_band(working: tuple[float, float], x: Spec) -> list[Spec]:
    top = x["scale"]["domain"][1]
    values = rows(level=[min(working[0], top)], to=[min(working[1], top)])
    label = {
        "type": "text",
        "align": "right",
        "baseline": "bottom",
        "dy": -5,
        "text": "working range",
        "color": QUIET,
    }
    return [
        {
            "data": {"values": values},
            "mark": {"type": "rect", "color": FAINT, "opacity": 0.75},
            "encoding": {"x": x, "x2": {"field": "to"}},
        },
        {"data": {"values": values}, "mark": label, "encoding": {"x": {**x, "field": "to"}, "y": {"value": 0}}},
    ]


def _critical_rule(critical_value: float, x: Spec) -> list[Spec]:
    values = rows(level=[float(critical_value)])
    label = {
        "type": "text",
        "align": "right",
        "baseline": "bottom",
        "dx": 2,
        "dy": -5,
        "text": "critical value",
        "color": RUST,
    }
    return [
        {
            "data": {"values": values},
            "mark": {"type": "rule", "color": RUST, "strokeDash": DOTS, "strokeWidth": 1.8},
            "encoding": {"x": x},
        },
        {"data": {"values": values}, "mark": label, "encoding": {"x": x, "y": {"value": 0}}},
    ]


def _drops(ends: dict[float, float], x: Spec) -> list[Spec]:
    """Lines from the curve down to each stated end, with the probability there."""
    values = rows(
        level=list(ends),
        height=list(ends.values()),
        zero=[0.0] * len(ends),
        text=[f"{height:.3f}".rstrip("0") for height in ends.values()],
    )
    rule = {"type": "rule", "color": INK, "strokeDash": DASH, "strokeWidth": 1}
    label = {"type": "text", "align": "left", "dx": 7, "dy": -7, "fontSize": 10.5, "color": INK}
    dot = {
        "type": "point",
        "filled": True,
        "fill": "white",
        "stroke": INK,
        "strokeWidth": 1.3,
        "size": 36,
        "opacity": 1,
    }
    place = {"x": x, "y": _probability("height")}
    return [
        {"data": {"values": values}, "mark": rule, "encoding": {**place, "y2": {"field": "zero"}}},
        {"data": {"values": values}, "mark": label, "encoding": {**place, "text": {"field": "text"}}},
        {"data": {"values": values}, "mark": dot, "encoding": place},
    ]


def _bare(panel: Spec) -> None:
    """Leave the labels of the level axis to the panel beneath."""
    for layer in panel["layer"]:
        layer["encoding"]["x"] = {**layer["encoding"]["x"]}
        layer["encoding"]["x"]["title"] = None
        layer["encoding"]["x"]["axis"] = {**layer["encoding"]["x"]["axis"], "labels": False, "ticks": False}


def _span_panel(span: Span, x: Spec) -> Spec:
    y: Spec = {"field": "sample", "type": "nominal", "axis": None}
    layers = span_layers(span_rows(span, x, ""), x, y)
    labels = []
    width = 0.0 if span.lower is None or span.upper is None else span.upper - span.lower
    for value, align, shift in ((span.lower, "right", -7), (span.upper, "left", 7), (span.median, "center", 0)):
        if value:
            text = {
                "type": "text",
                "align": align,
                "dx": shift,
                "dy": -13 if align == "center" else 0,
                "text": number(value, width=width),
                "fontWeight": 600,
            }
            labels.append(
                {
                    "data": {"values": [{"level": float(value), "sample": ""}]},
                    "mark": text,
                    "encoding": {"x": x, "y": y},
                }
            )
    return {"width": WIDTH, "height": 46, "layer": [*layers, *labels]}


def _subtitle(reading: Reading) -> list[str]:
    lines = []
    if reading.detection is not None:
        found = reading.detection
        # Simulations of several readings cannot tell smaller ones apart.
        p = f"{found.p_value:.2g}" if found.p_value >= 1e-3 else "at most 0.001"
        lines.append(
            f"A blank on these electrodes gives a signal this high with probability {p} (alpha {found.alpha:g})."
        )
    if reading.reason:
        lines.append(f"Why: {reading.reason}")
    return [
        *lines,
        *(f"Film: {film_words(film)}" for film in reading.films),
        *(f"Note: {one}" for one in reading.warnings),
    ]


def _no_curve(reading: Reading, title: str) -> Spec:
    reason = reading.reason or "no reason recorded"
    mark = {
        "type": "text",
        "align": "left",
        "baseline": "top",
        "fontSize": 13,
        "text": wrapped(reason, 90),
        "lineHeight": 18,
    }
    body: Spec = {
        "width": WIDTH,
        "height": 20 + 18 * len(wrapped(reason, 90)),
        "data": {"values": [{}]},
        "mark": mark,
        "encoding": {"x": {"value": 0}, "y": {"value": 4}},
    }
    return titled(title, list(reading.warnings), f"{title}. {reason}", body)
