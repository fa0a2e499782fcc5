"""Many curves over one another: what the cell held by shade and line, pre-scans dashed, the window of the signal."""

from __future__ import annotations

import numpy as np

from brinemark.outputs.charts.frame import (
    DASH,
    FAINT,
    INK,
    OVERLAY_POINTS,
    QUIET,
    RUST,
    Spec,
    rows,
    scaled_unit,
    thinned,
    titled,
)
from brinemark.terms.pictures import OverlaidCurve, OverlayPicture

WIDTH, HEIGHT = 640, 380
ALL_POINTS = 24_000
"""Most points of all curves together: more would make a file of half a megabyte that looks the same."""

PRESCAN = "pre-scan"
SHADES = ("#86a3bd", "#6c90b0", "#537da2", "#3c6a93", "#2a5a84", "#1f4e79", "#14385a", "#08203a")
"""From the lowest level to the highest: one hue that darkens, so that it reads in grey."""
LINES: tuple[tuple[list[float], float], ...] = (
    ([1, 0], 1.3),
    ([7, 2], 1.3),
    ([1, 0], 2.2),
    ([7, 2, 1.5, 2], 1.6),
    ([12, 2], 2.2),
    ([7, 2, 1.5, 2, 1.5, 2], 1.8),
)
"""Dash and weight of one level and the next, which differ without the shade; they begin anew."""
UNKNOWN: dict[str, tuple[list[float], float, str]] = {
    "sample": ([1, 0], 1.3, RUST),
    "control": ([9, 2], 1.6, RUST),
    "addition": ([4, 2, 1.5, 2], 1.4, RUST),
}
SHORT_DASH: list[float] = [2.5, 2.5]


