"""What a statement says on a level axis, and the marks that show it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from brinemark.outputs.charts.frame import BLUE, Spec, level_axis
from brinemark.terms.amounts import Reading


@dataclass(frozen=True, slots=True)
class Span:
    """What a statement says on the level axis: ends that are stated; None = open on that side.

    firm : the amount itself is stated (quantified).
    """

    lower: float | None
    upper: float | None
    median: float | None
    sides: int
    level: float
    firm: bool = False


def stated_span(reading: Reading) -> Span | None:
    """The stated ends of a reading, None for "cannot say"."""
    if reading.statement == "not detected" and reading.upper_limit is not None:
        return Span(None, reading.upper_limit.value, None, 1, reading.upper_limit.level)
    if reading.statement == "at or above" and reading.lower_limit is not None:
        return Span(reading.lower_limit.value, None, None, 1, reading.lower_limit.level)
    estimate = reading.estimate
    if estimate is None or reading.statement == "cannot say":
        return None
    firm = reading.statement == "quantified"
    return Span(estimate.lower, estimate.upper, estimate.median, estimate.sides, estimate.level, firm)


def axis_for(marks: Sequence[float], limit: float, unit: str) -> Spec:
    """A level axis that holds all marks with room to the right, but ends at limit."""
    highest, lowest = max(marks, default=limit), min(marks, default=limit / 100.0)
    return level_axis(min(highest * 3.0, limit), lowest / 2.0, unit)


def span_rows(span: Span, x: Spec, sample: str) -> list[Spec]:
    """One row a mark: the bar, its stated ends, arrows on open sides, and the median."""
    top = x["scale"]["domain"][1]
    low = 0.0 if span.lower is None else span.lower
    high = top if span.upper is None else min(span.upper, top)
    table: list[Spec] = [{"mark": "bar", "sample": sample, "level": low, "to": high}]
    for value, arrow, edge in ((span.lower, "arrow down", 0.0), (span.upper, "arrow up", top)):
        stated = value is not None
        table.append({"mark": "end" if stated else arrow, "sample": sample, "level": value if stated else edge})
    if span.median is not None and span.sides == 2:
        table.append({"mark": "median" if span.firm else "open median", "sample": sample, "level": span.median})
    return table


def span_layers(table: list[Spec], x: Spec, y: Spec) -> list[Spec]:
    """Layers that draw the rows of span_rows: each mark has its own shape, so that grey print keeps the meaning."""
    place = {"x": x, "y": y}
    arrow = {"type": "point", "filled": True, "color": BLUE, "size": 95, "opacity": 1}
    end = {"type": "tick", "orient": "vertical", "color": BLUE, "size": 15, "thickness": 2.4, "opacity": 1}
    median: Spec = {
        "type": "point",
        "filled": True,
        "fill": BLUE,
        "stroke": BLUE,
        "strokeWidth": 2,
        "size": 62,
        "opacity": 1,
    }
    layers: list[Spec] = [
        {
            "transform": _marked("bar"),
            "mark": {"type": "rule", "color": BLUE, "strokeWidth": 3},
            "encoding": {**place, "x2": {"field": "to"}},
        },
        {"transform": _marked("end"), "mark": end, "encoding": place},
        {"transform": _marked("arrow up"), "mark": {**arrow, "shape": "triangle-right"}, "encoding": place},
        {"transform": _marked("arrow down"), "mark": {**arrow, "shape": "triangle-left"}, "encoding": place},
        {"transform": _marked("median"), "mark": median, "encoding": place},
        {"transform": _marked("open median"), "mark": {**median, "fill": "white"}, "encoding": place},
    ]
    return [{"data": {"values": table}, **layer} for layer in layers]


def _marked(name: str) -> list[Spec]:
    return [{"filter": {"field": "mark", "equal": name}}]
