"""What a simulated plan states: kinds of statements, intervals that hold and their width, against the true level."""

from __future__ import annotations

import numpy as np

from brinemark.outputs.charts.frame import BLUE, DASH, INK, Spec, number, rows
from brinemark.outputs.charts.heading import headed
from brinemark.outputs.charts.words import numbered
from brinemark.terms.arrays import FloatArray
from brinemark.terms.planning_pictures import StudyPicture
from brinemark.terms.wording import amount

WIDTH, HEIGHT, SHARES = 560, 130, 220
MOST_WRITTEN = 12
"""Levels up to which the shares are written into the bars."""
LEAST_WRITTEN = 0.06
FILLS = {
    "quantified": (BLUE, "white"),
    "detected, amount uncertain": ("#7f9dbb", INK),
    "at or above": ("#b9c9d9", INK),
    "not detected": ("#e6e6e6", INK),
    "cannot say": ("white", INK),
}
"""Fill of a kind of statement and of what is written on it, from the foot of a bar up; they grow lighter, so that they
are told apart without colour."""


def study_chart(picture: StudyPicture) -> Spec:
    """Three panels under one another over the true levels; two Monte Carlo errors to each side.

    Raises ValueError without a level, for shares of another shape, and for a kind of statement without a fill.
    """
    size = picture.level.size
    if size == 0:
        raise ValueError("a chart of a study needs at least one level")
    if picture.shares.shape != (size, len(picture.kinds)):
        raise ValueError(f"a chart of a study needs {size} x {len(picture.kinds)} shares")
    if set(picture.kinds) - set(FILLS):
        raise ValueError(f"a chart of a study knows the statements {', '.join(FILLS)}")
    share: Spec = {"scale": {"domain": _held(picture), "nice": False}, "axis": {"tickCount": 4, "format": ".2~f"}}
    fold: Spec = {"scale": {"type": "log", "domain": _folds(picture)}, "axis": {"tickCount": 4, "format": "~g"}}
    holds = {"type": "quantitative", "title": "intervals that hold, share", **share}
    width = {"type": "quantitative", "title": "median fold of the interval", **fold}
    body: Spec = {
        "vconcat": [
            _statements(picture),
            _panel(picture, (picture.holds, picture.promised), holds, False),
            _panel(picture, (picture.fold, picture.max_fold), width, True),
        ],
        "spacing": 26,
        "bounds": "flush",
        "resolve": {"scale": {"x": "shared", "color": "independent"}},
    }
    return headed(picture.title, _subtitle(picture), _told(picture), body)


def _levels(picture: StudyPicture, lowest: bool) -> Spec:
    names = [amount(float(level)) for level in picture.level]
    bare: Spec = {"labels": False, "ticks": False}
    axis: Spec = {"labelExpr": numbered(names), "labelAngle": 0, "labelOverlap": True, "grid": False}
    return {
        "field": "place",
        "type": "ordinal",
        "title": f"true level of the samples, {picture.unit}" if lowest else None,
        "scale": {"domain": list(range(picture.level.size)), "paddingInner": 0.3, "paddingOuter": 0.2},
        "axis": {**axis, **({} if lowest else bare)},
    }


def _statements(picture: StudyPicture) -> Spec:
    """Bars of all samples at a level, parted by what was stated."""
    order = [kind for kind in FILLS if kind in picture.kinds]
    table = []
    for place, shares in enumerate(picture.shares):
        ends = np.cumsum([0.0, *(shares[picture.kinds.index(kind)] for kind in order)])
        for turn in range(len(order)):
            low, high = float(ends[turn]), float(ends[turn + 1])
            table += rows(place=[place], kind=[turn], low=[low], high=[high], middle=[(low + high) / 2])
    x = _levels(picture, False)
    y: Spec = {"type": "quantitative", "title": "statements, share", "scale": {"domain": [0, 1]}}
    y["axis"] = {"values": [0, 0.25, 0.5, 0.75, 1], "format": ".2~f"}
    legend = {"labelExpr": numbered(order), "columns": 5, "symbolType": "square", "symbolStrokeColor": INK}
    fill: Spec = {
        "field": "kind",
        "type": "nominal",
        "scale": {"domain": list(range(len(order))), "range": [FILLS[kind][0] for kind in order]},
        "legend": {**legend, "symbolStrokeWidth": 0.8, "columnPadding": 12},
    }
    bar: Spec = {"type": "bar", "stroke": INK, "strokeWidth": 0.8}
    drawn: Spec = {"x": x, "y": {**y, "field": "low"}, "y2": {"field": "high"}, "fill": fill}
    layers: list[Spec] = [{"data": {"values": table}, "mark": bar, "encoding": drawn}]
    layers += _written(picture, table, order, (x, y))
    return {"width": WIDTH, "height": SHARES, "layer": layers}