def overlay_chart(picture: OverlayPicture) -> Spec:
    """The curves on common axes with a legend of what the cells held, and the window shaded.

    Raises ValueError without any curve.
    """
    if not picture.curves:
        raise ValueError("an overlay needs at least one curve")
    factor, unit = scaled_unit(picture.unit, np.concatenate([one.y for one in picture.curves]))
    limit = min(OVERLAY_POINTS, max(ALL_POINTS // len(picture.curves), 40))
    x = _across(picture)
    y: Spec = {"field": "y", "type": "quantitative", "scale": {"zero": False}}
    y["title"] = picture.up if unit == "1" else f"{picture.up}, {unit}"
    lines: Spec = {
        "data": {"values": [point for k, one in enumerate(picture.curves) for point in _points(k, one, factor, limit)]},
        "mark": {"type": "line", "clip": True, "strokeJoin": "round"},
        "encoding": {
            "x": x,
            "y": y,
            "detail": {"field": "curve", "type": "nominal"},
            "order": {"field": "order"},
            **_told_apart(picture),
        },
    }
    body: Spec = {"width": WIDTH, "height": HEIGHT, "layer": [*_window(picture), lines]}
    return titled(picture.title, _subtitle(picture), _told(picture), body)


def kinds_of(picture: OverlayPicture) -> list[str]:
    """What the legend names: pre-scans, then known levels from the lowest, then the others."""
    known = {one.kind: one.level for one in picture.curves if not one.prescan and one.level is not None}
    other = {one.kind: None for one in picture.curves if not one.prescan and one.level is None}
    first = [PRESCAN] if any(one.prescan for one in picture.curves) else []
    return [*first, *sorted(known, key=lambda kind: known[kind] or 0.0), *other]


def _points(number: int, one: OverlaidCurve, factor: float, limit: int) -> list[Spec]:
    keep = thinned(one.y, limit)
    # Five digits draw the same picture at this size, and a smaller file.
    points = rows(order=range(keep.size), x=one.x[keep].round(4), y=_five_digits(one.y[keep] * factor))
    kind = PRESCAN if one.prescan else one.kind
    return [{"curve": number, "kind": kind, **point} for point in points]


def _five_digits(values: np.ndarray[tuple[int, ...], np.dtype[np.float64]]) -> list[float]:
    return [float(f"{value:.5g}") for value in values]


def _across(picture: OverlayPicture) -> Spec:
    ends = [(float(one.x.min()), float(one.x.max())) for one in picture.curves]
    low, high = min(low for low, _ in ends), max(high for _, high in ends)
    return {
        "field": "x",
        "type": "quantitative",
        "title": picture.across,
        "scale": {"domain": [round(low, 4), round(high, 4)], "nice": False, "zero": False},
        "axis": {"format": _ticks(picture, high - low), "tickCount": 8, "labelFlush": False, "labelOverlap": True},
    }


def _ticks(picture: OverlayPicture, span: float) -> str:
    if picture.unit != "A":
        return ".0f"
    return ".1f" if span > 0.7 else ".2f"


def _looks(picture: OverlayPicture) -> list[tuple[str, list[float], float, str]]:
    """Name, dash, weight and colour of every kind."""
    kinds = kinds_of(picture)
    levels = [kind for kind in kinds if kind != PRESCAN and kind not in UNKNOWN]
    looks: list[tuple[str, list[float], float, str]] = []
    for kind in kinds:
        if kind == PRESCAN:
            looks.append((kind, SHORT_DASH, 1.1, QUIET))
        elif kind in UNKNOWN:
            looks.append((kind, *UNKNOWN[kind]))
        else:
            place = levels.index(kind)
            shade = SHADES[round(place * (len(SHADES) - 1) / max(len(levels) - 1, 1))]
            looks.append((kind, *LINES[place % len(LINES)], shade if len(levels) > 1 else INK))
    return looks


def _told_apart(picture: OverlayPicture) -> Spec:
    looks = _looks(picture)
    names = [name for name, *_ in looks]
    channels = (("color", 3), ("strokeDash", 1), ("strokeWidth", 2))
    # A single kind is named by the subtitle: the drawing library lays the only label of a legend over its symbol.
    legend = {"symbolType": "stroke", "symbolSize": 420, "columns": 6} if len(names) > 1 else None
    return {
        channel: {
            "field": "kind",
            "type": "nominal",
            "scale": {"domain": names, "range": [look[part] for look in looks]},
            "legend": legend,
        }
        for channel, part in channels
    }


def _window(picture: OverlayPicture) -> list[Spec]:
    if picture.window is None:
        return []
    ends = [{"from": picture.window[0], "to": picture.window[1]}]
    edge = {"type": "rule", "color": QUIET, "strokeDash": DASH, "clip": True}
    x: Spec = {"type": "quantitative"}
    return [
        {
            "data": {"values": ends},
            "mark": {"type": "rect", "color": FAINT, "opacity": 0.8, "clip": True},
            "encoding": {"x": {"field": "from", **x}, "x2": {"field": "to"}},
        },
        *({"data": {"values": ends}, "mark": edge, "encoding": {"x": {"field": end, **x}}} for end in ("from", "to")),
    ]


def _subtitle(picture: OverlayPicture) -> list[str]:
    lines = []
    if picture.window is not None:
        lines.append("Shaded: the window of the signal.")
    if any(one.prescan for one in picture.curves):
        lines.append("Dashed: pre-scans.")
    kinds = kinds_of(picture)
    if len(kinds) == 1:
        lines.append(f"All: {kinds[0]}.")
    if picture.last_cycle:
        lines.append("Of several cycles the last is drawn.")
    said = [" ".join(lines)] if lines else []
    return [*said, *(f"Not drawn: {electrode}: {reason}" for electrode, reason in picture.left_out[:4])]


def _told(picture: OverlayPicture) -> str:
    counts = dict.fromkeys(kinds_of(picture), 0)
    for one in picture.curves:
        counts[PRESCAN if one.prescan else one.kind] += 1
    many = ", ".join(f"{count} of {kind}" for kind, count in counts.items())
    window = ""
    if picture.window is not None:
        window = f" The window of the signal, {picture.window[0]:g} to {picture.window[1]:g}, is shaded."
    missing = f" {len(picture.left_out)} not drawn." if picture.left_out else ""
    return f"{picture.title}. {picture.up.capitalize()} against {picture.across}; curves: {many}.{window}{missing}"
