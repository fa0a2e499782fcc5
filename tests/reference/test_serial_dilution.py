"""Serial dilution: unknowns and curve at once, through the program's integrator and sampler, against published data.

The model, its log-likelihood and its priors are the test's own. Each unknown is a group with one latent, its log
level; the standard is a group whose latent touches nothing. Parameters: ln b1..b4, logit alpha, ln sigma.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import pytest

from brinemark.science.amount.posterior import PosteriorSample, SampleOptions, sample_posterior
from brinemark.science.amount.quadrature import (
    STEP_DONE,
    Adapted,
    LatentModel,
    Nodes,
    adapt,
    log_group_integrand,
    log_marginal,
)
from brinemark.terms.arrays import FloatArray
from reference import serial_dilution as data

NODES = Nodes(9, 1)
DRAWS = 4096
MONTE_CARLO = 3.0  # standard errors of a mean
SD_AGREES = 0.10  # relative, of posterior sds: a few thousand draws that count, and the reference's own error
# Latents are ln(theta / .01). A start, not a prior (that is flat): from far above the lowest unknown the search for
# its mode would step onto the plain where the level is 0 for all the data can tell.
CENTER_THETA = 0.01
SAMPLE = np.array(data.SAMPLE) - 1
DILUTION, SIGNAL = np.array(data.DILUTION), np.array(data.SIGNAL)
STANDARD = data.STANDARD - 1
NAMES = ("ln_b1", "ln_b2", "ln_b3", "ln_b4", "logit_alpha", "ln_sigma")
START = np.array([*np.log(data.STANDARDS_LEAST_SQUARES), 1.0, np.log(2.0)])
SCALE = np.array([0.2, 0.2, 0.5, 0.3, 1.5, 0.4])


def row_density(theta: FloatArray, z: FloatArray, alpha: FloatArray) -> FloatArray:
    """y ~ N(g, (g / A)^(2 alpha) sigma^2), g = b1 + b2 / (1 + (x / b3)^(-b4)); rows are units."""
    b1, b2, b3, b4 = np.exp(theta[:4])
    log_x = np.where(SAMPLE == STANDARD, np.log(data.STANDARD_LEVEL), np.log(CENTER_THETA) + z[0])
    with np.errstate(divide="ignore"):
        log_ratio = b4 * (log_x + np.log(DILUTION) - np.log(b3))
    g = b1 + b2 / (1.0 + np.exp(-np.clip(log_ratio, -500.0, 500.0)))
    sd = (g / data.GEOMETRIC_MEAN) ** alpha * np.exp(theta[5])
    density: FloatArray = -0.5 * ((SIGNAL - g) / sd) ** 2 - np.log(sd) - 0.5 * np.log(2.0 * np.pi)
    return density


def log_likelihood(theta: FloatArray, z: FloatArray, e: FloatArray) -> FloatArray:
    """Density of the rows with alpha between 0 and 1."""
    del e
    return row_density(theta, z, 1.0 / (1.0 + np.exp(-theta[4])))


def flat_but_for_the_standard(theta: FloatArray, z: FloatArray) -> FloatArray:
    """Flat in the log level of each unknown; the standard's idle latent is standard normal."""
    del theta
    normal = -0.5 * z[0] ** 2 - 0.5 * np.log(2.0 * np.pi)
    prior: FloatArray = np.where(np.arange(z.shape[-1]) == STANDARD, normal, 0.0)
    return prior


MODEL = LatentModel(log_likelihood, SAMPLE, 1, 0, log_group_prior=flat_but_for_the_standard)


@dataclass(frozen=True)
class Dilutions:
    """Flat on the logs; alpha uniform on 0..1 gives its logit the density alpha (1 - alpha)."""

    start: Adapted

    @staticmethod
    def log_prior(parameters: FloatArray) -> FloatArray:
        logit = parameters[:, 4]
        density: FloatArray = -np.logaddexp(0.0, logit) - np.logaddexp(0.0, -logit)
        return density

    def log_density(self, parameters: FloatArray) -> FloatArray:
        return self.log_prior(parameters) + log_marginal(MODEL, parameters, NODES, adapt(MODEL, parameters, self.start))

    def near(self, center: FloatArray) -> Callable[[FloatArray], FloatArray]:
        shared = adapt(MODEL, center[None], self.start)

        def density(parameters: FloatArray) -> FloatArray:
            nodes = shared.repeat(parameters.shape[0])
            return self.log_prior(parameters) + log_marginal(MODEL, parameters, NODES, nodes)

        return density


@pytest.fixture(scope="module")
def sample() -> PosteriorSample:
    target = Dilutions(adapt(MODEL, START[None]))
    return sample_posterior(target, START, SCALE, NAMES, SampleOptions(DRAWS, 2004))


