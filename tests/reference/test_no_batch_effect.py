"""A negative control: batches that do not differ are not said to differ, batches that do are.

The likelihood rows are the test's own; the integral over the batches is the program's. Dyestuff2 has no batch effect,
Dyestuff has one, both with six batches of five.
"""

from __future__ import annotations

from types import ModuleType

import numpy as np
import pytest

from brinemark.science.amount.quadrature import LatentModel, Nodes, log_marginal
from brinemark.terms.arrays import FloatArray
from reference import dyestuff, dyestuff2

NODES = Nodes(9, 1)
SIX_DIGITS = 2e-6
CHI_SQUARE_95 = 3.841458820694124
PROFILE_PRINT = 2e-3  # deviance at an interval end that is printed to four decimals of the sd, found on a grid
ALMOST_NONE = 1e-4  # batch sd, in residual sds, that stands for none at all
BATCHES, SAMPLES = 6, 5
PROFILE_ENDS = ((dyestuff, 12.1985), (dyestuff, 84.0631), (dyestuff2, dyestuff2.BATCH_SD_PROFILE_95[1]))


def marginal(data: ModuleType, batch_sd: FloatArray, residual_sd: FloatArray) -> FloatArray:
    """Log-likelihood (n,) at the grand mean, which is the best mean at every pair of sds in a balanced layout."""
    y = np.array(data.YIELD)

    def density(theta: FloatArray, z: FloatArray, e: FloatArray) -> FloatArray:
        del e
        away = (y - y.mean() - np.exp(theta[0]) * z[0]) / np.exp(theta[1])
        values: FloatArray = -0.5 * away**2 - theta[1] - 0.5 * np.log(2.0 * np.pi)
        return values

    model = LatentModel(density, np.repeat(np.arange(BATCHES), SAMPLES), 1, 0)
    return log_marginal(model, np.log(np.column_stack([batch_sd, residual_sd])), NODES)


def residual_of_ml(data: ModuleType) -> float:
    return float(np.sqrt(data.ML["residual_variance"]))


def profile(data: ModuleType, batch_sd: float) -> float:
    """Highest log-likelihood over the residual sd at one batch sd."""
    residual = residual_of_ml(data) * np.linspace(0.7, 1.5, 801)
    return float(marginal(data, np.full(residual.size, batch_sd), residual).max())


def posterior(data: ModuleType, ratios: FloatArray) -> FloatArray:
    """Density of batch sd / residual sd of ML on ratios, flat priors on mean, batch sd and ln residual sd."""
    residual = residual_of_ml(data) * np.exp(np.linspace(-0.7, 0.7, 57))
    batch, own = np.meshgrid(ratios * residual_of_ml(data), residual, indexing="ij")
    height = marginal(data, batch.ravel(), own.ravel()).reshape(batch.shape)
    # The integral over the mean is a normal one: times its standard error.
    weight = np.exp(height - height.max()) * np.sqrt(batch**2 / BATCHES + own**2 / (BATCHES * SAMPLES))
    density = weight.sum(axis=1)
    return np.asarray(density / np.trapezoid(density, ratios))


def test_without_a_batch_effect_the_likelihood_is_highest_at_none() -> None:
    none = ALMOST_NONE * residual_of_ml(dyestuff2)
    best = marginal(dyestuff2, np.array([none]), np.array([residual_of_ml(dyestuff2)]))[0]
    assert -2.0 * best == pytest.approx(dyestuff2.MINUS_2_LOG_LIKELIHOOD, abs=SIX_DIGITS)
    heights = [profile(dyestuff2, sd) for sd in (none, 0.3, 0.6, 1.2, 2.4)]
    assert heights == sorted(heights, reverse=True)


def test_with_a_batch_effect_the_likelihood_is_highest_away_from_none() -> None:
    none = profile(dyestuff, ALMOST_NONE * residual_of_ml(dyestuff))
    best = profile(dyestuff, float(np.sqrt(dyestuff.ML["batch_variance"])))
    assert -2.0 * best == pytest.approx(dyestuff.ML["minus_2_log_likelihood"], abs=SIX_DIGITS)
    assert 2.0 * (best - none) > CHI_SQUARE_95


@pytest.mark.parametrize(("data", "end"), PROFILE_ENDS)
def test_ends_of_the_profile_interval_of_the_batch_sd_are_where_they_are_published(
    data: ModuleType, end: float
) -> None:
    best = profile(data, max(float(np.sqrt(data.ML["batch_variance"])), ALMOST_NONE))
    assert 2.0 * (best - profile(data, end)) == pytest.approx(CHI_SQUARE_95, abs=PROFILE_PRINT)


def test_the_posterior_of_the_batch_sd_piles_at_zero_only_where_batches_do_not_differ() -> None:
    ratios = np.linspace(0.005, 4.0, 200)
    nothing, something = posterior(dyestuff2, ratios), posterior(dyestuff, ratios)
    assert np.argmax(nothing) == 0
    assert something[0] < 0.25 * something.max()
    assert 0.4 < ratios[np.argmax(something)] < 1.5  # 37.3 / 49.5 g by maximum likelihood

    def below(density: FloatArray, ratio: float) -> float:
        share = ratios <= ratio
        return float(np.trapezoid(density[share], ratios[share]))

    assert below(nothing, 0.5) > 0.7
    assert below(something, 0.5) < 0.2
