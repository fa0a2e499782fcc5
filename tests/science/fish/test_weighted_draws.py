"""Weighted draws against a posterior in closed form, and where they stay what they were."""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np
import pytest

from brinemark.science.fish.parameters import LOG_NORMAL, Parameter, own_source
from brinemark.science.fish.weighted_draws import values_at, weighted_draws
from brinemark.science.fish.worlds import Drawing
from brinemark.terms.arrays import FloatArray

COUNT = 8
LAWS = {f"p{n}": Parameter(f"p{n}", "1/d", 1.0, math.e, LOG_NORMAL, own_source("a test")) for n in range(COUNT)}
ERROR = 0.05  # of the measured sum of logarithms
MEASURED = 3.0


def of_sum(drawn: Mapping[str, FloatArray]) -> FloatArray:
    """ln likelihood of a measurement of ln p0 + ln p1."""
    return np.asarray(-0.5 * ((np.log(drawn["p0"]) + np.log(drawn["p1"]) - MEASURED) / ERROR) ** 2)


def test_a_sharp_measurement_is_the_posterior_in_closed_form() -> None:
    found = weighted_draws(LAWS, of_sum, Drawing(2048, 3), 400.0)
    assert found.rounds > 1 and found.effective >= 400.0
    score = found.resampled(4000)
    # Standard normal p0 and p1 whose sum is measured as 3 with error 0.05: sum N(3 * 2 / (2 + e^2), ...), difference
    # untouched.
    error = 4.0 / math.sqrt(found.effective)  # four Monte Carlo errors
    gain = 2.0 / (2.0 + ERROR**2)
    total, difference = score[:, 0] + score[:, 1], score[:, 0] - score[:, 1]
    assert total.mean() == pytest.approx(gain * MEASURED, abs=error * ERROR)
    assert total.std() == pytest.approx(ERROR * math.sqrt(gain), rel=error)
    assert difference.mean() == pytest.approx(0.0, abs=error * math.sqrt(2.0))
    assert difference.std() == pytest.approx(math.sqrt(2.0), rel=error)
    assert score[:, 5].mean() == pytest.approx(0.0, abs=error)
    assert score[:, 5].std() == pytest.approx(1.0, rel=error)


def test_where_nothing_was_measured_all_draws_weigh_the_same() -> None:
    found = weighted_draws(LAWS, lambda drawn: np.zeros(len(drawn["p0"])), Drawing(500, 3), 400.0)
    assert found.effective == pytest.approx(500.0) and found.rounds == 1
    assert np.array_equal(found.resampled(500), found.score)


def test_what_no_draw_explains_carries_no_weight() -> None:
    found = weighted_draws(LAWS, lambda drawn: np.full(len(drawn["p0"]), -np.inf), Drawing(100, 3), 50.0)
    assert found.effective == 0.0 and found.highest == -math.inf and not found.weight.any()


def test_a_score_far_out_keeps_a_constant_finite() -> None:
    values = values_at(LAWS, np.full((1, COUNT), 40.0))
    assert all(np.isfinite(value).all() for value in values.values())
