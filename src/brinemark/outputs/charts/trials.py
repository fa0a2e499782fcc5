"""How weights did on fish of known history: true and false calls, and whether ratios mean what they say."""

from __future__ import annotations

import math

from brinemark.outputs.charts.frame import BLUE, DASH, INK, QUIET, RUST, Spec, rows
from brinemark.outputs.charts.heading import headed
from brinemark.outputs.charts.marks import layers_by_mark, row
from brinemark.outputs.charts.words import minus, numbered
from brinemark.terms.evidence import Rate, RatioBin, TrialResult

SQUARE = 340
WIDTH, STEP, BESIDE = 430, 28, 14
REACH, LEAST_REACH = 6.0, 1.5
"""Half width of the axis of log10 ratios, at most and at least."""


def roc_chart(trial: TrialResult) -> Spec:
    """Share of the exposed called exposed against that of the unexposed, with the threshold in use and its limits."""
    x, y = _share("false", "unexposed fish called exposed, share"), _share("true", "exposed fish called exposed, share")
    order: Spec = {"order": {"field": "order"}}
    curve = rows(order=range(trial.roc.threshold.size), false=trial.roc.false_positive, true=trial.roc.true_positive)
    line: Spec = {"type": "line", "color": BLUE, "strokeWidth": 2.4, "strokeJoin": "round"}
    even: Spec = {"type": "line", "color": QUIET, "strokeDash": DASH, "strokeWidth": 1.2}
    diagonal = [{"order": k, "false": k, "true": k} for k in (0, 1)]
    layers: list[Spec] = [
        {"data": {"values": diagonal}, "mark": even, "encoding": {"x": x, "y": y, **order}},
        {"data": {"values": curve}, "mark": line, "encoding": {"x": x, "y": y, **order}},
        *_operating(trial, x, y),
    ]
    body: Spec = {"width": SQUARE, "height": SQUARE, "layer": layers}
    title = f"Calls on fish of known history: {trial.population}"
    subtitle = [
        f"{trial.exposed} exposed, {trial.unexposed} unexposed. Area under the line {trial.roc.area:.3f}; "
        "0.5 (dashed) is no better than chance.",
        f"Square: exposed is called from a log10 ratio of {minus(f'{trial.threshold:.2f}')} up.",
        f"It calls exposed: of the exposed {_rate(trial.sensitivity)}; of the unexposed {_rate(_complement(trial))}.",
    ]
    return headed(title, subtitle, " ".join([f"{title}.", *subtitle]), body)


def ratio_calibration(trial: TrialResult) -> Spec:
    """A row for each bin of ratios: its own range beneath what was counted in it, with exact limits.

    Raises ValueError when there is no bin.
    """
    if not trial.bins:
        raise ValueError("a chart of ratios needs at least one bin")
    ends = _ends(trial.bins)
    names = [_name(one) for one in trial.bins]
    x = _log_ratio(ends)
    y: Spec = {"field": "bin", "type": "nominal", "scale": {"domain": list(range(len(names)))}}
    y |= {"title": "log10 ratio as worked out", "axis": {"labelExpr": numbered(names)}}
    y["axis"] |= {"ticks": False, "domain": False, "labelPadding": 8}
    table = [{**part, "bin": place} for place, one in enumerate(trial.bins) for part in _bin_rows(one, ends)]
    beside = [{"bin": place, "text": _fish(one)} for place, one in enumerate(trial.bins)]
    words: Spec = {"type": "text", "align": "left", "fontSize": 10.5, "color": INK}
    text: Spec = {"field": "text", "type": "nominal"}
    layers = _bin_layers(table, x, y)
    layers.append(
        {"data": {"values": beside}, "mark": words, "encoding": {"x": {"value": WIDTH + BESIDE}, "y": y, "text": text}}
    )
    body: Spec = {"width": WIDTH, "height": {"step": STEP}, "layer": layers}
    title = f"Do the ratios mean what they say? {trial.population}"
    subtitle = [
        "Pale bar: range of the ratios in a row. Mark and line: log10 of the share of the exposed fish in that row "
        "over the share of the unexposed, with exact 95 % limits; arrow: without end, or beyond the axis.",
        "Circle: the limits meet the range; square: they do not.",
        f"Cost {trial.cost:.3f} bit, of which {trial.least_cost:.3f} would be left after the best recalibration (0 is "
        "perfect, 1 useless).",
    ]
    told = " ".join([f"{title}.", *(_bin_words(one) for one in trial.bins), subtitle[2]])
    return headed(title, subtitle, told, body)


def _share(field: str, title: str) -> Spec:
    axis = {"values": [0, 0.2, 0.4, 0.6, 0.8, 1], "format": ".1~f"}
    return {"field": field, "type": "quantitative", "title": title, "scale": {"domain": [0, 1]}, "axis": axis}


def _complement(trial: TrialResult) -> Rate:
    """How many of the unexposed are called exposed."""
    one = trial.specificity
    value = None if one.value is None else 1.0 - one.value
    return Rate(one.of - one.count, one.of, value, 1.0 - one.upper, 1.0 - one.lower, one.level, one.sides)


