"""Exact limits of shares and the arithmetic of a test's two answers, against tables that are not ours."""

from __future__ import annotations

import math

import pytest
from scipy.stats import binomtest

from brinemark.science.fish.rates import (
    exact_rate,
    posterior_probability,
    ratio_of_negative,
    ratio_of_positive,
)
from brinemark.terms.errors import Refused

# "Two-sided confidence intervals for the single proportion", Statistics in Medicine 17 (1998) 857, Table I.
NEWCOMBE = ((81, 263, 0.2527, 0.3676), (15, 148, 0.0578, 0.1617), (0, 20, 0.0, 0.1684), (1, 29, 0.0009, 0.1776))


@pytest.mark.parametrize(("count", "of", "lower", "upper"), NEWCOMBE)
def test_limits_are_those_of_a_published_table(count: int, of: int, lower: float, upper: float) -> None:
    found = exact_rate(count, of)
    assert (found.lower, found.upper) == pytest.approx((lower, upper), abs=6e-5)


@pytest.mark.parametrize(("count", "of"), [(0, 4), (1, 6), (10, 10), (20, 120), (0, 299)])
def test_limits_are_those_of_a_general_library(count: int, of: int) -> None:
    other = binomtest(count, of).proportion_ci(0.95, method="exact")
    found = exact_rate(count, of)
    assert (found.lower, found.upper) == pytest.approx((other.low, other.high), abs=1e-10)


def test_none_of_a_hundred_gives_3_percent_one_sided_and_3_6_two_sided() -> None:
    assert exact_rate(0, 100, sides=1).upper == pytest.approx(0.030, abs=5e-4)
    assert exact_rate(0, 100).upper == pytest.approx(0.036, abs=5e-4)
    assert exact_rate(0, 4).upper == pytest.approx(0.60, abs=5e-3)
    assert exact_rate(0, 9).upper == pytest.approx(0.34, abs=5e-3)


def test_nothing_tried_says_nothing() -> None:
    found = exact_rate(0, 0)
    assert (found.value, found.lower, found.upper) == (None, 0.0, 1.0)


@pytest.mark.parametrize(("count", "of"), [(-1, 3), (4, 3)])
def test_impossible_counts_are_refused(count: int, of: int) -> None:
    with pytest.raises(Refused, match="correct the counts"):
        exact_rate(count, of)


def after(prior: float, ratio: float) -> float:
    return posterior_probability(prior, math.log10(ratio))


def test_a_test_that_finds_3_6_percent_of_the_exposed_moves_a_quarter_hardly() -> None:
    assert ratio_of_negative(0.036, 0.02) == pytest.approx(0.98, abs=0.005)
    assert ratio_of_positive(0.036, 0.02) == pytest.approx(1.8)
    assert after(0.25, ratio_of_negative(0.036, 0.02)) == pytest.approx(0.247, abs=5e-4)
    assert after(0.25, ratio_of_positive(0.036, 0.02)) == pytest.approx(0.375, abs=5e-4)


def test_a_test_that_finds_nine_of_ten_moves_a_quarter_to_3_or_94_percent() -> None:
    assert after(0.25, ratio_of_negative(0.9, 0.02)) == pytest.approx(0.03, abs=0.005)
    assert after(0.25, ratio_of_positive(0.9, 0.02)) == pytest.approx(0.94, abs=0.005)


def test_probabilities_afterwards_stay_in_range_for_huge_ratios() -> None:
    assert posterior_probability(0.3, math.inf) == 1.0
    assert posterior_probability(0.3, -math.inf) == 0.0
    assert posterior_probability(0.3, 0.0) == pytest.approx(0.3, abs=1e-15)


def test_ratios_at_the_ends_of_what_a_test_can_do() -> None:
    assert ratio_of_positive(0.5, 0.0) == math.inf
    assert ratio_of_negative(0.5, 1.0) == math.inf
    assert math.isnan(ratio_of_negative(1.0, 1.0))
