"""The integral over an electrode's own latent on points that all nodes of its batch share, against a general integrator
and against nodes of the latent."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.stats import norm

from brinemark.science.amount.lives import SINGLE_NODES, SingleResponse, latent_model_of
from brinemark.science.amount.quadrature import Nodes, adapt, log_marginal
from brinemark.science.amount.response import ParameterLayout, UnitData
from brinemark.science.amount.shared_points import FARTHEST_START, MOST, over_log_mean
from brinemark.terms.arrays import FloatArray

ADDITIVE, CV = 0.02**2, 0.1
TRUNCATED = 1e-6  # of the largest integral among the nodes, all of which are summed: what lies beyond REACH


def log_density(signal: float, log_mean: FloatArray) -> FloatArray:
    mean = np.exp(log_mean)
    return np.asarray(norm.logpdf(signal, mean, np.sqrt(ADDITIVE + (CV * mean) ** 2)))


def by_integrator(signal: float, median: float, spread: float) -> float:
    """A general-purpose integrator, over all that matters."""
    found, _ = quad(
        lambda x: norm.pdf(x, median, spread) * np.exp(log_density(signal, np.asarray(x))),
        median - 12 * spread,
        median + 12 * spread,
        epsabs=0.0,
        epsrel=1e-11,
        limit=400,
        points=[min(max(np.log(max(signal, 1e-3)), median - 11 * spread), median + 11 * spread)],
    )
    return float(np.log(found))


def modes(signal: float, median: FloatArray, spread: FloatArray) -> tuple[FloatArray, float]:
    """Mode of the product at each node, by a fine grid, and the sd at the middle one in units of spread."""
    x = np.linspace(-8.0, 4.0, 240_001)
    values = norm.logpdf(x, median[:, None], spread[:, None]) + log_density(signal, x)
    top = values.argmax(axis=1)
    row, at, step = median.size // 2, int(top[median.size // 2]), 400
    bend = (2 * values[row, at] - values[row, at + step] - values[row, at - step]) / (x[step] - x[0]) ** 2
    return x[top], float(1.0 / np.sqrt(bend) / spread[row])


@pytest.mark.parametrize("signal", [-0.01, 0.02, 0.2, 1.0, 1.6])
def test_the_integral_is_that_of_a_general_integrator(signal: float) -> None:
    """At medians as far apart as those of a batch's nodes, two spreads either side of where the signal is."""
    median, spread = np.log(max(signal, np.sqrt(ADDITIVE))) + np.linspace(-0.5, 0.5, 5), np.linspace(0.2, 0.3, 5)
    centre, sd = modes(signal, median, spread)
    column = (slice(None), None, None)
    found, served = over_log_mean(
        median[column], spread[column], centre[column], np.array([[sd]]), lambda x: log_density(signal, x)
    )
    assert served.all()
    wanted = np.exp([by_integrator(signal, *place) for place in zip(median.tolist(), spread.tolist(), strict=True)])
    assert np.exp(found[:, 0, 0]) == pytest.approx(wanted, rel=0.0, abs=TRUNCATED * wanted.max())


@pytest.mark.parametrize(
    ("median", "reason"),
    [([0.0, 2.0 * MOST], "more points than are kept"), ([0.0, 0.3 * FARTHEST_START], "too far from the first point")],
)
def test_points_that_do_not_serve_are_said_to(median: list[float], reason: str) -> None:
    """Nodes of the batch so far from each other that one set of points cannot serve both."""
    place = np.array(median)[:, None, None]
    spread = np.full_like(place, 0.2)
    _, served = over_log_mean(place, spread, place, np.array([[0.5]]), lambda x: log_density(1.0, x))
    assert not served.any(), reason


def one_batch(levels: list[float]) -> UnitData:
    count = len(levels)
    none = np.zeros(count)
    return UnitData(
        instrument=np.zeros(count, dtype=np.int64),
        unit=np.arange(count),
        signal=np.array([0.1, 0.9, 0.04, 0.6][:count]),
        u=none,
        level=np.array(levels),
        level_u=none,
        dip=np.zeros(count, dtype=np.int64),
        spike=np.zeros(count, dtype=bool),
        stock_part=np.zeros((0, count)),
    )


def test_the_marginal_likelihood_is_that_of_many_nodes_and_of_points_that_do_not_serve() -> None:
    layout = ParameterLayout(("bench",))
    usual = {"ln_gain": 0.0, "ln_K": 0.7, "ln_h": 0.0, "ln_floor": -2.3, "logit_share": -0.5, "ln_noise:bench": -4.0}
    theta = np.array([usual.get(name, -1.5) for name in layout.names])
    far = theta.copy()
    far[layout.names.index("ln_floor_batch_sd")] = 2.0  # floors of the batch all over: points would be too many
    model = latent_model_of(one_batch([0.0, 8.0, 0.0, 2.0]), np.zeros(4, dtype=np.int64), layout)
    vectors = np.array([theta, far])
    nodes = adapt(model, vectors)
    found, many, few = (log_marginal(model, vectors, Nodes((3, 4, 3), n), nodes) for n in (None, 61, *SINGLE_NODES))
    assert found[0] == pytest.approx(many[0], abs=TRUNCATED)
    assert found[1] == pytest.approx(few[1], abs=np.abs(few[1] - many[1]) + TRUNCATED)
    assert isinstance(model.log_likelihood, SingleResponse)
