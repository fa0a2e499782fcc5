"""Exact shares, sample sizes and pools against published tables and counting."""

from __future__ import annotations

import math
from itertools import combinations

import numpy as np
import pytest

from brinemark.science.fish import sampling
from brinemark.science.fish.proportions import (
    binomial_range,
    clopper_pearson,
    lower_bound,
    two_sided_p,
    upper_bound,
    wilson,
)
from brinemark.terms.errors import Refused
from reference import sampling_values as known

PRINTED = 5e-5  # half a unit of the fourth printed decimal
SEVENTH = 5e-8
ROUNDING = 1e-10


@pytest.mark.parametrize(("found", "tested", "exact", "score"), known.NEWCOMBE)
def test_intervals_of_a_share_are_those_printed(
    found: int, tested: int, exact: tuple[float, float], score: tuple[float, float]
) -> None:
    assert clopper_pearson(found, tested) == pytest.approx(exact, abs=PRINTED)
    assert wilson(found, tested) == pytest.approx(score, abs=PRINTED)


def test_none_of_a_hundred_bounds_the_share_at_three_per_cent_one_sided() -> None:
    assert upper_bound(0, 100) == pytest.approx(1.0 - 0.05 ** (1 / 100), rel=ROUNDING)
    assert round(100 * upper_bound(0, 100), 1) == 3.0
    assert round(100 * clopper_pearson(0, 100).upper, 1) == 3.6


def test_the_bounds_of_found_and_not_found_mirror_each_other() -> None:
    assert lower_bound(7, 20) == pytest.approx(1.0 - upper_bound(13, 20), rel=ROUNDING)
    assert lower_bound(0, 20) == 0.0
    assert upper_bound(20, 20) == 1.0


def test_the_two_sided_p_sums_the_binomial_terms() -> None:
    terms = [math.comb(12, k) * 0.2**k * 0.8 ** (12 - k) for k in range(13)]
    assert two_sided_p(6, 12, 0.2) == pytest.approx(2.0 * sum(terms[6:]), rel=ROUNDING)
    assert two_sided_p(0, 12, 0.2) == pytest.approx(2.0 * terms[0], rel=ROUNDING)


def test_exact_limits_leave_no_more_than_the_tails_and_no_count_too_many() -> None:
    terms = [math.comb(30, k) * 0.1**k * 0.9 ** (30 - k) for k in range(31)]
    low, high = (round(30 * end) for end in binomial_range(30, 0.1, 0.95))
    assert sum(terms[:low]) <= 0.025 < sum(terms[: low + 1])
    assert sum(terms[high + 1 :]) <= 0.025 < sum(terms[high:])


@pytest.mark.parametrize(("population", "prevalence", "perfect", "nine", "eight"), known.HYPERGEOMETRIC)
def test_sizes_of_finite_populations_are_the_exact_hypergeometric_ones(
    population: int, prevalence: float, perfect: int, nine: int | None, eight: int | None
) -> None:
    sizes = [sampling.detection_size(prevalence, 0.95, population, s).size for s in (1.0, 0.9, 0.8)]
    assert sizes == [perfect, nine, eight]


@pytest.mark.parametrize(("prevalence", "sensitivity", "at_95", "at_99"), known.INFINITE)
def test_sizes_of_an_infinite_population_are_those_of_the_binomial(
    prevalence: float, sensitivity: float, at_95: int, at_99: int | None
) -> None:
    assert sampling.detection_size(prevalence, 0.95, None, sensitivity).size == at_95
    if at_99 is not None:
        assert sampling.detection_size(prevalence, 0.99, None, sensitivity).size == at_99


def test_missing_every_affected_fish_agrees_with_counting_all_draws() -> None:
    fish = [True] * 3 + [False] * 5
    draws = list(combinations(fish, 4))
    counted = sum(0.3 ** sum(draw) for draw in draws) / len(draws)
    assert sampling.missed_finite(4, 8, 3, 0.7) == pytest.approx(counted, rel=ROUNDING)


