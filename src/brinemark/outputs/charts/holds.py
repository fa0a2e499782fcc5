"""The chance to find thiocyanate of exposed fish against the hold: worlds side by side, days since capture beneath."""

from __future__ import annotations

import numpy as np

from brinemark.outputs.charts.frame import BLUE, DOTS, INK, QUIET, RUST, Spec, number, rows
from brinemark.outputs.charts.heading import headed
from brinemark.outputs.charts.words import listed, numbered
from brinemark.terms.fish_pictures import HoldPanel, HoldsPicture

WIDTH, GAP = 590, 18
HEIGHTS = (230, 170, 130, 105)
"""Height of a panel when so many stand under one another."""
LINES: tuple[tuple[list[float], float, str, str], ...] = (
    ([1, 0], 2.6, BLUE, "circle"),
    ([8, 3], 2.0, INK, "square"),
    ([2, 2], 2.0, BLUE, "diamond"),
    ([1, 0], 1.2, INK, "triangle-up"),
    ([9, 3, 2, 3], 1.8, QUIET, "triangle-down"),
)
"""Dash, weight, colour and mark of the first, second, ... volume; they differ without the colour, and begin anew."""


def detectability_chart(picture: HoldsPicture) -> Spec:
    """A line for each volume, with a mark where the chance is greatest, and the chance of a false alarm.

    Raises ValueError without worlds or volumes, or when a panel does not fit its axes.
    """
    shape = (picture.day.size, picture.volume_L.size, picture.hold_d.size)
    if not picture.panels or 0 in shape:
        raise ValueError("a chart of holds needs at least one world, day, volume and hold")
    if any(one.probability.shape != shape for one in picture.panels):
        raise ValueError(f"a chart of holds needs probabilities of shape {shape} in every world")
    count = len(picture.panels)
    wide = (WIDTH - GAP * (count - 1)) / count
    body: Spec = {
        "concat": [_panel(picture, (day, place), wide) for day in range(shape[0]) for place in range(count)],
        "columns": count,
        "spacing": {"row": 30, "column": GAP},
        "align": "each",
        "bounds": "flush",
        "resolve": {"scale": {"x": "shared", "y": "shared"}},
    }
    title = f"Chance to find thiocyanate of exposed fish: {picture.fish}"
    return headed(title, _subtitle(picture), _told(picture, title), body)


def volume_words(volume: float) -> str:
    """As the legend names it."""
    return f"{volume:.3g} L" if volume < 1e3 else f"{volume:.0f} L"


def _panel(picture: HoldsPicture, at: tuple[int, int], wide: float) -> Spec:
    day, place = at
    one = picture.panels[place]
    lowest, leftmost = day == picture.day.size - 1, place == 0
    bare: Spec = {"labels": False, "ticks": False}
    x: Spec = {
        "field": "hold",
        "type": "quantitative",
        "title": "hold in clean water, d" if lowest else None,
        "scale": {"domain": [0.0, float(picture.hold_d[-1])], "nice": False},
        "axis": {"tickCount": max(int(wide / 55), 3), "format": "~g", **({} if lowest else bare)},
    }
    y: Spec = {
        "field": "chance",
        "type": "quantitative",
        "title": "chance to find it" if leftmost else None,
        "scale": {"domain": [0, 1]},
        "axis": {"values": [0, 0.25, 0.5, 0.75, 1], "format": ".2~f", "labelFlush": True, **({} if leftmost else bare)},
    }
    head = f"day {float(picture.day[day]):.3g} after capture"
    text = [f"world: {one.world}", head] if day == 0 else head
    title = {"text": text, "fontSize": 11.5, "offset": 5, "anchor": "middle", "frame": "group"}
    height = HEIGHTS[min(picture.day.size, len(HEIGHTS)) - 1]
    return {"title": title, "width": wide, "height": height, "layer": _layers(picture, one, day, (x, y))}


def _layers(picture: HoldsPicture, one: HoldPanel, day: int, axes: tuple[Spec, Spec]) -> list[Spec]:
    x, y = axes
    names = [volume_words(float(volume)) for volume in picture.volume_L]
    lines: list[Spec] = []
    best: list[Spec] = []
    for place in range(len(names)):
        chance = one.probability[day, place]
        lines += rows(volume=[place] * chance.size, hold=picture.hold_d, chance=chance)
        hold = float(one.best_hold_d[day, place])
        if np.isfinite(hold):
            highest = float(np.interp(hold, picture.hold_d, chance))
            best += rows(best=[place], hold=[hold], chance=[highest])
    alarm: Spec = {"type": "rule", "color": RUST, "strokeDash": DOTS, "strokeWidth": 1.6}
    place_of: Spec = {"x": x, "y": y}
    layers: list[Spec] = [
        {"data": {"values": rows(chance=[one.false_alarm])}, "mark": alarm, "encoding": {"y": y}},
        {
            "data": {"values": lines},
            "mark": {"type": "line", "clip": True, "strokeWidth": LINES[0][1], "color": LINES[0][2]},
            "encoding": {**place_of, **_told_apart(names)},
        },
    ]
    if best:
        mark: Spec = {"type": "point", "filled": True, "fill": "white", "strokeWidth": 1.8, "size": 58, "opacity": 1}
        looks = {"shape": _channel(names, 3, None, "best"), "stroke": _channel(names, 2, None, "best")}
        layers.append({"data": {"values": best}, "mark": mark, "encoding": {**place_of, **looks}})
    return layers


def _told_apart(names: list[str]) -> Spec:
    if len(names) == 1:
        return {}
    legend = {"labelExpr": numbered(names), "symbolType": "stroke", "symbolSize": 420, "columns": 5}
    channels = (("strokeDash", 0), ("strokeWidth", 1), ("color", 2))
    return {channel: _channel(names, part, legend) for channel, part in channels}


def _channel(names: list[str], part: int, legend: Spec | None, field: str = "volume") -> Spec:
    places = list(range(len(names)))
    looks = [LINES[place % len(LINES)][part] for place in places]
    return {"field": field, "type": "nominal", "scale": {"domain": places, "range": looks}, "legend": legend}


def _subtitle(picture: HoldsPicture) -> list[str]:
    names = [volume_words(float(volume)) for volume in picture.volume_L]
    alarms = sorted({f"{100 * one.false_alarm:.2g} %" for one in picture.panels})
    lines = [
        f"Lines: volumes of the tank ({listed(names, 8)}). Mark: the hold with the greatest chance, where one beats "
        f"the others. Dotted: false alarm without any thiocyanate ({listed(alarms, 3)}); a chance that low means "
        "nothing.",
        "The worlds contradict each other and are not to be averaged.",
    ]
    return [*lines, *picture.notes]


def _told(picture: HoldsPicture, title: str) -> str:
    parts = [f"{title}."]
    for one in picture.panels:
        said = []
        for day, since in enumerate(picture.day):
            for place, volume in enumerate(picture.volume_L):
                highest = float(np.max(one.probability[day, place]))
                hold = float(one.best_hold_d[day, place])
                best = f" at a hold of {number(hold)} d" if np.isfinite(hold) else ", no hold better than another"
                said.append(f"day {float(since):.3g}, {volume_words(float(volume))}: at most {highest:.2f}{best}")
        parts.append(f"World '{one.world}', false alarm {one.false_alarm:.2g}: {'; '.join(said)}.")
    return " ".join([*parts, *picture.notes])
