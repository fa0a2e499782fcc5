"""The nested quadrature on electrodes: its error, its calm far from the data, and brute-force integrals."""

from __future__ import annotations

import warnings
from dataclasses import replace

import numpy as np
import pytest

from brinemark.science.amount.calibration import latent_model, scale_of_data
from brinemark.science.amount.newton import inverse_spd, lower_root
from brinemark.science.amount.priors import default_priors
from brinemark.science.amount.quadrature import (
    LatentModel,
    Nodes,
    adapt,
    hermite_grid,
    log_marginal,
    log_marginal_by_group,
    log_sum_exp,
)
from brinemark.science.amount.response import ElectrodeResponse, ParameterLayout, UnitData
from brinemark.science.amount.simulate import Truth, draw_batches, simulate_history
from brinemark.terms.amounts import ElectrodeReadings
from brinemark.terms.arrays import FloatArray
from brinemark.terms.settings import AnalyteSection, PriorSection

DENSE = Nodes(17, 21)
WORKING_NODES = 1e-3  # error of the log marginal of sixty electrodes that Nodes() may have
BRUTE_FORCE = 1e-6  # 21 nodes a side against adaptive integration, one electrode
LEVELS = np.array([0.0, 0.0, 0.5, 1.0, 2.0, 8.0])


def history(seed: int, batches: int = 10) -> ElectrodeReadings:
    rng = np.random.default_rng(seed)
    truth = Truth()
    made = draw_batches(truth, [f"B{i}" for i in range(batches)], rng)
    return simulate_history(truth, made, [LEVELS] * batches, rng)


def near_truth(readings: ElectrodeReadings, seed: int, count: int = 9, away_sd: float = 0.4) -> FloatArray:
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
    readings = history(11)
    worst = [float(errors(readings, Nodes(n, n)).max()) for n in (3, 5, 7, 9)]
    assert worst == sorted(worst, reverse=True)
    assert worst[-1] < 0.01 * worst[0]


@pytest.mark.parametrize("seed", [0, 1, 2, 3])
def test_the_nodes_in_use_err_by_less_than_a_thousandth(seed: int) -> None:
    assert errors(history(seed), Nodes()).max() < WORKING_NODES