def test_a_size_that_cannot_be_reached_says_what_testing_all_would_give() -> None:
    answer = sampling.detection_size(0.01, 0.95, 60, 0.9)
    assert answer.size is None
    assert answer.reached == pytest.approx(0.9, rel=ROUNDING)
    assert "all 60 tested" in (answer.reason or "")


def test_an_uncertain_sensitivity_needs_more_fish_than_its_mean() -> None:
    spread = np.array([0.2, 0.5, 0.8])
    uncertain = sampling.detection_size(0.05, 0.95, 500, spread)
    assert uncertain.size is not None
    assert uncertain.size > (sampling.detection_size(0.05, 0.95, 500, 0.5).size or 0)
    worked = np.mean([sampling.missed_finite(uncertain.size, 500, 25, float(s)) for s in spread])
    assert 1.0 - uncertain.reached == pytest.approx(worked, rel=ROUNDING)


def test_fish_of_one_bag_that_are_alike_need_more_bags() -> None:
    assert sampling.bags_to_test(1, 0.05, 0.0) == 59
    assert sampling.bags_to_test(5, 0.05, 0.0) == math.ceil(59 / 5)
    assert sampling.bags_to_test(5, 0.05, 1.0) == 59
    assert 12 < sampling.bags_to_test(5, 0.05, 0.3) < 59


def test_missing_in_clustered_bags_agrees_with_drawing_them() -> None:
    draws = 200_000
    share = np.random.default_rng(41).beta(0.1 * 3.0, 0.9 * 3.0, size=(draws, 2))
    missed = np.prod((1.0 - 0.7 * share) ** 6, axis=1)
    monte_carlo = 4.0 * float(np.std(missed)) / math.sqrt(draws)
    assert sampling.missed_clustered(2, 6, 0.1, 0.25, 0.7) == pytest.approx(float(np.mean(missed)), abs=monte_carlo)


def test_pools_give_the_prevalence_of_members() -> None:
    answer = sampling.pooled_prevalence(6, 20, 5)
    assert (answer.estimate, answer.standard_error) == pytest.approx(known.POOLED, abs=SEVENTH)
    exact = clopper_pearson(6, 20)
    assert answer.interval == pytest.approx([1.0 - (1.0 - end) ** 0.2 for end in exact], rel=ROUNDING)
    assert sampling.pooled_prevalence(6, 20, 1).estimate == pytest.approx(0.3, rel=ROUNDING)


def test_pools_that_are_all_positive_bound_the_prevalence_from_below_only() -> None:
    answer = sampling.pooled_prevalence(8, 8, 5)
    assert answer.estimate is None
    assert answer.interval is not None
    assert answer.interval.upper == 1.0
    assert "smaller pools" in (answer.reason or "")


@pytest.mark.parametrize(("prevalence", "members", "per_hundred"), known.DORFMAN)
def test_the_best_pool_is_the_exact_one(prevalence: float, members: int, per_hundred: float) -> None:
    plan = sampling.best_pool(prevalence)
    assert plan.members == members
    assert 100 * plan.tests_per_member == pytest.approx(per_hundred, abs=PRINTED)


def test_pooling_does_not_pay_when_positives_are_common() -> None:
    assert sampling.best_pool(0.31).members == 1
    assert sampling.best_pool(0.30).members == 3


@pytest.mark.parametrize(
    "wish",
    [
        lambda: sampling.detection_size(0.0),
        lambda: sampling.detection_size(0.05, 1.0),
        lambda: sampling.detection_size(0.05, 0.95, 0),
        lambda: sampling.detection_size(0.05, 0.95, 100, 0.0),
        lambda: sampling.missed_clustered(0, 5, 0.05, 0.1),
        lambda: sampling.pooled_prevalence(3, 2, 5),
        lambda: sampling.pooled_prevalence(1, 2, 0),
        lambda: sampling.best_pool(0.0),
        lambda: clopper_pearson(5, 4),
    ],
)
def test_impossible_wishes_are_refused(wish: object) -> None:
    assert callable(wish)
    with pytest.raises(Refused):
        wish()
