"""Ranks of true parameters among a calibration's draws are uniform when the truths come from the priors; a small
version, with narrow priors, of benchmarks/ranks.py.

Uniform ranks are a property of the whole chain: simulator, likelihood with everything integrated, sampler. It is known
in advance ("Validating Bayesian Inference Algorithms with Simulation-Based Calibration", arXiv 1804.06788).
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np

from brinemark.science.amount.calibration import HyperTarget
from brinemark.science.amount.compiled import compiled_loops
from brinemark.science.amount.lives import NODES
from brinemark.science.amount.posterior import SampleOptions, sample_posterior
from brinemark.science.amount.priors import default_priors
from brinemark.science.amount.quadrature import adapt
from brinemark.science.amount.response import DEFAULT_ELECTRODE_K_SD
from brinemark.science.amount.scale import latent_model, scale_of_data
from brinemark.science.amount.simulate import Truth, draw_batches, simulate_history
from brinemark.terms.amounts import ElectrodeReadings
from brinemark.terms.arrays import FloatArray
from brinemark.terms.settings import AnalyteSection, PriorSection

HISTORIES, BATCHES, DRAWS = 24, 3, 63
LEVELS = np.array([0.0, 0.0, 1.0, 2.0, 8.0])
PRIORS = PriorSection(widen=0.4)  # narrow priors make easy posteriors; ranks are uniform under any prior
MEAN_SE = float(np.sqrt(1.0 / 12.0 / HISTORIES))  # of the mean of uniform numbers
SQUARE_SE = float(np.sqrt(1.0 / 180.0 / HISTORIES))  # of their mean square distance from a half


def simulated(value: dict[str, float], rng: np.random.Generator) -> ElectrodeReadings:
    """A history of a population, its signals in the units of ln_gain."""
    gain, share = np.exp(value["ln_gain"]), 1.0 / (1.0 + np.exp(-value["logit_share"]))
    total = np.exp(value["ln_electrode_sd"])
    truth = Truth(
        batch_sd=np.exp(value["ln_batch_sd"]),
        electrode_sd=total * np.sqrt(1.0 - share),
        slope=value["slope"],
        ln_K=value["ln_K"],
        ln_K_sd=np.exp(value["ln_K_sd"]),
        h=np.exp(value["ln_h"]),
        floor=np.exp(value["ln_floor"]),
        noise=np.exp(value["ln_noise:bench"]) / gain,
        cv=total * np.sqrt(share),
        floor_batch_sd=np.exp(value["ln_floor_batch_sd"]),
        floor_sd=np.exp(value["ln_floor_sd"]),
        electrode_K_sd=DEFAULT_ELECTRODE_K_SD,
    )
    batches = draw_batches(truth, [f"B{i}" for i in range(BATCHES)], rng)
    readings = simulate_history(truth, batches, [LEVELS] * BATCHES, rng)
    return replace(readings, signal=gain * readings.signal)


@cache
def studied() -> tuple[tuple[str, ...], FloatArray, FloatArray]:
    """Parameter names, truths (24, P) and draws (24, 63, P). References are held, so that no prior sees the data."""
    truths, draws = [], []
    rng = np.random.default_rng(3)
    template = simulate_history(Truth(), draw_batches(Truth(), ["B0"], rng), [LEVELS], rng)
    layout = scale_of_data(template).layout
    priors = default_priors(layout, template, AnalyteSection(), PRIORS)
    center, sd = np.array([p.center for p in priors]), np.array([p.sd for p in priors])
    for number in range(HISTORIES):
        theta = center + sd * rng.normal(size=sd.size)
        readings = simulated(dict(zip(layout.names, theta.tolist(), strict=True)), rng)
        scale = scale_of_data(readings)
        held = replace(scale, signal_ref=1.0, covariates=replace(scale.covariates, reference=np.ones(1)))
        with compiled_loops():
            model = latent_model(readings, held)
            target = HyperTarget(model, center, sd, NODES, adapt(model, center[None]))
            found = sample_posterior(target, center, sd, layout.names, SampleOptions(1024, number))
        truths.append(theta)
        draws.append(found.draws[:DRAWS])
    return layout.names, np.array(truths), np.array(draws)


def places(shift: float) -> FloatArray:
    """Places (24, P) of the truths among draws in 0 to 1, draws moved by so many of their sds."""
    _, truths, draws = studied()
    moved = draws + shift * draws.std(axis=1, keepdims=True)
    return np.asarray(((moved < truths[:, None]).sum(axis=1) + 0.5) / (DRAWS + 1))


def test_truths_rank_as_often_low_as_high_among_the_draws() -> None:
    names = studied()[0]
    away = (places(0.0).mean(axis=0) - 0.5) / MEAN_SE
    assert np.abs(away).max() <= 3.0, names[int(np.abs(away).argmax())]


def test_truths_rank_at_the_ends_as_often_as_in_the_middle() -> None:
    names = studied()[0]
    away = (((places(0.0) - 0.5) ** 2).mean(axis=0) - 1.0 / 12.0) / SQUARE_SE
    assert np.abs(away).max() <= 3.0, names[int(np.abs(away).argmax())]


def test_draws_that_are_off_by_one_and_a_half_posterior_sds_would_be_noticed_in_every_parameter() -> None:
    assert (np.abs(places(1.5).mean(axis=0) - 0.5) > 3.0 * MEAN_SE).all()
