"""Two methods on split samples: values against values, and limits where a method knows no more."""

from __future__ import annotations

import math

import numpy as np

from brinemark.outputs.charts.frame import BLUE, DASH, INK, QUIET, RUST, Spec, rows, shown_unit
from brinemark.outputs.charts.heading import headed
from brinemark.outputs.charts.levels import wide_axis
from brinemark.outputs.charts.marks import layers_by_mark, row
from brinemark.outputs.charts.words import listed, minus, shortened
from brinemark.terms.fish_pictures import PairedValue, PairsPicture, SplitPair
from brinemark.terms.wording import amount, opened

SQUARE = 380
ARROW = 9.0
"""From a limit to its arrow [pixels]."""
ROOM = 1.5
LINE_POINTS = 80


def method_pairs(picture: PairsPicture) -> Spec:
    """A mark for each sample, on two axes alike; a limit is an open mark with an arrow to where the value may lie.

    Raises ValueError when there is no pair.
    """
    if not picture.pairs:
        raise ValueError("a chart of pairs needs at least one")
    shown = [pair for pair in picture.pairs if place_of(pair.first) is not None and place_of(pair.second) is not None]
    scale = _scale(picture, shown)
    x = {**scale, "field": "first", "title": f"{shortened(picture.first, 60)}, {shown_unit(picture.unit)}"}
    y = {**scale, "field": "second", "title": f"{shortened(picture.second, 60)}, {shown_unit(picture.unit)}"}
    layers = [*_lines(picture, x, y), *_bars(shown, x, y), *_marks(shown, x, y)]
    body: Spec = {"width": SQUARE, "height": SQUARE, "layer": layers}
    noun = "sample" if len(picture.pairs) == 1 else "samples"
    title = f"{opened(picture.second)} against {picture.first}: {len(picture.pairs)} split {noun}"
    return headed(title, _subtitle(picture), _told(picture, title), body)


def place_of(one: PairedValue) -> float | None:
    """Where its mark stands: at the value, else at the limit; None when neither is known."""
    return next((value for value in (one.value, one.upper, one.lower) if value is not None), None)


def _scale(picture: PairsPicture, shown: list[SplitPair]) -> Spec:
    known: list[float] = []
    for pair in shown:
        for one in (pair.first, pair.second):
            known += [value for value in (one.value, one.lower, one.upper) if value is not None]
    known = [value for value in known if math.isfinite(value)]
    above = [value for value in known if value > 0.0]
    highest = max(above, default=1.0)
    scale = wide_axis(ROOM * highest, min(min(above, default=highest), highest / 10.0), picture.unit, 7)
    lowest = min(known, default=0.0)
    if lowest < 0.0:
        scale["scale"]["domain"][0] = row(low=1.1 * lowest)["low"]
    return scale


def _lines(picture: PairsPicture, x: Spec, y: Spec) -> list[Spec]:
    low, high = x["scale"]["domain"]
    same = [{"order": k, "first": end, "second": end} for k, end in enumerate((low, high))]
    mark: Spec = {"type": "line", "color": QUIET, "strokeWidth": 1.2, "clip": True}
    place: Spec = {"x": x, "y": y, "order": {"field": "order"}}
    layers: list[Spec] = [{"data": {"values": same}, "mark": mark, "encoding": place}]
    if picture.line is not None:
        constant = x["scale"]["constant"]
        # Even steps on the axis: it shows sign(v) ln(1 + |v| / constant).
        start, stop = (math.copysign(math.log1p(abs(end) / constant), end) for end in (low, high))
        shown = np.linspace(start, stop, LINE_POINTS)
        at = np.sign(shown) * constant * np.expm1(np.abs(shown))
        fitted = rows(order=range(at.size), first=at, second=picture.line.intercept + picture.line.slope * at)
        dashed = {**mark, "color": RUST, "strokeDash": DASH, "strokeWidth": 1.8}
        layers.append({"data": {"values": fitted}, "mark": dashed, "encoding": place})
    return layers


