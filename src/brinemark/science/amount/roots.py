"""Roots of rising functions of one number, where every evaluation is dear."""

from __future__ import annotations

from collections.abc import Callable

MAX_STEPS = 100
FEW_STEPS = 8
NOTHING = 1e-10  # values of the function that count as zero


def rising_root(function: Callable[[float], float], low: float, high: float, tolerance: float) -> float:
    """Where a rising function with function(low) <= 0 <= function(high) is zero, to within tolerance.

    Regula falsi that halves the weight of an end kept twice (the "Illinois" rule, BIT 11 (1971) 168-174,
    doi 10.1007/BF01934364): about five evaluations where the function is nearly straight.
    """
    at_low, at_high = function(low), function(high)
    kept = 0
    for _ in range(MAX_STEPS):
        if high - low <= tolerance or at_high <= at_low:
            break
        guess = low + (high - low) * min(0.99, max(0.01, -at_low / (at_high - at_low)))
        value = function(guess)
        if value == 0.0:
            return guess
        if value < 0.0:
            low, at_low = guess, value
            at_high *= 0.5 if kept == 1 else 1.0
            kept = 1
        else:
            high, at_high = guess, value
            at_low *= 0.5 if kept == -1 else 1.0
            kept = -1
        if abs(value) < NOTHING:
            return guess
    return 0.5 * (low + high)


def root_near(function: Callable[[float], float], guess: float, slope: float) -> float | None:
    """Where a function that is nearly straight about a guess is zero, by secants; None where they do not find it.

    slope : about how steep it is, for the first step: four evaluations where the guess is good.
    """
    here, value = guess, function(guess)
    step = -value / slope
    for _ in range(FEW_STEPS):
        if abs(value) < NOTHING:
            return here
        before, there = value, here + step
        here, value = there, function(there)
        if value == before:
            break
        step = -value * step / (value - before)
    return None
