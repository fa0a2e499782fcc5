"""The lognormal through control tanks against maximum likelihood by a general optimiser, and on known truth."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.optimize import minimize
from scipy.stats import norm

from brinemark.science.fish import background
from brinemark.science.fish.background import fit_background, why_no_background
from brinemark.terms.arrays import FloatArray
from brinemark.terms.errors import Refused

LIMIT = 0.8
MONTE_CARLO_SDS = 3.0


def below_a_limit(levels: FloatArray) -> tuple[FloatArray, FloatArray]:
    seen = levels >= LIMIT
    return np.where(seen, levels, 0.0), np.where(seen, levels, LIMIT)


def likeliest_by_an_optimiser(lower: FloatArray, upper: FloatArray) -> tuple[float, float]:
    def cost(theta: FloatArray) -> float:
        law = norm(theta[0], math.exp(theta[1]))
        exact = lower == upper
        with np.errstate(divide="ignore"):
            ends = law.cdf(np.log(upper[~exact])) - law.cdf(np.log(lower[~exact]))
        return -float(law.logpdf(np.log(lower[exact])).sum() + np.log(ends).sum())

    found = minimize(cost, np.array([0.0, 0.0]), method="Nelder-Mead", options={"xatol": 1e-8, "fatol": 1e-10})
    return math.exp(found.x[0]), math.exp(math.exp(found.x[1]))


def test_the_likeliest_background_is_that_of_an_optimiser() -> None:
    levels = np.exp(np.random.default_rng(11).normal(0.0, 0.8, 30))
    lower, upper = below_a_limit(levels)
    lower[0], upper[0] = 2.0, math.inf
    lower[1], upper[1] = 1.0, 2.5
    found = fit_background(lower, upper)
    assert found.censored == int(np.sum(lower == 0)) + 1
    assert found.tanks == 30
    assert found.likeliest == pytest.approx(likeliest_by_an_optimiser(lower, upper), rel=0.01)  # one step of the grid


def test_without_censoring_the_likeliest_is_mean_and_sd_of_the_logarithms() -> None:
    levels = np.array([0.5, 1.0, 2.0, 4.0, 1.5])
    found = fit_background(levels, levels)
    logs = np.log(levels)
    assert found.likeliest == pytest.approx((math.exp(logs.mean()), math.exp(logs.std())), rel=0.01)


def test_without_censoring_the_median_has_the_interval_of_student() -> None:
    # Flat in mu and ln sigma, the mean of logarithms has a t distribution with n - 1 degrees of freedom.
    from scipy.stats import t

    levels = np.exp(np.random.default_rng(2).normal(0.3, 0.5, 12))
    logs = np.log(levels)
    half = t.ppf(0.975, 11) * logs.std(ddof=1) / math.sqrt(12)
    found = fit_background(levels, levels, draws=2000)
    assert np.log(found.median[1:]) == pytest.approx([logs.mean() - half, logs.mean() + half], abs=0.02)


def test_draws_are_the_same_every_time() -> None:
    levels = np.array([0.5, 1.0, 2.0])
    first, second = fit_background(levels, levels), fit_background(levels, levels)
    assert np.array_equal(first.log_median, second.log_median)
    assert np.array_equal(first.log_sd, second.log_sd)


def test_intervals_hold_the_true_background_as_often_as_they_say() -> None:
    rng = np.random.default_rng(5)
    truth = (math.log(1.0), math.log(2.0))
    inside = np.zeros(2)
    studies = 60
    for _ in range(studies):
        found = fit_background(*below_a_limit(np.exp(rng.normal(*truth, 15))))
        inside += [found.median[1] <= 1.0 <= found.median[2], found.gsd[1] <= 2.0 <= found.gsd[2]]
    least = 0.95 - MONTE_CARLO_SDS * math.sqrt(0.95 * 0.05 / studies)
    assert (inside / studies >= least).all()


def test_few_controls_or_controls_without_amounts_give_no_background() -> None:
    two, none = np.array([1.0, 2.0]), np.zeros(0)
    assert "0 control waters" in (why_no_background(none, none) or "")
    assert "2 control waters" in (why_no_background(two, two) or "")
    reason = why_no_background(np.array([0.0, 0.0, 1.0]), np.array([0.5, 0.5, 1.0]))
    assert reason is not None
    assert "1 control water with an amount" in reason
    with pytest.raises(Refused, match="supposed backgrounds"):
        fit_background(two, two)


@pytest.mark.parametrize(("low", "high"), [(-1.0, 1.0), (2.0, 1.0), (0.0, 0.0), (math.nan, 1.0), (math.inf, math.inf)])
def test_an_impossible_control_is_refused_by_its_number(low: float, high: float) -> None:
    with pytest.raises(Refused, match="control tank 2"):
        fit_background(np.array([1.0, low, 1.0]), np.array([1.0, high, 2.0]))


def test_the_nodes_integrate_far_tails_as_the_whole_grid_does(monkeypatch: pytest.MonkeyPatch) -> None:
    levels = np.array([0.4, 0.5, 0.8, 1.0, 0.6])
    found = []
    for thin in (background.THIN, (1, 1)):
        monkeypatch.setattr(background, "THIN", thin)
        mu, sigma, weight = fit_background(levels, levels).nodes
        found.append([float(weight @ norm.sf((math.log(c) - mu) / sigma)) for c in (1.0, 5.0, 30.0)])
    assert found[0] == pytest.approx(found[1], rel=0.01)


def test_without_censoring_the_predictive_is_that_of_student() -> None:
    from scipy.stats import t

    levels = np.exp(np.random.default_rng(2).normal(0.3, 0.5, 12))
    logs = np.log(levels)
    mu, sigma, weight = fit_background(levels, levels).nodes
    for c in (2.0, 5.0, 10.0):
        score = (math.log(c) - logs.mean()) / (logs.std(ddof=1) * math.sqrt(1.0 + 1.0 / 12))
        assert float(weight @ norm.sf((math.log(c) - mu) / sigma)) == pytest.approx(t.sf(score, 11), rel=0.02)
