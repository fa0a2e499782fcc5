"""Repeated cycles: the scatter of a signal between them as a second look at its noise."""

from __future__ import annotations

import math

from brinemark.science.distributions import chi_square_above, chi_square_below
from brinemark.terms.arrays import FloatArray
from brinemark.terms.curves import Flag

CYCLE_FACTOR = 1.5
"""Scatter between cycles over the noise of the residuals, or the other way round, that is worth a remark ..."""

CYCLE_PROBABILITY = 0.01
"""... when chance alone would give it less often than this (both our choice)."""


def compare_cycles(values: FloatArray, u_noise: float, averaged: bool) -> tuple[float, Flag | None]:
    """The u_noise to use, and a flag when cycles and residuals contradict each other.

    values : (k,) the signal of each cycle; u_noise : of the signal, which is their mean when `averaged`, else that of
    one cycle. s is their standard deviation, s/sqrt(k) that of the mean; (k - 1) times its square over u_noise^2 is
    chi-square with k - 1 degrees of freedom when both say the same. A mean takes the larger of the two, since cycles
    that differ by more than their noise have a scatter of their own; one cycle keeps its u. Nothing for fewer than two.
    """
    if values.size < 2 or not u_noise > 0.0:
        return u_noise, None
    between = float(values.std(ddof=1)) / (math.sqrt(values.size) if averaged else 1.0)
    flag = _contradiction(between / u_noise, values)
    return (max(u_noise, between) if averaged else u_noise), flag


def _contradiction(ratio: float, values: FloatArray) -> Flag | None:
    freedom = values.size - 1
    beyond = (chi_square_above if ratio > 1.0 else chi_square_below)(freedom * ratio**2, freedom)
    if 1.0 / CYCLE_FACTOR <= ratio <= CYCLE_FACTOR or beyond >= CYCLE_PROBABILITY:
        return None
    if ratio < 1.0:
        meaning = f"cycles agree better than the noise of the residuals allows, probability {beyond:.2g}"
        return Flag("cycles", ratio, 1.0 / CYCLE_FACTOR, meaning)
    steps = values[1:] - values[:-1]
    way = "drift one way" if bool((steps > 0.0).all() or (steps < 0.0).all()) and steps.size > 1 else "differ"
    meaning = f"cycles {way} by more than the noise of the residuals, probability {beyond:.2g}"
    return Flag("cycles", ratio, CYCLE_FACTOR, meaning)
