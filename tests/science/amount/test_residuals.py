"""Residuals against simulated electrodes: standard normal for sound ones, far for a spoilt one, and honest."""

from __future__ import annotations

from dataclasses import replace
from statistics import NormalDist

import numpy as np
import pytest
from histories import calibrated, history, simulated

from brinemark.science.amount.electrodes import electrode_laws
from brinemark.science.amount.predictive import batch_draws, of_batch, subset
from brinemark.science.amount.residuals import residuals
from brinemark.science.amount.scale import scale_of_calibration
from brinemark.terms.amounts import SamplePortion

pytestmark = pytest.mark.usefixtures("compiled_loops")

SEEDS = (11, 12, 13)
LOST = 0.35
"""Of the gain of a spoilt film, less than half: 6 sd of the electrode's own ln gain of 0.15."""


def test_residuals_of_sound_electrodes_are_standard_normal() -> None:
    found = [one.score for seed in SEEDS for one in residuals(history(seed).calibration)]
    # Batches are independent and a batch's own errors of prediction nearly so: sd of a mean of n is 1 / sqrt(n), of an
    # sd 1 / sqrt(2 n). Four of these.
    n = len(found)
    assert n == 3 * (9 * 6 + 3)
    assert abs(np.mean(found)) < 4.0 / np.sqrt(n)
    assert abs(np.std(found) - 1.0) < 4.0 / np.sqrt(2.0 * n)
    outside = np.mean(np.abs(found) > 1.96)
    assert abs(outside - 0.05) < 4.0 * np.sqrt(0.05 * 0.95 / n)


def test_a_spoilt_electrode_stands_out_and_drags_no_other_of_its_batch_as_far() -> None:
    _, readings = simulated(SEEDS[0], (0.0, 2.0, 8.0))
    spoilt = next(u for u, b in enumerate(readings.batch) if b == "B4" and readings.level[u] == 8.0)
    signal = readings.signal.copy()
    signal[readings.unit == spoilt] *= LOST
    found = residuals(calibrated(replace(readings, signal=signal), SEEDS[0]))
    far = min(found, key=lambda one: one.score)
    assert far.electrode == readings.electrode[spoilt]
    assert (far.batch, far.level) == ("B4", 8.0)
    assert far.score < -2.5
    assert all(abs(one.score) < abs(far.score) for one in found if one is not far)


def test_an_electrode_is_judged_by_what_a_sample_electrode_beside_the_others_would_be() -> None:
    known = history(SEEDS[1])
    calibration, readings = known.calibration, known.readings
    one = residuals(calibration, ["B9"])[1]
    unit = readings.electrode.index(one.electrode)
    others = subset(readings, np.arange(len(readings.electrode)) != unit)
    draws = batch_draws(calibration, others, ["B9"], 5)  # the population reweighted too, other draws
    portion = SamplePortion(one.electrode, "B9", "bench", float(readings.covariate[unit]), 0.0, 0.0)
    scale = scale_of_calibration(calibration)
    law = electrode_laws(replace(draws, matrix=np.zeros(draws.theta.shape[0])), scale, portion)[0][0]
    signal = readings.signal[readings.unit == unit] / calibration.signal_ref
    whole = float(law.cdf(signal, np.array([one.level]))[0])
    # Probabilities of 160 draws against 1,024 reweighted: five times the sd between draws over the root of 160.
    assert NormalDist().cdf(one.score) == pytest.approx(whole, abs=0.08)


def test_an_electrode_alone_in_its_batch_is_judged_by_the_population() -> None:
    readings = history(SEEDS[2]).readings
    keep = np.array([b != "B9" for b in readings.batch])
    keep[readings.batch.index("B9")] = True
    calibration = calibrated(subset(readings, keep), SEEDS[2])
    assert len(of_batch(calibration.readings, "B9").electrode) == 1
    found = residuals(calibration, ["B9"])
    assert len(found) == 1
    assert np.isfinite(found[0].score)


def test_the_same_calibration_gives_the_same_residuals() -> None:
    calibration = history(SEEDS[0]).calibration
    assert residuals(calibration, ["B2"]) == residuals(calibration, ["B2"])
