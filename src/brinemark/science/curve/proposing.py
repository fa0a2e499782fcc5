"""Where on a curve the analyte's wave stands, from curves of known levels alone: windows to try."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from brinemark.science.curve.chord import END_SHARE
from brinemark.terms.arrays import BoolArray, FloatArray, IntArray

WIDTHS = np.geomspace(0.04, 0.25, 9)
"""Widths at half height of the bumps that are tried, as shares of the curves' range: our choice."""

REACH = 1.25
"""A bump is compared with its neighbourhood this many widths to either side, where a Gaussian has fallen to 1.3 %."""

PLACES = 150
"""Places tried along the range."""

CHANCE = 1e-4
"""A bump counts when chance alone gives its t with this probability or less; some 20 independent places are tried."""

FOOT = 0.10
"""The wave reaches as far as its mean rise exceeds this share of its summit: our choice."""

AROUND = 2.0
"""The summit's surroundings that a chord is drawn under: this many widths of the bump to either side ..."""

WIDEN = (1.0, 1.45)
"""... and the windows: as wide as the wave and two free ends need, and this much wider (our choice)."""

FEWEST_FREE = 3
"""Fewest electrodes beyond one mean for each batch and one slope."""


@dataclass(frozen=True, slots=True)
class WindowProposal:
    """Windows that hold a wave which follows the level, or the reason why there is none.

    place, low, high : of the wave [unit of the grid]; windows : (low, high) each, narrowest first; t : of the
    bump's rise with the level; moves : the largest change of an end of the narrowest window when one batch is left
    out, None when a batch must not be missed. reason : None when there are windows.
    """

    windows: tuple[tuple[float, float], ...] = ()
    place: float | None = None
    low: float | None = None
    high: float | None = None
    t: float | None = None
    moves: float | None = None
    reason: str | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Bumps:
    """Kernels (k, n) of length 1, free of a straight line, with the place and width of each (k,)."""

    kernels: FloatArray
    place: FloatArray
    width: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class _Curves:
    """curves (E, n) on grid (n,); contrast (E, k) with the bumps; x (E,) rising with the level; batch (E,) numbers."""

    grid: FloatArray
    curves: FloatArray
    contrast: FloatArray
    x: FloatArray
    batch: IntArray

    def without(self, number: int) -> _Curves:
        kept = self.batch != number
        return _Curves(self.grid, self.curves[kept], self.contrast[kept], self.x[kept], self.batch[kept])


def propose_windows(
    grid: FloatArray, curves: FloatArray, level: FloatArray, batch: Sequence[str], step: float
) -> WindowProposal:
    """Windows in which curves rise with the level as a wave does.

    grid : (n,) rising; curves : (E, n) with the wave upwards; level : (E,) known; batch : E names; step : ends are
    rounded outwards to multiples of it. Each curve counts as its batch's mean plus a rise times x, x = c/(c + median of
    the levels above 0), so that films and batches that differ make scatter and no wave. A bump is looked for by
    kernels free of straight lines, among those whose rise stands out of the scatter by Student's t (CHANCE); the
    one with the largest rise for a kernel of length 1 wins (matched filter). The wave's extent is where the mean rise
    above its chord exceeds FOOT of its summit; windows are wide enough that both ends which carry a chord are free.
    Signals in other units, or levels in others, give the same windows.
    """
    numbers = np.unique(np.array(batch), return_inverse=True)[1].astype(np.int64)
    reason = _too_few(level, numbers)
    if reason is not None:
        return WindowProposal(reason=reason)
    bumps = make_bumps(grid)
    seen = _Curves(grid, curves, curves @ bumps.kernels.T, _shares(level), numbers)
    found = _one(seen, bumps)
    if found.reason is not None:
        return found
    parts = [(seen.without(number), level[numbers != number]) for number in np.unique(numbers)]
    without = [_one(part, bumps) for part, levels in parts if _too_few(levels, part.batch) is None]
    return _rounded(found, without, grid, step)


def _too_few(level: FloatArray, batch: IntArray) -> str | None:
    """Why levels of batches cannot tell a wave; None when they can."""
    batches = np.unique(batch)
    if not any(np.unique(level[batch == number]).size > 1 for number in batches):
        return "no batch holds two levels, so that a wave cannot be told from what batches differ by"
    if level.size - batches.size - 1 < FEWEST_FREE:
        return f"{level.size} curves of {batches.size} batches are too few to tell a wave from the scatter"
    return None


def _shares(level: FloatArray) -> FloatArray:
    return np.asarray(level / (level + np.median(level[level > 0.0])), dtype=np.float64)


def make_bumps(grid: FloatArray) -> Bumps:
    """Gaussian bumps over the grid (n,), each less the straight line that fits it best within its reach."""
    span = float(np.ptp(grid))
    rows, places, widths = [], [], []
    for width in WIDTHS * span:
        reach = REACH * width
        for place in np.linspace(grid[0] + reach, grid[-1] - reach, PLACES):
            inside = np.abs(grid - place) <= reach * (1.0 + 1e-9)
            if inside.sum() < 7:
                continue
            rows.append(_kernel(grid, place, width, inside))
            places.append(place)
            widths.append(width)
    return Bumps(np.array(rows), np.array(places), np.array(widths))


