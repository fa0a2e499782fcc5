"""Health of importance weights against a published implementation, against known laws, and at the edges."""

from __future__ import annotations

from importlib import import_module

import numpy as np
import pytest

from brinemark.science.amount.posterior import MAX_WEIGHT_LIMIT, gates_of
from brinemark.science.amount.weights import (
    effective_size,
    normalised,
    pareto_k,
    smoothed,
    systematic_resample,
)
from brinemark.terms.arrays import FloatArray

SAME_RULE = 1e-6  # two codes of one rule; they differ in which weights at machine precision they drop
ONE_WEIGHT_MORE = 0.02  # the other code rounds the number of tail weights down, the publication (and ours) up
SHAPE_SD = 3.0  # standard errors of a fitted shape


def log_weight_sets() -> dict[str, FloatArray]:
    """Sizes at which 3 sqrt(n), or n / 5 of a small set, is whole, so that both codes take the same tail."""
    rng = np.random.default_rng(7)
    normal = rng.normal(size=4096)
    return {
        "normal log weights": 0.7 * normal,
        "wide normal log weights": 2.5 * normal,
        "t with 3 degrees of freedom": 1.5 * rng.standard_t(3, 2500),
        "Cauchy target, normal proposal": -np.log1p(normal**2) + 0.5 * normal**2,
        "bounded ratio": -0.5 * normal**2 + np.log1p(normal**2),
        "uniform weights": np.log(rng.uniform(0.1, 1.0, 1024)),
        "few draws": rng.exponential(1.0, 60),
        "large offset": 0.7 * normal[:529] - 4000.0,
    }


def published_shape(log_weights: FloatArray) -> float:
    published = import_module("arviz_stats.base")
    return float(published.array_stats.psislw(-log_weights)[1])


@pytest.mark.parametrize("name", list(log_weight_sets()))
def test_pareto_k_agrees_with_a_published_implementation(name: str) -> None:
    log_weights = log_weight_sets()[name]
    assert pareto_k(log_weights) == pytest.approx(published_shape(log_weights), abs=SAME_RULE)


@pytest.mark.parametrize("name", list(log_weight_sets()))
def test_smoothed_weights_agree_with_a_published_implementation(name: str) -> None:
    log_weights = log_weight_sets()[name]
    published = import_module("arviz_stats.base").array_stats.psislw(-log_weights)[0]
    assert normalised(smoothed(log_weights)) == pytest.approx(normalised(np.asarray(published)), abs=SAME_RULE)


def test_smoothing_tames_one_heavy_weight_and_keeps_the_others() -> None:
    log_weights = np.append(0.5 * np.random.default_rng(11).normal(size=4095), 7.0)
    plain, tamed = normalised(log_weights), normalised(smoothed(log_weights))
    assert plain[-1] > 0.1
    assert tamed[-1] < 0.5 * plain[-1]
    order = np.argsort(log_weights)
    assert (np.argsort(smoothed(log_weights), kind="stable")[: 4096 - 192] == order[: 4096 - 192]).all()


@pytest.mark.parametrize("size", [300, 1000, 3000])
def test_pareto_k_agrees_at_any_size_but_for_one_weight_of_the_tail(size: int) -> None:
    log_weights = log_weight_sets()["wide normal log weights"][:size]
    assert pareto_k(log_weights) == pytest.approx(published_shape(log_weights), abs=ONE_WEIGHT_MORE)


@pytest.mark.parametrize("k", [0.2, 0.5, 0.8, 1.2])
def test_pareto_k_finds_the_shape_of_weights_with_a_pareto_tail(k: float) -> None:
    """Weights U^(-k) have a Pareto tail of shape k everywhere; se of the shape is (1 + k) / sqrt(tail)."""
    draws = 20000
    weights = np.random.default_rng(3).random(draws) ** (-k)
    tail = 3.0 * np.sqrt(draws)
    assert pareto_k(np.log(weights)) == pytest.approx(k, abs=SHAPE_SD * (1.0 + k) / np.sqrt(tail))


