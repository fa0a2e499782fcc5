"""Repeated cycles as a second look at the noise: known noise, cycles of their own scatter, drift, and one real file."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from invented import DEFINITION, NOISE_A, bell, known_wave, straight, trace_of

from brinemark.records.traces import parse_trace
from brinemark.science.curve.cycles import CYCLE_FACTOR, CYCLE_PROBABILITY, compare_cycles
from brinemark.science.curve.voltammetry import measure
from brinemark.science.curve.waves import learn_wave
from brinemark.terms.arrays import FloatArray
from brinemark.terms.curves import Flag, Signal, SignalDefinition, Trace

MEAN = replace(DEFINITION, cycle="mean")
UP_DOWN = np.concatenate([np.arange(0.30, 0.85, 0.001), np.arange(0.85, 0.30, -0.001)])
HEIGHT_A = 3e-8
DRIFTING_A: FloatArray = HEIGHT_A * np.linspace(1.0, 0.75, 6)
"""Every cycle lower by a twentieth of the first."""

TRACES = 300
BIAS_LIMIT_U = 0.2
TRUE_SHARE = 0.95
"""Share of |pull| below 2 for a normal error."""


def cycled(rng: np.random.Generator, heights_A: FloatArray) -> Trace:
    """A trace of complete cycles, the wave's height given for each, with white noise."""
    shape = bell(UP_DOWN) * (np.arange(UP_DOWN.size) < UP_DOWN.size // 2)
    current = np.concatenate([straight(UP_DOWN) + height * shape for height in heights_A])
    current += NOISE_A * rng.normal(size=current.size)
    return trace_of(current, np.tile(UP_DOWN, heights_A.size))


def cycle_flag(signal: Signal) -> Flag | None:
    return next((flag for flag in signal.flags if flag.name == "cycles"), None)


def test_cycles_that_differ_by_their_noise_alone_keep_u_and_are_rarely_flagged() -> None:
    rng, found, flagged = np.random.default_rng(20311), [], 0
    for _ in range(TRACES):
        signal = measure(cycled(rng, np.full(6, HEIGHT_A)), MEAN, known_wave())
        found.append((signal.value - HEIGHT_A) / signal.u)
        flagged += cycle_flag(signal) is not None
    assert abs(np.mean(found)) < BIAS_LIMIT_U
    assert 0.8 < np.std(found) < 1.05
    assert flagged / TRACES < 5 * CYCLE_PROBABILITY  # the residuals' own u is not exactly known


def test_cycles_with_a_scatter_of_their_own_get_its_u() -> None:
    """Five cycles whose heights scatter by twenty times the noise of one: u of the residuals would hold little."""
    rng, held, alone, flagged = np.random.default_rng(20312), 0, 0, 0
    for _ in range(TRACES):
        heights = HEIGHT_A + 4e-9 * rng.normal(size=6)
        signal = measure(cycled(rng, heights), MEAN, known_wave())
        held += abs(signal.value - HEIGHT_A) < 2 * signal.u
        single = measure(cycled(rng, np.full(6, heights[-1])), MEAN, known_wave())
        alone += abs(signal.value - HEIGHT_A) < 2 * single.u
        flag = cycle_flag(signal)
        flagged += flag is not None and flag.value > CYCLE_FACTOR
    students = 0.88  # of |t| < 2 with 4 degrees of freedom
    assert held / TRACES == pytest.approx(students, abs=3 * math.sqrt(0.88 * 0.12 / TRACES))
    assert alone / TRACES < 0.3
    assert flagged / TRACES > 0.95


def test_a_drift_from_cycle_to_cycle_is_told_and_held_by_u() -> None:
    rng, held = np.random.default_rng(20313), 0
    for _ in range(TRACES):
        heights = DRIFTING_A
        signal = measure(cycled(rng, heights), MEAN, known_wave())
        flag = cycle_flag(signal)
        assert flag is not None
        assert "drift one way" in flag.meaning
        held += abs(signal.value - heights[1:].mean()) < 2 * signal.u
    assert held / TRACES >= TRUE_SHARE


def test_one_cycle_of_many_keeps_its_own_u_but_tells_that_they_differ() -> None:
    rng = np.random.default_rng(20314)
    trace = cycled(rng, DRIFTING_A)
    last = measure(trace, DEFINITION, known_wave())
    alone = measure(trace_of(trace.current_A[-UP_DOWN.size :], UP_DOWN), DEFINITION, known_wave())
    assert (last.value, last.u) == pytest.approx((alone.value, alone.u), rel=1e-9)
    assert cycle_flag(last) is not None
    assert cycle_flag(alone) is None


@pytest.mark.parametrize("quantity", ["height", "charge", "potential", "width"])
def test_every_quantity_is_compared_between_cycles(quantity: str) -> None:
    rng, potential = np.random.default_rng(20315), np.tile(UP_DOWN, 5)
    current = np.concatenate(
        [straight(UP_DOWN) + h * bell(UP_DOWN, p, w) for h, p, w in zip(*spread(quantity), strict=True)]
    )
    trace = trace_of(current + NOISE_A * rng.normal(size=current.size), potential)
    quiet = trace_of(np.tile(current[: UP_DOWN.size], 5) + NOISE_A * rng.normal(size=current.size), potential)
    definition = replace(MEAN, quantity=quantity)
    assert cycle_flag(measure(trace, definition, known_wave(), 0.1)) is not None
    assert cycle_flag(measure(quiet, definition, known_wave(), 0.1)) is None


def spread(quantity: str) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Heights [A], places [V] and widths [V] of five cycles, of which one kind differs."""
    size = np.array([0.0, 1.0, -1.0, 1.0, -1.0])
    heights, places, widths = np.full(5, HEIGHT_A), np.full(5, 0.58), np.full(5, 0.0514)
    if quantity == "potential":
        return heights, places + 0.004 * size, widths
    if quantity == "width":
        return heights, places, widths * (1.0 + 0.05 * size)
    return heights * (1.0 + 0.1 * size), places, widths


def test_two_cycles_are_not_compared_and_the_first_of_three_is_left_out() -> None:
    rng = np.random.default_rng(20316)
    two = measure(cycled(rng, HEIGHT_A * np.array([1.0, 1.5])), MEAN, known_wave())
    first_differs = measure(cycled(rng, HEIGHT_A * np.array([3.0, 1.0, 1.0, 1.0])), MEAN, known_wave())
    assert cycle_flag(two) is None
    assert cycle_flag(first_differs) is None
    assert first_differs.value == pytest.approx(HEIGHT_A, abs=4 * first_differs.u)


def test_the_comparison_is_the_chi_square_of_the_textbook() -> None:
    """JCGM 100:2008, 4.2.3: s/sqrt(k); by scipy's distribution, four values of sd 1."""
    from scipy.stats import chi2

    values = np.array([-1.0, 1.0, -1.0, 1.0]) * math.sqrt(3.0) / 2.0
    u, flag = compare_cycles(values, 0.2, averaged=True)
    assert u == pytest.approx(0.5)
    assert flag is not None
    assert flag.value == pytest.approx(2.5)
    assert f"{chi2.sf(3 * 2.5**2, 3):.2g}" in flag.meaning
    kept, agreeing = compare_cycles(values * 1e-3, 0.2, averaged=True)
    assert kept == 0.2
    assert agreeing is not None
    assert agreeing.value < 1.0 / CYCLE_FACTOR
    assert compare_cycles(values[:1], 0.2, averaged=True) == (0.2, None)


@pytest.mark.real
def test_six_real_cycles_tell_their_drift(real_curves: Path) -> None:
    """The anodic peak falls from 133.4 to 130.4 uA over cycles 2 to 6, far beyond the noise of one."""
    data = (real_curves / "cv_ferrocene_cycles" / "ferrocene_6cycles_long.csv").read_bytes()
    trace = parse_trace(data, None, "long.csv")
    definition = SignalDefinition("height", "anodic", "mean", (-0.30, 0.20))
    wave = learn_wave([trace, trace, trace], definition)
    mean, last = (measure(trace, replace(definition, cycle=cycle), wave) for cycle in ("mean", "last"))
    for signal in (mean, last):
        flag = cycle_flag(signal)
        assert flag is not None
        assert flag.value > 5 * CYCLE_FACTOR
    assert mean.u_noise > 5 * last.u_noise
    assert mean.u < 0.02 * mean.value
