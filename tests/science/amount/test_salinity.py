"""The competing ion: closed forms and limits, coefficients found again, and what forbids a correction."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from brinemark.science.amount.calibration import calibrate
from brinemark.science.amount.reading import read_sample
from brinemark.science.amount.response import occupancy
from brinemark.science.amount.salinity import (
    correction_refusal,
    ln_floor_shift,
    ln_K_shift,
    local_exponent,
    reference_salinity,
    relative_salinity,
)
from brinemark.science.amount.simulate import Truth
from brinemark.terms.amounts import Calibration, ElectrodeReadings, Reading, SamplePortion
from brinemark.terms.arrays import FloatArray
from brinemark.terms.settings import AnalyteSection, CalibrationSection, DecisionSection, PriorSection

ROUNDING = 1e-12

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


W, F = 0.6, 0.5
SALINITIES = (20.0, 28.0, 35.0)
REFERENCE = 28.0
SEED = 19
TRUTH = Truth(slope=0.0)


def response(level: FloatArray, salinity: FloatArray, ln_K: FloatArray) -> FloatArray:
    """Floor and occupied share of an electrode in water of a salinity, h and floor of TRUTH."""
    apart = salinity / REFERENCE - 1.0
    floor = TRUTH.floor * np.exp(F * apart)
    return np.asarray(floor + occupancy(level / (1.0 + W * apart), ln_K, np.asarray(TRUTH.h)))


def electrodes(seed: int = SEED, salinities: tuple[float, ...] = SALINITIES) -> ElectrodeReadings:
    """Six batches of a blank and two standards at each salinity, read once."""
    rng = np.random.default_rng(seed)
    level, salinity, batch = (
        part.ravel() for part in np.meshgrid([0.0, 1.0, 4.0], salinities, np.arange(6), indexing="ij")
    )
    count, b = level.size, batch.astype(np.int64)
    gain = np.exp(TRUTH.batch_sd * rng.normal(size=6)[b] + TRUTH.electrode_sd * rng.normal(size=count))
    mean = gain * response(level, salinity, TRUTH.ln_K + TRUTH.ln_K_sd * rng.normal(size=6)[b])
    return ElectrodeReadings(
        electrode=tuple(f"E{i}" for i in range(count)),
        batch=tuple(f"B{i}" for i in b),
        instrument=("bench",) * count,
        covariate=np.full(count, np.nan),
        unit=np.arange(count),
        signal=mean + np.sqrt(TRUTH.noise**2 + (TRUTH.cv * mean) ** 2) * rng.normal(size=count),
        u=np.zeros(count),
        level=level,
        salinity=salinity,
    )


def calibrated(readings: ElectrodeReadings) -> Calibration:
    return calibrate(readings, AnalyteSection(), PriorSection(), CalibrationSection(seed=SEED))


@pytest.fixture(scope="module")
def made() -> Calibration:
    return calibrated(electrodes())


def test_coefficients_are_found_again_with_an_uncertainty_that_holds_the_truth(made: Calibration) -> None:
    found = {one.name: one for one in made.summaries}
    for name, truth in (("exponent of K in salinity", W), ("exponent of the floor in salinity", F)):
        assert found[name].lower <= truth <= found[name].upper, name
    prior_width = 1.9  # of the exponent's central 95 %, 0.05 to 0.95, and of the floor's, -1.96 to 1.96
    floor = found["exponent of the floor in salinity"]
    assert floor.upper - floor.lower < prior_width


def sample(level: float, salinity: float, batch_seed: int) -> SamplePortion:
    """One electrode of a new batch with typical gain and K in the sample's water."""
    rng = np.random.default_rng(batch_seed)
    gain = np.exp(TRUTH.batch_sd * rng.normal() + TRUTH.electrode_sd * rng.normal())
    at = np.array([level]), np.array([salinity]), np.array([TRUTH.ln_K + TRUTH.ln_K_sd * rng.normal()])
    mean = float(gain * response(*at)[0])
    signal = mean + float(np.hypot(TRUTH.noise, TRUTH.cv * mean) * rng.normal())
    return SamplePortion("X", "new", "bench", None, signal, 0.0, salinity=salinity)


