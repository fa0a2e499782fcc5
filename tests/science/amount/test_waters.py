"""The scatter of ln K between waters: against numerical integration, its limits, and known truth."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.stats import norm

from brinemark.science.amount.waters import (
    FEWEST_WATERS,
    LN_SD,
    Recovery,
    by_water,
    log_evidence,
    recovery_in,
    scatter_between,
    water_words,
)
from brinemark.terms.amounts import Estimate, Reading

SEED = 5
DEFAULT = 0.10


def recoveries(s: float, count: int, u: float, rng: np.random.Generator, mean: float = 0.0) -> list[Recovery]:
    ln = mean + np.hypot(s, u) * rng.normal(size=count)
    return [Recovery(f"W{i}", float(value), u) for i, value in enumerate(ln)]


def test_the_evidence_is_the_integral_over_the_mean() -> None:
    rng = np.random.default_rng(SEED)
    y, u = rng.normal(0.0, 0.3, 7), rng.uniform(0.05, 0.4, 7)
    scatters = np.array([0.02, 0.1, 0.5])

    def density(mu: float, s: float) -> float:
        return float(np.prod(norm.pdf(y, mu, np.hypot(u, s))))

    exact = np.log([quad(density, -3.0, 3.0, args=(s,), epsabs=0.0, epsrel=1e-10, points=[0.0])[0] for s in scatters])
    found = log_evidence(y, u, scatters)
    assert found - found[0] == pytest.approx(exact - exact[0], abs=1e-8)


def test_the_posterior_of_the_scatter_is_that_of_a_fine_integration() -> None:
    made = recoveries(0.25, 8, 0.15, np.random.default_rng(SEED))
    found = scatter_between(made, DEFAULT)
    assert found is not None
    y, u = np.array([one.ln for one in made]), np.array([one.u for one in made])
    x = np.linspace(-6.0, 6.0, 20_001)
    weight = np.exp(log_evidence(y, u, DEFAULT * np.exp(LN_SD * x)) - 0.5 * x**2)
    below = np.cumsum(weight) / weight.sum()
    exact = DEFAULT * np.exp(LN_SD * np.interp([0.1, 0.5, 0.9], below, x))
    grid_and_64_values = 0.01
    assert np.quantile(found.quantiles, [0.1, 0.5, 0.9]) == pytest.approx(exact, rel=3 * grid_and_64_values)
    assert found.median == pytest.approx(exact[1], rel=grid_and_64_values)


def test_below_six_waters_the_default_stays() -> None:
    made = recoveries(0.3, FEWEST_WATERS - 1, 0.1, np.random.default_rng(SEED))
    assert scatter_between(made, DEFAULT) is None
    again = [*made, Recovery("W0", 0.1, 0.1), Recovery("W1", 0.1, 0.1)]
    assert scatter_between(again, DEFAULT) is None, "seven recoveries of five waters are five waters"
    assert scatter_between([*made, Recovery("W9", 0.0, 0.1)], 0.0) is None, "a default of 0 says that waters are alike"


def test_recoveries_that_say_nothing_leave_the_default_and_many_precise_ones_their_own() -> None:
    rng = np.random.default_rng(SEED)
    vague = scatter_between(recoveries(0.3, 6, 20.0, rng), DEFAULT)
    assert vague is not None
    assert vague.median == pytest.approx(DEFAULT, rel=0.02)
    precise = scatter_between(recoveries(0.3, 400, 0.01, rng), DEFAULT)
    assert precise is not None
    sd_of_an_sd = 0.3 / np.sqrt(2 * 400)
    assert abs(precise.median - 0.3) < 3 * sd_of_an_sd


def test_truth_lies_within_the_posterior_as_often_as_it_says() -> None:
    """Scatters from the prior: the share of truths below the posterior's quantiles is uniform."""
    rng, trials = np.random.default_rng(SEED), 400
    ranks = []
    for _ in range(trials):
        truth = DEFAULT * np.exp(LN_SD * rng.normal())
        found = scatter_between(recoveries(truth, 8, 0.15, rng, mean=0.1 * rng.normal()), DEFAULT)
        assert found is not None
        ranks.append(np.mean(np.array(found.quantiles) < truth))
    kolmogorov_at_001 = 1.95 / np.sqrt(trials)
    grid_of_64 = 1.0 / 64
    ordered = np.sort(ranks)
    assert np.abs(ordered - (np.arange(trials) + 0.5) / trials).max() < kolmogorov_at_001 + grid_of_64


def test_recoveries_of_one_water_are_one_mean() -> None:
    (one,) = by_water([Recovery("W", 0.1, 0.1), Recovery("W", 0.4, 0.2)])
    assert one.ln == pytest.approx((0.1 / 0.01 + 0.4 / 0.04) / (1 / 0.01 + 1 / 0.04))
    assert one.u == pytest.approx((1 / 0.01 + 1 / 0.04) ** -0.5)


def reading(lower: float | None, median: float, upper: float | None) -> Reading:
    ends = Estimate(median, lower, upper, 0.95, 2)
    return Reading("quantified", None, None, ends, None, None, None, (), (), None, ends)


def test_a_recovery_takes_the_scatter_that_its_reading_held_out_again() -> None:
    width = np.exp(1.959964 * np.hypot(0.2, 0.1))
    found = recovery_in("W", reading(2.0 / width, 2.0, 2.0 * width), 2.0, 0.0, 0.1)
    assert found is not None
    assert (found.ln, found.u) == pytest.approx((0.0, 0.2))
    with_own = recovery_in("W", reading(0.5 + 2.0 / width, 2.5, 0.5 + 2.0 * width), 2.0, 0.5, 0.1)
    assert with_own is not None and with_own.u == pytest.approx(0.2)


def test_a_reading_with_one_end_gives_its_uncertainty_by_that_side_and_one_without_is_no_recovery() -> None:
    width = np.exp(1.959964 * np.hypot(0.2, 0.1))
    for one in (reading(2.0 / width, 2.0, None), reading(None, 2.0, 2.0 * width), reading(0.0, 2.0, 2.0 * width)):
        found = recovery_in("W", one, 2.0, 0.0, 0.1)
        assert found is not None and found.u == pytest.approx(0.2)
    assert recovery_in("W", reading(None, 2.0, None), 2.0, 0.0, 0.1) is None
    assert recovery_in("W", reading(0.1, 0.4, 4.0), 2.0, 0.5, 0.1) is None, "below what the water held"


def test_waters_that_all_recover_too_little_are_named() -> None:
    rng = np.random.default_rng(SEED)
    low = scatter_between(recoveries(0.05, 12, 0.05, rng, mean=float(np.log(0.7))), DEFAULT)
    sound = scatter_between(recoveries(0.05, 12, 0.05, rng), DEFAULT)
    assert low is not None and sound is not None
    assert any("spiked waters recover 7" in text or "recover 6" in text for text in water_words(low))
    assert len(water_words(sound)) == 1
