"""Doses and days since exposure that agree with the readings, one map for each world."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from brinemark.outputs.charts.frame import DASH, INK, RUST, Spec, number, rows
from brinemark.outputs.charts.heading import headed
from brinemark.outputs.charts.marks import head, rimmed
from brinemark.outputs.charts.words import listed
from brinemark.terms.arrays import BoolArray, FloatArray, IntArray
from brinemark.terms.fish_pictures import ExposurePanel, ExposuresPicture

WIDTH, GAP, HEIGHT = 600, 18, 270
STEPS: tuple[tuple[float, str, str], ...] = (
    (1.0, "#8c8c8c", "dark up to 1"),
    (3.0, "#b5b5b5", "middle 1 to 3"),
    (10.0, "#dcdcdc", "pale 3 to 10"),
    (math.inf, "#ffffff", "white more, or impossible"),
)
"""How far a log likelihood lies under the highest of its world, its grey and its words."""
LINES: tuple[Sequence[float], ...] = (DASH, [1.5, 3], [9, 3, 2, 3])
"""Dashes of the doses to compare with."""


def exposures_map(picture: ExposuresPicture) -> Spec:
    """Greys: how well a pair agrees, against the best of its world; heavy line: the border of the region.

    Raises ValueError without worlds, or when a map does not fit its axes.
    """
    shape = (picture.dose.size, picture.day.size)
    if not picture.panels:
        raise ValueError("a map of exposures needs at least one world")
    if any(part.shape != shape for one in picture.panels for part in (one.log_likelihood, one.inside)):
        raise ValueError(f"a map of exposures needs {shape[0]} doses times {shape[1]} days in every world")
    wide = (WIDTH - GAP * (len(picture.panels) - 1)) / len(picture.panels)
    panels = [_panel(picture, one, wide, place == 0) for place, one in enumerate(picture.panels)]
    body: Spec = {"hconcat": panels, "spacing": GAP, "resolve": {"scale": {"x": "independent", "y": "independent"}}}
    return headed(picture.title, _subtitle(picture), _told(picture), body)


def steps_of(log_likelihood: FloatArray) -> IntArray:
    """Which of STEPS each pair belongs to; impossible ones to the last."""
    best = np.max(log_likelihood, initial=-np.inf, where=np.isfinite(log_likelihood))
    with np.errstate(invalid="ignore"):
        below = np.where(np.isfinite(log_likelihood), best - log_likelihood, np.inf)
    return np.asarray(np.searchsorted([step for step, _, _ in STEPS[:-1]], below, side="left"))


def _panel(picture: ExposuresPicture, one: ExposurePanel, wide: float, first: bool) -> Spec:
    days, doses = _edges(picture.day), np.exp(_edges(np.log(picture.dose)))
    x, y = _days(days, wide), _doses(doses, first)
    layers: list[Spec] = []
    for step, (_, color, _) in enumerate(STEPS[:-1]):
        cells = _runs(steps_of(one.log_likelihood) == step, days, doses)
        # A rim of the same grey closes the hair lines between cells.
        mark: Spec = {"type": "rect", "color": color, "stroke": color, "strokeWidth": 0.6, "clip": True}
        place: Spec = {"x": {**x, "field": "day"}, "x2": {"field": "day_to"}, "y2": {"field": "dose_to"}, "y": y}
        layers += [{"data": {"values": cells}, "mark": mark, "encoding": place}] if cells else []
    border = _border(one.inside, days, doses)
    line: Spec = {"type": "rule", "color": INK, "strokeWidth": 2.2, "strokeCap": "square", "clip": True}
    ends: Spec = {"x": {**x, "field": "day"}, "x2": {"field": "day_to"}, "y": y, "y2": {"field": "dose_to"}}
    layers += [{"data": {"values": border}, "mark": line, "encoding": ends}] if border else []
    layers += _lethal(picture, y, doses)
    layers += [] if np.any(one.inside) else [_nothing(wide)]
    corner = {"values": [{"day": float(days[0]), "dose": float(doses[0])}]}
    layers.append({"data": corner, "mark": {"type": "point", "opacity": 0}, "encoding": {"x": x, "y": y}})
    return {"title": head(f"world: {one.world}"), "width": wide, "height": HEIGHT, "layer": layers}


def _days(edges: FloatArray, wide: float) -> Spec:
    return {
        "field": "day",
        "type": "quantitative",
        "title": "days from exposure to sample, d",
        "scale": {"domain": [float(edges[0]), float(edges[-1])], "nice": False, "zero": False},
        "axis": {"tickCount": max(int(wide / 60), 3), "format": ".6~g", "grid": False},
    }


def _doses(edges: FloatArray, first: bool) -> Spec:
    low, high = math.log10(float(edges[0])), math.log10(float(edges[-1]))
    steps = (1, 3) if high - low < 3.5 else (1,)
    ticks = [float(f"{s}e{power}") for power in range(math.floor(low), math.ceil(high) + 1) for s in steps]
    y: Spec = {
        "field": "dose",
        "type": "quantitative",
        "title": "absorbed dose, mg CN per kg fish" if first else None,
        "scale": {"type": "log", "domain": [float(f"{e:.6g}") for e in (edges[0], edges[-1])], "nice": False},
        "axis": {
            "values": [tick for tick in ticks if edges[0] <= tick <= edges[-1]],
            "format": "~g",
            "grid": False,
            "labelFlush": True,
        },
    }
    if not first:
        y["axis"] |= {"labels": False, "ticks": False}
    return y


def _edges(middle: FloatArray) -> FloatArray:
    """Borders between neighbours, and half a step beyond the first and the last."""
    if middle.size == 1:
        return np.array([middle[0] - 0.5, middle[0] + 0.5])
    between = 0.5 * (middle[1:] + middle[:-1])
    first, last = middle[0] - (between[0] - middle[0]), middle[-1] + (middle[-1] - between[-1])
    return np.concatenate([[first], between, [last]])


def _runs(chosen: BoolArray, days: FloatArray, doses: FloatArray) -> list[Spec]:
    """Rectangles that cover the chosen cells: those side by side in one dose are one."""
    table: list[list[float]] = []
    for row, cells in enumerate(chosen):
        table += [[days[a], days[b], doses[row], doses[row + 1]] for a, b in _stretches(cells)]
    return _pieces(table)


def _border(inside: BoolArray, days: FloatArray, doses: FloatArray) -> list[Spec]:
    """Lines between cells inside and outside; the edge of the map is no border."""
    table: list[list[float]] = []
    for column, turns in enumerate((inside[:, 1:] != inside[:, :-1]).T):
        table += [[days[column + 1], days[column + 1], doses[a], doses[b]] for a, b in _stretches(turns)]
    for row, turns in enumerate(inside[1:] != inside[:-1]):
        table += [[days[a], days[b], doses[row + 1], doses[row + 1]] for a, b in _stretches(turns)]
    return _pieces(table)


def _stretches(chosen: BoolArray) -> list[tuple[int, int]]:
    """First and past-the-last index of each stretch of true values."""
    turns = np.flatnonzero(np.diff(np.concatenate([[False], chosen, [False]]).astype(int))).tolist()
    return list(zip(turns[::2], turns[1::2], strict=True))


def _pieces(table: list[list[float]]) -> list[Spec]:
    columns = zip(*table, strict=True) if table else ((), (), (), ())
    return rows(**dict(zip(("day", "day_to", "dose", "dose_to"), columns, strict=True)))


def _lethal(picture: ExposuresPicture, y: Spec, doses: FloatArray) -> list[Spec]:
    layers: list[Spec] = []
    for place, (dose, _) in enumerate(picture.lethal):
        if doses[0] <= dose <= doses[-1]:
            values = rows(dose=[dose])
            mark: Spec = {"type": "rule", "color": RUST, "strokeWidth": 1.8, "strokeDash": LINES[place % len(LINES)]}
            letter: Spec = {"type": "text", "align": "right", "baseline": "bottom", "dx": -3, "dy": -2}
            letter |= {"text": _letter(place), "color": RUST, "fontWeight": 600, "fontSize": 10.5}
            layers.append({"data": {"values": values}, "mark": mark, "encoding": {"y": y}})
            layers += rimmed(values, letter, {"x": {"value": "width"}, "y": y})
    return layers


def _letter(place: int) -> str:
    return "abcdefgh"[place % 8]


def _nothing(wide: float) -> Spec:
    mark = {"type": "text", "text": "no pair in the region", "fontStyle": "italic", "color": INK}
    place = {"x": {"value": wide / 2}, "y": {"value": 14}}
    return {"data": {"values": [{}]}, "mark": mark, "encoding": place}


def _subtitle(picture: ExposuresPicture) -> list[str]:
    greys = ", ".join(words for _, _, words in STEPS)
    lines = [
        f"Heavy line: border of the region that agrees with the readings at {100 * picture.level:g} %. Greys: how far "
        f"the log likelihood lies under the highest of its world: {greys}.",
        "Agreement with an exposure is no sign that there was one. The worlds are not to be averaged.",
    ]
    low, high = np.exp(_edges(np.log(picture.dose)))[[0, -1]]
    lethal = []
    for place, (dose, words) in enumerate(picture.lethal):
        where = "" if low <= dose <= high else ", beyond the axis"
        lethal.append(f"{_letter(place)} {words}, {number(dose)} mg/kg{where}")
    if lethal:
        lines.append(f"Doses to compare with: {listed(lethal, 8, '; ')}.")
    return [*lines, *picture.notes]


def _told(picture: ExposuresPicture) -> str:
    parts = [f"{picture.title}. Absorbed dose in mg CN per kg fish against days from exposure to sample."]
    for one in picture.panels:
        chosen = np.nonzero(one.inside)
        if chosen[0].size == 0:
            parts.append(f"World '{one.world}': no pair of dose and time agrees at {100 * picture.level:g} %.")
            continue
        dose, day = picture.dose[chosen[0]], picture.day[chosen[1]]
        share = 100.0 * chosen[0].size / one.inside.size
        parts.append(
            f"World '{one.world}': {share:.0f} % of the map agrees at {100 * picture.level:g} %, doses from "
            f"{number(float(dose.min()))} to {number(float(dose.max()))} mg/kg, days from {number(float(day.min()))} "
            f"to {number(float(day.max()))}."
        )
    parts += [f"{words}: {number(dose)} mg/kg." for dose, words in picture.lethal]
    return " ".join([*parts, *picture.notes])
