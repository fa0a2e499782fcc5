from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from invented import DEFINITION, NOISE_A, PLACE_V, WINDOW_V, bell, straight, sweep_up, tailed, trace_of

from brinemark.science.curve.electrode_theory import surface_confined_shape
from brinemark.science.curve.voltammetry import measure
from brinemark.science.curve.waves import GRID_STEP_V, learn_wave, theoretical_wave
from brinemark.terms.arrays import FloatArray
from brinemark.terms.curves import SignalDefinition, Trace, Wave
from brinemark.terms.errors import Refused

HEIGHTS_A = (0.0, 0.0, 5e-9, 1e-8, 3e-8, 6e-8, 1e-7, 1.2e-7)


def lopsided(potential_V: FloatArray) -> FloatArray:
    """A wave that no surface-confined shape fits: a second site, lower by 45 mV and half as high; about height 1."""
    return np.asarray(0.9 * (bell(potential_V, 0.59, 0.045) + 0.5 * bell(potential_V, 0.545, 0.045)))


def standards(
    shape: FloatArray, noise_A: float = NOISE_A, heights_A: tuple[float, ...] = HEIGHTS_A, seed: int = 4
) -> list[Trace]:
    rng = np.random.default_rng(seed)
    potential = sweep_up()
    noise = [noise_A * rng.normal(size=potential.size) for _ in heights_A]
    return [trace_of(straight(potential) + h * shape + e, potential) for h, e in zip(heights_A, noise, strict=True)]


def misfit(wave: Wave, truth: FloatArray) -> float:
    """Largest distance from the truth, a shape on the wave's grid, both above their chords and at height 1."""
    both = []
    for values in (wave.shape, truth):
        low, high = values[:22].mean(), values[-22:].mean()
        above = values - low - (high - low) * np.linspace(-0.06, 1.06, values.size)
        both.append(above / above.max())
    return float(np.abs(both[0] - both[1]).max())


def test_the_theoretical_wave_is_a_surface_wave_in_the_middle_of_the_window() -> None:
    wave = theoretical_wave(DEFINITION)
    assert (wave.source, wave.traces) == ("theoretical", 0)
    assert wave.place_V == pytest.approx(0.58)
    assert np.diff(wave.potential_V) == pytest.approx(GRID_STEP_V)
    assert (wave.potential_V[0], wave.potential_V[-1]) == pytest.approx(WINDOW_V)
    assert wave.shape == pytest.approx(surface_confined_shape(wave.potential_V, 0.58))


def test_an_empty_window_is_refused() -> None:
    with pytest.raises(Refused, match="low below high"):
        theoretical_wave(replace(DEFINITION, window_V=(0.5, 0.5)))


@pytest.mark.parametrize("place", [0.52, 0.577, 0.63])
def test_a_surface_wave_is_learned_where_it_stands(place: float) -> None:
    wave = learn_wave(standards(bell(sweep_up(), place)), DEFINITION)
    assert (wave.source, wave.traces) == ("learned", 6)
    assert wave.place_V == pytest.approx(place, abs=0.002)
    assert misfit(wave, bell(wave.potential_V, place)) < 0.02


def test_a_learned_wave_is_a_wave_of_height_one_at_its_place() -> None:
    wave = learn_wave(standards(lopsided(sweep_up())), DEFINITION)
    assert float(np.interp(wave.place_V, wave.potential_V, wave.shape)) == pytest.approx(1.0, abs=1e-3)
    assert wave.shape.max() <= 1.001
    assert (np.diff(wave.potential_V) > 0).all()


def test_a_shape_that_theory_does_not_know_is_learned_better_than_theory_has_it() -> None:
    wave = learn_wave(standards(lopsided(sweep_up())), DEFINITION)
    truth = lopsided(wave.potential_V)
    theory = min(
        (Wave(wave.potential_V, bell(wave.potential_V, p, w), p, "theoretical", 0) for p in np.arange(0.55, 0.6, 0.005)
         for w in np.arange(0.04, 0.09, 0.005)),
        key=lambda candidate: misfit(candidate, truth),
    )  # fmt: skip
    assert misfit(wave, truth) < 0.5 * misfit(theory, truth)


def test_noise_of_few_standards_is_not_learned_as_shape() -> None:
    """Three noisy standards: the rough part of what is learned stays far below the noise of their mean."""
    heights = (6e-9, 8e-9, 1e-8)
    wave = learn_wave(standards(bell(sweep_up()), heights_A=heights), DEFINITION)
    assert wave.source == "learned"
    noise_of_mean = NOISE_A / np.linalg.norm(heights)
    rough = wave.shape - bell(wave.potential_V, wave.place_V)
    assert np.abs(np.diff(rough)).max() < 0.2 * noise_of_mean
    assert misfit(wave, bell(wave.potential_V)) < noise_of_mean


