"""Samples of a tank together: against the weight of a series, a general integrator, and what cannot be."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.stats import norm

from brinemark.science.fish.background import fit_background
from brinemark.science.fish.evidence import weigh_series
from brinemark.science.fish.kinetics import Course, constants, follow
from brinemark.science.fish.samples import SamplesOfTanks, TankSample, check_samples, levels_of, sample_times
from brinemark.science.fish.tanks import History, Tank
from brinemark.terms.arrays import FloatArray
from brinemark.terms.errors import Refused
from brinemark.terms.evidence import BackgroundFit, LevelLikelihood, Proposition

LEVELS = np.concatenate([[0.0], np.geomspace(0.005, 500.0, 800)])
INTEGRATION = 0.02  # in ln, of the sum over backgrounds and of the tables
CONTROLS = np.array([0.2, 0.3, 0.4, 0.0, 0.5]), np.array([0.2, 0.3, 0.4, 0.3, 0.5])
TWO_TANKS = History((Tank("a", 1.0), Tank("b", 1.0, start_ug_L=5.0, filled_d=1.0)))


def noise(level: FloatArray, share: float) -> FloatArray:
    return np.sqrt(0.1**2 + (share * level) ** 2)


def of_signal(signal: float, share: float = 0.1) -> LevelLikelihood:
    return LevelLikelihood(LEVELS, norm.logpdf(signal, LEVELS, noise(LEVELS, share)), -0.5 / share**2 - 60.0)


def below(limit: float) -> LevelLikelihood:
    return LevelLikelihood(LEVELS, norm.logcdf(limit, LEVELS, noise(LEVELS, 0.1)), -50.0)


def above(limit: float) -> LevelLikelihood:
    return LevelLikelihood(LEVELS, norm.logsf(limit, LEVELS, noise(LEVELS, 0.1)), 0.0)


def known(median: float, gsd: float) -> BackgroundFit:
    mu, sd = np.array([math.log(median)]), np.array([math.log(gsd)])
    ends = (median, median, median), (gsd, gsd, gsd)
    return BackgroundFit(mu, sd, np.array([mu, sd, [1.0]]), *ends, (median, gsd), 10, 0)


@pytest.mark.parametrize(
    "likelihoods",
    [
        (of_signal(2.0),),
        (of_signal(2.0), of_signal(1.0)),
        (below(0.6), of_signal(0.8), below(0.6)),
        (above(15.0), of_signal(9.0)),
    ],
    ids=["one", "two", "below detection", "full electrode"],
)
def test_a_tank_has_the_likelihood_ratio_of_a_series(likelihoods: tuple[LevelLikelihood, ...]) -> None:
    background = fit_background(*CONTROLS)
    added = 2.0 * np.exp(np.random.default_rng(2).normal(0.0, 1.0, (40, len(likelihoods))))
    tank = SamplesOfTanks([TankSample("a", n, each) for n, each in enumerate(likelihoods)], background)
    values = tank.log_likelihood(np.concatenate([np.zeros((1, len(likelihoods))), added]))
    found = math.log(np.exp(values[1:]).mean()) - values[0]
    first = Proposition("exposed", "w", added)
    second = Proposition("not exposed", "w", np.zeros_like(added))
    wanted = weigh_series(likelihoods, background, first, second).log10_ratio * math.log(10.0)
    assert found == pytest.approx(wanted, abs=INTEGRATION)


@pytest.mark.parametrize("share", [0.02, 0.1, 0.3])
@pytest.mark.parametrize("gsd", [1.1, 2.0, 5.0])
def test_sharp_and_wide_samples_are_integrated_over_narrow_and_wide_backgrounds(share: float, gsd: float) -> None:
    signals, added = (3.0, 2.2), np.array([[0.0, 0.0], [1.5, 0.8], [2.5, 1.4], [40.0, 30.0]])
    tank = SamplesOfTanks([TankSample("a", n, of_signal(s, share)) for n, s in enumerate(signals)], known(0.9, gsd))

    def density(row: FloatArray) -> float:
        def part(z: float) -> float:
            level = 0.9 * gsd**z + row
            return float(np.exp(norm.logpdf(signals, level, noise(level, share)).sum()) * norm.pdf(z))

        steps = np.arange(-8.0, 16.0, 0.5)  # a background of GSD 1.1 explains the samples at z = 11
        return math.fsum(float(quad(part, a, a + 0.5, epsabs=0.0, epsrel=1e-6, limit=200)[0]) for a in steps)

    found = tank.log_likelihood(added)
    densities = [density(row) for row in added[:3]]
    # Each sample's likelihood is told relative to its own top.
    top = sum(float(norm.logpdf(s, LEVELS, noise(LEVELS, share)).max()) for s in signals)
    assert found[:3] == pytest.approx(np.log(densities) - top, abs=INTEGRATION)
    assert found[3] < -9.0


def test_levels_are_those_of_tank_and_time_in_the_order_of_the_samples() -> None:
    flat = of_signal(1.0)
    samples = [TankSample("b", 3.0, flat), TankSample("a", 1.0, flat), TankSample("b", 2.0, flat)]
    course = follow(constants(2, water_loss_per_d=0.5), TWO_TANKS, sample_times(samples))
    wanted = [5.0 * math.exp(-1.0), 0.0, 5.0 * math.exp(-0.5)]
    assert levels_of(course, TWO_TANKS, samples) == pytest.approx(np.array([wanted, wanted]))


def test_rounding_below_zero_is_zero_and_anything_lower_is_not_hidden() -> None:
    water = np.array([[[4.0, -1e-15], [-1e-16, 2.0]]])
    course = Course(np.array([1.0, 2.0]), water, np.zeros((1, 0, 3, 2)), np.zeros((1, 0, 2)), np.zeros((1, 2)))
    samples = [TankSample(tank, time, of_signal(1.0)) for tank in "ab" for time in (1.0, 2.0)]
    assert levels_of(course, TWO_TANKS, samples).tolist() == [[4.0, 0.0, 0.0, 2.0]]
    water[0, 0, 1] = -0.1
    with pytest.raises(Refused, match="levels of 0 or more"):
        SamplesOfTanks(samples, None).log_likelihood(levels_of(course, TWO_TANKS, samples))


@pytest.mark.parametrize(
    ("tank", "time", "words"), [("c", 1.0, "unknown tank 'c'"), ("b", 0.5, "filling"), ("a", math.nan, "filling")]
)
def test_samples_that_cannot_be_are_refused(tank: str, time: float, words: str) -> None:
    with pytest.raises(Refused, match=words):
        check_samples(TWO_TANKS, [TankSample(tank, time, of_signal(1.0))])
