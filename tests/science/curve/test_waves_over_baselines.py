"""The wave is learned above the baseline that reads it: bows that differ between traces would bend it otherwise."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from invented import DEFINITION, NOISE_A, WINDOW_V, bell, straight, sweep_up, trace_of

from brinemark.science.curve.chosen_baseline import make_baseline
from brinemark.science.curve.voltammetry import measure
from brinemark.science.curve.waves import learn_wave
from brinemark.terms.arrays import FloatArray
from brinemark.terms.curves import Trace, Wave

RUNS, TRACES = 10, 12
BOW_A = 1e-8
"""Standard deviation of the bows at the window's ends, half of a typical wave."""

BETTER = 0.7
"""Learned above its own baseline the shape is off by at most this share of what it is when learned above chords."""

GRID = np.linspace(*WINDOW_V, 181)


def bowed_traces(seed: int) -> list[Trace]:
    """Standards on backgrounds that bow up or down, each by its own amount."""
    rng, potential = np.random.default_rng(seed), sweep_up()
    place = ((potential - 0.58) / 0.18) ** 2
    return [
        trace_of(
            straight(potential)
            + BOW_A * rng.normal() * place
            + height * bell(potential)
            + NOISE_A * rng.normal(size=potential.size),
            potential,
        )
        for height in NOISE_A * rng.uniform(5.0, 40.0, TRACES)
    ]


def distance(wave: Wave, baseline: str) -> float:
    """Largest distance from the true shape, both above the baseline and with largest value 1."""
    own = make_baseline(baseline, GRID, WINDOW_V, bell(GRID))
    learned, true = own.above(wave.shape), own.above(bell(GRID))
    return float(np.abs(learned / learned.max() - true / true.max()).max())


@pytest.mark.parametrize("baseline", ["polynomial", "whittaker"])
def test_the_shape_is_closer_to_the_truth_when_learned_above_its_own_baseline(baseline: str) -> None:
    off: dict[str, list[float]] = {"chord": [], baseline: []}
    for seed in range(RUNS):
        traces = bowed_traces(seed)
        for taught, found in off.items():
            found.append(distance(learn_wave(traces, replace(DEFINITION, baseline=taught)), baseline))
    assert np.mean(off[baseline]) < BETTER * np.mean(off["chord"])


@pytest.mark.parametrize("baseline", ["polynomial", "whittaker"])
def test_signals_read_with_it_keep_their_scale_from_lesson_to_lesson(baseline: str) -> None:
    """Heights of one clean wave by ten lessons scatter by a few percent; above a chord's shape by up to a half."""
    potential, definition = sweep_up(), replace(DEFINITION, baseline=baseline)
    clean = trace_of(straight(potential) + 3e-8 * bell(potential), potential)
    found = np.array([measure(clean, definition, learn_wave(bowed_traces(k), definition)).value for k in range(RUNS)])
    assert found.mean() == pytest.approx(3e-8, rel=0.1)
    assert found.std() < 0.06 * found.mean()


@pytest.mark.parametrize("baseline", ["polynomial", "whittaker"])
def test_on_straight_backgrounds_every_baseline_teaches_the_same_wave(baseline: str) -> None:
    potential, rng = sweep_up(), np.random.default_rng(77)

    def current(height: float) -> FloatArray:
        return straight(potential) + height * bell(potential) + 1e-2 * NOISE_A * rng.normal(size=potential.size)

    traces = [trace_of(current(height), potential) for height in np.linspace(5e-9, 4e-8, 8)]
    learned = learn_wave(traces, replace(DEFINITION, baseline=baseline))
    step_of_the_grid = 0.002
    assert learned.place_V == pytest.approx(0.58, abs=step_of_the_grid)
    smoothing_widens_it = 0.02
    assert distance(learned, baseline) < smoothing_widens_it
