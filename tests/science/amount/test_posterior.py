"""Draws from known densities, the gates, stopping and repeating."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import pytest

from brinemark.science.amount.mode import find_mode, recentred
from brinemark.science.amount.posterior import FIRST_ROUNDS, PosteriorSample, SampleOptions, sample_posterior
from brinemark.terms.arrays import FloatArray
from brinemark.terms.errors import GateFailed, Stopped

MONTE_CARLO = 4.0  # standard errors; about thirty comparisons here
SD_MONTE_CARLO = 4.0
MODE_FOUND = 0.02  # of a posterior sd: the search stops at a gradient of .01 in prior sd


@dataclass(frozen=True)
class Density:
    """A target whose near() is the density itself."""

    function: Callable[[FloatArray], FloatArray]

    def log_density(self, parameters: FloatArray) -> FloatArray:
        return self.function(parameters)

    def near(self, center: FloatArray) -> Callable[[FloatArray], FloatArray]:
        del center
        return self.function


# ---- A normal with correlations --------------------------------------------------------------------------------

MEAN = np.array([1.0, -2.0, 0.5, 3.0])
ROOT = np.array([[1.0, 0, 0, 0], [0.8, 0.5, 0, 0], [-0.3, 0.2, 0.7, 0], [0.4, -0.6, 0.1, 0.05]])
COVARIANCE = ROOT @ ROOT.T
NORMAL_SD = np.sqrt(np.diag(COVARIANCE))


def log_normal_density(points: FloatArray) -> FloatArray:
    return np.asarray(-0.5 * (np.linalg.solve(ROOT, (points - MEAN).T) ** 2).sum(axis=0))


def names(count: int) -> tuple[str, ...]:
    return tuple(f"p{i}" for i in range(count))


def drawn_normal(seed: int = 1) -> PosteriorSample:
    return sample_posterior(
        Density(log_normal_density), MEAN + 2.0, 2.5 * NORMAL_SD, names(4), SampleOptions(2048, seed)
    )


def test_a_correlated_normal_is_drawn_with_its_mean_sd_and_correlation() -> None:
    sample = drawn_normal()
    se = 1.0 / np.sqrt(sample.effective)
    away = (sample.draws.mean(axis=0) - MEAN) / NORMAL_SD
    assert np.all(np.abs(away) < MONTE_CARLO * se)
    assert sample.draws.std(axis=0) / NORMAL_SD == pytest.approx(1.0, abs=SD_MONTE_CARLO * se / np.sqrt(2.0))
    expected = COVARIANCE / np.outer(NORMAL_SD, NORMAL_SD)
    assert np.corrcoef(sample.draws.T) == pytest.approx(expected, abs=MONTE_CARLO * se)


def test_the_mode_of_a_normal_is_its_mean() -> None:
    mode = find_mode(Density(log_normal_density), MEAN + 2.0, 2.5 * NORMAL_SD)
    assert np.abs(mode - MEAN) / NORMAL_SD == pytest.approx(0.0, abs=MODE_FOUND)


def test_a_step_with_the_curvature_reaches_the_mean_of_a_normal_and_stays_there() -> None:
    scale = 2.5 * NORMAL_SD
    density = Density(log_normal_density)
    root = np.linalg.cholesky(COVARIANCE)
    reached = recentred(density, MEAN + 0.3 * NORMAL_SD, root, scale)
    assert np.abs(reached - MEAN) / NORMAL_SD == pytest.approx(0.0, abs=MODE_FOUND)
    assert recentred(density, MEAN, 1e3 * root, scale) == pytest.approx(MEAN), "a step that does not climb is not made"


# ---- A banana: x normal, y normal about a parabola, u skewed ---------------------------------------------------

BEND = 0.35


def log_banana(points: FloatArray) -> FloatArray:
    """x ~ N(0, 1), y | x ~ N(.35 (x^2 - 1), .5), u = ln of a gamma variable of shape 3."""
    x, y, u = points.T
    return np.asarray(-0.5 * x**2 - 0.5 * ((y - BEND * (x**2 - 1.0)) / 0.5) ** 2 + 3.0 * u - np.exp(u))


# Exact: var y = .35^2 * 2 + .25; u: digamma(3), trigamma(3).
BANANA_MEAN = np.array([0.0, 0.0, 1.5 - 0.5772156649015329])
BANANA_SD = np.array([1.0, np.sqrt(2.0 * BEND**2 + 0.25), np.sqrt(np.pi**2 / 6.0 - 1.25)])


def test_a_bent_and_skewed_density_is_drawn_with_its_mean_sd_and_bend() -> None:
    sample = sample_posterior(
        Density(log_banana), np.array([1.0, 1.0, 0.0]), np.full(3, 1.5), names(3), SampleOptions(4096, 2)
    )
    se = 1.0 / np.sqrt(sample.effective)
    away = (sample.draws.mean(axis=0) - BANANA_MEAN) / BANANA_SD
    assert np.all(np.abs(away) < MONTE_CARLO * se)
    # Kurtosis of y is about 6 (part chi squared): its sd is known half as well as a normal's.
    assert sample.draws.std(axis=0) / BANANA_SD == pytest.approx(1.0, abs=SD_MONTE_CARLO * se * np.sqrt(5.0) / 2.0)
    x, y = sample.draws[:, 0], sample.draws[:, 1]
    assert np.mean(y * (x**2 - 1.0)) == pytest.approx(2.0 * BEND, abs=MONTE_CARLO * se * np.std(y * (x**2 - 1.0)))


def test_tail_quantiles_of_a_skewed_parameter_are_right() -> None:
    from scipy.stats import gamma

    sample = sample_posterior(
        Density(log_banana), np.array([1.0, 1.0, 0.0]), np.full(3, 1.5), names(3), SampleOptions(4096, 3)
    )
    for probability in (0.025, 0.5, 0.975):
        share = np.mean(sample.draws[:, 2] <= np.log(gamma(3).ppf(probability)))
        se = np.sqrt(probability * (1.0 - probability) / sample.effective)
        assert share == pytest.approx(probability, abs=MONTE_CARLO * se)


# ---- Gates -----------------------------------------------------------------------------------------------------


def test_tails_heavier_than_any_proposal_fail_and_name_the_gate_and_the_parameter() -> None:
    """The second parameter has the tails of a t distribution with a third of a degree of freedom."""

    def heavy(points: FloatArray) -> FloatArray:
        return np.asarray(-0.5 * points[:, 0] ** 2 - 0.5 * points[:, 2] ** 2 - 2.0 / 3.0 * np.log1p(points[:, 1] ** 2))

    with pytest.raises(GateFailed) as caught:
        sample_posterior(Density(heavy), np.zeros(3), np.ones(3), ("first", "second", "third"), SampleOptions(512, 1))
    assert caught.value.gate in ("Pareto k", "largest weight")
    assert caught.value.value > caught.value.limit
    assert caught.value.parameter == "second"
    assert "weakest parameter is second" in str(caught.value)
    assert "\n" not in str(caught.value)


def test_a_density_that_is_nan_anywhere_fails_at_once() -> None:
    def broken(points: FloatArray) -> FloatArray:
        return np.where(points[:, 0] > 1.5, np.nan, -0.5 * (points**2).sum(axis=1))

    with pytest.raises(GateFailed) as caught:
        sample_posterior(Density(broken), np.zeros(2), np.ones(2), ("a", "b"), SampleOptions(512, 1))
    assert caught.value.gate == "NaN"
    assert caught.value.parameter == "a"


def test_a_density_that_is_zero_everywhere_fails() -> None:
    def impossible(points: FloatArray) -> FloatArray:
        return np.full(points.shape[0], -np.inf)

    with pytest.raises(GateFailed):
        sample_posterior(Density(impossible), np.zeros(2), np.ones(2), ("a", "b"), SampleOptions(512, 1))


def test_half_a_space_without_probability_is_no_failure() -> None:
    """Exponential to the right of 0, nothing to the left: mean 1, sd 1."""

    def exponential(points: FloatArray) -> FloatArray:
        inside = points[:, 0] > 0
        return np.where(inside, -points[:, 0], -np.inf) - 0.5 * points[:, 1] ** 2

    sample = sample_posterior(
        Density(exponential), np.array([1.0, 0.0]), np.ones(2), ("right", "normal"), SampleOptions(2048, 5)
    )
    assert sample.draws[:, 0].min() > 0
    assert sample.draws[:, 0].mean() == pytest.approx(1.0, abs=MONTE_CARLO / np.sqrt(sample.effective))


# ---- Work ------------------------------------------------------------------------------------------------------


def test_at_least_two_adaptive_rounds_follow_the_first() -> None:
    sample = drawn_normal()
    assert sample.rounds >= 3
    assert sample.total_draws >= sum(FIRST_ROUNDS)
    assert [gate.passed for gate in sample.gates] == [True, True, True]


def test_the_same_seed_gives_the_same_draws_and_another_seed_others() -> None:
    assert np.array_equal(drawn_normal(9).draws, drawn_normal(9).draws)
    assert not np.array_equal(drawn_normal(9).draws, drawn_normal(10).draws)


def test_a_watcher_sees_the_work_grow_to_its_total() -> None:
    seen: list[tuple[int, int]] = []

    def watch(done: int, total: int) -> bool:
        seen.append((done, total))
        return True

    sample = sample_posterior(Density(log_normal_density), MEAN, NORMAL_SD, names(4), SampleOptions(512, 1, watch))
    done = [d for d, _ in seen]
    assert done[0] == 0
    assert done == sorted(done)
    assert seen[-1][0] == sample.total_draws
    assert all(d <= total for d, total in seen)


@pytest.mark.parametrize("patience", [0, 1, 5])
def test_a_watcher_who_says_no_stops_the_work(patience: int) -> None:
    calls = 0

    def watch(done: int, total: int) -> bool:
        nonlocal calls
        del done, total
        calls += 1
        return calls <= patience

    with pytest.raises(Stopped, match="nothing was stored"):
        sample_posterior(Density(log_normal_density), MEAN, NORMAL_SD, names(4), SampleOptions(512, 1, watch))
    assert calls == patience + 1
