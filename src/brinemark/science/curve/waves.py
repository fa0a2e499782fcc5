"""The wave of the analyte: from theory while nothing is known, learned from traces of known standards after."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import lru_cache
from typing import TypeAlias

import numpy as np

from brinemark.science.curve.baselines import CHORD
from brinemark.science.curve.chord import END_SHARE, MAD_TO_SD, Chord, make_chord, without_spikes
from brinemark.science.curve.chosen_baseline import AnyBaseline, bow_power, make_baseline
from brinemark.science.curve.electrode_theory import surface_confined_shape, surface_confined_width
from brinemark.science.curve.sweeps import DIRECTIONS, take_segment
from brinemark.terms.arrays import BoolArray, FloatArray
from brinemark.terms.curves import LEARNED, THEORETICAL, SignalDefinition, Trace, Wave
from brinemark.terms.errors import Refused

GRID_STEP_V = 0.002
"""Step of a wave's grid [V]; a wave is at least 45 steps wide at half height."""

MIN_TRACES = 3
"""Fewest usable traces a shape is learned from."""

MIN_HEIGHT = 5.0
"""A trace is usable when the wave stands this many of its standard deviations from neighbouring points above zero."""

SMOOTH_SHARE = 0.02
"""Standard deviation of the smoothing kernel, as a share of the window."""

APPARENT_N = np.geomspace(0.2, 2.5, 26)
"""Apparent electron numbers tried for the parametric wave: from five times as wide as an ideal one to 2/5."""

WIDEST_SHARE = 0.6
"""A wave wider at half height than this share of the window cannot be told from a curved background."""

HUBER = 2.0
"""A trace whose misfit is more than twice the typical one counts in proportion less (Huber)."""

COMMON_WEIGHT = 0.25
"""Weight, in traces, of the belief that there is no background common to all traces."""

ROUNDING = 1e-9
"""What is left above the chord counts as nothing below this share of the current."""

ROUNDS = 20

Taught: TypeAlias = tuple[FloatArray, float]
Cut: TypeAlias = Callable[[Trace, SignalDefinition, FloatArray], Taught | None]


def theoretical_wave(definition: SignalDefinition) -> Wave:
    """A surface-confined one-electron wave in the middle of the window, on a grid of 2 mV."""
    grid = _grid(definition.window_V)
    return _parametric(grid, 0.5 * (definition.window_V[0] + definition.window_V[1]), 1.0, THEORETICAL, 0)


def taught_by(trace: Trace, definition: SignalDefinition, grid: FloatArray) -> Taught | None:
    """What one trace teaches: its current above its own chord, wave upwards, smoothed on the grid (n,) [A], and the
    largest current [A]; None when it has no such sweep. It does not depend on quantity or baseline.
    """
    try:
        segment = take_segment(trace, definition)
        own = make_chord(segment.potential_V, definition.window_V)
    except Refused:
        return None
    current, _ = without_spikes(DIRECTIONS[definition.sweep] * segment.current_A)
    # The own chord goes first: what is left hardly changes over a step, so the mean of a step is its middle.
    return _smooth(onto_grid(segment.potential_V, own.above(current), grid)), float(np.abs(current).max())


def learn_wave(
    traces: Sequence[Trace], definition: SignalDefinition, blanks: Sequence[Trace] = (), cut: Cut = taught_by
) -> Wave:
    """Learn place and shape of the wave from traces of known standards.

    Traces are aligned by the potential alone, smoothed a little, their baseline is taken off and, when blanks are
    given, the mean of the blanks' as well. The shape is the least-squares fit current_i(E) = height_i shape(E)
    + common(E): a mean weighted by height, so that blanks matter little, and free of a background that all
    traces share as far as their heights differ; traces that fit badly count less (Huber).
    It is compared with the surface-confined shape of best place and width (fitted beside a parabola, which takes
    what is left of the background), and their difference is kept by the share 1 - noise variance / observed
    variance, 0 when negative: shrinkage in the manner of James & Stein, Proc. 4th Berkeley Symp. 1 (1961)
    361-379, with the scatter between traces as noise. Height 1 at place_V.

    A polynomial or whittaker baseline needs to know where the wave is: the shape is learned above chords first, which
    says so, and then once more above the definition's own baseline.

    Traces that cannot be cut to the window are left out. cut : `taught_by`, or one that remembers what it gave, where
    many waves are learned from nearly the same traces. With fewer than 3 usable traces the shape is the
    theoretical one at the place found; with none it is `theoretical_wave`. Raises Refused for an empty window.
    """
    grid = _grid(definition.window_V)
    taught = _taught(traces, definition, grid, cut), _taught(blanks, definition, grid, cut)
    first = _learn_above(make_chord(grid, definition.window_V), taught, definition, grid)
    if definition.baseline == CHORD or first.traces < MIN_TRACES:
        return first
    own = make_baseline(definition.baseline, grid, definition.window_V, first.shape)
    return _learn_above(own, taught, definition, grid)