def _written(picture: StudyPicture, table: list[Spec], order: list[str], axes: tuple[Spec, Spec]) -> list[Spec]:
    """Percent in the parts that have room for it."""
    if picture.level.size > MOST_WRITTEN:
        return []
    x, y = axes
    layers: list[Spec] = []
    for turn, kind in enumerate(order):
        mine = [one for one in table if one["kind"] == turn and one["high"] - one["low"] >= LEAST_WRITTEN]
        said = [{**one, "text": f"{100 * (one['high'] - one['low']):.0f} %"} for one in mine]
        mark: Spec = {"type": "text", "color": FILLS[kind][1], "fontSize": 10.5}
        text: Spec = {"field": "text", "type": "nominal"}
        encoding: Spec = {"x": x, "y": {**y, "field": "middle"}, "text": text}
        layers += [{"data": {"values": said}, "mark": mark, "encoding": encoding}] if said else []
    return layers


def _panel(picture: StudyPicture, shown: tuple[tuple[FloatArray, FloatArray], float], y: Spec, lowest: bool) -> Spec:
    """Marks with errors, the line that they are held against, and "none" where a level has no value."""
    (value, error), line = shown
    x = _levels(picture, lowest)
    low, high = y["scale"]["domain"]
    far = np.where(np.isfinite(error), 2.0 * error, 0.0)
    places = list(range(value.size))
    below, above = np.clip(value - far, low, high), np.clip(value + far, low, high)
    table = rows(place=places, value=value, low=below, high=above)
    missing = rows(
        place=[k for k in places if not np.isfinite(value[k])], value=[high] * int(np.sum(~np.isfinite(value)))
    )
    rule: Spec = {"type": "rule", "color": INK, "strokeDash": DASH, "strokeWidth": 1.2}
    span: Spec = {"type": "rule", "color": BLUE, "strokeWidth": 1.8}
    point: Spec = {"type": "point", "filled": True, "color": BLUE, "size": 70, "opacity": 1}
    none: Spec = {"type": "text", "color": INK, "fontSize": 10.5, "baseline": "top", "dy": 2}
    layers: list[Spec] = [
        {"data": {"values": [{"value": line}]}, "mark": rule, "encoding": {"y": {**y, "field": "value"}}},
        {
            "data": {"values": table},
            "mark": span,
            "encoding": {"x": x, "y": {**y, "field": "low"}, "y2": {"field": "high"}},
        },
        {"data": {"values": table}, "mark": point, "encoding": {"x": x, "y": {**y, "field": "value"}}},
    ]
    if missing:
        said: Spec = {"value": "open" if lowest else "none"}
        at = {"x": x, "y": {**y, "field": "value"}, "text": said}
        layers.append({"data": {"values": missing}, "mark": none, "encoding": at})
    return {"width": WIDTH, "height": HEIGHT, "layer": layers}


def _held(picture: StudyPicture) -> list[float]:
    """An axis of shares from below the lowest error to 1."""
    value, error = picture.holds
    low = value - np.where(np.isfinite(error), 2.0 * error, 0.0)
    least = min([picture.promised - 0.05, *low[np.isfinite(low)].tolist()])
    return [max(float(np.floor(least * 20.0) / 20.0), 0.0), 1.0]


def _folds(picture: StudyPicture) -> list[float]:
    """A logarithmic axis from 1 that holds all folds and the one that counts."""
    value, error = picture.fold
    high = value + np.where(np.isfinite(error), 2.0 * error, 0.0)
    return [1.0, float(f"{1.25 * max([2.0, picture.max_fold, *high[np.isfinite(high)].tolist()]):.3g}")]


def _subtitle(picture: StudyPicture) -> list[str]:
    how = "Marks with two Monte Carlo standard errors to each side. Dashed: what intervals promise to hold"
    return [f"{how} ({100 * picture.promised:g} %), and the fold that counts as an answer.", *picture.notes]


def _told(picture: StudyPicture) -> str:
    said = [f"{picture.title}."]
    for place, level in enumerate(picture.level.tolist()):
        shares = zip(picture.kinds, picture.shares[place].tolist(), strict=True)
        kinds = ", ".join(f"{kind} {100 * share:.3g} %" for kind, share in shares if share > 0)
        held, fold = float(picture.holds[0][place]), float(picture.fold[0][place])
        holds = f"{100 * held:.3g} % of intervals hold" if np.isfinite(held) else "no interval"
        wide = f"median fold {number(fold, 3)}" if np.isfinite(fold) else "median fold open"
        said.append(f"At {amount(level)} {picture.unit}: {kinds}; {holds}; {wide}.")
    return " ".join([*said, *picture.notes])