def test_a_sample_in_other_water_is_read_as_if_in_the_standards(made: Calibration) -> None:
    """By one who knows the population, levels with and without the correction are as far apart as the equations say."""
    logit = math.log(W / (1.0 - W))
    known = {"ln_K": TRUTH.ln_K, "ln_h": math.log(TRUTH.h), "ln_floor": math.log(TRUTH.floor), "ln_gain": 0.0}
    known |= {"salinity_K": logit, "salinity_floor": F}
    draws = made.draws.copy()
    for name, value in known.items():
        draws[:, made.names.index(name)] = value
    knowing = replace(made, draws=draws, signal_ref=1.0)
    mean = float(response(np.array([1.5]), np.array([20.0]), np.array(TRUTH.ln_K))[0])
    one = SamplePortion("X", "new", "bench", None, mean, 0.0, salinity=20.0)
    corrected, plain = (read(knowing, portion) for portion in (one, replace(one, salinity=None)))
    occupied = mean - TRUTH.floor
    apparent = math.exp(TRUTH.ln_K) * (occupied / (1.0 - occupied)) ** (1.0 / TRUTH.h)
    assert corrected.two_sided is not None and plain.two_sided is not None
    assert corrected.two_sided.median is not None and plain.two_sided.median is not None
    medians_of_draws = 0.03
    assert abs(corrected.two_sided.median / 1.5 - 1.0) < medians_of_draws
    assert abs(plain.two_sided.median / apparent - 1.0) < medians_of_draws
    assert any("salinity 20, the standards' median 28: K counts as 0.83 times" in text for text in corrected.warnings)
    assert not any("salinity 20" in text for text in plain.warnings)


def read(calibration: Calibration, portion: SamplePortion) -> Reading:
    return read_sample([portion], calibration, calibration.readings, DecisionSection(), SEED)


def test_intervals_hold_the_level_in_other_water(made: Calibration) -> None:
    """Electrodes of unknown batches at both ends of the salinities: as often as they say, within three Monte Carlo
    standard errors."""
    count, level = 40, 1.5
    readings = [read(made, sample(level, SALINITIES[0 if i % 2 else 2], 100 + i)) for i in range(count)]
    held = [
        (one.two_sided.lower or 0.0) <= level and (one.two_sided.upper is None or level <= one.two_sided.upper)
        for one in readings
        if one.two_sided is not None
    ]
    assert len(held) == count
    assert np.mean(held) >= 0.95 - 3 * np.sqrt(0.95 * 0.05 / count)


def test_at_one_salinity_nothing_moves_by_a_digit() -> None:
    rows = electrodes(salinities=(35.0,))
    with_salt, without = calibrated(rows), calibrated(replace(rows, salinity=np.full(rows.level.size, np.nan)))
    assert "salinity_K" not in with_salt.names
    assert np.array_equal(with_salt.draws, without.draws)


def test_blanks_at_one_salinity_leave_electrodes_of_others_uncorrected_and_said_to_be() -> None:
    rows = electrodes()
    salinity = np.where(rows.level == 0, 35.0, rows.salinity)
    calibration = calibrated(replace(rows, salinity=salinity))
    assert "salinity_K" not in calibration.names
    assert any("several salinities are taken as alike: blanks at 2 salinities" in s for s in calibration.weaknesses)


@pytest.mark.parametrize(
    ("blanks", "words"),
    [
        ((35.0, 35.5), "blanks at 2 salinities are required"),
        ((), "there is 0"),
        ((np.nan, np.nan), "there is 0"),
        ((20.0, 35.0), None),
    ],
)
def test_a_correction_needs_blanks_at_two_salinities(blanks: tuple[float, ...], words: str | None) -> None:
    rows = electrodes()
    salinity = np.full(rows.level.size, 30.0)
    salinity[rows.level == 0] = np.nan
    salinity[np.flatnonzero(rows.level == 0)[: len(blanks)]] = blanks
    found = correction_refusal(replace(rows, salinity=salinity))
    assert (found is None) if words is None else (found is not None and words in found)


def test_the_reference_is_the_median_of_what_was_recorded() -> None:
    rows = electrodes()
    assert reference_salinity(rows) == REFERENCE
    assert math.isnan(reference_salinity(replace(rows, salinity=np.full(rows.level.size, np.nan))))
    assert relative_salinity(np.array([35.0, np.nan]), 28.0).tolist() == [0.25, 0.0]
