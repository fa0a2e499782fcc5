"""The normal likelihood of all readings of a sample: its moments against simulated lives, its shape against densities
written out."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from histories import history
from known_population import PLAIN, electrode
from scipy.stats import multivariate_normal

from brinemark.science.amount.joint import SimulatedLives
from brinemark.science.amount.joint_likelihood import JointLikelihood, Stretch
from brinemark.science.amount.law import FilmKind
from brinemark.science.amount.predictive import batch_draws
from brinemark.science.amount.reading import observe
from brinemark.science.amount.simulate import PRESCAN_AND_SPIKE
from brinemark.science.amount.statistic import Observed
from brinemark.terms.amounts import OtherDip, SamplePortion

SEED, SIMULATED = 11, 20_000
LEVELS = np.array([0.0, 0.6, 2.0, 20.0])
SHAPE = 0.06
"""Relative, of a variance: readings that are not quite normal on their scale, beside the Monte Carlo error of .01."""


@cache
def pair() -> tuple[Observed, ...]:
    """Two electrodes of the new batch and one of an old batch, the first with a pre-scan and a spike."""
    here = history(SEED)
    draws = batch_draws(here.calibration, here.readings, ["B9", "B3"], SEED)
    others = (OtherDip(-1, 0.3, 0.01, 0.0, 0.0), OtherDip(1, 1.2, 0.01, 1.0, 50.0))
    portions = [
        SamplePortion("X0", "B9", "bench", 1.0, 0.8, 0.01, others=others),
        SamplePortion("X1", "B9", "bench", 1.1, 0.7, 0.02, 2.0),
        SamplePortion("X2", "B3", "bench", 0.9, 0.6, 0.02),
    ]
    return observe(portions, here.calibration, draws)


def test_mean_and_covariance_are_those_of_simulated_lives() -> None:
    """All draws, so that what electrodes of a batch share is there too: batch, population, and one water."""
    electrodes = pair()
    everybody = electrodes[0].laws[0].shift.size
    likelihood = JointLikelihood.of(electrodes, LEVELS, everybody)
    lives = SimulatedLives.draw(electrodes, SEED, SIMULATED)
    for place, level in enumerate(LEVELS):
        w = likelihood.stretched(lives.signals(float(level)))
        mean, covariance = _moments(likelihood, place, w.shape[1])
        sd = np.sqrt(np.diag(covariance))
        assert np.abs((w.mean(axis=0) - mean) / sd).max() < 0.08
        seen = np.cov(w.T)
        assert np.diag(seen) / np.diag(covariance) == pytest.approx(1.0, abs=SHAPE + 3.0 * np.sqrt(2.0 / SIMULATED))
        apart = seen / np.outer(sd, sd) - covariance / np.outer(sd, sd)
        assert np.abs(apart).max() < SHAPE + 3.0 / np.sqrt(SIMULATED)


def _moments(likelihood: JointLikelihood, place: int, count: int) -> tuple[np.ndarray, np.ndarray]:
    """Mean and covariance that the quadratic form at one candidate stands for."""
    column = likelihood.together.coefficients[:, place]
    i, j = np.triu_indices(count)
    precision = np.zeros((count, count))
    precision[i, j] = -column[: i.size] * np.where(i == j, 2.0, 1.0)
    precision = np.triu(precision) + np.triu(precision, 1).T
    covariance = np.linalg.inv(precision)
    return covariance @ column[i.size : i.size + count], covariance


def test_electrodes_of_one_batch_lean_on_each_other_and_those_of_two_less() -> None:
    likelihood = JointLikelihood.of(pair(), np.array([1.0]))
    _, covariance = _moments(likelihood, 0, 5)
    sd = np.sqrt(np.diag(covariance))
    apart = covariance / np.outer(sd, sd)
    assert apart[0, 3] > 2.0 * abs(apart[0, 4])


def test_the_quadratic_form_is_the_normal_density() -> None:
    likelihood = JointLikelihood.of(pair(), LEVELS)
    signals = [np.array([one.signals]) for one in pair()]
    found, w = likelihood.log_likelihood(signals)[0], likelihood.stretched(signals)[0]
    for place in range(LEVELS.size):
        mean, covariance = _moments(likelihood, place, w.size)
        wanted = multivariate_normal(mean, covariance).logpdf(w) + 0.5 * w.size * np.log(2.0 * np.pi)
        assert found[place] == pytest.approx(wanted, abs=1e-6)


def test_kinds_of_films_mix_by_their_shares() -> None:
    sound = electrode(PLAIN, PRESCAN_AND_SPIKE, draws=1)
    low = tuple(replace(law, shift=law.shift - 1.0) for law in sound.laws)
    shares = np.array([0.9, 0.1])
    kinds = tuple(
        FilmKind(name, np.log(share) * np.ones(1), laws)
        for name, share, laws in zip(("sound", "low gain"), shares, (sound.laws, low), strict=True)
    )
    signals = [np.array([[0.3, 0.1, 0.45]])]
    mixed = JointLikelihood.of([replace(sound, kinds=kinds)], LEVELS).log_likelihood(signals)[0]
    each = []
    for kind in kinds:
        pure = JointLikelihood.of([replace(sound, laws=kind.laws)], LEVELS)
        assert [one.k for one in pure.stretches] == pytest.approx([Stretch.of(law).k for law in sound.laws])
        each.append(pure.log_likelihood(signals)[0])
    assert mixed == pytest.approx(np.log(shares @ np.exp(np.array(each))), abs=1e-9)
    assert each[1].max() > each[0].max()


def test_what_each_reaches_alone_is_no_less_than_together() -> None:
    """Never for independent electrodes; those of a batch lean on each other, so only what is not shared counts."""
    one = electrode(PLAIN, PRESCAN_AND_SPIKE, draws=1)
    likelihood = JointLikelihood.of([one, one], LEVELS)
    signals = [np.array([[0.8, 0.28, 1.2]]), np.array([[0.4, 0.3, 1.0]])]
    together, alone = likelihood.both(signals)
    assert float(alone[0]) >= float(together.max()) - 1e-9
    assert together[0] == pytest.approx(np.sum([part[0] for part in likelihood.of_each(signals)], axis=0), abs=1e-7)
