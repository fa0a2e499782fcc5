"""How an electrode's own latents are integrated, against dense grids of the same equations written out."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
import pytest
from known_population import PLAIN, electrode
from scipy.stats import multivariate_normal

from brinemark.science.amount.joint_likelihood import JointLikelihood
from brinemark.science.amount.law import DipLaw
from brinemark.science.amount.lives import NODES, latent_model_of
from brinemark.science.amount.quadrature import log_marginal
from brinemark.science.amount.response import ParameterLayout, UnitData
from brinemark.science.amount.simulate import PRESCAN_AND_SPIKE, TrueBatch, Truth, simulate_life
from brinemark.science.amount.statistic import Observed
from brinemark.terms.arrays import FloatArray

# Per electrode: what linearity in k_e and two moments leave at scatters of .10 and .15 (docs/decisions/0023).
ONE_ELECTRODE = 0.03
EXACT = 2e-3  # what the nodes leave where nothing is linearised
FLAT = -9.0  # ln of a scatter between batches that is as good as none
VALUES = {
    "ln_gain": 0.0,
    "ln_K": float(np.log(2.0)),
    "ln_h": float(np.log(1.3)),
    "ln_floor": float(np.log(0.3)),
    "ln_batch_sd": FLAT,
    "ln_electrode_sd": float(np.log(0.158)),
    "ln_K_sd": FLAT,
    "logit_share": float(np.log(0.1 / 0.9)),
    "ln_floor_sd": float(np.log(0.15)),
    "ln_floor_batch_sd": FLAT,
    "ln_own_K_sd": float(np.log(0.10)),
    "ln_drift_sd": float(np.log(0.06)),
    "prescan_shift": 0.02,
    "spike_shift": -0.05,
    "ln_noise:bench": float(np.log(0.02)),
}


def data_of(signal: tuple[float, ...], level: tuple[float, ...], dip: tuple[int, ...]) -> UnitData:
    count = len(signal)
    return UnitData(
        instrument=np.zeros(1, dtype=np.int64),
        unit=np.zeros(count, dtype=np.int64),
        signal=np.array(signal),
        u=np.full(count, 0.01),
        level=np.array(level),
        level_u=np.zeros(count),
        dip=np.array(dip),
        spike=np.array([c > 50 for c in level]),
        stock_part=np.zeros((0, count)),
    )


def dense(data: UnitData, own_K_sd: float) -> float:
    """The same integral on a grid of 121 gains x 121 floors x 61 K, equations written out."""
    share = 1.0 / (1.0 + np.exp(-VALUES["logit_share"]))
    tau = np.exp(VALUES["ln_electrode_sd"])
    sd, cv = tau * np.sqrt(1.0 - share), tau * np.sqrt(share)
    wide, narrow = np.linspace(-6.0, 6.0, 121), np.linspace(-5.0, 5.0, 61)
    gain, floor, K = np.meshgrid(wide, wide, narrow, indexing="ij")
    log_l = -0.5 * (gain**2 + floor**2 + K**2)
    for y, c, dip, spike in zip(data.signal, data.level, data.dip, data.spike, strict=True):
        ln_K = VALUES["ln_K"] + own_K_sd * K
        theta = 0.0 if c == 0 else 1.0 / (1.0 + np.exp(-np.exp(VALUES["ln_h"]) * (np.log(c) - ln_K)))
        shift = VALUES["prescan_shift"] if dip < 0 else VALUES["spike_shift"] if spike else 0.0
        mean = np.exp(sd * gain + shift) * (np.exp(VALUES["ln_floor"] + np.exp(VALUES["ln_floor_sd"]) * floor) + theta)
        relative = cv**2 + (np.exp(2.0 * VALUES["ln_drift_sd"]) if dip != 0 else 0.0)
        variance = 0.01**2 + 0.02**2 + relative * mean**2
        log_l = log_l - 0.5 * ((y - mean) ** 2 / variance + np.log(2.0 * np.pi * variance))
    steps = (wide[1] - wide[0]) ** 2 * (narrow[1] - narrow[0])
    top = log_l.max()
    return float(np.log(np.exp(log_l - top).sum() * steps) + top - 1.5 * np.log(2.0 * np.pi))


def integrated(data: UnitData, own_K: bool, values: Mapping[str, float] = VALUES) -> float:
    layout = ParameterLayout(("bench",), own_K=own_K, prescan=True, spike=True)
    theta = np.array([[values[name] for name in layout.names]])
    model = latent_model_of(data, np.zeros(1, dtype=np.int64), layout)
    return float(log_marginal(model, theta, NODES)[0])


SOUND = Truth(
    slope=0.0,
    covariate_sd=0.0,
    floor_sd=0.15,
    electrode_K_sd=0.1,
    prescan_sd=0.06,
    drift=-0.05,
    drift_sd=0.06,
    noise=0.022,
)


def sound_lives(count: int) -> list[tuple[float, ...]]:
    """Lives as the equations give them at 2 ug/L; far from them (five sd and more) linearity in k_e does not hold."""
    batch = TrueBatch("B", 0.0, SOUND.ln_K)
    lives = simulate_life(SOUND, batch, np.full(count, 2.0), PRESCAN_AND_SPIKE, np.random.default_rng(8))
    return [tuple(map(float, one)) for one in lives.signal]


LIVES = sound_lives(6)


@pytest.mark.parametrize("signal", LIVES)
def test_a_life_integrated_over_gain_and_floor_agrees_with_a_dense_grid(signal: tuple[float, ...]) -> None:
    data = data_of(signal, (0.0, 2.0, 102.0), (-1, 0, 1))
    assert integrated(data, own_K=False) == pytest.approx(dense(data, 0.10), abs=ONE_ELECTRODE)


@pytest.mark.parametrize("signal", LIVES)
def test_a_life_integrated_over_all_three_latents_agrees_with_a_dense_grid(signal: tuple[float, ...]) -> None:
    data = data_of(signal, (0.0, 2.0, 102.0), (-1, 0, 1))
    assert integrated(data, own_K=True) == pytest.approx(dense(data, 0.10), abs=EXACT)


@pytest.mark.parametrize(("signal", "level"), [(0.35, 0.0), (0.62, 1.0), (0.71, 2.0), (1.3, 8.0), (0.02, 0.0)])
def test_a_single_reading_over_one_number_agrees_with_a_dense_grid(signal: float, level: float) -> None:
    data = data_of((signal,), (level,), (0,))
    assert integrated(data, own_K=False) == pytest.approx(dense(data, 0.10), abs=ONE_ELECTRODE)


SETTLED = {
    **VALUES,
    **dict.fromkeys(("ln_floor_sd", "ln_own_K_sd", "ln_drift_sd"), FLAT - 3.0),
    "prescan_shift": 0.0,
    "spike_shift": 0.0,
}
NOTHING_ELSE = 1e-5
"""Five nodes over the gain leave 2e-6; scatters of 6e-6 and the grid far less."""


def over_gain(data: UnitData) -> float:
    """The model of an electrode whose own gain is all that it has: readings independent given it, one dense grid."""
    share = 1.0 / (1.0 + np.exp(-VALUES["logit_share"]))
    tau = np.exp(VALUES["ln_electrode_sd"])
    gain = np.linspace(-8.0, 8.0, 2001)
    K, h = np.exp(VALUES["ln_K"]), np.exp(VALUES["ln_h"])
    theta = data.level**h / (K**h + data.level**h)
    mean = np.exp(tau * np.sqrt(1.0 - share) * gain)[:, None] * (np.exp(VALUES["ln_floor"]) + theta)
    variance = 0.01**2 + 0.02**2 + tau**2 * share * mean**2
    density = np.prod(np.exp(-0.5 * (data.signal - mean) ** 2 / variance) / np.sqrt(2.0 * np.pi * variance), axis=1)
    normal = np.exp(-0.5 * gain**2) / np.sqrt(2.0 * np.pi)
    return float(np.log(np.sum(density * normal) * (gain[1] - gain[0])))


@pytest.mark.parametrize("own_K", [False, True])
@pytest.mark.parametrize("signal", [(0.31, 0.80, 1.33), (0.24, 0.66, 1.05), (0.40, 1.01, 1.62), (0.75,)])
def test_an_electrode_of_which_only_the_gain_is_its_own_has_the_likelihood_of_the_gain_alone(
    signal: tuple[float, ...], own_K: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    # Where K's scatter is not estimated it is held at a default, here taken away.
    monkeypatch.setattr("brinemark.science.amount.response.DEFAULT_ELECTRODE_K_SD", float(np.exp(FLAT - 3.0)))
    life = len(signal) > 1
    data = data_of(signal, (0.0, 2.0, 102.0) if life else (2.0,), (-1, 0, 1) if life else (0,))
    assert integrated(data, own_K, SETTLED) == pytest.approx(over_gain(data), abs=NOTHING_ELSE)


def test_electrodes_of_both_kinds_add_up() -> None:
    """A life and a single reading in one batch: with no scatter between batches their log marginals add."""
    life, single = data_of(LIVES[0], (0.0, 2.0, 102.0), (-1, 0, 1)), data_of((0.62,), (1.0,), (0,))
    both = UnitData(
        instrument=np.zeros(2, dtype=np.int64),
        unit=np.array([0, 1, 1, 1]),
        signal=np.append(single.signal, life.signal),
        u=np.full(4, 0.01),
        level=np.append(single.level, life.level),
        level_u=np.zeros(4),
        dip=np.append(single.dip, life.dip),
        spike=np.append(single.spike, life.spike),
        stock_part=np.zeros((0, 4)),
    )
    layout = ParameterLayout(("bench",), prescan=True, spike=True)
    theta = np.array([[VALUES[name] for name in layout.names]])
    model = latent_model_of(both, np.zeros(2, dtype=np.int64), layout)
    apart = integrated(life, own_K=False) + integrated(single, own_K=False)
    assert log_marginal(model, theta, NODES)[0] == pytest.approx(apart, abs=EXACT)


NATURE = replace(PLAIN, floor_sd=0.2, electrode_K_sd=0.1, drift=-0.05, drift_sd=0.08)


def laws() -> tuple[DipLaw, ...]:
    return electrode(NATURE, PRESCAN_AND_SPIKE).laws


def test_the_quadratic_form_is_the_normal_density_that_it_stands_for() -> None:
    """Of signals stretched by asinh(k y / s) / k, with the covariance of gain, floor and K written out."""
    one = tuple(law.thinned(1) for law in laws())
    level, signal = 1.5, np.array([0.8, 0.28, 1.2])
    seen = Observed(one, tuple(signal), 1.0)
    found = JointLikelihood.of([seen], np.array([level])).log_likelihood([signal[None]])[0, 0]
    law = one[0].electrode
    mean, arms, own = [], [], []
    for dip in one:
        response = dip.response(np.array([level]))
        bend = 0.5 * (response.floor_bend * law.floor_sd**2 + response.K_bend * law.own_K_sd**2)
        m = float(np.exp(law.log_gain + dip.shift + response.value + bend)[0, 0])
        k, s = float(np.sqrt(law.spread**2 + dip.relative)[0]), float(np.sqrt(dip.variance)[0])
        at = m / np.hypot(s, k * m)
        mean.append(np.arcsinh(k * m / s) / k)
        parts = (law.spread[0], law.floor_sd[0] * response.by_floor[0, 0], law.own_K_sd[0] * response.by_K[0, 0])
        arms.append(at * np.array(parts))
        own.append((s**2 + dip.relative[0] * m**2) / np.hypot(s, k * m) ** 2)
    stretched = [
        np.arcsinh(np.sqrt(law.spread**2 + dip.relative)[0] * y / np.sqrt(dip.variance)[0])
        / np.sqrt(law.spread**2 + dip.relative)[0]
        for dip, y in zip(one, signal, strict=True)
    ]
    covariance = np.array(arms) @ np.array(arms).T + np.diag(own)
    expected = multivariate_normal(mean, covariance).logpdf(stretched) + 1.5 * np.log(2.0 * np.pi)
    assert found == pytest.approx(expected, abs=1e-8)


SIMULATED = 20_000
KOLMOGOROV = 1.95 / np.sqrt(SIMULATED)  # exceeded with probability .001
TWO_MOMENTS = 0.01
"""Of a probability, beside the Monte Carlo size: the law takes the scatters of floor (.2) and K (.1) by two moments,
the simulation as they are."""


@pytest.mark.parametrize("level", [0.0, 0.5, 2.0, np.inf])
@pytest.mark.parametrize("place", [0, 1, 2])
def test_simulated_signals_follow_the_law_of_their_dip(level: float, place: int) -> None:
    law = laws()[place]
    rng = np.random.default_rng([place, int(min(level, 9.0) * 10)])
    pick = rng.integers(0, law.shift.size, SIMULATED)
    drawn: FloatArray = np.sort(law.simulate(level, pick, *rng.normal(size=(2, 3, SIMULATED))))
    share = law.cdf(drawn[::200], np.full(drawn[::200].size, level))
    ranks = (np.arange(SIMULATED) + 0.5)[::200] / SIMULATED
    assert np.abs(share - ranks).max() < KOLMOGOROV + TWO_MOMENTS