def _kernel(grid: FloatArray, place: float, width: float, inside: BoolArray) -> FloatArray:
    away = (grid[inside] - place) / width
    bump = np.exp(-4.0 * math.log(2.0) * away**2)
    line = np.column_stack([np.ones_like(away), away])
    free = bump - line @ np.linalg.lstsq(line, bump, rcond=None)[0]
    kernel = np.zeros_like(grid)
    kernel[inside] = free / np.linalg.norm(free)
    return kernel


def _one(seen: _Curves, bumps: Bumps) -> WindowProposal:
    """The wave and its extent; windows are not rounded yet."""
    from scipy.special import stdtr

    x = _within(seen.x[:, None], seen.batch)[:, 0]
    rise, t, df = _rises(_within(seen.contrast, seen.batch), x, np.unique(seen.batch).size)
    sure = (rise > 0.0) & (stdtr(df, -t) <= CHANCE)
    if not sure.any():
        most = float(np.max(t))
        return WindowProposal(t=most, reason=f"no wave stands out of the noise (largest t {most:.2g} with df {df})")
    best = int(np.argmax(np.where(sure, rise, -np.inf)))
    mean = np.asarray(x @ _within(seen.curves, seen.batch) / float(x @ x))
    extent = _extent(seen.grid, mean, float(bumps.place[best]), float(bumps.width[best]))
    if extent is None:
        return WindowProposal(t=float(t[best]), reason="no wave stands above its own chord")
    low, high, summit = extent
    return WindowProposal(_windows(low, high, seen.grid), summit, low, high, float(t[best]))


def _within(values: FloatArray, batch: IntArray) -> FloatArray:
    """Values (E, k) less the mean of their batch."""
    found = np.array(values, dtype=np.float64)
    for number in np.unique(batch):
        mine = batch == number
        found[mine] -= found[mine].mean(axis=0)
    return found


def _rises(values: FloatArray, x: FloatArray, batches: int) -> tuple[FloatArray, FloatArray, int]:
    """Slope (k,) of values (E, k) on x (E,), its t, and the degrees of freedom."""
    size = float(x @ x)
    slope = x @ values / size
    df = x.size - batches - 1
    left = values - np.outer(x, slope)
    sd = np.sqrt((left**2).sum(axis=0) / df)
    noise = np.maximum(sd, 1e-12 * float(np.abs(slope).max(initial=0.0)) + np.finfo(float).tiny)
    return np.asarray(slope), np.asarray(slope * math.sqrt(size) / noise), df


def _extent(grid: FloatArray, rise: FloatArray, place: float, width: float) -> tuple[float, float, float] | None:
    """Low and high foot of the rise above its chord around a place, and its summit."""
    around = np.flatnonzero(np.abs(grid - place) <= AROUND * width)
    x, y = grid[around], _smooth(rise[around])
    ends = max(round(END_SHARE * x.size), 1)
    start, stop = (x[:ends].mean(), y[:ends].mean()), (x[-ends:].mean(), y[-ends:].mean())
    above = y - (start[1] + (x - start[0]) * (stop[1] - start[1]) / (stop[0] - start[0]))
    near = np.abs(x - place) <= 0.5 * width
    summit = int(np.flatnonzero(near)[np.argmax(above[near])])
    if not above[summit] > 0.0:
        return None
    low_enough = above <= FOOT * above[summit]
    before, after = np.flatnonzero(low_enough[:summit]), np.flatnonzero(low_enough[summit:])
    low = float(x[before[-1]]) if before.size else float(x[0])
    high = float(x[summit + after[0]]) if after.size else float(x[-1])
    return low, high, float(x[summit])


def _smooth(values: FloatArray) -> FloatArray:
    """A running mean over 3 % of the points."""
    half = max(round(0.015 * values.size), 1)
    padded = np.pad(values, half, mode="reflect", reflect_type="odd")
    return np.asarray(np.convolve(padded, np.full(2 * half + 1, 1.0 / (2 * half + 1)), mode="valid"))


def _windows(low: float, high: float, grid: FloatArray) -> tuple[tuple[float, float], ...]:
    """The wave's extent with room for a chord's ends, cut to the grid."""
    middle, half = 0.5 * (low + high), 0.5 * (high - low) / (1.0 - 2.0 * END_SHARE)
    return tuple(
        (max(middle - half * widen, float(grid[0])), min(middle + half * widen, float(grid[-1]))) for widen in WIDEN
    )


def _rounded(found: WindowProposal, without: Sequence[WindowProposal], grid: FloatArray, step: float) -> WindowProposal:
    windows = dict.fromkeys(_round(window, grid, step) for window in found.windows)
    missed = any(one.reason is not None for one in without)
    ends = [np.abs(np.subtract(one.windows[0], found.windows[0])).max() for one in without if one.windows]
    moves = None if missed or not ends else float(max(ends))
    return WindowProposal(tuple(windows), found.place, found.low, found.high, found.t, moves)


def _round(window: tuple[float, float], grid: FloatArray, step: float) -> tuple[float, float]:
    """Ends at multiples of step, outwards as far as the curves go."""
    low, high = math.floor(window[0] / step + 1e-6), math.ceil(window[1] / step - 1e-6)
    low += int(low * step < float(grid[0]) - 1e-9)
    high -= int(high * step > float(grid[-1]) + 1e-9)
    digits = max(0, -math.floor(math.log10(step)))
    return round(low * step, digits), round(high * step, digits)
