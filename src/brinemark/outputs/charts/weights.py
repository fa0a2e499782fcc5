"""Weights of one tank in its worlds over the bands of a verbal scale, and what moves them."""

from __future__ import annotations

import math
from collections.abc import Sequence

from brinemark.outputs.charts.frame import BLUE, DASH, INK, QUIET, Spec, rows
from brinemark.outputs.charts.heading import headed
from brinemark.outputs.charts.ratios import LEGEND, bar_layers, bar_rows, ratio_axis, ratio_words, reach_of, zero_line
from brinemark.outputs.charts.words import shortened, wrapped
from brinemark.terms.evidence import VerbalScale
from brinemark.terms.fish_pictures import WeightsPicture, WorldMoves

WIDTH, ROW, SIDES = 560, 40, 30
NEITHER = "neither supported"
DARKEST, PALEST = 0.34, 0.05
LETTER, LINE = 6.0, 12.0
MOVES, GAP, STEP, LABEL = 520, 18, 22, 190


def weights_chart(picture: WeightsPicture) -> Spec:
    """A row for each world; behind them the bands of the scale, whose words stand above.

    Raises ValueError when there is no world.
    """
    if not picture.bars:
        raise ValueError("a chart of weights needs at least one world")
    ends = reach_of(picture.bars)
    x = ratio_axis(ends, WIDTH, "log10 likelihood ratio, with the ratio under it")
    order = [bar.world for bar in picture.bars]
    y: Spec = {"field": "world", "type": "nominal", "sort": order, "title": None, "scale": {"domain": order}}
    y["axis"] = {"ticks": False, "domain": False, "labelPadding": 8, "labelFontWeight": 600, "grid": False}
    y["axis"]["labelLimit"] = 320
    bands = _bands(picture.scale, ends)
    table = [row for bar in picture.bars for row in bar_rows(bar, ends, {"world": bar.world})]
    height = ROW * len(order)
    layers = [*_shades(bands, x, height), zero_line(x), *bar_layers(table, x, y, 13.0), *_silent(picture, y)]
    main: Spec = {"width": WIDTH, "height": height, "layer": layers}
    panels = [*([_band_words(bands, ends)] if bands else []), main, _sides(picture, ends)]
    body: Spec = {"vconcat": panels, "spacing": 4, "bounds": "full"}
    return headed(picture.title, _subtitle(picture), _told(picture), body)


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
    wide = (MOVES - GAP * (len(worlds) - 1)) / len(worlds)
    panels = [_move_panel(world, order, _move_ends(worlds), wide, place == 0) for place, world in enumerate(worlds)]
    body: Spec = {"hconcat": panels, "spacing": GAP, "resolve": {"scale": {"x": "independent", "y": "shared"}}}
    subtitle = [
        "log10 likelihood ratio with one assumption at its low end (open circle) and at its high end (filled circle), "
        "all others as they are. Dashed: with none moved. Arrow: beyond the axis."
    ]
    told = [f"{title}."]
    for world in worlds:
        said = [f"{m.assumption}: {m.at_low:+.2f} at its low end, {m.at_high:+.2f} at its high end" for m in world.moves]
        told.append(f"World '{world.world}', {world.log10_ratio:+.2f} with none moved: {'; '.join(said)}.")
    return headed(title, subtitle, " ".join(told).replace("-", "−"), body)


def _bands(scale: VerbalScale | None, ends: tuple[float, float]) -> list[tuple[float, float, str, float]]:
    """From, to, words and darkness of each band that lies on the axis, both ways."""
    if scale is None or not scale.bands:
        return []
    starts = [math.log10(band.start) for band in scale.bands]
    found = [(-starts[0], starts[0], NEITHER, 0.0)]
    for place, band in enumerate(scale.bands):
        stop = starts[place + 1] if place + 1 < len(starts) else math.inf
        shade = PALEST + (DARKEST - PALEST) * place / max(len(starts) - 1, 1)
        found += [(starts[place], stop, band.words, shade), (-stop, -starts[place], band.words, shade)]
    cut = [(max(low, ends[0]), min(high, ends[1]), words, shade) for low, high, words, shade in found]
    return sorted(one for one in cut if one[1] > one[0])


def _shades(bands: Sequence[tuple[float, float, str, float]], x: Spec, height: float) -> list[Spec]:
    layers = []
    for low, high, _, shade in bands:
        if shade > 0.0:
            mark = {"type": "rect", "color": "#000000", "opacity": round(shade * 0.6, 3)}
            place = {"x": x, "x2": {"field": "to"}, "y": {"value": 0}, "y2": {"value": height}}
            layers.append({"data": {"values": rows(ratio=[low], to=[high])}, "mark": mark, "encoding": place})
    return layers


def _band_words(bands: Sequence[tuple[float, float, str, float]], ends: tuple[float, float]) -> Spec:
    """The words above their bands, upright where there is room for them and turned where there is not."""
    scale = WIDTH / (ends[1] - ends[0])
    said: dict[bool, list[Spec]] = {False: [], True: []}
    for low, high, words, _ in bands:
        turned = (high - low) * scale < LETTER * len(words) + 6.0
        if (high - low) * scale >= LINE:
            said[turned].append({"at": 0.5 * (low + high), "text": words})
    tall = max((LETTER * len(row["text"]) for row in said[True]), default=0.0)
    height = max(tall + 4.0, 16.0)
    x: Spec = {"field": "at", "type": "quantitative", "axis": None, "scale": {"domain": list(ends), "nice": False}}
    layers: list[Spec] = []
    for turned, more in ((False, {"align": "center"}), (True, {"align": "left", "angle": 270})):
        if said[turned]:
            mark: Spec = {"type": "text", "baseline": "middle", "fontSize": 10.5, "color": INK, **more}
            place: Spec = {"x": x, "y": {"value": height - (3 if turned else 7)}}
            place["text"] = {"field": "text", "type": "nominal"}
            layers.append({"data": {"values": rows(at=[r["at"] for r in said[turned]], text=[r["text"] for r in said[turned]])}, "mark": mark, "encoding": place})
    return {"width": WIDTH, "height": height, "layer": layers}


