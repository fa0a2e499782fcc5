"""What a trial tells: against general libraries, closed cases, and on known truth."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.optimize import minimize
from scipy.stats import mannwhitneyu
from sklearn.isotonic import IsotonicRegression
from sklearn.metrics import roc_auc_score, roc_curve

from brinemark.science.fish.trials import cost, judge_trial, least_cost, misleading, ratio_bins, recalibrated, roc
from brinemark.terms.arrays import FloatArray
from brinemark.terms.errors import Refused

LN10 = math.log(10.0)


def normal_ratios(count: int, seed: int, apart: float = 2.0) -> tuple[FloatArray, FloatArray]:
    """True log10 ratios of normal scores whose means lie apart: ln LR = apart * x - apart^2 / 2."""
    rng = np.random.default_rng(seed)
    first, second = rng.normal(apart, 1.0, count), rng.normal(0.0, 1.0, count)
    return (apart * first - apart**2 / 2) / LN10, (apart * second - apart**2 / 2) / LN10


def test_a_perfect_system_costs_nothing_and_a_useless_one_a_bit() -> None:
    assert cost(np.full(3, np.inf), np.full(4, -np.inf)) == 0.0
    assert cost(np.full(3, 30.0), np.full(4, -30.0)) < 1e-20
    assert cost(np.zeros(3), np.zeros(4)) == pytest.approx(1.0, abs=1e-15)
    assert least_cost(np.zeros(3), np.zeros(4)) == pytest.approx(1.0, abs=1e-15)
    assert least_cost(np.array([0.1, 0.2]), np.array([-0.3, 0.05])) == 0.0
    assert cost(np.array([-np.inf]), np.array([0.0])) == math.inf


def test_the_cost_is_that_of_its_definition() -> None:
    first, second = np.array([0.5, -0.2, 1.0]), np.array([-1.0, 0.3])
    by_hand = 0.5 * (np.log2(1 + 10.0**-first).mean() + np.log2(1 + 10.0**second).mean())
    assert cost(first, second) == pytest.approx(by_hand, rel=1e-14)


def test_recalibration_is_that_of_a_general_library_with_ties() -> None:
    first, second = (np.round(v, 1) for v in normal_ratios(60, 4, 1.0))
    second = second[:35]
    scores, truth = np.concatenate([first, second]), np.repeat([1.0, 0.0], [60, 35])
    weights = np.where(truth == 1, 1 / 60, 1 / 35)
    p = IsotonicRegression(y_min=0.0, y_max=1.0).fit(scores, truth, weights).predict(scores)
    ours = np.concatenate(recalibrated(first, second))
    assert 1.0 / (1.0 + 10.0**-ours) == pytest.approx(p, abs=1e-12)


def test_no_rising_line_recalibrates_better_than_the_least_cost() -> None:
    first, second = normal_ratios(200, 8)
    best = minimize(lambda t: cost(t[0] + abs(t[1]) * first, t[0] + abs(t[1]) * second), [0.0, 1.0], method="Powell")
    assert least_cost(first, second) <= float(best.fun)
    assert least_cost(2.0 * first + 1.0, 2.0 * second + 1.0) == pytest.approx(least_cost(first, second), rel=1e-12)


def test_the_roc_is_that_of_a_general_library() -> None:
    first, second = (np.round(v, 1) for v in normal_ratios(80, 3, 1.0))
    found = roc(first, second)
    truth, scores = np.repeat([1, 0], 80), np.concatenate([first, second])
    false, true, threshold = roc_curve(truth, scores, drop_intermediate=False)
    assert found.false_positive == pytest.approx(false)
    assert found.true_positive == pytest.approx(true)
    assert found.threshold == pytest.approx(threshold)
    assert found.area == pytest.approx(roc_auc_score(truth, scores), rel=1e-12)
    assert found.area == pytest.approx(mannwhitneyu(first, second).statistic / 6400, rel=1e-12)


def test_the_roc_takes_ratios_without_end() -> None:
    found = roc(np.array([np.inf, 0.0]), np.array([-np.inf, -np.inf, 0.0]))
    assert found.area == pytest.approx((3 + 2.5) / 6)


def test_true_ratios_agree_in_every_bin_and_ratios_twice_as_bold_do_not() -> None:
    first, second = normal_ratios(20_000, 12)
    edges = (-math.inf, -2.0, -1.5, -1.0, -0.5, 0.0, 0.5, 1.0, 1.5, 2.0, math.inf)
    assert all(b.agrees for b in ratio_bins(first, second, edges))
    bold = ratio_bins(2.0 * first, 2.0 * second, edges)
    assert sum(not b.agrees for b in bold) >= 4
    assert sum(b.exposed for b in bold) == sum(b.unexposed for b in bold) == 20_000


def test_true_ratios_cost_within_a_tenth_of_the_least() -> None:
    first, second = normal_ratios(5000, 13)
    assert least_cost(first, second) <= cost(first, second) <= 1.1 * least_cost(first, second)


def test_an_empty_bin_says_nothing_and_agrees_with_everything() -> None:
    empty = ratio_bins(np.array([2.0]), np.array([-2.0]), (-1.0, 1.0))[0]
    assert math.isnan(empty.log10_observed)
    assert (empty.log10_lower, empty.log10_upper, empty.agrees) == (-math.inf, math.inf, True)


def test_misleading_evidence_of_true_ratios_stays_below_its_bound() -> None:
    for found in misleading(*normal_ratios(20_000, 14)):
        assert found.exposed.lower <= found.bound
        assert found.unexposed.lower <= found.bound
    none = misleading(np.zeros(5), np.zeros(5))[0]
    assert (none.exposed.count, none.unexposed.count) == (0, 0)


def test_a_trial_tells_its_parts() -> None:
    found = judge_trial(np.array([1.0, 0.5, -0.1]), np.array([-1.0, -0.4, 0.2, -2.0]), "captive-bred")
    assert (found.sensitivity.count, found.specificity.count) == (2, 3)
    assert (found.exposed, found.unexposed, found.population) == (3, 4, "captive-bred")
    assert found.roc.area == pytest.approx(11 / 12)
    assert found.misleading[0].exposed.count == found.misleading[0].unexposed.count == 1


@pytest.mark.parametrize(("first", "second"), [([], [1.0]), ([1.0], []), ([math.nan], [1.0])])
def test_a_trial_of_one_kind_or_without_ratio_is_refused(first: list[float], second: list[float]) -> None:
    with pytest.raises(Refused):
        judge_trial(np.array(first), np.array(second), "captive-bred")