@pytest.fixture(scope="module")
def unknowns(sample: PosteriorSample) -> FloatArray:
    """One draw of all ten levels per parameter draw, (DRAWS, 10), from a fine grid of each latent."""
    rng = np.random.default_rng(60)
    start = adapt(MODEL, sample.mode[None])
    return np.concatenate([drawn_levels(part, start, rng) for part in np.array_split(sample.draws, 32)])


def drawn_levels(parameters: FloatArray, start: Adapted, rng: np.random.Generator) -> FloatArray:
    adapted = adapt(MODEL, parameters, start)
    away = np.linspace(-6.0, 6.0, 121)
    z = adapted.z[:, None] + adapted.z_root[0, 0] * away[None, :, None, None]
    log_density = log_group_integrand(MODEL, parameters, adapted, z, NODES.unit)
    cumulated = np.cumsum(np.exp(log_density - log_density.max(axis=0)), axis=0)
    pick = rng.random(cumulated.shape[1:]) * cumulated[-1]
    index = (cumulated < pick).sum(axis=0)
    drawn = np.take_along_axis(z[0], index[None], axis=0)[0]
    return np.asarray(CENTER_THETA * np.exp(drawn[:, :STANDARD]))


def natural(sample: PosteriorSample) -> dict[str, FloatArray]:
    values = dict(zip(("b1", "b2", "b3", "b4"), np.exp(sample.draws[:, :4]).T, strict=True))
    values["alpha"] = 1.0 / (1.0 + np.exp(-sample.draws[:, 4]))
    values["sd_y"] = np.exp(sample.draws[:, 5])
    return values


def tolerance(sample: PosteriorSample, name: str) -> float:
    """Three Monte Carlo standard errors, or a tenth of a posterior sd where that is more."""
    share = max(MONTE_CARLO / float(np.sqrt(sample.effective)), 0.1)
    return share * data.POSTERIOR_SD[name]


@pytest.mark.parametrize("name", ["b1", "b2", "b3", "b4", "alpha", "sd_y"])
def test_curve_and_noise_agree_with_the_reference_posterior(sample: PosteriorSample, name: str) -> None:
    drawn = natural(sample)[name]
    assert drawn.mean() == pytest.approx(data.POSTERIOR_MEAN[name], abs=tolerance(sample, name))
    assert drawn.std() == pytest.approx(data.POSTERIOR_SD[name], rel=SD_AGREES)


@pytest.mark.parametrize("number", range(1, 11))
def test_unknown_levels_agree_with_the_reference_posterior(
    sample: PosteriorSample, unknowns: FloatArray, number: int
) -> None:
    name = f"theta{number}"
    drawn = unknowns[:, number - 1]
    assert drawn.mean() == pytest.approx(data.POSTERIOR_MEAN[name], abs=tolerance(sample, name))
    assert drawn.std() == pytest.approx(data.POSTERIOR_SD[name], rel=SD_AGREES)


def test_the_sampler_used_enough_draws_for_the_tolerance_to_mean_something(sample: PosteriorSample) -> None:
    assert MONTE_CARLO / np.sqrt(sample.effective) < 0.15
    assert all(gate.passed for gate in sample.gates)


def test_the_uniform_prior_binds_since_the_best_exponent_lies_beyond_one(sample: PosteriorSample) -> None:
    """Without the prior the best alpha is 1.305, so half of the posterior sits within .05 of the bound."""
    assert data.ML["alpha"] > 1.0
    alpha = natural(sample)["alpha"]
    assert alpha.max() < 1.0
    assert np.median(alpha) > 0.95


def test_the_likelihood_at_its_published_unconstrained_maximum_agrees() -> None:
    """There the levels are parameters, so the integrand at the best latents is that likelihood."""

    def free_alpha(theta: FloatArray, z: FloatArray, e: FloatArray) -> FloatArray:
        del e
        return row_density(theta, z, theta[4])

    model = LatentModel(free_alpha, SAMPLE, 1, 0, log_group_prior=flat_but_for_the_standard)
    logs = [np.log(data.ML[name]) for name in ("b1", "b2", "b3", "b4")]
    theta = np.array([[*logs, data.ML["alpha"], np.log(data.ML["sigma"])]])
    adapted = adapt(model, theta)
    height = float(log_group_integrand(model, theta, adapted, adapted.z[:, None], 1).sum())
    idle_latent = -0.5 * np.log(2.0 * np.pi)
    # The search for a mode stops within STEP_DONE sd, half of whose square each level may lose.
    assert height - idle_latent == pytest.approx(data.ML["log_likelihood"], abs=10 * 0.5 * STEP_DONE**2)