def test_pareto_k_depends_on_neither_order_nor_scale() -> None:
    log_weights = log_weight_sets()["t with 3 degrees of freedom"]
    shuffled = np.random.default_rng(0).permutation(log_weights)
    assert pareto_k(shuffled) == pareto_k(log_weights)
    assert pareto_k(log_weights + 300.0) == pytest.approx(pareto_k(log_weights), abs=1e-9)


@pytest.mark.parametrize(
    "log_weights",
    [np.zeros(4), np.zeros(1000), np.array([np.nan, *np.zeros(200)]), np.full(300, -np.inf)],
    ids=["too few", "all equal", "one nan", "nothing possible"],
)
def test_weights_whose_tail_cannot_be_fitted_have_no_shape(log_weights: FloatArray) -> None:
    with np.errstate(invalid="ignore"):
        assert np.isnan(pareto_k(log_weights))


def failed_gates(log_weights: FloatArray) -> list[str]:
    return [gate.name for gate in gates_of(log_weights) if not gate.passed]


def test_one_nan_among_many_good_weights_fails() -> None:
    assert failed_gates(np.array([np.nan, *np.zeros(5000)])) == ["NaN"]


def test_weights_of_which_none_is_possible_fail() -> None:
    assert failed_gates(np.full(300, -np.inf)) == ["NaN"]


def test_a_shape_that_cannot_be_fitted_counts_as_infinite() -> None:
    """Three thousand draws, of which four count: no tail to fit, and nothing to trust."""
    log_weights = np.full(3000, -np.inf)
    log_weights[:4] = 0.0
    gates = {gate.name: gate for gate in gates_of(log_weights)}
    assert gates["Pareto k"].value == np.inf
    assert not gates["Pareto k"].passed


def test_heavy_tails_fail_by_shape_and_few_draws_by_their_weight_while_one_heavy_draw_is_smoothed() -> None:
    rng = np.random.default_rng(1)
    assert "Pareto k" in failed_gates(np.log(rng.random(20000) ** -1.2))
    light = np.log(rng.uniform(0.5, 1.0, 2000))
    assert failed_gates(light) == []
    light[0] = np.log(40.0)
    assert normalised(light)[0] > MAX_WEIGHT_LIMIT
    assert failed_gates(light) == []
    assert "largest weight" in failed_gates(light[:90])


def test_normalised_weights_sum_to_one_and_impossible_draws_get_none() -> None:
    weights = normalised(np.array([-1000.0, -1000.0 + np.log(3.0), -np.inf]))
    assert weights == pytest.approx([0.25, 0.75, 0.0])


@pytest.mark.parametrize(("weights", "expected"), [([0.25] * 4, 4.0), ([1.0, 0.0, 0.0], 1.0), ([0.5, 0.5, 0.0], 2.0)])
def test_effective_size_counts_what_counts(weights: list[float], expected: float) -> None:
    assert effective_size(np.array(weights)) == pytest.approx(expected)


def test_systematic_resampling_gives_each_draw_its_share_to_within_one() -> None:
    rng = np.random.default_rng(2)
    for _ in range(50):
        weights = normalised(2.0 * rng.normal(size=30))
        counts = np.bincount(systematic_resample(weights, 200, rng), minlength=30)
        assert counts.sum() == 200
        assert np.all(np.abs(counts - 200 * weights) < 1.0)


def test_systematic_resampling_is_right_on_average() -> None:
    """A draw gets floor or one more at random, so the mean count over many resamplings is its weight's share."""
    rng = np.random.default_rng(4)
    weights = normalised(rng.normal(size=12))
    times, count = 4000, 7
    counts = np.array([np.bincount(systematic_resample(weights, count, rng), minlength=12) for _ in range(times)])
    fraction = count * weights - np.floor(count * weights)
    se = np.sqrt(fraction * (1.0 - fraction) / times)
    assert np.all(np.abs(counts.mean(axis=0) - count * weights) < 4.0 * se)


def test_draws_without_weight_are_never_picked() -> None:
    rng = np.random.default_rng(6)
    picked = [systematic_resample(np.array([0.0, 0.3, 0.0, 0.7, 0.0]), 10, rng) for _ in range(200)]
    assert set(np.unique(picked)) == {1, 3}
