"""What moves a weight most: the ratio at the two ends of each assumption."""

from __future__ import annotations

import math
from collections.abc import Sequence

from brinemark.outputs.charts.frame import BLUE, DASH, INK, Spec
from brinemark.outputs.charts.heading import headed
from brinemark.outputs.charts.marks import head, layers_by_mark, row
from brinemark.outputs.charts.ratios import COUNTED, ratio_axis
from brinemark.outputs.charts.words import minus
from brinemark.terms.fish_pictures import WorldMoves

WIDTH, GAP, STEP, LABEL = 520, 18, 22, 190


def moves_chart(worlds: Sequence[WorldMoves], title: str = "What moves the weight most") -> Spec:
    """For each world, side by side, the weight at the low and the high end of each assumption, greatest move first.

    The order is that of the largest move in any world, so that rows agree. Raises ValueError without any assumption.
    """
    largest: dict[str, float] = {}
    for one in (move for world in worlds for move in world.moves):
        largest[one.assumption] = max(largest.get(one.assumption, 0.0), one.move)
    if not largest:
        raise ValueError("a chart of moves needs at least one assumption")
    order = sorted(largest, key=lambda name: -largest[name])
    wide = (WIDTH - GAP * (len(worlds) - 1)) / len(worlds)
    panels = [_panel(world, order, _ends(worlds), wide, place == 0) for place, world in enumerate(worlds)]
    body: Spec = {"hconcat": panels, "spacing": GAP, "resolve": {"scale": {"x": "independent", "y": "shared"}}}
    subtitle = [
        "log10 likelihood ratio with one assumption at its low end (open circle) and at its high end (filled circle), "
        "all others as they are. Dashed: with none moved. Arrow: beyond the axis."
    ]
    told = [f"{title}."]
    for world in worlds:
        said = [f"{one.assumption}: {one.at_low:+.2f} low, {one.at_high:+.2f} high" for one in world.moves]
        told.append(f"World '{world.world}', {world.log10_ratio:+.2f} with none moved: {'; '.join(said)}.")
    return headed(title, subtitle, minus(" ".join(told)), body)


def _ends(worlds: Sequence[WorldMoves]) -> tuple[float, float]:
    values = [world.log10_ratio for world in worlds]
    values += [end for world in worlds for move in world.moves for end in (move.at_low, move.at_high)]
    known = [value for value in values if math.isfinite(value)] or [0.0]
    room = 0.08 * (max(known) - min(known)) or 0.5
    return max(min(known) - room, -20.0), min(max(known) + room, 20.0)


def _panel(world: WorldMoves, order: list[str], ends: tuple[float, float], wide: float, first: bool) -> Spec:
    x = ratio_axis(ends, wide)
    x["axis"] = {"tickCount": max(int(wide / 60), 3), "format": "~g", "labelFlush": False}
    y: Spec = {"field": "assumption", "type": "nominal", "sort": order, "title": None, "scale": {"domain": order}}
    names: Spec = {"ticks": False, "domain": False, "labelLimit": LABEL, "labelPadding": 8, "grid": True}
    y["axis"] = names if first else None
    table = [one for move in world.moves for one in _rows(move.assumption, (move.at_low, move.at_high), ends)]
    point: Spec = {"type": "point", "filled": True, "stroke": BLUE, "strokeWidth": 1.6, "size": 48, "opacity": 1}
    looks: dict[str, Spec] = {
        "bar": {"type": "bar", "color": COUNTED, "height": 9},
        "low": {**point, "fill": "white"},
        "high": {**point, "fill": BLUE},
        "arrow left": {**point, "fill": BLUE, "shape": "triangle-left", "size": 70},
        "arrow right": {**point, "fill": BLUE, "shape": "triangle-right", "size": 70},
    }
    ranged: Spec = {"x": x, "y": y, "x2": {"field": "to"}}
    place: Spec = {"x": x, "y": y}
    wanted = [(name, look, ranged if name == "bar" else place) for name, look in looks.items()]
    layers = layers_by_mark(table, wanted)
    base = {"type": "rule", "color": INK, "strokeDash": DASH}
    if math.isfinite(world.log10_ratio):
        layers.append({"data": {"values": [row(ratio=world.log10_ratio)]}, "mark": base, "encoding": {"x": x}})
    return {"title": head(f"world: {world.world}"), "width": wide, "height": {"step": STEP}, "layer": layers}


def _rows(name: str, values: tuple[float, float], ends: tuple[float, float]) -> list[Spec]:
    cut = [min(max(value, ends[0]), ends[1]) for value in values]
    table: list[Spec] = [{"mark": "bar", "ratio": cut[0], "to": cut[1]}]
    for mark, value in zip(("low", "high"), values, strict=True):
        shown = "arrow left" if value < ends[0] else "arrow right" if value > ends[1] else mark
        table.append({"mark": shown, "ratio": min(max(value, ends[0]), ends[1])})
    return [{**row(**one), "assumption": name} for one in table]
