"""The competing ion: closed forms and limits, coefficients found again, and what forbids a correction."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from brinemark.science.amount.salinity import (
    KnownResponse,
    SalinityData,
    correction_refusal,
    estimate_effect,
    ln_floor_shift,
    ln_K_shift,
    local_exponent,
    shift_at,
)

ROUNDING = 1e-12
KNOWN = KnownResponse((0.0, 0.2), (math.log(2.0), 0.2), (math.log(0.2), 0.2), 1.0, 0.2, 0.1, 0.005)

salinities = st.floats(1.0, 60.0)
exponents = st.floats(0.0, 1.0)


@given(st.floats(0.01, 100.0), salinities, st.floats(0.5, 500.0), st.floats(0.1, 20.0))
def test_the_shift_of_K_gives_the_two_ligand_isotherm(level: float, salinity: float, K_s: float, K: float) -> None:
    reference = 35.0
    w = reference / K_s / (1.0 + reference / K_s)
    ln_K_reference = math.log(K * (1.0 + reference / K_s))
    shifted = math.exp(ln_K_reference + float(ln_K_shift(salinity, reference, w)))
    isotherm = (level / K) / (1.0 + level / K + salinity / K_s)
    assert math.isclose(level / (shifted + level), isotherm, rel_tol=1e-10)


@given(salinities, exponents)
def test_the_local_exponent_lies_between_0_and_1_and_is_the_slope_of_the_shift(salinity: float, w: float) -> None:
    step = 1e-5
    up, down = (float(ln_K_shift(salinity * math.exp(side), 35.0, w)) for side in (step, -step))
    exponent = float(local_exponent(salinity, 35.0, w))
    assert -ROUNDING <= exponent <= 1.0 + ROUNDING
    second_order_and_rounding = 1e-8
    assert abs((up - down) / (2 * step) - exponent) < second_order_and_rounding


def test_the_ends_are_no_competitor_and_nothing_but_competition() -> None:
    salinity = np.array([5.0, 20.0, 35.0, 50.0])
    assert np.abs(ln_K_shift(salinity, 35.0, 0.0)).max() == 0.0
    assert np.abs(ln_K_shift(salinity, 35.0, 1.0) - np.log(salinity / 35.0)).max() < ROUNDING
    assert float(ln_floor_shift(0.0, 35.0, 0.4)) == -0.4
    assert float(ln_floor_shift(35.0, 35.0, 0.4)) == 0.0


def electrodes(rng: np.random.Generator, w: float, f: float, salinities: tuple[float, ...]) -> SalinityData:
    """Six batches of one electrode at each salinity and each of four levels."""
    level, salinity, batch = (
        part.ravel() for part in np.meshgrid([0.0, 0.5, 2.0, 8.0], salinities, np.arange(6), indexing="ij")
    )
    gain = np.exp(0.2 * rng.normal(size=6)[batch] + 0.1 * rng.normal(size=level.size))
    K = 2.0 * np.exp(ln_K_shift(salinity, 35.0, w))
    floor = 0.2 * np.exp(ln_floor_shift(salinity, 35.0, f))
    noise = 0.005 * rng.normal(size=level.size)
    signal = gain * (floor + level / (K + level)) + noise
    return SalinityData(signal, np.zeros(level.size), level, salinity, batch.astype(np.int64))


def test_coefficients_are_found_again_with_an_uncertainty_that_holds_the_truth() -> None:
    rng = np.random.default_rng(19)
    scores, inside, rounds = [], 0, 24
    for _ in range(rounds):
        w, f = rng.uniform(0.1, 0.9), rng.normal(0.5, 0.3)
        effect = estimate_effect(electrodes(rng, w, f, (20.0, 35.0)), KNOWN, 35.0)
        assert effect is not None
        sd = np.sqrt(np.diag(effect.covariance))
        scores.append([(effect.K_exponent - w) / sd[0], (effect.floor_slope - f) / sd[1]])
        inside += effect.K_interval[0] <= w <= effect.K_interval[1]
    # Sum of squares of 24 standard normals: 0.1 and 99.9 % points 8.1 and 51.2; 95 % intervals: at least 20 of 24.
    squares = (np.array(scores) ** 2).sum(axis=0)
    assert ((squares > 8.1) & (squares < 51.2)).all(), squares
    assert inside >= 20


def test_nearly_exact_data_give_nearly_exact_coefficients() -> None:
    level, salinity = np.tile([0.0, 2.0, 6.0], 2), np.repeat([20.0, 35.0], 3)
    K = 2.0 * np.exp(ln_K_shift(salinity, 35.0, 0.6))
    signal = 0.2 * np.exp(ln_floor_shift(salinity, 35.0, 0.7)) + level / (K + level)
    data = SalinityData(signal, np.full(6, 1e-4), level, salinity, np.zeros(6, dtype=np.int64))
    exact = KnownResponse((0.0, 1e-4), KNOWN.ln_K, KNOWN.ln_floor, 1.0, 1e-4, 1e-4, 0.0)
    effect = estimate_effect(data, exact, 35.0)
    assert effect is not None
    noise_and_grid = 0.01
    assert abs(effect.K_exponent - 0.6) < noise_and_grid
    assert abs(effect.floor_slope - 0.7) < noise_and_grid


def test_without_a_second_salinity_there_is_no_estimate() -> None:
    assert estimate_effect(electrodes(np.random.default_rng(1), 0.5, 0.5, (34.5, 35.0)), KNOWN, 35.0) is None


def test_standards_without_blanks_leave_the_prior_of_the_exponent_only_where_all_is_saturated() -> None:
    data = electrodes(np.random.default_rng(2), 0.5, 0.5, (20.0, 35.0))
    full = SalinityData(data.signal * 0 + 1.0, data.u, data.level * 0 + 1e6, data.salinity, data.batch)
    effect = estimate_effect(full, KNOWN, 35.0)
    assert effect is not None
    uniform_sd = 1.0 / math.sqrt(12.0)
    assert abs(math.sqrt(effect.covariance[0, 0]) - uniform_sd) < 0.01
    assert abs(effect.K_interval[0] - 0.025) < 0.01


def test_shifts_carry_the_uncertainty_of_their_coefficients() -> None:
    effect = estimate_effect(electrodes(np.random.default_rng(3), 0.5, 0.5, (20.0, 35.0)), KNOWN, 35.0)
    assert effect is not None
    at_reference, away = shift_at(effect, 35.0), shift_at(effect, 28.0)
    assert (at_reference.ln_K, at_reference.ln_K_u, at_reference.ln_floor_u) == (0.0, 0.0, 0.0)
    draws = np.random.default_rng(4).multivariate_normal(
        [effect.K_exponent, effect.floor_slope], effect.covariance, 20_000
    )
    first_order = 0.03  # and the Monte Carlo error of a standard deviation, 0.5 %
    assert abs(float(np.std(ln_K_shift(28.0, 35.0, draws[:, 0]))) / away.ln_K_u - 1.0) < first_order
    assert abs(float(np.std(ln_floor_shift(28.0, 35.0, draws[:, 1]))) / away.ln_floor_u - 1.0) < first_order
    assert -1.0 < away.correlation < 1.0


@pytest.mark.parametrize(
    ("blanks", "standards", "salinity", "words"),
    [
        ((35.0, 35.5), (20.0, 35.0), 30.0, "blanks at 2 salinities are required"),
        ((), (20.0, 35.0), 30.0, "there is 0"),
        ((20.0, 35.0), (35.0,), 19.0, "outside the 20 to 35"),
        ((20.0, 35.0), (35.0,), 30.0, None),
    ],
)
def test_a_correction_needs_blanks_at_two_salinities_around_it(
    blanks: tuple[float, ...], standards: tuple[float, ...], salinity: float, words: str | None
) -> None:
    salt = np.array([*blanks, *standards])
    level = np.array([*(0.0 for _ in blanks), *(2.0 for _ in standards)])
    data = SalinityData(np.ones(salt.size), np.zeros(salt.size), level, salt, np.zeros(salt.size, dtype=np.int64))
    found = correction_refusal(data, salinity)
    assert (found is None) if words is None else (found is not None and words in found)