def _rate(rate: Rate) -> str:
    if rate.value is None:
        return "none tried"
    sides = "" if rate.sides == 2 else ", each one-sided"
    return f"{rate.count} of {rate.of} ({100 * rate.level:g} % {rate.lower:.3f} to {rate.upper:.3f}{sides})"


def _operating(trial: TrialResult, x: Spec, y: Spec) -> list[Spec]:
    false, true = _complement(trial), trial.sensitivity
    if false.value is None or true.value is None:
        return []
    at = rows(false=[false.value], true=[true.value])
    across = rows(false=[false.lower], to=[false.upper], true=[true.value])
    upright = rows(false=[false.value], true=[true.lower], to=[true.upper])
    rule: Spec = {"type": "rule", "color": INK, "strokeWidth": 1.6}
    mark: Spec = {"type": "point", "shape": "square", "filled": True, "fill": "white", "stroke": INK, "size": 80}
    mark |= {"strokeWidth": 2, "opacity": 1}
    return [
        {"data": {"values": across}, "mark": rule, "encoding": {"x": x, "x2": {"field": "to"}, "y": y}},
        {"data": {"values": upright}, "mark": rule, "encoding": {"x": x, "y": y, "y2": {"field": "to"}}},
        {"data": {"values": at}, "mark": mark, "encoding": {"x": x, "y": y}},
    ]


def _ends(bins: tuple[RatioBin, ...]) -> tuple[float, float]:
    values = [v for one in bins for v in (one.low, one.high, one.log10_observed, one.log10_lower, one.log10_upper)]
    known = [value for value in values if math.isfinite(value)] or [0.0]
    return max(min(min(known) - 0.3, -LEAST_REACH), -REACH), min(max(max(known) + 0.3, LEAST_REACH), REACH)


def _log_ratio(ends: tuple[float, float]) -> Spec:
    return {
        "field": "ratio",
        "type": "quantitative",
        "title": "log10 ratio as counted",
        "scale": {"domain": [round(end, 3) for end in ends], "nice": False, "zero": False},
        "axis": {"tickCount": 8, "format": "~g", "labelFlush": False},
    }


def _name(one: RatioBin) -> str:
    low, high = (minus(f"{value:g}") for value in (one.low, one.high))
    if math.isinf(one.low):
        return f"below {high}"
    return f"{low} and more" if math.isinf(one.high) else f"{low} to {high}"


def _fish(one: RatioBin) -> str:
    return f"{one.exposed} exposed, {one.unexposed} unexposed"


def _bin_rows(one: RatioBin, ends: tuple[float, float]) -> list[Spec]:
    low, high = ends

    def within(value: float) -> float:
        return min(max(value, low), high)

    table: list[Spec] = [{"mark": "range", "ratio": within(one.low), "to": within(one.high)}]
    if one.exposed + one.unexposed == 0:
        return table
    table.append({"mark": "limits", "ratio": within(one.log10_lower), "to": within(one.log10_upper)})
    table += [{"mark": "arrow left", "ratio": low}] if one.log10_lower < low else []
    table += [{"mark": "arrow right", "ratio": high}] if one.log10_upper > high else []
    if low <= one.log10_observed <= high:
        table.append({"mark": "agrees" if one.agrees else "differs", "ratio": one.log10_observed})
    elif not one.agrees:
        table.append({"mark": "differs", "ratio": within(one.log10_observed)})
    return [row(**one) for one in table]


def _bin_layers(table: list[Spec], x: Spec, y: Spec) -> list[Spec]:
    place: Spec = {"x": x, "y": y}
    ranged: Spec = {**place, "x2": {"field": "to"}}
    point: Spec = {"type": "point", "filled": True, "size": 75, "opacity": 1}
    wanted: list[tuple[str, Spec, Spec]] = [
        ("range", {"type": "bar", "color": "#dcdcdc", "height": 20}, ranged),
        ("limits", {"type": "rule", "color": BLUE, "strokeWidth": 2}, ranged),
        ("arrow left", {**point, "color": BLUE, "shape": "triangle-left"}, place),
        ("arrow right", {**point, "color": BLUE, "shape": "triangle-right"}, place),
        ("agrees", {**point, "color": BLUE, "shape": "circle"}, place),
        ("differs", {**point, "color": RUST, "shape": "square", "size": 95}, place),
    ]
    layers: list[Spec] = [
        {
            "data": {"values": [{"ratio": 0.0}]},
            "mark": {"type": "rule", "color": QUIET, "strokeDash": DASH},
            "encoding": {"x": x},
        }
    ]
    return [*layers, *layers_by_mark(table, wanted)]


def _bin_words(one: RatioBin) -> str:
    if one.exposed + one.unexposed == 0:
        return f"{_name(one)}: no fish."
    ends = ("without end" if math.isinf(v) else minus(f"{v:.2f}") for v in (one.log10_lower, one.log10_upper))
    observed = "without end" if math.isinf(one.log10_observed) else minus(f"{one.log10_observed:.2f}")
    verdict = "agrees" if one.agrees else "does not agree"
    return f"{_name(one)}: {_fish(one)}, log10 {observed} ({' to '.join(ends)}), {verdict}."
