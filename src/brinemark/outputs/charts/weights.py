"""Weights of one tank in its worlds over the bands of a verbal scale."""

from __future__ import annotations

import math
from collections.abc import Sequence

from brinemark.outputs.charts.frame import INK, QUIET, Spec, rows
from brinemark.outputs.charts.heading import headed
from brinemark.outputs.charts.marks import row
from brinemark.outputs.charts.ratios import LEGEND, bar_layers, bar_rows, ratio_axis, ratio_words, reach_of, zero_line
from brinemark.outputs.charts.words import shortened, wrapped
from brinemark.terms.evidence import VerbalScale
from brinemark.terms.fish_pictures import WeightsPicture

WIDTH, ROW, SIDES = 560, 40, 30
NEITHER = "neither supported"
DARKEST, PALEST = 0.34, 0.05
LETTER, LINE = 6.0, 12.0


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
    table = [one for bar in picture.bars for one in bar_rows(bar, ends, {"world": bar.world})]
    height = ROW * len(order)
    layers = [*_shades(bands, x, height), zero_line(x), *bar_layers(table, x, y, 13.0), *_silent(picture, y)]
    main: Spec = {"width": WIDTH, "height": height, "layer": layers}
    panels = [*([_band_words(bands, ends)] if bands else []), main, _sides(picture, ends)]
    body: Spec = {"vconcat": panels, "spacing": 4, "bounds": "full"}
    return headed(picture.title, _subtitle(picture), _told(picture), body)


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
            said[turned].append(row(at=0.5 * (low + high), text=words))
    tall = max((LETTER * len(one["text"]) for one in said[True]), default=0.0)
    height = max(tall + 4.0, 16.0)
    x: Spec = {"field": "at", "type": "quantitative", "axis": None, "scale": {"domain": list(ends), "nice": False}}
    layers: list[Spec] = []
    for turned, more in ((False, {"align": "center"}), (True, {"align": "left", "angle": 270})):
        if said[turned]:
            mark: Spec = {"type": "text", "baseline": "middle", "fontSize": 10.5, "color": INK, **more}
            place: Spec = {"x": x, "y": {"value": height - (3 if turned else 7)}}
            place["text"] = {"field": "text", "type": "nominal"}
            layers.append({"data": {"values": said[turned]}, "mark": mark, "encoding": place})
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
    left, right = f"left: for '{picture.second}'", f"right: for '{picture.first}'"
    for align, place, text in (("right", zero - 10.0, left), ("left", zero + 10.0, right)):
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
