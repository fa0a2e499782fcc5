from __future__ import annotations

import math
import time
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from invented import (
    DEFINITION,
    NOISE_A,
    PLACE_V,
    WINDOW_V,
    bell,
    known_wave,
    make_noise,
    running_mean,
    straight,
    sweep_up,
    tailed,
    trace_of,
)

from brinemark.science.curve.electrode_theory import surface_confined_peak_from_charge, surface_confined_shape
from brinemark.science.curve.voltammetry import dissect, measure
from brinemark.terms.arrays import FloatArray
from brinemark.terms.curves import Signal, SignalDefinition, Trace, Wave
from brinemark.terms.errors import Refused

Measure = Callable[[Trace, SignalDefinition, Wave], Signal]
CURVES = 1000
BIAS_LIMIT_U = 0.2
PULL_SD = (0.9, 1.1)
ROUNDING = 1e-9
NOISES = ["white", "memory .5", "memory .8", "mean of 5", "mean of 11"]
MILD_TAIL_A = 2e-10
"""A tail whose sag under the chord moves the signal by a tenth of u: what a straight chord can carry unnoticed."""


def pulls(measure_fn: Measure, noise: str, background: FloatArray, heights_A: tuple[float, ...]) -> FloatArray:
    """(value - truth)/u of CURVES invented traces of the given background, heights taken in turn."""
    rng = np.random.default_rng(20261)
    potential = sweep_up()
    shape = bell(potential)
    found = []
    for k in range(CURVES):
        height = heights_A[k % len(heights_A)]
        current = background + height * shape + NOISE_A * make_noise(noise, rng, potential.size)
        signal = measure_fn(trace_of(current, potential), DEFINITION, known_wave())
        found.append((signal.value - height) / signal.u)
    return np.array(found)


def check_unbiased(measure_fn: Measure) -> None:
    """What a signal and its mutants are put to: curves without a wave, white noise, straight background."""
    got = pulls(measure_fn, "white", straight(sweep_up()), (0.0,))
    assert abs(got.mean()) < BIAS_LIMIT_U
    assert PULL_SD[0] < got.std() < PULL_SD[1]


def test_curves_without_a_wave_read_zero_on_average() -> None:
    check_unbiased(measure)


def test_a_clipped_zero_fails_the_same_check() -> None:
    def clipped(trace: Trace, definition: SignalDefinition, wave: Wave) -> Signal:
        signal = measure(trace, definition, wave)
        return replace(signal, value=max(signal.value, 0.0))

    with pytest.raises(AssertionError):
        check_unbiased(clipped)


def test_a_maximum_based_signal_fails_the_same_check() -> None:
    def largest(trace: Trace, definition: SignalDefinition, wave: Wave) -> Signal:
        parts = dissect(trace, definition, wave)
        return replace(parts.signal, value=float((parts.current_A - parts.baseline_A).max()))

    with pytest.raises(AssertionError):
        check_unbiased(largest)


def test_a_signal_on_a_wave_at_the_largest_place_fails_the_same_check() -> None:
    def follows(trace: Trace, definition: SignalDefinition, wave: Wave) -> Signal:
        places = (0.52, 0.58, 0.64)
        return max((measure(trace, definition, known_wave(place)) for place in places), key=lambda s: s.value)

    with pytest.raises(AssertionError):
        check_unbiased(follows)


@pytest.mark.parametrize("background", ["straight", "mildly curved"])
@pytest.mark.parametrize("noise", NOISES)
def test_pulls_have_no_bias_and_unit_sd(noise: str, background: str) -> None:
    potential = sweep_up()
    carried = straight(potential) if background == "straight" else tailed(potential, MILD_TAIL_A)
    got = pulls(measure, noise, carried, (0.0, 3e-10, 1e-9, 3e-8))
    assert abs(got.mean()) < BIAS_LIMIT_U
    assert PULL_SD[0] < got.std() < PULL_SD[1]


def test_u_stays_honest_on_curved_backgrounds_of_any_size() -> None:
    """A chord cannot follow a tail; whatever its size, 3 u hold the truth in 95 % and the pull stays below 2."""
    rng = np.random.default_rng(20262)
    potential = sweep_up()
    found = []
    for size in np.geomspace(1e-10, 1e-6, 400):
        current = tailed(potential, size) + NOISE_A * rng.normal(size=potential.size)
        signal = measure(trace_of(current, potential), DEFINITION, known_wave())
        found.append(signal.value / signal.u)
    assert np.mean(np.abs(found) <= 3.0) >= 0.95
    assert math.sqrt(np.mean(np.square(found))) < 2.0


