from __future__ import annotations

import numpy as np
import pytest
from invented import PLACE_V, WINDOW_V, bell, sweep_up

from brinemark.science.curve.chord import (
    END_SHARE,
    beside_weights,
    charge_weights,
    height_weights,
    make_chord,
    without_spikes,
)
from brinemark.terms.arrays import BoolArray, FloatArray
from brinemark.terms.errors import Refused

ROUNDING = 1e-9


def window() -> FloatArray:
    potential = sweep_up()
    return potential[(potential >= WINDOW_V[0]) & (potential <= WINDOW_V[1])]


def everywhere() -> BoolArray:
    return np.ones(window().size, dtype=bool)


def test_the_chord_joins_the_means_of_the_two_ends() -> None:
    potential = window()
    current = np.random.default_rng(1).normal(size=potential.size)
    line = make_chord(potential, WINDOW_V).line(current)
    width = END_SHARE * (WINDOW_V[1] - WINDOW_V[0])
    low, high = potential <= WINDOW_V[0] + width, potential >= WINDOW_V[1] - width
    for end in (low, high):
        assert np.interp(potential[end].mean(), potential, line) == pytest.approx(current[end].mean())
    assert np.diff(line, 2) == pytest.approx(0.0, abs=ROUNDING)


def test_a_window_without_points_in_one_end_is_refused() -> None:
    gap = np.concatenate([np.linspace(0.40, 0.42, 10), np.linspace(0.50, 0.60, 30)])
    with pytest.raises(Refused, match="no point in one of its ends"):
        make_chord(gap, WINDOW_V)


def test_taking_the_chord_off_twice_is_taking_it_off_once() -> None:
    chord, current = make_chord(window(), WINDOW_V), bell(window()) + window() ** 3
    assert chord.above(chord.above(current)) == pytest.approx(chord.above(current), abs=ROUNDING)


def test_weights_on_the_raw_current_do_what_they_did_above_the_chord() -> None:
    rng = np.random.default_rng(2)
    chord = make_chord(window(), WINDOW_V)
    weights, current = rng.normal(size=window().size), rng.normal(size=window().size)
    assert chord.transposed(weights) @ current == pytest.approx(weights @ chord.above(current))


def test_height_weights_give_the_height_and_nothing_for_straight_lines() -> None:
    chord, shape = make_chord(window(), WINDOW_V), bell(window())
    weights = height_weights(chord, shape, everywhere())
    assert weights @ shape == pytest.approx(1.0)
    assert weights.sum() == pytest.approx(0.0, abs=ROUNDING)
    assert weights @ window() == pytest.approx(0.0, abs=ROUNDING)


def test_height_weights_are_least_squares_of_a_general_solver() -> None:
    chord, shape = make_chord(window(), WINDOW_V), bell(window(), PLACE_V + 0.02)
    current = np.random.default_rng(3).normal(size=window().size)
    other, *_ = np.linalg.lstsq(chord.above(shape)[:, None], chord.above(current), rcond=None)
    assert height_weights(chord, shape, everywhere()) @ current == pytest.approx(other[0])


def test_beside_weights_are_least_squares_of_a_general_solver_with_two_columns() -> None:
    chord, shape, bow = make_chord(window(), WINDOW_V), bell(window()), (window() - 0.5) ** 2
    current = np.random.default_rng(4).normal(size=window().size)
    columns = np.column_stack([chord.above(shape), chord.above(bow)])
    other, *_ = np.linalg.lstsq(columns, chord.above(current), rcond=None)
    assert beside_weights(chord, shape, bow, everywhere()) @ current == pytest.approx(other[0])
    assert beside_weights(chord, bow, shape, everywhere()) @ current == pytest.approx(other[1])


@pytest.mark.parametrize("direction", [1.0, -1.0])
def test_charge_weights_are_trapezoids_over_time_above_the_chord(direction: float) -> None:
    chord, current = make_chord(window(), WINDOW_V), bell(window()) + window()
    seconds = direction * window() / 0.1
    expected = np.trapezoid(chord.above(current), window() / 0.1)
    assert charge_weights(chord, seconds, everywhere()) @ current == pytest.approx(expected)


@pytest.mark.parametrize("place", [0, 7, 180, 360])
def test_spikes_are_replaced_and_nothing_else(place: int) -> None:
    current = np.random.default_rng(5).normal(size=window().size)
    spiked = current.copy()
    spiked[place] += 1000.0
    cleaned, count = without_spikes(spiked)
    assert count == 1
    assert np.delete(cleaned, place) == pytest.approx(np.delete(current, place))
    assert abs(cleaned[place]) < 5.0


@pytest.mark.parametrize("steps", [0.0, 0.02])
def test_smooth_and_stepped_curves_have_no_spikes(steps: float) -> None:
    current = bell(window())
    current = np.round(current / steps) * steps if steps else current
    assert without_spikes(current)[1] == 0
