"""Smooth curves through a few points, and where they fall to a value."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from brinemark.science.amount.roots import rising_root
from brinemark.terms.arrays import FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class SmoothCurve:
    """Piecewise cubic through points (n,) at rising places (n,), slopes by the parabola through three neighbours;
    constant beyond the ends."""

    place: FloatArray
    value: FloatArray
    slope: FloatArray

    @classmethod
    def through(cls, place: FloatArray, value: FloatArray) -> SmoothCurve:
        """A curve through two points or more is smooth; one point gives a constant."""
        if place.size < 2:
            return cls(place, value, np.zeros_like(value))
        return cls(place, value, _slopes(place, value))

    def at(self, place: FloatArray) -> FloatArray:
        """Values (m,) at places (m,)."""
        if self.place.size < 2:
            return np.full(np.shape(place), float(self.value[0]))
        x = np.minimum(np.maximum(place, self.place[0]), self.place[-1])
        i = self.place[1:-1].searchsorted(x, side="right")
        start, left, right = self.place[i], self.value[i], self.value[i + 1]
        width = self.place[i + 1] - start
        t = (x - start) / width
        rise, rest = right - left, 1.0 - t
        bend = width * self.slope[i] - rise
        other = rise - width * self.slope[i + 1]
        return np.asarray(rest * left + t * right + t * rest * (rest * bend + t * other))

    def falls_to(self, target: float, tolerance: float) -> float | None:
        """Place where a falling curve first reaches target: the first place if it starts there or below, None if it
        stays above."""
        if self.value[0] <= target:
            return float(self.place[0])
        if self.value[-1] > target:
            return None
        i = int(np.argmax(self.value <= target))
        start, width = float(self.place[i - 1]), float(self.place[i] - self.place[i - 1])
        left, right = float(self.value[i - 1]), float(self.value[i])
        rise = right - left
        bend, other = width * float(self.slope[i - 1]) - rise, rise - width * float(self.slope[i])

        def short(t: float) -> float:
            return target - ((1.0 - t) * left + t * right + t * (1.0 - t) * ((1.0 - t) * bend + t * other))

        return start + width * rising_root(short, 0.0, 1.0, tolerance)


def _slopes(place: FloatArray, value: FloatArray) -> FloatArray:
    """Slopes (n,) of the parabolas through three neighbours each, at the ends of the last three; of a line for two."""
    step = place[1:] - place[:-1]
    rise = (value[1:] - value[:-1]) / step
    if rise.size == 1:
        return np.array([rise[0], rise[0]])
    left, right = step[:-1], step[1:]
    bend = (rise[1:] - rise[:-1]) / (left + right)
    inner = rise[:-1] + left * bend
    return np.concatenate([rise[:1] - left[:1] * bend[:1], inner, rise[-1:] + right[-1:] * bend[-1:]])