@pytest.mark.parametrize("width", [5, 11, 21])
def test_smoothing_a_trace_does_not_make_it_more_certain(width: int) -> None:
    """A running mean leaves the slow noise that the signal feels; u of independent points would fall by sqrt(width)."""
    rng = np.random.default_rng(20263)
    potential = sweep_up(0.0005)
    ratios = []
    for _ in range(60):
        current = straight(potential) + 3e-8 * bell(potential) + NOISE_A * rng.normal(size=potential.size)
        rough = measure(trace_of(current, potential), DEFINITION, known_wave())
        fine = measure(trace_of(running_mean(current, width), potential), DEFINITION, known_wave())
        ratios.append(fine.u_noise / rough.u_noise)
    assert 0.8 < float(np.median(ratios)) < 1.25


def noisy_current(seed: int = 1) -> FloatArray:
    potential = sweep_up()
    return np.asarray(straight(potential) + 2e-9 * bell(potential) + NOISE_A * make_noise("white", _rng(seed), 551))


def _rng(seed: int) -> np.random.Generator:
    return np.random.default_rng(seed)


@pytest.mark.parametrize("quantity", ["height", "charge"])
def test_the_signal_is_linear_in_the_current(quantity: str) -> None:
    potential, definition = sweep_up(), replace(DEFINITION, quantity=quantity)
    first, second = noisy_current(1), noisy_current(2)

    def value(current: FloatArray) -> float:
        return measure(trace_of(current, potential), definition, known_wave(), 0.1).value

    assert value(2 * first - 3 * second) == pytest.approx(2 * value(first) - 3 * value(second), rel=ROUNDING)


def test_a_straight_line_more_or_less_changes_neither_value_nor_u() -> None:
    potential, current = sweep_up(), noisy_current()
    plain = measure(trace_of(current, potential), DEFINITION, known_wave())
    moved = measure(trace_of(current + 1e-7 - 3e-7 * potential, potential), DEFINITION, known_wave())
    assert (moved.value, moved.u) == pytest.approx((plain.value, plain.u), rel=1e-6)


def test_value_and_u_scale_with_the_current() -> None:
    potential, current = sweep_up(), noisy_current()
    plain = measure(trace_of(current, potential), DEFINITION, known_wave())
    large = measure(trace_of(1e6 * current, potential), DEFINITION, known_wave())
    assert (large.value, large.u) == pytest.approx((1e6 * plain.value, 1e6 * plain.u), rel=ROUNDING)


def test_a_cathodic_wave_on_a_cathodic_sweep_is_positive_and_an_anodic_one_negative() -> None:
    potential = sweep_up()[::-1].copy()
    cathodic = replace(DEFINITION, sweep="cathodic")
    down = straight(potential) - 3e-8 * bell(potential)
    up = straight(potential) + 3e-8 * bell(potential)
    assert measure(trace_of(down, potential), cathodic, known_wave()).value == pytest.approx(3e-8, rel=1e-4)
    assert measure(trace_of(up, potential), cathodic, known_wave()).value == pytest.approx(-3e-8, rel=1e-4)


def test_a_negative_wave_is_read_as_negative() -> None:
    potential = sweep_up()
    signal = measure(trace_of(straight(potential) - 3e-8 * bell(potential), potential), DEFINITION, known_wave())
    assert signal.value == pytest.approx(-3e-8, rel=1e-4)


def test_the_order_of_the_wave_and_what_lies_outside_the_window_do_not_matter() -> None:
    potential = sweep_up()
    current = straight(potential) + 3e-8 * bell(potential)
    outside = current + np.where((potential < 0.395) | (potential > 0.765), 1e-5, 0.0)
    plain = measure(trace_of(current, potential), DEFINITION, known_wave())
    assert measure(trace_of(outside, potential), DEFINITION, known_wave()).value == pytest.approx(plain.value)


def narrow_wave(n: float) -> tuple[Wave, FloatArray, FloatArray]:
    potential, grid = sweep_up(0.0005), np.linspace(*WINDOW_V, 721)
    shape = surface_confined_shape(potential, PLACE_V, n=n)
    return Wave(grid, surface_confined_shape(grid, PLACE_V, n=n), PLACE_V, "theoretical", 0), potential, shape


@pytest.mark.parametrize("with_time", [True, False])
def test_charge_is_the_area_of_a_surface_wave(with_time: bool) -> None:
    """i_peak = n F Q v/4RT (outside equation, in electrode_theory), so a wave of that height holds Q."""
    charge_C, scan_rate, n = 2e-7, 0.1, 2.0
    wave, potential, shape = narrow_wave(n)
    height = float(surface_confined_peak_from_charge(charge_C, scan_rate, n))
    time_s = (potential - potential[0]) / scan_rate if with_time else None
    trace = Trace(potential, straight(potential) + height * shape, time_s)
    signal = measure(trace, replace(DEFINITION, quantity="charge"), wave, None if with_time else scan_rate)
    assert signal.unit == "C"
    feet_under_the_chord = 1e-3
    assert signal.value == pytest.approx(charge_C, rel=feet_under_the_chord)