def _taught(traces: Sequence[Trace], definition: SignalDefinition, grid: FloatArray, cut: Cut) -> list[Taught]:
    found = [cut(trace, definition, grid) for trace in traces]
    return [one for one in found if one is not None]


def _learn_above(
    baseline: AnyBaseline,
    taught: tuple[Sequence[Taught], Sequence[Taught]],
    definition: SignalDefinition,
    grid: FloatArray,
) -> Wave:
    rows, blank_rows = (_rows(part, grid, baseline) for part in taught)
    if len(blank_rows):
        rows = rows - blank_rows.mean(axis=0)
    rows = rows[_usable(rows, grid, baseline)]
    if len(rows) == 0:
        return theoretical_wave(definition)
    shape, variance = _common_shape(rows)
    place, apparent_n, height = _best_parametric(shape, grid, baseline)
    if len(rows) < MIN_TRACES:
        return _parametric(grid, place, 1.0, THEORETICAL, len(rows))
    ideal = surface_confined_shape(grid, place, n=apparent_n)
    return _regularised(ideal, shape / height - baseline.above(ideal), variance / height**2, grid, len(rows))


def _regularised(ideal: FloatArray, departure: FloatArray, variance: float, grid: FloatArray, traces: int) -> Wave:
    """ideal + share * departure as a wave of height 1 at its summit; variance : mean noise variance of departure.

    A sum whose summit lies in an end of the window is no wave; then the departure is dropped.
    """
    observed = float(np.mean(departure**2))
    share = max(0.0, 1.0 - variance / observed) if observed > 0.0 else 0.0
    shape = ideal + share * departure
    place, top = _summit(grid, shape)
    if not END_SHARE < (place - grid[0]) / (grid[-1] - grid[0]) < 1.0 - END_SHARE:
        shape = ideal
        place, top = _summit(grid, shape)
    return Wave(grid, shape / top, place, LEARNED, traces)


def _summit(grid: FloatArray, shape: FloatArray) -> tuple[float, float]:
    """Place and height of the largest value, by the parabola through it and its neighbours."""
    k = int(np.clip(np.argmax(shape), 1, grid.size - 2))
    before, top, after = (float(value) for value in shape[k - 1 : k + 2])
    bend = before - 2.0 * top + after
    offset = float(np.clip(0.5 * (before - after) / bend, -1.0, 1.0)) if bend < 0.0 else 0.0
    return float(grid[k] + offset * (grid[1] - grid[0])), top - 0.25 * (before - after) * offset


def _grid(window_V: tuple[float, float]) -> FloatArray:
    low, high = window_V
    if not low < high:
        raise Refused(f"window_V {low:g} to {high:g}", "low below high", "turn window_V round")
    return np.linspace(low, high, max(round((high - low) / GRID_STEP_V), 20) + 1)


def _parametric(grid: FloatArray, place_V: float, apparent_n: float, source: str, traces: int) -> Wave:
    return Wave(grid, surface_confined_shape(grid, place_V, n=apparent_n), place_V, source, traces)


def _rows(taught: Sequence[Taught], grid: FloatArray, baseline: AnyBaseline) -> FloatArray:
    """(k, n) currents above their baseline; what is only rounding counts as nothing."""
    rows = []
    for values, largest in taught:
        row = baseline.above(values)
        rows.append(row if np.abs(row).max() > ROUNDING * largest else np.zeros(grid.size))
    return np.asarray(rows, dtype=np.float64).reshape(-1, grid.size)


def _smooth(values: FloatArray) -> FloatArray:
    """Values (n,) under a Gaussian kernel of SMOOTH_SHARE of their length; the ends continue as odd reflections."""
    reach = max(round(4 * SMOOTH_SHARE * values.size), 1)
    kernel = np.exp(-0.5 * (np.arange(-reach, reach + 1) / (SMOOTH_SHARE * values.size)) ** 2)
    padded = np.pad(values, reach, mode="reflect", reflect_type="odd")
    return np.asarray(np.convolve(padded, kernel / kernel.sum(), mode="valid"), dtype=np.float64)


def onto_grid(potential_V: FloatArray, current: FloatArray, grid: FloatArray) -> FloatArray:
    """Current on the grid: the mean of the points nearest to each grid point, interpolated where there are none."""
    step = grid[1] - grid[0]
    nearest = np.clip(np.rint((potential_V - grid[0]) / step).astype(np.int64), 0, grid.size - 1)
    counts = np.bincount(nearest, minlength=grid.size)
    filled = counts > 0
    places = np.bincount(nearest, potential_V, grid.size)[filled] / counts[filled]
    means = np.bincount(nearest, current, grid.size)[filled] / counts[filled]
    return np.asarray(np.interp(grid, places, means), dtype=np.float64)


