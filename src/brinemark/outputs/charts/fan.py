"""The calibration fan: blanks and standards of each batch under the band its electrodes are expected in."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from brinemark.outputs.charts.frame import BLUE, DASH, INK, QUIET, Spec, level_axis, rows, scaled_unit, thinned, titled
from brinemark.terms.arrays import FloatArray
from brinemark.terms.pictures import FanPanel

SIZES = ((620, 320), (300, 220), (220, 180), (180, 150), (146, 124))
"""Width and height of a panel when so many stand in a row."""
MANY = 12
POINTS = ("blank", "standard")
BANDS = ("95 % band, this batch", "95 % band, a new batch")
SUBTITLE = (
    "Points: signals with their standard uncertainty. Bands: where 95 % of fresh electrodes are expected to answer.",
)
MEDIAN = "median, this batch"


def calibration_fan(panels: Sequence[FanPanel], level_unit: str, signal_unit: str, title: str = "Calibration") -> Spec:
    """Small multiples, one panel per batch and instrument, all on the same axes.

    Raises ValueError when there is no panel.
    """
    if not panels:
        raise ValueError("a calibration fan needs at least one panel")
    factor, unit = scaled_unit(signal_unit, np.concatenate([_heights(panel) for panel in panels]))
    names = _names(panels)
    top = max(float(np.max(panel.curve_level)) for panel in panels)
    scale = level_axis(top, _smallest(panels), level_unit, ticks=6)
    columns = min(len(SIZES) - (len(panels) <= MANY), len(panels))
    body: Spec = {
        "datasets": {"panels": _table(panels, names, factor)},
        "data": {"name": "panels"},
        "concat": [_panel(index, names, columns, scale, unit) for index in range(len(panels))],
        "columns": columns,
        "align": "each",
        "bounds": "flush",
        "spacing": {"row": 40, "column": 18},
        "resolve": {"scale": {"x": "shared", "y": "shared"}},
    }
    return titled(title, SUBTITLE, _told(panels), body)


def _panel(index: int, names: Sequence[str], columns: int, scale: Spec, unit: str) -> Spec:
    """One small chart; only the left column and the lowest panel of each column carry labels."""
    lowest, leftmost = index + columns >= len(names), index % columns == 0
    last_row = index // columns == (len(names) - 1) // columns
    bare: Spec = {"labels": False, "ticks": False, "domain": False}
    x = {**scale, "title": scale["title"] if last_row else None, "axis": {**scale["axis"], **({} if lowest else bare)}}
    y: Spec = {
        "type": "quantitative",
        "title": f"signal, {unit}" if leftmost else None,
        "scale": {"zero": True, "nice": False},
        "axis": {"tickCount": 5, **({} if leftmost else bare)},
    }
    wide, high = SIZES[columns - 1]
    return {
        "title": {"text": names[index], "fontSize": 12, "offset": 6},
        "transform": [{"filter": {"field": "panel", "equal": names[index]}}],
        "width": wide,
        "height": high,
        "layer": _layers(x, y),
    }


def _layers(x: Spec, y: Spec) -> list[Spec]:
    curve: Spec = {"x": x}
    fills: Spec = {
        "datum": BANDS[1],
        "scale": {"domain": list(BANDS), "range": [BLUE, QUIET]},
        "legend": {"symbolType": "square", "symbolOpacity": 0.45, "symbolStrokeWidth": 0},
    }
    wide = {**curve, "y": {**y, "field": "new_low"}, "y2": {"field": "new_high"}, "fill": fills}
    narrow = {**curve, "y": {**y, "field": "low"}, "y2": {"field": "high"}, "fill": {**fills, "datum": BANDS[0]}}
    median: Spec = {
        "datum": MEDIAN,
        "scale": {"domain": [MEDIAN], "range": [[1, 0]]},
        "legend": {"symbolType": "stroke", "symbolStrokeColor": BLUE},
    }
    area = {"type": "area", "orient": "vertical", "clip": True}
    edge = {"type": "line", "strokeDash": DASH, "strokeWidth": 1, "color": QUIET, "clip": True}
    return [
        {"transform": _only("curve"), "mark": {**area, "opacity": 0.16}, "encoding": wide},
        {"transform": _only("curve"), "mark": edge, "encoding": {**curve, "y": {**y, "field": "new_low"}}},
        {"transform": _only("curve"), "mark": edge, "encoding": {**curve, "y": {**y, "field": "new_high"}}},
        {"transform": _only("curve"), "mark": {**area, "opacity": 0.34}, "encoding": narrow},
        {
            "transform": _only("curve"),
            "mark": {"type": "line", "strokeWidth": 2, "color": BLUE, "clip": True},
            "encoding": {**curve, "y": {**y, "field": "middle"}, "strokeDash": median},
        },
        *_points(x, y),
    ]


def _points(x: Spec, y: Spec) -> list[Spec]:
    shape: Spec = {
        "field": "role",
        "type": "nominal",
        "scale": {"domain": list(POINTS), "range": ["diamond", "circle"]},
    }
    # Same field as the shape, so that the legend's symbols get an outline.
    outline: Spec = {**shape, "scale": {"domain": list(POINTS), "range": [INK, INK]}}
    return [
        {
            "transform": _only("point"),
            "mark": {"type": "rule", "strokeWidth": 1.2, "color": INK},
            "encoding": {"x": x, "y": {**y, "field": "low"}, "y2": {"field": "high"}},
        },
        {
            "transform": _only("point"),
            "mark": {"type": "point", "fill": "white", "stroke": INK, "strokeWidth": 1.3, "size": 38, "opacity": 1},
            "encoding": {"x": x, "y": {**y, "field": "middle"}, "shape": shape, "stroke": outline},
        },
    ]


def _only(kind: str) -> list[Spec]:
    return [{"filter": {"field": "kind", "equal": kind}}]


def _table(panels: Sequence[FanPanel], names: Sequence[str], factor: float) -> list[Spec]:
    table: list[Spec] = []
    for panel, name in zip(panels, names, strict=True):
        keep = thinned(panel.curve_upper)
        table += rows(
            panel=[name] * keep.size,
            kind=["curve"] * keep.size,
            level=panel.curve_level[keep],
            low=panel.curve_lower[keep] * factor,
            middle=panel.curve_median[keep] * factor,
            high=panel.curve_upper[keep] * factor,
            new_low=panel.population_lower[keep] * factor,
            new_high=panel.population_upper[keep] * factor,
        )
        table += rows(
            panel=[name] * panel.level.size,
            kind=["point"] * panel.level.size,
            role=[POINTS[int(level > 0.0)] for level in panel.level],
            level=panel.level,
            low=(panel.signal - panel.u) * factor,
            middle=panel.signal * factor,
            high=(panel.signal + panel.u) * factor,
        )
    return table


def _names(panels: Sequence[FanPanel]) -> list[str]:
    several = len({panel.instrument for panel in panels}) > 1
    return [f"{panel.batch}, {panel.instrument}" if several else panel.batch for panel in panels]


def _heights(panel: FanPanel) -> FloatArray:
    return np.concatenate([panel.signal, panel.curve_median])


def _smallest(panels: Sequence[FanPanel]) -> float:
    levels = np.concatenate([panel.level for panel in panels])
    curve = np.concatenate([panel.curve_level for panel in panels])
    known = levels[levels > 0.0] if np.any(levels > 0.0) else curve[curve > 0.0]
    return float(np.min(known))


def _told(panels: Sequence[FanPanel]) -> str:
    points = sum(panel.level.size for panel in panels)
    return (
        f"Signal against level for {len({panel.batch for panel in panels})} batches, {points} readings of blanks and "
        "standards, each panel with the median and 95 % band of its batch over the band of a new batch."
    )
