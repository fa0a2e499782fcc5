"""The straight baseline of a window, and signals as fixed weights on the current above it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np

from brinemark.terms.arrays import BoolArray, FloatArray
from brinemark.terms.errors import Refused

END_SHARE = 0.12
"""Share of the window at either end whose mean current carries the chord (common practice, no source)."""

SPIKE_LIMIT = 12.0
"""A point this many robust standard deviations from the median of its five neighbours is a spike (our choice) ..."""

SPIKE_SHARE = 0.25
"""... if it is also this share of the window's current range away: the summit of a wave is none, however fine."""

MAD_TO_SD = 1.4826
"""Standard deviation over median absolute deviation of a normal distribution, 1/0.67449."""


class Baseline(Protocol):
    """A baseline that is a linear operator on the current, whichever its form."""

    def above(self, current: FloatArray) -> FloatArray: ...

    def transposed(self, weights: FloatArray) -> FloatArray: ...


@dataclass(frozen=True, slots=True, eq=False)
class Chord:
    """The line through (mean potential, mean current) of the two ends.

    low, high : (m,) weights that give the mean over either end, each summing to 1;
    place : (m,) 0 at the low end's mean potential, 1 at the high end's.
    """

    low: FloatArray
    high: FloatArray
    place: FloatArray

    def line(self, current: FloatArray) -> FloatArray:
        """The chord of a current (m,), at every point of the window."""
        start, stop = float(self.low @ current), float(self.high @ current)
        return np.asarray(start + self.place * (stop - start), dtype=np.float64)

    def above(self, current: FloatArray) -> FloatArray:
        """C y = y - line(y): the current above its chord; a linear operator with C C = C."""
        return np.asarray(current - self.line(current), dtype=np.float64)

    def transposed(self, weights: FloatArray) -> FloatArray:
        """C^T p: the weights on the raw current that do what p does to the current above the chord."""
        total, moment = float(weights.sum()), float(weights @ self.place)
        return np.asarray(weights - self.low * (total - moment) - self.high * moment, dtype=np.float64)


def without_spikes(current: FloatArray) -> tuple[FloatArray, int]:
    """Current (m,) with one- and two-point spikes replaced by the median of five neighbours, and their number.

    The only place where the current decides about its own weight; after it every signal is linear.
    """
    padded = np.pad(current, 2, mode="reflect")
    level = np.median(np.lib.stride_tricks.sliding_window_view(padded, 5), axis=1)
    distance = np.abs(current - level)
    limit = max(SPIKE_LIMIT * MAD_TO_SD * float(np.median(distance)), SPIKE_SHARE * float(np.ptp(level)))
    spikes = distance > limit
    return np.asarray(np.where(spikes, level, current), dtype=np.float64), int(spikes.sum())


def make_chord(potential_V: FloatArray, window_V: tuple[float, float]) -> Chord:
    """Chord of the window [V] on points potential_V (m,), which may reach beyond it.

    Raises Refused when an end of the window holds no point, so that no chord can be drawn.
    """
    width = END_SHARE * (window_V[1] - window_V[0])
    low = _end_weights((potential_V >= window_V[0]) & (potential_V <= window_V[0] + width))
    high = _end_weights((potential_V <= window_V[1]) & (potential_V >= window_V[1] - width))
    start, stop = float(low @ potential_V), float(high @ potential_V)
    return Chord(low, high, np.asarray((potential_V - start) / (stop - start), dtype=np.float64))


def _end_weights(end: BoolArray) -> FloatArray:
    if not end.any():
        raise Refused(
            "a window with no point in one of its ends",
            f"points in the outer {END_SHARE:.0%} on either side",
            "widen window_V or record smaller steps",
        )
    return np.asarray(end / int(end.sum()), dtype=np.float64)


def height_weights(baseline: Baseline, shape: FloatArray, inside: BoolArray) -> FloatArray:
    """Weights g (m,) whose product with the current is the height of a wave of this shape.

    Least squares of C y on C w over the points `inside`: s = (Cw . Cy)/(Cw . Cw) = g . y, so that g . w = 1
    and g gives 0 for every baseline: a straight line for a chord.
    """
    above = np.where(inside, baseline.above(shape), 0.0)
    return baseline.transposed(above / float(above @ above))


def time_weights(seconds: FloatArray, inside: BoolArray) -> FloatArray:
    """Weights (m,) [s] whose product with a current [A] is its charge [C]: trapezoids in time (m,) [s]."""
    steps = np.where(inside[1:] & inside[:-1], np.abs(np.diff(seconds)), 0.0) / 2
    trapezoids = np.zeros(seconds.size)
    trapezoids[:-1] += steps
    trapezoids[1:] += steps
    return trapezoids


def charge_weights(baseline: Baseline, seconds: FloatArray, inside: BoolArray) -> FloatArray:
    """Weights whose product with the current [A] is the charge [C] above the baseline, trapezoids in time (m,) [s]."""
    return baseline.transposed(time_weights(seconds, inside))


def beside_weights(baseline: Baseline, shape: FloatArray, other: FloatArray, inside: BoolArray) -> FloatArray:
    """Weights of the amount of `shape` when `other` (both (m,)) is fitted beside it, both above their baselines."""
    above, aside = np.where(inside, baseline.above(shape), 0.0), np.where(inside, baseline.above(other), 0.0)
    alone = above - aside * (float(aside @ above) / float(aside @ aside))
    return baseline.transposed(alone / float(alone @ above))