def _silent(picture: WeightsPicture, y: Spec) -> list[Spec]:
    said = [bar for bar in picture.bars if bar.log10_ratio is None]
    if not said:
        return []
    values = [{"world": bar.world, "text": shortened(f"no ratio: {bar.reason or ''}", 90)} for bar in said]
    mark: Spec = {"type": "text", "align": "left", "fontStyle": "italic", "color": INK, "fontSize": 11}
    place: Spec = {"x": {"value": 8}, "y": y, "text": {"field": "text", "type": "nominal"}}
    return [{"data": {"values": values}, "mark": mark, "encoding": place}]


def _sides(picture: WeightsPicture, ends: tuple[float, float]) -> Spec:
    """Under the axis: which way is which."""
    zero = WIDTH * -ends[0] / (ends[1] - ends[0])
    layers = []
    sides = (("right", zero - 10.0, f"left: for '{picture.second}'"), ("left", zero + 10.0, f"right: for '{picture.first}'"))
    for align, place, text in sides:
        room = (place if align == "right" else WIDTH - place) / LETTER
        lines = wrapped(text, max(int(room), 14))
        mark = {"type": "text", "align": align, "baseline": "top", "fontSize": 11, "color": QUIET, "text": lines}
        layers.append({"mark": mark, "encoding": {"x": {"value": round(place, 1)}, "y": {"value": 2}}})
    return {"width": WIDTH, "height": SIDES, "data": {"values": [{}]}, "layer": layers}


def _subtitle(picture: WeightsPicture) -> list[str]:
    lines = [LEGEND]
    if picture.scale is not None:
        lines.append(f"Words of the bands: {picture.scale.label}.")
    if len(picture.bars) > 1:
        lines.append("The worlds contradict each other and are not to be averaged.")
    return [*lines, *picture.notes]


def _told(picture: WeightsPicture) -> str:
    said = [f"World '{bar.world}': {ratio_words(bar)}." for bar in picture.bars]
    words = f"Ratios of '{picture.first}' over '{picture.second}'."
    scale = "" if picture.scale is None else f"Words of the bands: {picture.scale.label}."
    return " ".join(part for part in (f"{picture.title}.", words, *said, scale, *picture.notes) if part)


def _move_ends(worlds: Sequence[WorldMoves]) -> tuple[float, float]:
    values = [world.log10_ratio for world in worlds]
    values += [end for world in worlds for move in world.moves for end in (move.at_low, move.at_high)]
    known = [value for value in values if math.isfinite(value)] or [0.0]
    room = 0.08 * (max(known) - min(known)) or 0.5
    return max(min(known) - room, -20.0), min(max(known) + room, 20.0)


def _move_panel(world: WorldMoves, order: list[str], ends: tuple[float, float], wide: float, first: bool) -> Spec:
    x = ratio_axis(ends, wide)
    x["axis"] = {"tickCount": max(int(wide / 60), 3), "format": "~g", "labelFlush": False}
    y: Spec = {"field": "assumption", "type": "nominal", "sort": order, "title": None, "scale": {"domain": order}}
    y["axis"] = {"ticks": False, "domain": False, "labelLimit": LABEL, "labelPadding": 8, "grid": True} if first else None
    table = [row for move in world.moves for row in _move_rows(move.assumption, (move.at_low, move.at_high), ends)]
    point: Spec = {"type": "point", "filled": True, "stroke": BLUE, "strokeWidth": 1.6, "size": 48, "opacity": 1}
    looks: dict[str, Spec] = {
        "bar": {"type": "bar", "color": "#9db6cc", "height": 9},
        "low": {**point, "fill": "white"},
        "high": {**point, "fill": BLUE},
        "arrow left": {**point, "fill": BLUE, "shape": "triangle-left", "size": 70},
        "arrow right": {**point, "fill": BLUE, "shape": "triangle-right", "size": 70},
    }
    layers: list[Spec] = []
    for name, mark in looks.items():
        mine = [row for row in table if row["mark"] == name]
        place: Spec = {"x": x, "y": y, **({"x2": {"field": "to"}} if name == "bar" else {})}
        layers += [{"data": {"values": mine}, "mark": mark, "encoding": place}] if mine else []
    base = {"type": "rule", "color": INK, "strokeDash": DASH}
    if math.isfinite(world.log10_ratio):
        layers.append({"data": {"values": rows(ratio=[world.log10_ratio])}, "mark": base, "encoding": {"x": x}})
    title = {"text": f"world: {world.world}", "fontSize": 12, "offset": 6, "anchor": "middle", "frame": "group"}
    return {"title": title, "width": wide, "height": {"step": STEP}, "layer": layers}


def _move_rows(name: str, values: tuple[float, float], ends: tuple[float, float]) -> list[Spec]:
    cut = [min(max(value, ends[0]), ends[1]) for value in values]
    table: list[Spec] = [{"mark": "bar", "ratio": cut[0], "to": cut[1]}]
    for mark, value in zip(("low", "high"), values, strict=True):
        shown = "arrow left" if value < ends[0] else "arrow right" if value > ends[1] else mark
        table.append({"mark": shown, "ratio": min(max(value, ends[0]), ends[1])})
    return [{**rows(**{key: [part] for key, part in row.items()})[0], "assumption": name} for row in table]
