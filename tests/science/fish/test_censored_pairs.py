"""The mean ratio of two methods: exact without censoring, and honest with it where leaving pairs out is not."""

from __future__ import annotations

import math

import numpy as np
import pytest

from brinemark.science.distributions import student_quantile
from brinemark.science.fish import censored_pairs
from brinemark.science.fish.censored_pairs import binormal_below, mean_ratio
from brinemark.terms.arrays import BoolArray, FloatArray
from brinemark.terms.errors import Refused

QUADRATURE = 2e-6
CLIMB = 2e-4  # of the log ratio: ends are found to 1e-4 of the half-width, which is near 0.2
TRUE_RATIO = 0.8


def drawn(generator: np.random.Generator, count: int) -> tuple[FloatArray, FloatArray]:
    """Lognormal levels; the first method scatters by 10 %, the second by 30 %."""
    level = generator.normal(1.0, 0.8, count)
    first = level + generator.normal(0.0, 0.1, count)
    second = level + math.log(TRUE_RATIO) + generator.normal(0.0, 0.3, count)
    return np.exp(first), np.exp(second)


def cut(values: FloatArray, limit: float) -> tuple[FloatArray, BoolArray]:
    return np.maximum(values, limit), values >= limit


@pytest.mark.parametrize("correlation", [-0.9, 0.0, 0.5, 0.95, 0.99])
def test_two_normals_below_their_limits_agree_with_a_general_integrator(correlation: float) -> None:
    from scipy.integrate import quad
    from scipy.special import ndtr

    h, k = np.array([-2.5, -1.0, 0.0, 1.3]), np.array([-1.5, -1.2, 0.7, -0.4])
    rest = math.sqrt(1.0 - correlation**2)

    def density(u: float, limit: float) -> float:
        return math.exp(-0.5 * u * u) / math.sqrt(2.0 * math.pi) * float(ndtr((limit - correlation * u) / rest))

    known = [quad(density, -12.0, top, (limit,), epsabs=1e-11, limit=200)[0] for top, limit in zip(h, k, strict=True)]
    assert binormal_below(h, k, correlation) == pytest.approx(np.array(known), abs=QUADRATURE)


def test_without_censoring_the_interval_is_that_of_the_paired_t() -> None:
    x, y = drawn(np.random.default_rng(51), 15)
    everything = np.ones(15, dtype=np.bool_)
    answer = mean_ratio(x, y, everything, everything)
    logs = np.log(y / x)
    half = student_quantile(0.975, 14) * float(np.std(logs, ddof=1)) / math.sqrt(15)
    assert math.log(answer.ratio) == pytest.approx(float(np.mean(logs)), abs=CLIMB)
    ends = [math.log(end) for end in answer.interval]
    assert ends == pytest.approx([float(np.mean(logs)) - half, float(np.mean(logs)) + half], abs=CLIMB)
    assert answer.spread == pytest.approx(float(np.std(logs)), rel=1e-3)


def test_the_ratio_holds_its_level_with_a_third_not_found_and_leaving_them_out_does_not() -> None:
    generator = np.random.default_rng(52)
    repeats, held, held_without = 50, 0, 0
    for _ in range(repeats):
        x, y = drawn(generator, 30)
        (x, seen_x), (y, seen_y) = cut(x, 1.0), cut(y, 2.0)
        ends = mean_ratio(x, y, seen_x, seen_y).interval
        held += ends.lower <= TRUE_RATIO <= ends.upper
        both = seen_x & seen_y
        all_seen = np.ones(int(np.sum(both)), dtype=np.bool_)
        bare = mean_ratio(x[both], y[both], all_seen, all_seen).interval
        held_without += bare.lower <= TRUE_RATIO <= bare.upper
    monte_carlo = 3.0 * math.sqrt(0.95 * 0.05 / repeats)
    assert held / repeats >= 0.95 - monte_carlo
    assert held_without / repeats < 0.95 - monte_carlo


def test_too_few_measured_pairs_and_limits_not_above_zero_are_refused() -> None:
    x, y = drawn(np.random.default_rng(53), 8)
    seen, few = np.ones(8, dtype=np.bool_), np.arange(8) < 4
    with pytest.raises(Refused, match="4 pairs measured by both"):
        mean_ratio(x, y, few, seen)
    with pytest.raises(Refused, match="not above 0"):
        mean_ratio(np.where(few, 0.0, x), y, seen, seen)
    with pytest.raises(Refused, match="without any scatter"):
        mean_ratio(x, 2.0 * x, seen, seen)


def either_high_or_not_found(generator: np.random.Generator, lowest: float) -> tuple[FloatArray, FloatArray, BoolArray]:
    """Nine levels near 9 by both methods, and six below the limits of both, of which the first is lowest."""
    first, second = (np.concatenate([8.8 * np.exp(generator.normal(0, 0.1, 9)), np.full(6, 0.0)]) for _ in range(2))
    return np.where(first == 0.0, lowest, first), np.where(second == 0.0, 5.8, second), np.arange(15) < 9


def test_results_far_above_the_limits_or_not_found_have_no_mean_ratio() -> None:
    """Both methods agree where both found something; the limits alone would give a ratio of 3.6, interval 1.3 to 18."""
    x, y, seen = either_high_or_not_found(np.random.default_rng(2), 0.6)
    with pytest.raises(Refused, match="which no one law of levels joins"):
        mean_ratio(x, y, seen, seen)


@pytest.mark.parametrize("place", [(0, 0, 0, 0, 40), (0, 0, 0, 0, -40), (0, 0, -1000, 0, 0), (0, 0, 0, 1000, 0)])
def test_a_step_of_the_search_that_went_too_far_still_has_a_likelihood(place: tuple[float, ...]) -> None:
    x, y = drawn(np.random.default_rng(54), 20)
    (x, seen_x), (y, seen_y) = cut(x, 1.0), cut(y, 2.0)
    pairs = censored_pairs._checked(x, y, seen_x, seen_y)
    assert math.isfinite(censored_pairs._log_likelihood(pairs, np.array(place, dtype=float)))
