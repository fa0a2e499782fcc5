"""Smooth curves through points, against polynomials and against scipy."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import brentq

from brinemark.science.amount.curves import SmoothCurve

PLACE = np.array([0.0, 0.3, 1.0, 1.2, 2.0, 3.5])


def test_a_parabola_is_followed_between_its_points() -> None:
    inside = np.linspace(0.0, 3.5, 71)
    curve = SmoothCurve.through(PLACE, 2.0 - PLACE + 0.5 * PLACE**2)
    assert curve.at(inside) == pytest.approx(2.0 - inside + 0.5 * inside**2, abs=1e-12)


def test_a_smooth_function_is_met_to_the_third_order_of_the_step() -> None:
    errors = []
    for count in (20, 40, 80):
        place = np.linspace(0.0, 3.0, count)
        between = np.linspace(0.0, 3.0, 1009)
        errors.append(np.abs(SmoothCurve.through(place, np.tanh(place)).at(between) - np.tanh(between)).max())
    assert errors[1] < errors[0] / 6.0
    assert errors[2] < errors[1] / 6.0


def test_beyond_its_ends_a_curve_is_constant_and_one_point_is_a_constant() -> None:
    curve = SmoothCurve.through(PLACE, -PLACE)
    assert curve.at(np.array([-5.0, 9.0])).tolist() == [0.0, -3.5]
    assert SmoothCurve.through(np.array([1.0]), np.array([4.0])).at(np.array([0.0, 7.0])).tolist() == [4.0, 4.0]


def test_two_points_are_a_line() -> None:
    assert SmoothCurve.through(np.array([0.0, 2.0]), np.array([1.0, 5.0])).at(np.array([0.5])) == pytest.approx(2.0)


@pytest.mark.parametrize("target", [0.5, -0.2, -1.4])
def test_where_it_falls_to_a_value_is_scipys_root(target: float) -> None:
    curve = SmoothCurve.through(PLACE, 1.0 - np.sinh(0.5 * PLACE))
    found = curve.falls_to(target, 1e-12)
    wanted = brentq(lambda x: float(curve.at(np.array([x]))[0]) - target, 0.0, 3.5, xtol=1e-13)
    assert found == pytest.approx(wanted, abs=1e-9)


def test_a_curve_that_starts_below_or_stays_above_says_so() -> None:
    curve = SmoothCurve.through(PLACE, 1.0 - PLACE)
    assert curve.falls_to(1.0, 1e-9) == 0.0
    assert curve.falls_to(-9.0, 1e-9) is None
