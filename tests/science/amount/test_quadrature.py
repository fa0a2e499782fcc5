"""The nested quadrature on electrodes: its error, its calm far from the data. Brute-force integrals: test_lives.py."""

from __future__ import annotations

import warnings
from dataclasses import replace

import numpy as np
import pytest

from brinemark.science.amount import quadrature
from brinemark.science.amount.lives import NODES
from brinemark.science.amount.newton import inverse_spd, lower_root
from brinemark.science.amount.priors import default_priors
from brinemark.science.amount.quadrature import (
    LatentModel,
    Nodes,
    adapt,
    hermite_grid,
    log_marginal,
    log_sum_exp,
)
from brinemark.science.amount.scale import latent_model, scale_of_data
from brinemark.science.amount.simulate import Truth, draw_batches, simulate_history
from brinemark.terms.amounts import ElectrodeReadings
from brinemark.terms.arrays import FloatArray
from brinemark.terms.settings import AnalyteSection, PriorSection

DENSE = Nodes((11, 11, 9), 15)
WORKING_NODES = 1e-3  # error of the log marginal of sixty electrodes that Nodes() may have
CALIBRATION_NODES = (
    3e-3  # the same for the nodes a calibration sums over: a hundredth of what moves a posterior by .1 sd
)
LEVELS = np.array([0.0, 0.0, 0.5, 1.0, 2.0, 8.0])


def history(seed: int, batches: int = 10) -> ElectrodeReadings:
    rng = np.random.default_rng(seed)
    truth = Truth()
    made = draw_batches(truth, [f"B{i}" for i in range(batches)], rng)
    return simulate_history(truth, made, [LEVELS] * batches, rng)


def near_truth(readings: ElectrodeReadings, seed: int, count: int = 5, away_sd: float = 0.4) -> FloatArray:
    """Parameter vectors scattered by .4 prior sd about the prior's center, which lies near the truth."""
    scale = scale_of_data(readings)
    priors = default_priors(scale.layout, readings, AnalyteSection(), PriorSection())
    center, sd = np.array([p.center for p in priors]), np.array([p.sd for p in priors])
    away = np.random.default_rng(seed).normal(size=(count, center.size))
    away[0] = 0.0
    return np.asarray(center + away_sd * sd * away)


def errors(readings: ElectrodeReadings, nodes: Nodes) -> FloatArray:
    model = latent_model(readings, scale_of_data(readings))
    theta = near_truth(readings, 1)
    adapted = adapt(model, theta)
    return np.abs(log_marginal(model, theta, nodes, adapted) - log_marginal(model, theta, DENSE, adapted))


def test_error_shrinks_as_nodes_are_added() -> None:
    readings = history(11, batches=5)
    worst = [float(errors(readings, Nodes(n, n)).max()) for n in (3, 5, 7, 9)]
    assert worst == sorted(worst, reverse=True)
    assert worst[-1] < 0.01 * worst[0]


@pytest.mark.parametrize("seed", [0, 1, 2, 3])
def test_the_nodes_in_use_err_by_less_than_a_thousandth(seed: int) -> None:
    assert errors(history(seed), Nodes()).max() < WORKING_NODES
    assert errors(history(seed), NODES).max() < CALIBRATION_NODES