def _usable(rows: FloatArray, grid: FloatArray, baseline: AnyBaseline) -> BoolArray:
    """(k,) True where the strongest common wave stands clear of the noise of that trace."""
    if not rows.any():
        return np.zeros(len(rows), dtype=bool)
    shape, _ = _common_shape(rows)
    place, apparent_n, _ = _best_parametric(shape, grid, baseline)
    above = baseline.above(surface_confined_shape(grid, place, n=apparent_n))
    heights = rows @ above / float(above @ above)
    noise = np.median(np.abs(np.diff(rows - heights[:, None] * above, axis=1)), axis=1) * MAD_TO_SD
    return np.asarray(heights > MIN_HEIGHT * noise, dtype=bool)


def _common_shape(rows: FloatArray) -> tuple[FloatArray, float]:
    """Shape (n,) of the fit rows_i = height_i shape + common, largest height 1, and its mean noise variance.

    Alternating weighted least squares, started at the mean weighted by likeness to the largest row; the common
    background is drawn to zero by COMMON_WEIGHT traces without any, so that it stays out where the heights do
    not differ. Huber weights on each row's misfit relative to sqrt(height^2 + median^2).
    """
    largest = rows[np.argmax((rows**2).sum(axis=1))]
    shape = (rows @ largest) @ rows
    shape, common = (shape if shape.sum() >= 0.0 else -shape), np.zeros(rows.shape[1])
    weights = np.ones(len(rows))
    for _ in range(ROUNDS):
        heights = (rows - common) @ shape / float(shape @ shape)
        left = rows - np.outer(heights, shape) - common
        misfit = np.sqrt(np.mean(left**2, axis=1)) / np.hypot(heights, np.median(np.abs(heights)))
        limit = HUBER * float(np.median(misfit))
        weights = np.where(misfit > limit, limit / np.maximum(misfit, 1e-300), 1.0)
        terms = np.column_stack([heights, np.ones(len(rows))])
        solve = np.linalg.solve((terms.T * weights) @ terms + np.diag([0.0, COMMON_WEIGHT]), terms.T * weights)
        shape, common = solve @ rows
    scale = float(np.abs(heights).max())
    variance = float(np.mean(solve[0] ** 2 @ left**2)) * len(rows) / max(len(rows) - 2, 1)
    return shape * scale, variance * scale**2


def _best_parametric(shape: FloatArray, grid: FloatArray, baseline: AnyBaseline) -> tuple[float, float, float]:
    """Place [V], apparent n and height of the surface-confined wave that fits best beside a parabola.

    Tries every place of the grid outside the chord's ends with every width; only waves that point upwards.
    """
    low, high = float(grid[0]), float(grid[-1])
    places, numbers, waves = _above_chord(low, high) if isinstance(baseline, Chord) else _above(baseline, low, high)
    best = int(np.argmax(waves @ shape))
    place, apparent_n = float(places[best]), float(numbers[best])
    above = baseline.above(surface_confined_shape(grid, place, n=apparent_n))
    return place, apparent_n, float(waves[best] @ shape) / float(waves[best] @ above)


@lru_cache(maxsize=8)
def _candidates(low_V: float, high_V: float) -> tuple[FloatArray, FloatArray, FloatArray]:
    """(G,) places, (G,) apparent n and (G, n) surface-confined waves."""
    grid = _grid((low_V, high_V))
    span = high_V - low_V
    inner = grid[(grid > low_V + END_SHARE * span) & (grid < high_V - END_SHARE * span)]
    narrow = surface_confined_width() / APPARENT_N <= WIDEST_SHARE * span
    numbers = APPARENT_N[narrow] if narrow.any() else APPARENT_N[-1:]
    places, numbers = np.repeat(inner, numbers.size), np.tile(numbers, inner.size)
    return places, numbers, surface_confined_shape((grid[None, :] - places[:, None]) * numbers[:, None], 0.0)


@lru_cache(maxsize=8)
def _above_chord(low_V: float, high_V: float) -> tuple[FloatArray, FloatArray, FloatArray]:
    """The candidates above their chord, free of a parabola and of length 1."""
    grid = _grid((low_V, high_V))
    places, numbers, waves = _candidates(low_V, high_V)
    chord = make_chord(grid, (low_V, high_V))
    waves = waves - waves @ np.column_stack([chord.low, chord.high]) @ np.stack([1.0 - chord.place, chord.place])
    return places, numbers, _free_of(waves, chord.above((grid - grid.mean()) ** 2))


def _above(baseline: AnyBaseline, low_V: float, high_V: float) -> tuple[FloatArray, FloatArray, FloatArray]:
    """The candidates above any baseline, free of the power that it does not follow and of length 1."""
    grid = _grid((low_V, high_V))
    places, numbers, waves = _candidates(low_V, high_V)
    operator = np.stack([baseline.above(column) for column in np.eye(grid.size)])
    power = ((grid - grid.mean()) / (high_V - low_V)) ** bow_power(baseline)
    return places, numbers, _free_of(waves @ operator, baseline.above(power))


def _free_of(waves: FloatArray, bow: FloatArray) -> FloatArray:
    waves = waves - np.outer(waves @ bow / float(bow @ bow), bow)
    return np.asarray(waves / np.linalg.norm(waves, axis=1, keepdims=True), dtype=np.float64)
