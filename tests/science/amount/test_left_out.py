"""Known electrodes read as if unknown: exact on exact curves, blind for their own batch, and as a new calibration."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from brinemark.science.amount.calibration import calibrate
from brinemark.science.amount.compiled import compiled_loops
from brinemark.science.amount.definition_errors import log_errors, step_of
from brinemark.science.amount.left_out import ModelSections, by_curve, by_model, has_charges
from brinemark.science.amount.predictive import subset
from brinemark.science.amount.reading import read_sample
from brinemark.terms.amounts import Calibration, ElectrodeReadings, SamplePortion
from brinemark.terms.arrays import BoolArray, FloatArray
from brinemark.terms.settings import AnalyteSection, CalibrationSection, DecisionSection, PriorSection

BATCHES, LEVELS = 6, (0.0, 0.5, 1.0, 4.0, 16.0)
FLOOR, TOP, K = 2e-8, 6e-7, 2.0
SECTIONS = ModelSections(AnalyteSection(), PriorSection(), CalibrationSection(draws=512))
NEAR = 0.10
# Where the answer is nearly saturated, at eight times K, a batch weighed out scatters by .11 over six seeds of the
# draws (512 and 4,000 of them): three times that. (It was NEAR for all levels.)
NEAR_TOP = 0.35
"""Largest difference of ln(level + step) between a batch weighed out and one never seen, with 512 draws each."""


def history(scatter: float = 0.0, charges: bool = False, seed: int = 20431) -> ElectrodeReadings:
    """Electrodes of a saturating response; scatter : sd of the log of their gains, which the charge follows."""
    rng = np.random.default_rng(seed)
    level = np.tile(LEVELS, BATCHES)
    gain = np.exp(rng.normal(0.0, scatter, level.size)) if scatter else np.ones(level.size)
    names = [f"B{k // len(LEVELS)}" for k in range(level.size)]
    signal = gain * (FLOOR + TOP * level / (K + level))
    return ElectrodeReadings(
        electrode=tuple(f"{name}-{k}" for k, name in enumerate(names)),
        batch=tuple(names),
        instrument=("bench",) * level.size,
        covariate=3e-6 * gain if charges else np.full(level.size, np.nan),
        unit=np.arange(level.size),
        signal=signal,
        u=np.full(level.size, 2e-9),
        level=level,
    )


def all_teach(readings: ElectrodeReadings) -> BoolArray:
    return np.ones(len(readings.electrode), dtype=bool)


def logs(levels: FloatArray, step: float) -> FloatArray:
    return np.asarray(np.log(levels + step))


def test_exact_curves_give_exact_levels() -> None:
    readings = history()
    assert by_curve(readings, all_teach(readings)) == pytest.approx(readings.level, rel=1e-5, abs=1e-5)


def test_gains_that_go_with_the_charge_drop_out_when_all_have_one() -> None:
    readings = history(scatter=0.3, charges=True)
    assert has_charges(readings)
    assert by_curve(readings, all_teach(readings)) == pytest.approx(readings.level, rel=1e-5, abs=1e-5)
    one_missing = replace(readings, covariate=np.where(np.arange(readings.level.size) == 3, np.nan, readings.covariate))
    assert not has_charges(one_missing)


def test_an_electrode_s_own_batch_teaches_it_nothing() -> None:
    readings = history(scatter=0.2)
    teaches = all_teach(readings)
    mine = np.array(readings.batch) == "B2"
    spoiled = replace(readings, signal=np.where(mine & (readings.level > 1.0), 7.0 * readings.signal, readings.signal))
    kept = np.flatnonzero(mine & (readings.level <= 1.0))
    assert by_curve(spoiled, teaches)[kept] == pytest.approx(by_curve(readings, teaches)[kept], rel=1e-12)
    assert not np.allclose(by_curve(spoiled, teaches)[~mine], by_curve(readings, teaches)[~mine], equal_nan=True)


def test_a_control_is_read_and_teaches_nothing() -> None:
    readings = history(scatter=0.2)
    teaches = all_teach(readings)
    teaches[3] = False
    spoiled = replace(readings, signal=np.where(np.arange(teaches.size) == 3, 0.5 * readings.signal, readings.signal))
    before, after = by_curve(readings, teaches), by_curve(spoiled, teaches)
    others = np.arange(teaches.size) != 3
    assert np.array_equal(before[others], after[others])
    assert before[3] != after[3]


def test_the_unit_of_the_signal_does_not_matter() -> None:
    readings = history(scatter=0.2, charges=True)
    other = replace(readings, signal=1e9 * readings.signal, u=1e9 * readings.u, covariate=1e6 * readings.covariate)
    teaches = all_teach(readings)
    assert by_curve(other, teaches) == pytest.approx(by_curve(readings, teaches), rel=1e-5, abs=1e-6)


def test_signals_that_do_not_follow_the_level_are_read_without_a_curve_or_badly() -> None:
    readings = history()
    noise = np.random.default_rng(20432).normal(0.0, 1e-8, readings.level.size)
    read = by_curve(replace(readings, signal=noise), all_teach(readings))
    step = step_of(readings.level)
    blind = log_errors(read, readings.level, 16.0, step).mean()
    assert blind > 5.0 * log_errors(by_curve(history(0.1), all_teach(readings)), readings.level, 16.0, step).mean()


def test_a_batch_weighed_out_of_a_calibration_reads_as_if_it_had_never_been_there() -> None:
    """Against a calibration made anew without the batch, read by the public way."""
    readings = history(scatter=0.15, charges=True)
    readings = replace(
        readings, covariate=readings.covariate * np.exp(np.random.default_rng(20433).normal(0, 0.05, 30))
    )
    step = step_of(readings.level)
    with compiled_loops():
        weighed = by_model(readings, all_teach(readings), SECTIONS)
        mine = np.array(readings.batch) == "B4"
        others = subset(readings, ~mine)
        made = calibrate(others, SECTIONS.analyte, SECTIONS.prior, SECTIONS.calibration)
        anew = [read_one(readings, int(k), others, made) for k in np.flatnonzero(mine)]
    found, wanted, top = logs(weighed[mine], step), logs(np.array(anew), step), readings.level[mine] > 4.0
    assert top.sum() == 1
    assert found[~top] == pytest.approx(wanted[~top], abs=NEAR)
    assert found[top] == pytest.approx(wanted[top], abs=NEAR_TOP)
    assert log_errors(weighed, readings.level, 16.0, step).mean() < 0.25


def read_one(readings: ElectrodeReadings, k: int, others: ElectrodeReadings, made: Calibration) -> float:
    portion = SamplePortion(
        readings.electrode[k],
        readings.batch[k],
        "bench",
        float(readings.covariate[k]),
        float(readings.signal[k]),
        float(readings.u[k]),
    )
    reading = read_sample([portion], made, others, DecisionSection(), 20260)
    assert reading.two_sided is not None
    assert reading.two_sided.median is not None
    return reading.two_sided.median


def test_the_model_reads_with_further_covariates_as_a_sample_is_read() -> None:
    """Gains that only a further covariate follows: reading with it errs by less than half of reading without it."""
    rng = np.random.default_rng(20452)
    plain = history()
    gain = np.exp(rng.normal(0.0, 0.4, plain.level.size))
    noisy = gain * np.exp(rng.normal(0.0, 0.03, gain.size))
    blind = replace(plain, signal=plain.signal * noisy)
    seeing = replace(blind, further=("area",), further_covariate=gain[None])
    step, highest = step_of(plain.level), float(plain.level.max())
    with compiled_loops():
        typical = [
            float(log_errors(by_model(one, all_teach(one), SECTIONS), one.level, highest, step).mean())
            for one in (blind, seeing)
        ]
    assert typical[1] < 0.5 * typical[0]
