"""Many statements on one level axis."""

from __future__ import annotations

import math
from collections.abc import Sequence

from brinemark.outputs.charts.frame import INK, QUIET, Spec, shown_unit, titled
from brinemark.outputs.charts.spans import axis_for, span_layers, span_rows, stated_span
from brinemark.outputs.charts.words import wrapped
from brinemark.terms.amounts import Reading
from brinemark.terms.wording import opened, statement_words

STRIP_WIDTH = 420


def statement_strip(
    readings: Sequence[tuple[str, Reading]], unit: str, analyte: str = "thiocyanate", title: str | None = None
) -> Spec:
    """All samples, in the order given, on one level axis; open ends are arrows, "cannot say" is words.

    Raises ValueError when there is no reading.
    """
    if not readings:
        raise ValueError("a strip of statements needs at least one reading")
    spans = [(sample, reading, stated_span(reading)) for sample, reading in readings]
    ends = [value for _, _, span in spans if span for value in (span.lower, span.upper, span.median) if value]
    ends += [value for _, reading in readings for value in (reading.working_range or ())]
    x = axis_for(ends or [1.0], math.inf, unit)
    samples = [sample for sample, _ in readings]
    y: Spec = {
        "field": "sample",
        "type": "nominal",
        "sort": samples,
        "title": None,
        "axis": {"grid": False, "ticks": False, "domain": False, "labelPadding": 8, "labelFontWeight": 600},
    }
    table = [row for sample, _, span in spans if span for row in span_rows(span, x, sample)]
    body: Spec = {
        "width": STRIP_WIDTH,
        "height": {"step": 26},
        "layer": [*_working_bars(readings, x, y), *span_layers(table, x, y), *_word_layers(readings, x, y, unit)],
    }
    subtitle = [
        "Bar: what is stated; end mark: a stated end; arrow: open on that side.",
        "Filled circle: quantified; open circle: detected, amount uncertain. Pale bar: working range.",
    ]
    heading = title or f"{opened(analyte)} in {len(samples)} samples"
    sentences = [f"{sample}: {statement_words(r, shown_unit(unit), analyte)}." for sample, r in readings]
    told = " ".join([f"{heading}.", *sentences])
    return titled(heading, subtitle, told, body)


def _working_bars(readings: Sequence[tuple[str, Reading]], x: Spec, y: Spec) -> list[Spec]:
    ranges = [(sample, r.working_range) for sample, r in readings if r.working_range is not None]
    if not ranges:
        return []
    values = [{"sample": sample, "level": low, "to": high} for sample, (low, high) in ranges]
    bar = {"type": "bar", "color": "#ececec", "height": 18, "clip": True}
    return [{"data": {"values": values}, "mark": bar, "encoding": {"x": x, "x2": {"field": "to"}, "y": y}}]


def _word_layers(readings: Sequence[tuple[str, Reading]], x: Spec, y: Spec, unit: str) -> list[Spec]:
    said = [{"sample": sample, "text": _short(reading, unit)} for sample, reading in readings]
    why = [
        {"sample": sample, "text": _two_lines(reading.reason or "no reason recorded")}
        for sample, reading in readings
        if stated_span(reading) is None
    ]
    text = {"field": "text", "type": "nominal"}
    beside = {"type": "text", "align": "left", "color": INK}
    inside = {
        "type": "text",
        "align": "left",
        "fontStyle": "italic",
        "color": QUIET,
        "limit": STRIP_WIDTH - 16,
        "lineBreak": "\n",
        "fontSize": 10,
        "lineHeight": 11.5,
        "dy": {"expr": "indexof(datum.text, '\\n') < 0 ? 0 : -5.5"},
    }
    return [
        {
            "data": {"values": said},
            "mark": beside,
            "encoding": {"x": {"value": STRIP_WIDTH + 16}, "y": y, "text": text},
        },
        {"data": {"values": why}, "mark": inside, "encoding": {"x": {"value": 8}, "y": y, "text": text}},
    ]


def _two_lines(text: str) -> str:
    lines = wrapped(text, 82)
    return "\n".join(lines[:2]) + (" ..." if len(lines) > 2 else "")


def _short(reading: Reading, unit: str) -> str:
    return statement_words(reading, shown_unit(unit), "").strip()