def test_blanks_in_any_number_do_not_change_the_wave_much() -> None:
    few = learn_wave(standards(bell(sweep_up())), DEFINITION)
    many = learn_wave(standards(bell(sweep_up()), heights_A=HEIGHTS_A + (0.0,) * 20), DEFINITION)
    assert many.place_V == pytest.approx(few.place_V, abs=0.001)
    assert np.abs(many.shape - few.shape).max() < 0.01


def test_one_wild_trace_does_not_bend_the_wave() -> None:
    traces = standards(bell(sweep_up()))
    wild = trace_of(straight(sweep_up()) + 1e-7 * bell(sweep_up(), 0.46, 0.02), sweep_up())
    wave = learn_wave([*traces, wild], DEFINITION)
    assert wave.place_V == pytest.approx(PLACE_V, abs=0.005)


def test_the_background_of_blanks_is_taken_off() -> None:
    potential = sweep_up()
    background = tailed(potential, 1e-7)
    rng = np.random.default_rng(6)
    traces, blanks = (
        [trace_of(background + h * bell(potential) + NOISE_A * rng.normal(size=potential.size), potential) for h in hs]
        for hs in ((5e-9, 1e-8, 2e-8, 3e-8), (0.0,) * 4)
    )
    truth = bell(theoretical_wave(DEFINITION).potential_V)
    assert misfit(learn_wave(traces, DEFINITION, blanks), truth) < 0.05
    assert misfit(learn_wave(traces, DEFINITION), truth) > 0.05


@pytest.mark.parametrize("count", [1, 2])
def test_one_or_two_standards_give_the_theoretical_shape_at_their_place(count: int) -> None:
    traces = standards(bell(sweep_up(), 0.61), heights_A=(1e-7,) * count)
    wave = learn_wave(traces, DEFINITION)
    assert (wave.source, wave.traces) == ("theoretical", count)
    assert wave.place_V == pytest.approx(0.61, abs=GRID_STEP_V)
    assert wave.shape == pytest.approx(surface_confined_shape(wave.potential_V, wave.place_V))


@pytest.mark.parametrize("traces", [[], standards(bell(sweep_up()), heights_A=(0.0,) * 5)])
def test_without_a_wave_in_any_trace_the_wave_is_the_theoretical_one(traces: list[Trace]) -> None:
    wave = learn_wave(traces, DEFINITION)
    assert (wave.source, wave.traces) == ("theoretical", 0)
    assert wave.place_V == pytest.approx(0.58)


def test_traces_without_the_sweep_are_left_out() -> None:
    short = Trace(np.linspace(0.3, 0.5, 100), np.zeros(100))
    assert learn_wave([short, *standards(bell(sweep_up()))], DEFINITION).traces == 6


def test_a_cathodic_wave_is_learned_upwards() -> None:
    back = sweep_up()[::-1].copy()
    definition = SignalDefinition("height", "cathodic", "last", WINDOW_V)
    traces = [trace_of(1e-8 - h * bell(back, 0.6), back) for h in HEIGHTS_A]
    wave = learn_wave(traces, definition)
    assert wave.place_V == pytest.approx(0.6, abs=0.002)
    assert measure(traces[-1], definition, wave).value == pytest.approx(HEIGHTS_A[-1], rel=0.02)


def test_a_coarse_grid_of_5_mV_teaches_the_same_wave() -> None:
    potential = sweep_up(0.005)
    rng = np.random.default_rng(9)
    traces = [
        trace_of(straight(potential) + h * bell(potential) + NOISE_A * rng.normal(size=potential.size), potential)
        for h in HEIGHTS_A
    ]
    wave = learn_wave(traces, DEFINITION)
    assert misfit(wave, bell(wave.potential_V)) < 0.03


@pytest.mark.parametrize(("level", "slope"), [(0.0, 0.0), (1e-7, 0.0), (1e-7, 3e-7)])
def test_currents_without_any_shape_teach_nothing(level: float, slope: float) -> None:
    flat = [trace_of(level + slope * sweep_up(), sweep_up())] * 4
    assert learn_wave(flat, DEFINITION).source == "theoretical"


def test_a_tail_at_the_windows_end_is_not_learned_as_a_wave() -> None:
    potential = sweep_up()
    traces = [trace_of(h * np.exp((potential - 0.76) / 0.02) + 1e-8, potential) for h in HEIGHTS_A[2:]]
    wave = learn_wave(traces, DEFINITION)
    assert 0.44 < wave.place_V < 0.72
    assert wave.shape.argmax() not in (0, wave.shape.size - 1)