def test_charge_of_a_cathodic_sweep_has_the_sign_of_its_height() -> None:
    wave, potential, shape = narrow_wave(2.0)
    back = potential[::-1].copy()
    time_s = (back[0] - back) / 0.1
    definition = SignalDefinition("charge", "cathodic", "last", WINDOW_V)
    assert measure(Trace(back, -1e-8 * shape[::-1], time_s), definition, wave).value > 0.0


def test_pulls_of_the_charge_have_no_bias_and_unit_sd() -> None:
    definition = replace(DEFINITION, quantity="charge")
    got = pulls(lambda t, _, w: measure(t, definition, w, 0.1), "memory .5", straight(sweep_up()), (0.0,))
    assert abs(got.mean()) < BIAS_LIMIT_U
    assert PULL_SD[0] < got.std() < PULL_SD[1]


@pytest.mark.parametrize("shift_V", [-0.02, 0.0, 0.012])
def test_the_place_of_a_present_wave_is_found_with_its_u(shift_V: float) -> None:
    rng = np.random.default_rng(20264)
    potential, definition = sweep_up(), replace(DEFINITION, quantity="potential")
    found = []
    for _ in range(300):
        current = straight(potential) + 2e-8 * bell(potential, PLACE_V + shift_V)
        trace = trace_of(current + NOISE_A * rng.normal(size=potential.size), potential)
        signal = measure(trace, definition, known_wave())
        found.append((signal.value - PLACE_V - shift_V) / signal.u)
    monte_carlo_error = 3 / math.sqrt(2 * len(found))
    assert abs(np.mean(found)) < BIAS_LIMIT_U
    assert abs(np.std(found) - 1.0) < 0.1 + monte_carlo_error


def test_without_a_wave_the_place_is_the_expected_one_and_flagged() -> None:
    potential = sweep_up()
    current = straight(potential) + NOISE_A * _rng(5).normal(size=potential.size)
    signal = measure(trace_of(current, potential), replace(DEFINITION, quantity="potential"), known_wave())
    assert signal.value == PLACE_V
    assert [flag.name for flag in signal.flags] == ["no wave"]
    assert signal.u > 0.05


def test_a_dissection_adds_up_and_its_residual_holds_no_wave() -> None:
    potential, current = sweep_up(), noisy_current()
    parts = dissect(trace_of(current, potential), DEFINITION, known_wave())
    assert parts.baseline_A + parts.wave_A + parts.residual_A == pytest.approx(parts.current_A, rel=ROUNDING)
    assert parts.signal == measure(trace_of(current, potential), DEFINITION, known_wave())
    left = measure(Trace(parts.potential_V, parts.residual_A), DEFINITION, known_wave())
    assert abs(left.value) < 1e-6 * abs(parts.signal.value)


def test_a_dissection_of_a_cathodic_sweep_keeps_the_sign_of_the_current() -> None:
    potential = sweep_up()[::-1].copy()
    trace = trace_of(-5e-8 - 3e-8 * bell(potential), potential)
    parts = dissect(trace, replace(DEFINITION, sweep="cathodic"), known_wave())
    assert parts.wave_A.min() == pytest.approx(-3e-8, rel=0.05)
    assert parts.current_A == pytest.approx(-5e-8 - 3e-8 * bell(parts.potential_V))


def test_a_single_spike_is_left_out_and_said() -> None:
    potential, current = sweep_up(), noisy_current()
    spiked = current.copy()
    spiked[int(np.argmin(np.abs(potential - 0.41)))] += 1e-6
    plain = measure(trace_of(current, potential), DEFINITION, known_wave())
    signal = measure(trace_of(spiked, potential), DEFINITION, known_wave())
    assert abs(signal.value - plain.value) < 0.2 * plain.u
    assert ("spikes", 1.0) in [(flag.name, flag.value) for flag in signal.flags]


@pytest.mark.parametrize(
    ("definition", "expected"),
    [
        (replace(DEFINITION, quantity="charge"), "scan rate"),
        (replace(DEFINITION, quantity="depth"), "quantity 'depth'"),
        (replace(DEFINITION, baseline="spline"), "baseline 'spline'"),
        (replace(DEFINITION, window_V=(0.33, 0.80)), "wave known from 0.4 to 0.76 V"),
        (replace(DEFINITION, sweep="cathodic"), "without cathodic sweep"),
    ],
)
def test_what_cannot_be_read_is_refused(definition: SignalDefinition, expected: str) -> None:
    with pytest.raises(Refused, match=expected):
        measure(trace_of(noisy_current(), sweep_up()), definition, known_wave())


def test_a_hundred_long_traces_take_well_under_a_second_of_work() -> None:
    potential = np.concatenate([np.linspace(0.0, 0.9, 1000), np.linspace(0.9, 0.0, 1000)])
    traces = [trace_of(_rng(k).normal(size=2000), potential) for k in range(100)]
    before = time.process_time()
    for trace in traces:
        measure(trace, DEFINITION, known_wave())
    assert time.process_time() - before < 1.0
