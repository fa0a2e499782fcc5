"""The integrator over latents against published data whose marginal likelihood is known.

The log-likelihoods are the test's own; only the integral is the program's.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import pytest

from brinemark.science.amount.quadrature import LatentModel, Nodes, log_marginal, log_marginal_by_group
from brinemark.terms.arrays import FloatArray, IntArray
from reference import dnase, dyestuff, orange, pastes

LINEAR_EXACT = 1e-8  # a Gaussian integrand: quadrature is exact, what is left is the reference's last digit
NINE_NODES = 1e-5  # 9, 15 and 25 nodes agree to 1e-7; printed to 1e-5
OPTIMUM = 1e-4  # log-likelihood at our own optimum against the reference's
OPTIMUM_PARAMETER = 2e-3  # relative: the log-likelihood is flat within 1e-4 over about a hundredth of a standard error
SIX_DIGITS = 2e-6  # log-likelihood of a general mixed-model library, half of the sixth digit after the point doubled
ONE_BY_ONE = 1e-9
NINE = Nodes(9, 9)


def normal_log_density(away: FloatArray, sd: FloatArray) -> FloatArray:
    density: FloatArray = -0.5 * (away / sd) ** 2 - np.log(sd) - 0.5 * np.log(2.0 * np.pi)
    return density


def first_rows(labels: tuple[object, ...]) -> IntArray:
    """Index of the first row of each run of equal labels."""
    return np.array([i for i in range(len(labels)) if i == 0 or labels[i] != labels[i - 1]])


def index_of(labels: tuple[object, ...]) -> IntArray:
    """Label of each row as a rising index."""
    return np.searchsorted(first_rows(labels), np.arange(len(labels)), side="right") - 1


Mean = Callable[[FloatArray, FloatArray, FloatArray], FloatArray]


@dataclass(frozen=True)
class NormalRows:
    """Rows y ~ N(mean(theta, z, e), sd) that belong to units; theta's last entry is ln sd of a row.

    latents (…, U) are spread over the rows (R,) of their unit, and densities summed back.
    """

    y: FloatArray
    unit: IntArray
    mean: Mean

    def __call__(self, theta: FloatArray, z: FloatArray, e: FloatArray) -> FloatArray:
        away = self.y - self.mean(theta, z[..., self.unit], e[..., self.unit])
        starts = np.flatnonzero(np.diff(self.unit, prepend=-1))
        return np.add.reduceat(normal_log_density(away, np.exp(theta[-1])), starts, axis=-1)


def maximum(model: LatentModel, start: FloatArray, nodes: Nodes) -> tuple[FloatArray, float]:
    """Parameters and log marginal at the maximum, by a quasi-Newton search with central differences."""
    from scipy.optimize import minimize

    steps = 1e-5 * np.eye(start.size)

    def objective(point: FloatArray) -> tuple[float, FloatArray]:
        values = log_marginal(model, point + np.concatenate([0 * steps[:1], steps, -steps]), nodes)
        up, down = np.split(values[1:], 2)
        return -float(values[0]), -(up - down) / 2e-5

    found = minimize(objective, start, jac=True, method="BFGS", options={"gtol": 1e-4})
    return np.asarray(found.x), -float(found.fun)


# ---- Orange: one latent that enters linearly -------------------------------------------------------------------

TREE = index_of(orange.TREE)
AGE, CIRCUMFERENCE = np.array(orange.AGE), np.array(orange.CIRCUMFERENCE)


def orange_mean(theta: FloatArray, latent: FloatArray, age: FloatArray) -> FloatArray:
    """theta = ln Asym, ln xmid, ln scal, ln sd Asym, ln sigma."""
    asym, xmid, scal, spread = np.exp(theta[:4])
    curve: FloatArray = (asym + spread * latent) / (1.0 + np.exp(-(age - xmid) / scal))
    return curve


def orange_model(where: str) -> LatentModel:
    if where == "group":
        rows = np.arange(TREE.size)
        return LatentModel(NormalRows(CIRCUMFERENCE, rows, lambda t, z, e: orange_mean(t, z[0], AGE)), TREE, 1, 0)
    one_group = np.zeros(5, dtype=int)
    return LatentModel(NormalRows(CIRCUMFERENCE, TREE, lambda t, z, e: orange_mean(t, e[0], AGE)), one_group, 0, 1)


ORANGE = np.log([orange.ASYM, orange.XMID, orange.SCAL, orange.SD_ASYM, orange.SIGMA])


@pytest.mark.parametrize("where", ["group", "unit"])
def test_orange_trees_marginal_is_exact(where: str) -> None:
    value = log_marginal(orange_model(where), ORANGE[None], NINE)[0]
    assert value == pytest.approx(orange.LOG_LIKELIHOOD, abs=LINEAR_EXACT)


def test_orange_trees_maximum_is_found_from_a_displaced_start() -> None:
    found, value = maximum(orange_model("group"), ORANGE + np.array([0.2, -0.2, 0.2, 0.5, 0.4]), Nodes(5, 1))
    assert value == pytest.approx(orange.LOG_LIKELIHOOD, abs=OPTIMUM)
    assert np.exp(found) == pytest.approx(np.exp(ORANGE), rel=OPTIMUM_PARAMETER)


# ---- DNase: two latents, one of which enters nonlinearly -------------------------------------------------------

RUN = index_of(dnase.RUN)
LOG_CONCENTRATION, DENSITY = np.log(dnase.CONCENTRATION), np.array(dnase.DENSITY)


def dnase_mean(theta: FloatArray, first: FloatArray, second: FloatArray) -> FloatArray:
    """theta = Asym, xmid, scal, ln sd Asym, ln sd xmid, atanh correlation, ln sigma; latents independent."""
    asym, xmid, scal, ln_sd_asym, ln_sd_xmid, z_correlation = theta[:6]
    r = np.tanh(z_correlation)
    mixed = r * first + np.sqrt(1.0 - r**2) * second
    top, middle = asym + np.exp(ln_sd_asym) * first, xmid + np.exp(ln_sd_xmid) * mixed
    curve: FloatArray = top / (1.0 + np.exp(-(LOG_CONCENTRATION - middle) / scal))
    return curve


def dnase_model(shape: tuple[int, int]) -> LatentModel:
    """The same model with both latents in the group, both in the unit, or one in each."""
    if shape == (2, 0):
        rows = np.arange(RUN.size)
        return LatentModel(NormalRows(DENSITY, rows, lambda t, z, e: dnase_mean(t, z[0], z[1])), RUN, 2, 0)
    each_run = np.arange(11)
    if shape == (0, 2):
        return LatentModel(NormalRows(DENSITY, RUN, lambda t, z, e: dnase_mean(t, e[0], e[1])), 0 * each_run, 0, 2)
    return LatentModel(NormalRows(DENSITY, RUN, lambda t, z, e: dnase_mean(t, z[0], e[0])), each_run, 1, 1)


def dnase_parameters(values: dict[str, float]) -> FloatArray:
    return np.array(
        [
            values["Asym"],
            values["xmid"],
            values["scal"],
            np.log(values["sd_Asym"]),
            np.log(values["sd_xmid"]),
            np.arctanh(values["correlation"]),
            np.log(values["sigma"]),
        ]
    )


def natural_dnase(point: FloatArray) -> list[float]:
    asym, xmid, scal, ln_sd_asym, ln_sd_xmid, z_correlation, ln_sigma = (float(v) for v in point)
    spreads = [float(np.exp(v)) for v in (ln_sd_asym, ln_sd_xmid, ln_sigma)]
    return [asym, xmid, scal, *spreads, float(np.tanh(z_correlation))]


@pytest.mark.parametrize("shape", [(2, 0), (0, 2), (1, 1)])
@pytest.mark.parametrize("values", [dnase.FULL, dnase.DIAGONAL], ids=["correlated", "independent"])
def test_dnase_marginal_agrees_with_nine_nodes_a_side(values: dict[str, float], shape: tuple[int, int]) -> None:
    value = log_marginal(dnase_model(shape), dnase_parameters(values)[None], NINE)[0]
    assert value == pytest.approx(values["log_likelihood"], abs=NINE_NODES)


DISPLACED = np.array([0.1, -0.1, 0.05, 0.3, -0.3, 0.2, 0.2])


def test_dnase_maximum_with_correlation_is_found_from_a_displaced_start() -> None:
    start = dnase_parameters(dnase.FULL) + DISPLACED
    found, value = maximum(dnase_model((0, 2)), start, Nodes(1, 7))
    assert value == pytest.approx(dnase.FULL["log_likelihood"], abs=OPTIMUM)
    assert natural_dnase(found) == pytest.approx(natural_dnase(dnase_parameters(dnase.FULL)), rel=OPTIMUM_PARAMETER)


def test_dnase_maximum_without_correlation_is_found_from_a_displaced_start() -> None:
    keep = np.array([0, 1, 2, 3, 4, 6])
    full = dnase_model((0, 2))

    def restricted(theta: FloatArray, z: FloatArray, e: FloatArray) -> FloatArray:
        return full.log_likelihood(np.insert(theta, 5, 0.0, axis=0), z, e)

    model = LatentModel(restricted, full.group_of_unit, 0, 2)
    reference = dnase_parameters(dnase.DIAGONAL)
    found, value = maximum(model, (reference + DISPLACED)[keep], Nodes(1, 7))
    assert value == pytest.approx(dnase.DIAGONAL["log_likelihood"], abs=OPTIMUM)
    assert natural_dnase(np.insert(found, 5, 0.0)) == pytest.approx(natural_dnase(reference), rel=OPTIMUM_PARAMETER)


# ---- Dyestuff: batches only ------------------------------------------------------------------------------------

YIELD = np.array(dyestuff.YIELD)
DYE_BATCH = index_of(dyestuff.BATCH)


def dyestuff_model() -> LatentModel:
    """theta = mean, ln sd batch, ln sd row."""
    rows = np.arange(YIELD.size)
    return LatentModel(NormalRows(YIELD, rows, lambda t, z, e: t[0] + np.exp(t[1]) * z[0]), DYE_BATCH, 1, 0)


DYESTUFF = np.array(
    [
        dyestuff.ML["mean"],
        0.5 * np.log(dyestuff.ML["batch_variance"]),
        0.5 * np.log(dyestuff.ML["residual_variance"]),
    ]
)


def test_dyestuff_deviance_agrees() -> None:
    value = -2.0 * log_marginal(dyestuff_model(), DYESTUFF[None], NINE)[0]
    assert value == pytest.approx(dyestuff.ML["minus_2_log_likelihood"], abs=SIX_DIGITS)


def test_dyestuff_variances_are_found_from_a_displaced_start() -> None:
    # In units of ten grams, so that every parameter moves by about one.
    model = LatentModel(
        NormalRows(YIELD / 10.0, np.arange(30), lambda t, z, e: 150.0 + t[0] + np.exp(t[1]) * z[0]), DYE_BATCH, 1, 0
    )
    found, value = maximum(model, np.array([0.0, 0.5, 2.5]), Nodes(5, 1))
    change_of_unit = 30 * np.log(10.0)
    assert -2.0 * (value - change_of_unit) == pytest.approx(dyestuff.ML["minus_2_log_likelihood"], abs=OPTIMUM)
    assert 1500.0 + 10.0 * found[0] == pytest.approx(dyestuff.ML["mean"], rel=OPTIMUM_PARAMETER)
    variances = 100.0 * np.exp(2.0 * found[1:])
    assert variances == pytest.approx(
        [dyestuff.ML["batch_variance"], dyestuff.ML["residual_variance"]], rel=OPTIMUM_PARAMETER
    )


# ---- Pastes: casks within batches ------------------------------------------------------------------------------

STRENGTH = np.array(pastes.STRENGTH)
CASK = index_of(tuple(zip(pastes.BATCH, pastes.CASK, strict=True)))
BATCH_OF_CASK = index_of(tuple(pastes.BATCH))[first_rows(tuple(zip(pastes.BATCH, pastes.CASK, strict=True)))]


def pastes_model() -> LatentModel:
    """theta = mean, ln sd batch, ln sd cask, ln sd row; the batch is the group, the cask the unit."""
    mean: Mean = lambda t, z, e: 60.0 + t[0] + np.exp(t[1]) * z[0] + np.exp(t[2]) * e[0]  # noqa: E731
    return LatentModel(NormalRows(STRENGTH, CASK, mean), BATCH_OF_CASK, 1, 1)


PASTES = np.array(
    [
        pastes.ML["mean"] - 60.0,
        *(0.5 * np.log([pastes.ML[f"{what}_variance"] for what in ("batch", "cask", "residual")])),
    ]
)


def test_pastes_has_thirty_casks_in_ten_batches() -> None:
    model = pastes_model()
    assert (model.n_groups, model.group_of_unit.size, STRENGTH.size) == (10, 30, 60)


def test_pastes_deviance_of_casks_within_batches_agrees() -> None:
    value = -2.0 * log_marginal(pastes_model(), PASTES[None], NINE)[0]
    assert value == pytest.approx(pastes.ML["minus_2_log_likelihood"], abs=SIX_DIGITS)


def test_pastes_variances_are_found_from_a_displaced_start() -> None:
    found, value = maximum(pastes_model(), PASTES + np.array([1.0, 0.8, -0.5, 0.5]), Nodes(5, 5))
    assert -2.0 * value == pytest.approx(pastes.ML["minus_2_log_likelihood"], abs=OPTIMUM)
    assert found[0] + 60.0 == pytest.approx(pastes.ML["mean"], rel=OPTIMUM_PARAMETER)
    variances = np.exp(2.0 * found[1:])
    expected = [pastes.ML[f"{what}_variance"] for what in ("batch", "cask", "residual")]
    assert variances == pytest.approx(expected, rel=OPTIMUM_PARAMETER)


# ---- Any model ------------------------------------------------------------------------------------------------

MODELS = {
    "orange": (orange_model("group"), ORANGE),
    "dnase": (dnase_model((1, 1)), dnase_parameters(dnase.FULL)),
    "pastes": (pastes_model(), PASTES),
}


@pytest.mark.parametrize("name", list(MODELS))
def test_many_parameter_vectors_at_once_equal_one_by_one(name: str) -> None:
    model, center = MODELS[name]
    several = center + 0.1 * np.random.default_rng(5).normal(size=(7, center.size))
    together = log_marginal_by_group(model, several, NINE)
    alone = np.concatenate([log_marginal_by_group(model, point[None], NINE) for point in several])
    assert together == pytest.approx(alone, abs=ONE_BY_ONE)


@pytest.mark.parametrize("unit_dim", [0, 1])
def test_three_group_latents_agree_with_a_multivariate_normal(unit_dim: int) -> None:
    """Intercept, slope and curvature of each group, correlated, and a shift of each unit of two rows."""
    from scipy.stats import multivariate_normal

    rng = np.random.default_rng(31)
    groups, units_each, rows_each = 4, 4, 2
    unit = np.repeat(np.arange(groups * units_each), rows_each)
    group_of_unit = np.repeat(np.arange(groups), units_each)
    t = rng.uniform(-1.0, 1.0, unit.size)
    root = np.array([[0.8, 0.0, 0.0], [0.3, 0.5, 0.0], [-0.2, 0.4, 0.6]])
    shift, sd = 0.4 * unit_dim, 0.3
    basis = np.stack([np.ones_like(t), t, t**2])
    y = rng.normal(0.5, 1.0, unit.size)

    def mean(theta: FloatArray, z: FloatArray, e: FloatArray) -> FloatArray:
        coefficients = np.einsum("ij,j...->i...", root, z)
        line: FloatArray = theta[0] + (coefficients * basis[:, None, None]).sum(axis=0)
        return line + (shift * e[0] if unit_dim else 0.0)

    model = LatentModel(NormalRows(y, unit, mean), group_of_unit, 3, unit_dim)
    ours = log_marginal_by_group(model, np.array([[0.5, np.log(sd)]]), Nodes(5, 5))[0]
    for g in range(groups):
        rows = group_of_unit[unit] == g
        same = unit[rows][:, None] == unit[rows]
        design = basis[:, rows].T @ root
        covariance = design @ design.T + shift**2 * same + sd**2 * np.eye(rows.sum())
        exact = multivariate_normal(np.full(rows.sum(), 0.5), covariance).logpdf(y[rows])
        assert ours[g] == pytest.approx(exact, abs=LINEAR_EXACT)
