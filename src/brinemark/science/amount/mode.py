"""The mode of a log density: quasi-Newton steps with gradients by differences, as few evaluations as will do."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from brinemark.terms.arrays import FloatArray

STEP = 1e-4  # of the differences, in units of scale
GAIN = 1e-4  # of twice the log density still expected: the mode is nearer than .01 of a posterior sd
MOST_STEPS, MOST_HALVINGS = 200, 12
FARTHEST_STEP = 2.0  # of any parameter at once, in units of scale
SUFFICIENT = 1e-4  # share of the expected gain that a step has to bring


class Near(Protocol):
    """A density that is cheap and smooth for parameters close to a center (posterior.py)."""

    def near(self, center: FloatArray) -> Callable[[FloatArray], FloatArray]:
        """(D,) for parameters (D, P) close to center (P,)."""


@dataclass(frozen=True, slots=True, eq=False)
class _Point:
    """A place (P,), the log density there, its gradient (P,) and negative second derivatives (P,) by units of scale."""

    place: FloatArray
    value: float
    gradient: FloatArray
    bends: FloatArray

    @classmethod
    def at(cls, target: Near, place: FloatArray, scale: FloatArray) -> _Point:
        """Gradient and second derivatives by central differences; a place without density has value -inf."""
        unit = STEP * np.eye(place.size)
        values = target.near(place)(place + scale * np.concatenate([np.zeros((1, place.size)), unit, -unit]))
        if not np.isfinite(values).all():
            return cls(place, -np.inf, np.zeros_like(place), np.ones_like(place))
        up, down = np.split(values[1:], 2)
        return cls(place, float(values[0]), (up - down) / (2.0 * STEP), (2.0 * values[0] - up - down) / STEP**2)

    def first_inverse(self) -> FloatArray:
        """Inverse of the curvature, each parameter for itself; at least the prior's, which is 1."""
        return np.diag(1.0 / np.maximum(self.bends, 1.0))


def find_mode(target: Near, start: FloatArray, scale: FloatArray) -> FloatArray:
    """Mode of the density by BFGS steps in units of scale (P,), until they promise less than GAIN.

    The first curvature is that of each parameter for itself, so that a narrow density needs no more steps than a wide
    one; where a step cannot be made to climb, once more from there, and then the place is good enough.
    """
    here = _Point.at(target, start, scale)
    inverse, fresh = here.first_inverse(), True
    for _ in range(MOST_STEPS):
        step = inverse @ here.gradient
        if here.gradient @ step < GAIN:
            break
        there = _climbed(target, here, step, scale)
        if there is None:
            if fresh:
                break
            inverse, fresh = here.first_inverse(), True
            continue
        inverse, fresh = _updated(inverse, (there.place - here.place) / scale, here.gradient - there.gradient), False
        here = there
    return here.place


def recentred(target: Near, mode: FloatArray, root: FloatArray, scale: FloatArray) -> FloatArray:
    """One Newton step from about the mode with the curvature there, kept where it climbs; root (P, P) of its inverse.

    What find_mode takes for the curvature may be wrong by much along a ridge, and so what it takes for near.
    """
    here = _Point.at(target, mode, scale)
    there = mode + root @ (root.T @ (here.gradient / scale))
    return there if float(target.near(mode)(there[None])[0]) > here.value else mode


def _climbed(target: Near, here: _Point, step: FloatArray, scale: FloatArray) -> _Point | None:
    """The first point along the step, halved again and again, at which the density has risen enough."""
    length = min(1.0, FARTHEST_STEP / float(np.abs(step).max()))
    slope = float(here.gradient @ step)
    for _ in range(MOST_HALVINGS):
        there = _Point.at(target, here.place + scale * length * step, scale)
        if there.value >= here.value + SUFFICIENT * length * slope:
            return there
        length *= 0.5 if not np.isfinite(there.value) else _shorter(here.value - there.value, length * slope)
    return None


def _shorter(lost: float, promised: float) -> float:
    """Where the parabola through both values has its top, as a share of the step, within a tenth and a half."""
    return float(np.clip(0.5 * promised / (lost + promised), 0.1, 0.5))


def _updated(inverse: FloatArray, step: FloatArray, change: FloatArray) -> FloatArray:
    """The BFGS formula; step (P,), change (P,) of the negative gradient. Left alone where not concave."""
    along = float(step @ change)
    if along <= 1e-8 * float(np.linalg.norm(step) * np.linalg.norm(change)):
        return inverse
    turned = np.eye(step.size) - np.outer(step, change) / along
    return np.asarray(turned @ inverse @ turned.T + np.outer(step, step) / along)
