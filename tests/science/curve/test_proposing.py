"""Windows from curves of known levels: a known wave is found, a film's own wave is not, and units do not matter."""

from __future__ import annotations

import numpy as np
import pytest
from invented import PLACE_V, bell

from brinemark.science.curve.chord import END_SHARE
from brinemark.science.curve.proposing import FOOT, WindowProposal, propose_windows
from brinemark.terms.arrays import FloatArray

GRID = np.linspace(-0.4, 0.9, 651)
LEVELS = (0.0, 0.5, 2.0, 8.0)
BATCHES = 6
WIDTH_V = 0.0514
STEP_V = 0.01
HEIGHT_A, FILM_A, NOISE_A = 6e-7, 2e-6, 1e-8

Invented = tuple[FloatArray, FloatArray, list[str]]


def invented(seed: int, height: float = HEIGHT_A) -> Invented:
    """Curves, levels and batches: a wave that follows the level, and a film's wave that differs without it."""
    rng = np.random.default_rng(seed)
    curves, levels, batches = [], [], []
    for number in range(BATCHES):
        gain = float(np.exp(rng.normal(0.0, 0.15)))
        for level in LEVELS:
            film = gain * float(np.exp(rng.normal(0.0, 0.15)))
            wave = height * film * (0.03 + level / (2.0 + level)) * bell(GRID, PLACE_V, WIDTH_V)
            other = FILM_A * film * bell(GRID, -0.2, WIDTH_V)
            slope = 3e-7 + rng.normal(0.0, 3e-8) * GRID
            curves.append(slope + other + wave + rng.normal(0.0, NOISE_A, GRID.size))
            levels.append(level)
            batches.append(f"B{number}")
    return np.array(curves), np.array(levels), batches


def proposed(curves: FloatArray, levels: FloatArray, batches: list[str]) -> WindowProposal:
    return propose_windows(GRID, curves, levels, batches, STEP_V)


@pytest.fixture(scope="module")
def known() -> WindowProposal:
    return proposed(*invented(20401))


def test_the_wave_that_follows_the_level_is_found_and_not_the_larger_one_of_the_film(known: WindowProposal) -> None:
    assert known.reason is None
    assert known.place is not None
    assert abs(known.place - PLACE_V) < STEP_V


def test_the_feet_of_the_wave_are_where_theory_puts_them(known: WindowProposal) -> None:
    """1/cosh^2(x/w) falls to FOOT at x = w arcosh(1/sqrt(FOOT))."""
    foot = WIDTH_V * float(np.arccosh(1.0 / np.sqrt(FOOT)))
    assert known.low == pytest.approx(PLACE_V - foot, abs=2 * STEP_V)
    assert known.high == pytest.approx(PLACE_V + foot, abs=2 * STEP_V)


def test_the_ends_of_every_window_are_free_of_the_wave_for_a_chord(known: WindowProposal) -> None:
    assert len(known.windows) == 2
    for low, high in known.windows:
        width = high - low
        assert known.low is not None and known.high is not None
        assert low + END_SHARE * width <= known.low + STEP_V
        assert high - END_SHARE * width >= known.high - STEP_V
    (_, narrow), (_, wide) = known.windows
    assert wide > narrow


def test_a_batch_left_out_moves_the_windows_little(known: WindowProposal) -> None:
    assert known.moves is not None
    assert 0.0 < known.moves < 3 * STEP_V


def test_other_units_of_current_and_level_give_the_same_windows(known: WindowProposal) -> None:
    curves, levels, batches = invented(20401)
    again = proposed(curves * 1e9, levels * 17.2, batches)
    assert again.windows == known.windows
    assert again.t == pytest.approx(known.t, rel=1e-6)


@pytest.mark.parametrize("seed", range(20410, 20420))
def test_without_a_wave_there_is_no_window_but_a_reason(seed: int) -> None:
    found = proposed(*invented(seed, height=0.0))
    assert found.windows == ()
    assert found.reason is not None
    assert found.reason.startswith("no wave stands out of the noise")


def test_levels_that_differ_between_batches_only_tell_nothing() -> None:
    curves, _, batches = invented(20401)
    levels = np.array([float(name[1:]) for name in batches])
    found = proposed(curves, levels, batches)
    assert found.reason is not None
    assert found.reason.startswith("no batch holds two levels")


def test_few_curves_are_too_few() -> None:
    curves, levels, batches = invented(20401)
    found = proposed(curves[:4], levels[:4], batches[:4])
    assert found.reason == "4 curves of 1 batches are too few to tell a wave from the scatter"


def test_a_wave_that_one_batch_alone_shows_says_that_it_rests_on_it() -> None:
    curves, levels, batches = invented(20401)
    quiet, _, _ = invented(20401, height=0.0)
    two = [k for k, name in enumerate(batches) if name in ("B0", "B1")]
    mixed = np.array([curves[k] if batches[k] == "B0" else quiet[k] for k in two])
    found = proposed(mixed, levels[two], [batches[k] for k in two])
    assert found.windows == () or found.moves is None
