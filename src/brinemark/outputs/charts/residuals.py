"""How far each calibration electrode lies from what its batch's other electrodes let expect, against level."""

from __future__ import annotations

from collections.abc import Sequence

from brinemark.outputs.charts.frame import BLUE, DASH, INK, QUIET, Spec, level_axis, rows, titled
from brinemark.terms.amounts import Residual

WIDTH, HEIGHT = 620, 300
FAR, BAND, LEAST_REACH = 2.5, 2.0, 3.2
LINE = 13.0  # height of a name [points]
MARK, SMALL_MARK, CROWD = 52, 22, 200
FILLS: tuple[tuple[str, str], ...] = (
    *((shape, BLUE) for shape in ("circle", "square", "triangle-up", "diamond", "triangle-down")),
    *((shape, "white") for shape in ("circle", "square", "triangle-up", "diamond")),
)
"""Shape and filling of one batch and the next; more batches than these cannot be told apart by their marks."""
SUBTITLE = (
    "Distance from the median that the other electrodes of its batch let expect, in standard deviations of one more "
    "electrode (normal score). 95 of 100 sound electrodes lie between the dashed lines; those beyond 2.5, 1 of 80 "
    "sound ones, are named. The population behind all batches has learned from every electrode."
)


def residuals_chart(found: Sequence[Residual], level_unit: str, title: str = "Residuals") -> Spec:
    """A mark for each electrode, batches told apart by shape and filling as long as these suffice.

    Raises ValueError when there is no residual.
    """
    if not found:
        raise ValueError("a chart of residuals needs at least one")
    levels = [one.level for one in found]
    known = [level for level in levels if level > 0.0] or [1.0]
    x = level_axis(1.15 * max(known), min(known), level_unit)
    farthest = max(abs(one.score) for one in found)
    names = _placed(found, 2.0 * max(LEAST_REACH, 1.12 * farthest) * LINE / HEIGHT)
    reach = max(LEAST_REACH, *(1.12 * abs(height) for height in (farthest, *names.values())))
    y: Spec = {
        "field": "score",
        "type": "quantitative",
        "title": "residual, standard deviations",
        "scale": {"domain": [-reach, reach], "nice": False},
        "axis": {"tickCount": 7, "format": "~g"},
    }
    body: Spec = {
        "width": WIDTH,
        "height": HEIGHT,
        "layer": [_lines([0.0], y, {}), _lines([-BAND, BAND], y, {"strokeDash": DASH}), _marks(found, x, y)],
    }
    body["layer"] += _names(found, names, x, y)
    return titled(title, [SUBTITLE], _told(found, title), body)


def _lines(heights: Sequence[float], y: Spec, more: Spec) -> Spec:
    return {
        "data": {"values": [{"score": height} for height in heights]},
        "mark": {"type": "rule", "color": QUIET, "strokeWidth": 1.2, **more},
        "encoding": {"y": y},
    }


def _marks(found: Sequence[Residual], x: Spec, y: Spec) -> Spec:
    batches = list(dict.fromkeys(one.batch for one in found))
    values = rows(level=[o.level for o in found], score=[o.score for o in found], batch=[o.batch for o in found])
    mark: Spec = {"type": "point", "opacity": 1, "strokeWidth": 1.3, "fill": "white", "stroke": QUIET}
    mark["size"] = MARK if len(found) <= CROWD else SMALL_MARK
    encoding: Spec = {"x": x, "y": y}
    if len(batches) <= len(FILLS):
        shapes, fills = zip(*FILLS[: len(batches)], strict=True)
        field: Spec = {"field": "batch", "type": "nominal", "sort": batches}
        for channel, wanted in (("shape", shapes), ("fill", fills), ("stroke", [BLUE] * len(batches))):
            encoding[channel] = {**field, "scale": {"domain": batches, "range": list(wanted)}}
    return {"data": {"values": values}, "mark": mark, "encoding": encoding}


def _placed(found: Sequence[Residual], gap: float) -> dict[Residual, float]:
    """Heights of the names of the far ones: beside their marks, and where these are close farther out, gap apart."""
    placed: dict[Residual, float] = {}
    last: dict[tuple[float, bool], float] = {}
    for one in sorted((one for one in found if abs(one.score) > FAR), key=lambda one: abs(one.score)):
        column = one.level, one.score > 0.0
        height = max(abs(one.score), last.get(column, 0.0) + gap)
        last[column] = height
        placed[one] = height if one.score > 0.0 else -height
    return placed


def _names(found: Sequence[Residual], placed: dict[Residual, float], x: Spec, y: Spec) -> list[Spec]:
    """Names of the far ones, to the left of their marks where the axis ends."""
    middle = max(one.level for one in found) / 4.0
    layers = []
    for right in (True, False):
        there = {one: height for one, height in placed.items() if (one.level <= middle) is right}
        if there:
            names = [one.electrode for one in there]
            values = rows(level=[one.level for one in there], score=list(there.values()), text=names)
            place: Spec = {"align": "left", "dx": 8} if right else {"align": "right", "dx": -8}
            text: Spec = {"field": "text", "type": "nominal"}
            mark = {"type": "text", "baseline": "middle", "color": INK, **place}
            layers.append({"data": {"values": values}, "mark": mark, "encoding": {"x": x, "y": y, "text": text}})
    return layers


def _told(found: Sequence[Residual], title: str) -> str:
    batches = len({one.batch for one in found})
    outside = sum(abs(one.score) > BAND for one in found)
    far = [f"{one.electrode} of batch {one.batch} ({one.score:+.1f})" for one in found if abs(one.score) > FAR]
    named = f"Beyond 2.5: {', '.join(far)}." if far else "None lies beyond 2.5."
    return (
        f"{title}. {len(found)} electrodes of {batches} {'batch' if batches == 1 else 'batches'} against level, in "
        f"standard deviations from the median that the others of their batch let expect; {outside} of them beyond 2. "
        f"{named}"
    )
