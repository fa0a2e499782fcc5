"""Where curves and a window stand on the surface on which its ends are dragged."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from brinemark.outputs.charts.frame import scaled_unit, shown_unit, thinned
from brinemark.terms.arrays import FloatArray
from brinemark.terms.pictures import OverlaidCurve

WIDTH, HEIGHT = 720, 400
LEFT, RIGHT, TOP, BOTTOM = 64, 676, 12, 352
POINTS = 160
AROUND = 0.5
"""Seen from close, so much of the window's width on either side of it."""

LOOKS = 8
"""Looks of lines in the style sheet, from the lowest level to the highest."""


def view_of(curves: Sequence[OverlaidCurve], reason: str, window: tuple[float, float] | None = None) -> dict[str, Any]:
    """Curves in their own units, thinned, with the frame that they are drawn in; reason : why there are none.

    window : that and a little beside it is seen from close; None shows all.
    """
    if window is not None:
        curves = _close(curves, window)
    if not curves:
        return {"reason": reason or "no curve reaches over this window", "curves": [], "kinds": []}
    every = np.concatenate([one.y for one in curves])
    of_spectra = float(curves[0].x.max()) > 50.0
    factor, unit = (1.0, "1") if of_spectra else scaled_unit("A", every)
    kinds = _kinds(curves)
    x, y = (float(curves[0].x[0]), float(curves[0].x[-1])), _roomy(every * factor)
    return {
        "reason": "",
        "x": x,
        "y": y,
        "unit": unit,
        "frame": {"width": WIDTH, "height": HEIGHT, "left": LEFT, "right": RIGHT, "top": TOP, "bottom": BOTTOM},
        "matrix": _matrix(x, y),
        "x_ticks": ticks(*x, 8),
        "y_ticks": ticks(*y, 5),
        "kinds": [{"words": shown_unit_in(kind), "look": look} for kind, look in kinds.items()],
        "curves": [_curve(one, factor, kinds[one.kind]) for one in curves],
    }


def _close(curves: Sequence[OverlaidCurve], window: tuple[float, float]) -> list[OverlaidCurve]:
    beside = AROUND * (window[1] - window[0])
    parts = [(one, (one.x >= window[0] - beside) & (one.x <= window[1] + beside)) for one in curves]
    return [replace(one, x=one.x[here], y=one.y[here]) for one, here in parts if here.sum() > 1]


def shown_unit_in(kind: str) -> str:
    """A kind with its unit as print has it: 2 ug/L -> 2 µg/L."""
    return " ".join(shown_unit(word) if "/" in word else word for word in kind.split(" "))


def _kinds(curves: Sequence[OverlaidCurve]) -> dict[str, int]:
    """The look of each kind, by its level."""
    levels = {one.kind: one.level or 0.0 for one in curves}
    order = sorted(levels, key=lambda kind: levels[kind])
    last = max(len(order) - 1, 1)
    return {kind: round(place * (LOOKS - 1) / last) for place, kind in enumerate(order)}


def _curve(one: OverlaidCurve, factor: float, look: int) -> dict[str, Any]:
    keep = thinned(one.y, POINTS)
    values = zip(one.x[keep], one.y[keep] * factor, strict=True)
    points = [[float(f"{x:.5g}"), float(f"{y:.4g}")] for x, y in values]
    return {"electrode": one.electrode, "kind": shown_unit_in(one.kind), "look": look, "points": points}


def _roomy(values: FloatArray) -> tuple[float, float]:
    low, high = float(values.min()), float(values.max())
    room = 0.05 * ((high - low) or 1.0)
    return low - room, high + room


def _matrix(x: tuple[float, float], y: tuple[float, float]) -> list[float]:
    """a b c d e f of the transform that takes values to the places of the frame."""
    a, d = (RIGHT - LEFT) / (x[1] - x[0]), -(BOTTOM - TOP) / (y[1] - y[0])
    return [float(f"{value:.7g}") for value in (a, 0.0, 0.0, d, LEFT - a * x[0], BOTTOM - d * y[0])]


def ticks(low: float, high: float, about: int) -> list[float]:
    """Round values within an axis, about so many: steps of 1, 2 or 5 times a power of ten."""
    step = (high - low) / about
    power = 10.0 ** math.floor(math.log10(step))
    step = next(factor * power for factor in (1.0, 2.0, 5.0, 10.0) if factor * power >= step * 0.999)
    first, last = math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9)
    return [float(f"{place * step:.10g}") for place in range(first, last + 1)]