def test_the_value_does_not_depend_on_whose_nodes_are_used() -> None:
    """What the search for the posterior's mode rests on: close parameters may share nodes."""
    readings = history(4)
    model = latent_model(readings, scale_of_data(readings))
    theta = near_truth(readings, 2, away_sd=0.1)
    own, borrowed = adapt(model, theta), adapt(model, theta[:1]).repeat(theta.shape[0])
    assert log_marginal(model, theta, DENSE, borrowed) == pytest.approx(
        log_marginal(model, theta, DENSE, own), abs=WORKING_NODES
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


# ---- Brute force -----------------------------------------------------------------------------------------------

LAYOUT = ParameterLayout(("bench", "field"), has_covariate=True)
THETA = np.array([[0.1, 0.7, 0.2, -1.3, -1.4, -1.7, -1.6, -1.0, -3.2, -2.8, 0.15, 0.6]])
COVARIATE_CENTER, COVARIATE_SD = 0.05, 0.3
# Three readings of the first electrode (one life: blank, then rising), one of the second, two of the third.
DATA = UnitData(
    instrument=np.array([0, 1, 1]),
    covariate=np.array([0.2, np.nan, -0.1]),
    unit=np.array([0, 0, 0, 1, 2, 2]),
    signal=np.array([0.31, 0.62, 0.94, 0.8, 0.2, 1.05]),
    u=np.array([0.01, 0.02, 0.01, 0.03, 0.01, 0.02]),
    level=np.array([0.0, 1.0, 4.0, 2.0, 0.0, 8.0]),
)


def by_hand(unit: int, z: tuple[float, float], e: float) -> float:
    """Likelihood of one electrode's readings, written out from the equations with no shapes in it."""
    gain, ln_K, ln_h, ln_floor, ln_batch, ln_tau, ln_K_sd, logit, noise_0, noise_1, offset, slope = THETA[0]
    share = 1.0 / (1.0 + np.exp(-logit))
    tau = np.exp(ln_tau)
    electrode_sd, cv = tau * np.sqrt(1.0 - share), tau * np.sqrt(share)
    field = DATA.instrument[unit] == 1
    x, spread = DATA.covariate[unit], electrode_sd
    if np.isnan(x):
        x, spread = COVARIATE_CENTER, np.hypot(electrode_sd, slope * COVARIATE_SD)
    log_gain = gain + offset * field + np.exp(ln_batch) * z[0] + slope * x + spread * e
    K, h = np.exp(ln_K + np.exp(ln_K_sd) * z[1]), np.exp(ln_h)
    product = 1.0
    for row in np.flatnonzero(DATA.unit == unit):
        c = DATA.level[row]
        mean = np.exp(log_gain) * (np.exp(ln_floor) + c**h / (K**h + c**h))
        variance = DATA.u[row] ** 2 + np.exp(noise_1 if field else noise_0) ** 2 + (cv * mean) ** 2
        product *= np.exp(-0.5 * (DATA.signal[row] - mean) ** 2 / variance) / np.sqrt(2.0 * np.pi * variance)
    return float(product)


def standard_normal_density(x: float) -> float:
    return float(np.exp(-0.5 * x**2) / np.sqrt(2.0 * np.pi))


def unit_integral(unit: int, z: tuple[float, float]) -> float:
    from scipy.integrate import quad

    def integrand(e: float) -> float:
        return by_hand(unit, z, e) * standard_normal_density(e)

    return float(quad(integrand, -8.0, 8.0, epsabs=0.0, epsrel=1e-9, limit=200, points=[-1.0, 0.0, 1.0])[0])


def response() -> ElectrodeResponse:
    return ElectrodeResponse(DATA, LAYOUT, COVARIATE_CENTER, COVARIATE_SD)


@pytest.mark.parametrize("z", [(0.0, 0.0), (0.8, -1.1), (-1.5, 0.4)])
def test_electrodes_with_several_readings_agree_with_a_one_dimensional_integral(z: tuple[float, float]) -> None:
    held = np.array(z).reshape(2, 1, 1, 1)

    def given_batch(theta: FloatArray, nothing: FloatArray, e: FloatArray) -> FloatArray:
        del nothing
        return response()(theta, np.broadcast_to(held, (2, 1, 1, 3)), e)

    model = LatentModel(given_batch, np.arange(3), 0, 1)
    ours = log_marginal_by_group(model, THETA, Nodes(1, 21))[0]
    brute = np.log([unit_integral(unit, z) for unit in range(3)])
    assert ours == pytest.approx(brute, abs=BRUTE_FORCE)


def test_a_batch_of_electrodes_agrees_with_a_two_dimensional_integral_of_one_dimensional_ones() -> None:
    """All three electrodes in one batch; the outer integral by a dense trapezoid, which is spectrally accurate."""
    grid = np.linspace(-5.5, 5.5, 45)
    e = np.linspace(-7.0, 7.0, 161)
    z_mesh = np.array(np.meshgrid(grid, grid, indexing="ij")).reshape(2, -1)
    z = np.broadcast_to(z_mesh[:, :, None, None], (2, z_mesh.shape[1], 1, 3))
    e_mesh = np.broadcast_to(e[None, :, None, None, None], (1, e.size, 1, 1, 3))
    likelihood = np.exp(response()(THETA.T[:, :, None], z, e_mesh))[:, :, 0]
    inner = np.einsum("ban,b->an", likelihood, np.exp(-0.5 * e**2)) * (e[1] - e[0]) / np.sqrt(2.0 * np.pi)
    prior = np.exp(-0.5 * (z_mesh**2).sum(axis=0)) * (grid[1] - grid[0]) ** 2 / (2.0 * np.pi)
    brute = np.log((inner.prod(axis=1) * prior).sum())
    model = LatentModel(response(), np.zeros(3, dtype=int), 2, 1)
    assert log_marginal(model, THETA, Nodes(21, 21))[0] == pytest.approx(brute, abs=BRUTE_FORCE)


def test_the_vectorised_likelihood_agrees_with_the_equations_written_out() -> None:
    z, e = np.array([0.4, -0.7]), np.array([0.3])
    ours = response()(
        THETA.T[:, :, None], np.broadcast_to(z[:, None, None, None], (2, 1, 1, 3)), np.full((1, 1, 1, 1, 3), e[0])
    )[0, 0, 0]
    written_out = np.log([by_hand(unit, (0.4, -0.7), 0.3) for unit in range(3)])
    assert ours == pytest.approx(written_out, rel=1e-12)


def test_a_missing_covariate_is_integrated_over_its_distribution() -> None:
    """The second electrode's covariate is missing: average its likelihood over x ~ N(center, sd) by brute force."""
    z = np.zeros((2, 1, 1, 1))
    x, log_weight = hermite_grid((41,))
    weight = np.exp(log_weight) * np.exp(-0.5 * x[0] ** 2) / np.sqrt(2.0 * np.pi)
    values = []
    for node in x[0]:
        known = replace(DATA, covariate=np.array([0.2, COVARIATE_CENTER + COVARIATE_SD * node, -0.1]))
        values.append(unit_log_marginal(replace(response(), data=known), z)[1])
    ours = unit_log_marginal(response(), z)[1]
    assert ours == pytest.approx(float(np.log(np.dot(weight, np.exp(values)))), abs=BRUTE_FORCE)


def unit_log_marginal(of: ElectrodeResponse, z: FloatArray) -> FloatArray:
    def given_batch(theta: FloatArray, nothing: FloatArray, e: FloatArray) -> FloatArray:
        del nothing
        return of(theta, np.broadcast_to(z, (2, 1, 1, 3)), e)

    each_alone = LatentModel(given_batch, np.arange(3), 0, 1)
    return np.asarray(log_marginal_by_group(each_alone, THETA, Nodes(1, 31))[0])


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


@pytest.mark.parametrize("groups", [[1, 2], [0, 2], [0, 1, 0], []])
def test_groups_that_do_not_rise_from_zero_without_gaps_are_an_error(groups: list[int]) -> None:
    with pytest.raises(ValueError, match="must rise from 0 without gaps"):
        LatentModel(response(), np.array(groups, dtype=int), 2, 1)


@pytest.mark.parametrize(("group_dim", "unit_dim"), [(4, 1), (-1, 1), (2, -1)])
def test_impossible_numbers_of_latents_are_an_error(group_dim: int, unit_dim: int) -> None:
    with pytest.raises(ValueError, match="group_dim must be"):
        LatentModel(response(), np.zeros(3, dtype=int), group_dim, unit_dim)


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
