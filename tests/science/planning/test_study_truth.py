"""Truths drawn from a calibration: on its own scale, and read by it as often right as it says."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace

import numpy as np
import pytest

from brinemark.science.amount.calibration import calibrate
from brinemark.science.amount.compiled import compiled_loops
from brinemark.science.amount.simulate import Truth, draw_batches, median_response, simulate_history
from brinemark.science.planning.study import Crew, Here, run_study
from brinemark.science.planning.study_plan import BatchPlan, Rules, SamplePlan, StudyPlan
from brinemark.science.planning.study_truth import drawn_truth
from brinemark.terms.amounts import Calibration
from brinemark.terms.errors import Refused
from brinemark.terms.settings import AnalyteSection, CalibrationSection, PriorSection
from study_work import COMPILED

AMPERE, CHARGE = 3e-7, 4.2e-6
TRUTH = Truth()
LEVELS = np.array([0.0, 0.0, 0.5, 1.0, 2.0, 8.0])
FOUR_SE = 4.0


@contextmanager
def here() -> Iterator[Crew]:
    yield Crew(Here(), 1)


@pytest.fixture(scope="module")
def calibration() -> Calibration:
    """Twelve batches whose signals and covariates have sizes of their own."""
    rng = np.random.default_rng(21)
    batches = draw_batches(TRUTH, [f"B{i}" for i in range(12)], rng)
    plain = simulate_history(TRUTH, batches, [LEVELS] * 12, rng)
    readings = replace(plain, signal=AMPERE * plain.signal, covariate=CHARGE * plain.covariate)
    options = CalibrationSection(seed=1, draws=512)
    with compiled_loops():
        return calibrate(readings, AnalyteSection(), PriorSection(), options)


def test_drawn_truths_lie_about_the_truth_that_the_calibration_was_made_from(calibration: Calibration) -> None:
    drawn = [drawn_truth(calibration, number) for number in range(0, 512, 4)]
    for level in (0.0, 1.0, 2.0, 100.0):
        wanted = AMPERE * median_response(
            TRUTH,
            draw_batches(replace(TRUTH, batch_sd=0.0, ln_K_sd=0.0), ["B"], np.random.default_rng(0))[0],
            np.zeros(1),
            np.array([level]),
        )
        found = []
        for truth, units in drawn:
            still = replace(truth, batch_sd=0.0, ln_K_sd=0.0, floor_batch_sd=0.0)
            (batch,) = draw_batches(still, ["B"], np.random.default_rng(0))
            x = np.log(np.array([CHARGE]) / units.covariate)
            found.append(float(units.signal * median_response(still, batch, x, np.array([level]))[0]))
        low, high = np.quantile(found, [0.005, 0.995])
        assert low < float(wanted[0]) < high
    electrode = [truth.electrode_sd for truth, _ in drawn]
    assert float(np.quantile(electrode, 0.005)) < TRUTH.electrode_sd < float(np.quantile(electrode, 0.995))
    assert drawn[0][1].instrument == "bench"
    assert float(np.median([truth.noise for truth, _ in drawn])) == pytest.approx(TRUTH.noise, rel=0.5)


def test_a_calibration_reads_its_own_draws_as_often_right_as_it_says(calibration: Calibration) -> None:
    plan = StudyPlan(
        120,
        per_history=2,
        seed=8,
        population=calibration,
        batch=BatchPlan(7, (0.0, 2.0)),
        samples=SamplePlan((0.0, 0.5, 2.0)),
        rules=Rules(draws=512, compiled=COMPILED),
    )
    figures = run_study(plan, here).figures
    assert (figures.laboratories, figures.samples) == (60, 600)
    held, blanks = figures.levels[1].interval, figures.false_detections
    for found, wanted in ((held, 0.95), (figures.levels[2].interval, 0.95), (blanks, 0.05)):
        assert found.value is not None and found.error is not None
        assert abs(found.value - wanted) < FOUR_SE * max(found.error, 0.0155)  # .0155: of 200 independent samples


def test_a_calibration_with_further_covariates_is_refused(calibration: Calibration) -> None:
    odd = replace(calibration, names=(*calibration.names[:-1], "slope:blue"))
    with pytest.raises(Refused, match="further covariates blue"):
        drawn_truth(odd, 0)
