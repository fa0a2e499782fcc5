"""Statements as upright marks against time: ends that are stated, arrows on open sides, and marks without a level."""

from __future__ import annotations

from collections.abc import Sequence

from brinemark.outputs.charts.frame import BLUE, INK, QUIET, Spec, level_axis, level_ticks, shown_unit
from brinemark.outputs.charts.spans import Span, stated_span
from brinemark.terms.amounts import Reading
from brinemark.terms.fish_pictures import SAMPLE, SOURCE_WATER, StatedLevel
from brinemark.terms.wording import statement_words

OTHER = "other blank"
NOT_READ, CANNOT_SAY = "not read", "cannot say"
LOOKS: dict[str, tuple[str, str, float, list[float]]] = {
    SAMPLE: ("circle", BLUE, 3.0, [1, 0]),
    SOURCE_WATER: ("square", INK, 1.2, [1, 0]),
    OTHER: ("diamond", QUIET, 1.8, [2, 2]),
}
"""Shape, colour, weight and dash of each kind of water; they differ without the colour."""
WIDEST = 5
STATED_BY = 1.7
"""Room above the highest lower limit, so that its arrow is seen to rise [times]."""


def stated_level(reading: Reading, unit: str, analyte: str = "thiocyanate") -> StatedLevel:
    """What a reading states, for the charts of tanks; unit : the level unit."""
    words = statement_words(reading, shown_unit(unit), analyte)
    span = stated_span(reading)
    if span is None:
        return StatedLevel(reading.statement, words, reason=reading.reason or "no reason recorded")
    return StatedLevel(reading.statement, words, span.lower, span.upper, span.median)


def as_lower_limit(stated: StatedLevel, why: str) -> StatedLevel:
    """A statement of which only the lower end stands, such as of water that was kept too long. why : in words."""
    words = f"{stated.words}; a lower limit only: {why}"
    if not stated.lower:
        return StatedLevel(CANNOT_SAY, words, reason=stated.reason or why)
    return StatedLevel("at or above", words, stated.lower)


def span_of(stated: StatedLevel) -> Span | None:
    """The stated ends, None for "cannot say"."""
    ends = (stated.lower, stated.upper, stated.median)
    if stated.statement == CANNOT_SAY or ends == (None, None, None):
        return None
    sides = 1 if stated.median is None else 2
    return Span(*ends, sides, 0.95, stated.statement == "quantified")


def wide_axis(top: float, smallest: float, unit: str, ticks: int = 8) -> Spec:
    """A level axis that shows 0 and up to WIDEST decades, for levels beside what a world expects."""
    scale = level_axis(top, smallest, unit)
    constant = float(f"{max(min(smallest, top / 3.0), top / 10.0**WIDEST):.3g}")
    scale["scale"]["constant"] = constant
    scale["axis"]["values"] = level_ticks(top, constant, ticks)
    return scale


def ends_of(stated: Sequence[StatedLevel | None]) -> list[float]:
    """Every level above 0 that one of them states, and room for the arrow of a lower limit."""
    spans = [span for one in stated if one is not None and (span := span_of(one)) is not None]
    ends = [value for span in spans for value in (span.lower, span.upper, span.median) if value]
    return ends + [STATED_BY * span.lower for span in spans if span.lower and span.upper is None]


def kind_of(what: str) -> str:
    """The kind of water that its mark shows."""
    return what if what in LOOKS else OTHER


def upright_rows(stated: StatedLevel | None, at: float, top: float, more: Spec) -> list[Spec]:
    """One row a mark of a statement at `at` [ms]; more : further columns, such as kind and name."""
    if stated is None:
        return [{"mark": NOT_READ, "at": at, **more}]
    span = span_of(stated)
    if span is None:
        return [{"mark": CANNOT_SAY, "at": at, "reason": stated.reason or "", **more}]
    low, high = span.lower or 0.0, top if span.upper is None else span.upper
    table: list[Spec] = [{"mark": "bar", "level": low, "to": high}]
    for value, arrow, edge in ((span.lower, "arrow down", 0.0), (span.upper, "arrow up", top)):
        table.append({"mark": arrow, "level": edge} if value is None else {"mark": "end", "level": value})
    if span.median is not None:
        table.append({"mark": "median" if span.firm else "open median", "level": span.median})
    return [{**row, "at": at, "words": stated.words, **more} for row in table]


def upright_layers(table: list[Spec], x: Spec, y: Spec, height: float) -> list[Spec]:
    """Layers that draw the rows of upright_rows, each kind of water in its own look."""
    kinds = [kind for kind in LOOKS if any(row["kind"] == kind for row in table)]
    return [layer for kind in kinds for layer in _kind_layers(kind, table, x, y, height)]


def _kind_layers(kind: str, table: list[Spec], x: Spec, y: Spec, height: float) -> list[Spec]:
    shape, color, weight, dash = LOOKS[kind]
    place: Spec = {"x": x, "y": y}
    low: Spec = {"x": x, "y": {"value": height}}
    point: Spec = {"type": "point", "color": color, "opacity": 1}
    arrow: Spec = {**point, "filled": True, "size": 70}
    middle: Spec = {**point, "filled": True, "shape": shape, "stroke": color, "strokeWidth": 1.8, "size": 58}
    thick: Spec = {"thickness": 2, "opacity": 1}
    end: Spec = {"type": "tick", "orient": "horizontal", "color": color, "size": 11, **thick}
    rule: Spec = {"type": "rule", "color": color, "strokeWidth": weight, "strokeDash": dash}
    wanted: list[tuple[str, Spec, Spec]] = [
        ("bar", rule, {**place, "y2": {"field": "to"}}),
        ("end", end, place),
        ("arrow up", {**arrow, "shape": "triangle-up"}, place),
        ("arrow down", {**arrow, "shape": "triangle-down"}, place),
        ("median", {**middle, "fill": color}, place),
        ("open median", {**middle, "fill": "white"}, place),
        (CANNOT_SAY, {**point, "shape": "cross", "fill": "white", "strokeWidth": 1.4, "size": 90}, low),
        (NOT_READ, {"type": "tick", "orient": "vertical", "color": color, "size": 12, **thick}, low),
    ]
    layers = []
    for name, mark, encoding in wanted:
        mine = [row for row in table if row["mark"] == name and row["kind"] == kind]
        if mine:
            tip = {"field": "reason" if name == CANNOT_SAY else "words" if "words" in mine[0] else "name"}
            layers.append({"data": {"values": mine}, "mark": mark, "encoding": {**encoding, "tooltip": tip}})
    return layers