@pytest.mark.parametrize("seed", [0, 2, 3, 8, 9])
def test_the_search_for_the_modes_is_never_cut_short(seed: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """From zero, three of these need more than thirty steps; cut there, log marginals erred by up to 1400."""
    readings = history(seed)
    model = latent_model(readings, scale_of_data(readings))
    theta = near_truth(readings, 1, 9)
    usual = log_marginal(model, theta, NODES)
    monkeypatch.setattr(quadrature, "MAX_NEWTON", 10 * quadrature.MAX_NEWTON)
    assert log_marginal(model, theta, NODES) == pytest.approx(usual, abs=WORKING_NODES)


def test_the_value_does_not_depend_on_whose_nodes_are_used() -> None:
    """What the search for the posterior's mode rests on: close parameters may share nodes. Borrowed ones stand askew,
    so the rule that shows it is dense in the electrode's own latent."""
    readings = history(4, batches=5)
    model = latent_model(readings, scale_of_data(readings))
    theta = near_truth(readings, 2, 3, away_sd=0.1)
    own, borrowed = adapt(model, theta), adapt(model, theta[:1]).repeat(theta.shape[0])
    dense = Nodes((15, 15, 15), 31)
    assert log_marginal(model, theta, dense, borrowed) == pytest.approx(
        log_marginal(model, theta, dense, own), abs=WORKING_NODES
    )


@pytest.mark.parametrize("seed", [0, 1, 2, 3])
def test_modes_are_found_from_zero_and_from_far_away_alike(seed: int) -> None:
    """Latents of each electrode start up to three sd off; a halved step once passed for an arrival."""
    readings = history(seed)
    model = latent_model(readings, scale_of_data(readings))
    theta = near_truth(readings, 1)
    plain = adapt(model, theta)
    rng = np.random.default_rng(seed)
    elsewhere = replace(plain, z=rng.uniform(-1.5, 1.5, plain.z.shape), e=rng.uniform(-3.0, 3.0, plain.e.shape))
    found = log_marginal(model, theta, Nodes(), adapt(model, theta, elsewhere))
    assert found == pytest.approx(log_marginal(model, theta, Nodes(), plain), abs=WORKING_NODES)


def test_absurd_parameters_give_a_number_or_minus_infinity_and_no_warning() -> None:
    readings = history(5, batches=3)
    model = latent_model(readings, scale_of_data(readings))
    center = near_truth(readings, 3, 1)
    absurd = np.concatenate([center + shift * np.eye(center.size) for shift in (-40.0, -8.0, 8.0, 40.0)])
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        values = log_marginal(model, absurd, Nodes())
    assert not np.isnan(values).any()
    assert not np.isposinf(values).any()
    assert np.all(values < log_marginal(model, center, Nodes()) + 100.0)


def test_absurd_signals_give_a_number_and_no_warning() -> None:
    readings = history(6, batches=2)
    strange = replace(readings, signal=np.where(np.arange(12) % 3 == 0, -50.0, 1e4))
    model = latent_model(strange, scale_of_data(readings))
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        values = log_marginal(model, near_truth(readings, 4), Nodes())
    assert np.isfinite(values).all()


# ---- Small things ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("dims", [1, 2, 3])
def test_the_grid_integrates_a_polynomial_times_a_normal_exactly(dims: int) -> None:
    points, log_weights = hermite_grid((5,) * dims)
    normal = np.exp(-0.5 * (points**2).sum(axis=0)) / (2.0 * np.pi) ** (dims / 2)
    fourth_moments = (np.exp(log_weights) * normal * (points**4).prod(axis=0)).sum()
    assert fourth_moments == pytest.approx(3.0**dims, rel=1e-12)


def test_log_sum_exp_of_nothing_possible_is_minus_infinity() -> None:
    values = np.array([[-np.inf, 0.0], [-np.inf, np.log(2.0)]])
    assert log_sum_exp(values) == pytest.approx([-np.inf, np.log(3.0)])


def nothing_known(theta: FloatArray, z: FloatArray, e: FloatArray) -> FloatArray:
    """A likelihood that says nothing."""
    del theta, z
    return np.zeros(e.shape[1:])


@pytest.mark.parametrize("groups", [[1, 2], [0, 2], [0, 1, 0], []])
def test_groups_that_do_not_rise_from_zero_without_gaps_are_an_error(groups: list[int]) -> None:
    with pytest.raises(ValueError, match="must rise from 0 without gaps"):
        LatentModel(nothing_known, np.array(groups, dtype=int), 2, 1)


@pytest.mark.parametrize(("group_dim", "unit_dim"), [(4, 1), (-1, 1), (2, -1)])
def test_impossible_numbers_of_latents_are_an_error(group_dim: int, unit_dim: int) -> None:
    with pytest.raises(ValueError, match="group_dim must be"):
        LatentModel(nothing_known, np.zeros(3, dtype=int), group_dim, unit_dim)


@pytest.mark.parametrize("dims", [2, 3])
def test_blocks_that_rounding_makes_singular_still_have_an_inverse(dims: int) -> None:
    """One signal a million times too high gives a block of rank one and size 1e12; once a division by zero."""
    ridge = np.full((dims, dims, 1), 1e12)
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        inverse = inverse_spd(ridge)
        root = lower_root(inverse)
    assert np.isfinite(inverse).all()
    assert np.isfinite(root).all()
    assert np.linalg.eigvalsh(inverse[..., 0])[0] > 0