def _bars(shown: list[SplitPair], x: Spec, y: Spec) -> list[Spec]:
    """Intervals of the values that are known; an end that is open is at the edge."""
    table: list[Spec] = []
    low, high = x["scale"]["domain"]
    for pair in shown:
        place = {"first": place_of(pair.first), "second": place_of(pair.second)}
        for one, field in ((pair.first, "first"), (pair.second, "second")):
            if one.value is not None and (one.lower is not None or one.upper is not None):
                start = low if one.lower is None else max(one.lower, low)
                stop = high if one.upper is None else min(one.upper, high)
                table.append({**row(**{**place, field: start, "to": stop}), "mark": field})
    rule: Spec = {"type": "rule", "color": BLUE, "strokeWidth": 1.1}
    ends: Spec = {"first": {"x2": {"field": "to"}}, "second": {"y2": {"field": "to"}}}
    return layers_by_mark(table, [(field, rule, {"x": x, "y": y, **end}) for field, end in ends.items()])


def _marks(shown: list[SplitPair], x: Spec, y: Spec) -> list[Spec]:
    table: list[Spec] = []
    for pair in shown:
        limited = pair.first.value is None or pair.second.value is None
        at = row(first=place_of(pair.first), second=place_of(pair.second))
        table.append({**at, "sample": pair.sample, "mark": "limit" if limited else "value"})
        for one, names in ((pair.first, ("left", "right")), (pair.second, ("down", "up"))):
            if one.value is None:
                table.append({**at, "sample": pair.sample, "mark": names[0] if one.upper is not None else names[1]})
    point: Spec = {"type": "point", "filled": True, "stroke": BLUE, "strokeWidth": 1.5, "size": 46, "opacity": 1}
    arrow: Spec = {"type": "point", "filled": True, "color": INK, "size": 55, "opacity": 1}
    looks: dict[str, Spec] = {
        "left": {**arrow, "shape": "triangle-left", "xOffset": -ARROW},
        "right": {**arrow, "shape": "triangle-right", "xOffset": ARROW},
        "down": {**arrow, "shape": "triangle-down", "yOffset": ARROW},
        "up": {**arrow, "shape": "triangle-up", "yOffset": -ARROW},
        "limit": {**point, "fill": "white"},
        "value": {**point, "fill": BLUE},
    }
    place: Spec = {"x": x, "y": y, "tooltip": {"field": "sample"}}
    return layers_by_mark(table, [(name, look, place) for name, look in looks.items()])


def _subtitle(picture: PairsPicture) -> list[str]:
    lines = [
        "Filled circle: both measured, with intervals. Open circle: at least one method knows only a limit, and the "
        "arrow points to where its value may lie. Line: the two are equal."
    ]
    if picture.line is not None:
        slope, shift = picture.line.slope_interval, picture.line.intercept_interval
        fitted = (
            f"Dashed: fitted line, slope {picture.line.slope:.3g} ({slope.lower:.3g} to {slope.upper:.3g}), intercept "
            f"{picture.line.intercept:.3g} ({shift.lower:.3g} to {shift.upper:.3g}) {shown_unit(picture.unit)}."
        )
        lines.append(minus(fitted))
    hidden = [p.sample for p in picture.pairs if place_of(p.first) is None or place_of(p.second) is None]
    if hidden:
        lines.append(f"Not drawn, nothing known by one of the methods: {listed(hidden, 6)}.")
    return [*lines, *picture.notes]


def _told(picture: PairsPicture, title: str) -> str:
    said = [f"{one.sample}: {_words(one.first)} and {_words(one.second)}" for one in picture.pairs]
    unit = shown_unit(picture.unit)
    return " ".join([f"{title}, {picture.first} first, in {unit}: {'; '.join(said)}.", *_subtitle(picture)[1:]])


def _words(one: PairedValue) -> str:
    if one.value is not None:
        return amount(one.value)
    if one.upper is not None:
        return f"less than {amount(one.upper)}"
    return "nothing known" if one.lower is None else f"at or above {amount(one.lower)}"
