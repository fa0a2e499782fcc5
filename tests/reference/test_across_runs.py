"""DNase as a calibration across runs: a run is left out, and its known concentrations are read with nothing of its own.

A run stands for a batch and a well for an electrode. The published fit of all runs has a sd of 0.07 of the top and of
0.11 of ln K between runs; intervals must be about as wide as that makes them, and hold what was pipetted.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np
import pytest

from brinemark.science.amount.calibration import calibrate
from brinemark.science.amount.reading import read_sample
from brinemark.terms.amounts import ElectrodeReadings, Estimate, Reading, SamplePortion
from brinemark.terms.arrays import BoolArray
from brinemark.terms.settings import AnalyteSection, CalibrationSection, DecisionSection, PriorSection
from reference import dnase

pytestmark = pytest.mark.usefixtures("compiled_loops")

RUN, LEVEL, DENSITY = np.array(dnase.RUN), np.array(dnase.CONCENTRATION), np.array(dnase.DENSITY)
EVERY_FOURTH = (4, 8)
NOMINAL = 0.95
MIDDLE = (0.5, 4.0)
"""Concentrations between which the curve is steep, so that intervals have two ends."""
SEED = 1995
SAME_MATRIX = PriorSection(matrix_K_sd=0.0)
"""All wells hold the same buffer: no water to shift K."""


def readings(wells: BoolArray) -> ElectrodeReadings:
    """Wells as electrodes of one reading each; the trace's own noise is not known."""
    count = int(wells.sum())
    return ElectrodeReadings(
        electrode=tuple(f"W{place}" for place in np.flatnonzero(wells)),
        batch=tuple(f"R{run}" for run in RUN[wells]),
        instrument=("reader",) * count,
        covariate=np.full(count, np.nan),
        unit=np.arange(count),
        signal=DENSITY[wells],
        u=np.zeros(count),
        level=LEVEL[wells],
    )


@dataclass(frozen=True, eq=False)
class LeftOut:
    """Every well of one run, read with the other ten."""

    level: tuple[float, ...]
    readings: tuple[Reading, ...]

    def holds(self) -> list[bool]:
        return [_holds(one.two_sided, level) for one, level in zip(self.readings, self.level, strict=True)]

    def folds(self) -> list[float]:
        """Upper over lower end of the wells in the middle of the curve."""
        ends = [
            one.two_sided
            for one, level in zip(self.readings, self.level, strict=True)
            if MIDDLE[0] < level < MIDDLE[1] and one.two_sided is not None
        ]
        return [one.upper / one.lower for one in ends if one.upper is not None and one.lower]


def _holds(estimate: Estimate | None, level: float) -> bool:
    if estimate is None:
        return False
    upper = math.inf if estimate.upper is None else estimate.upper
    return (estimate.lower or 0.0) <= level <= upper


@cache
def left_out(run: int) -> LeftOut:
    others = readings(np.not_equal(run, RUN))
    analyte = AnalyteSection(name="DNase", level_unit="ng/mL")
    calibration = calibrate(others, analyte, SAME_MATRIX, CalibrationSection(seed=SEED))
    wells = np.flatnonzero(run == RUN)
    said = [
        read_sample(
            [SamplePortion("X", f"R{run}", "reader", None, float(DENSITY[well]), 0.0)],
            calibration,
            others,
            DecisionSection(),
            SEED,
        )
        for well in wells
    ]
    return LeftOut(tuple(float(level) for level in LEVEL[wells]), tuple(said))


def coverage(runs: Sequence[int]) -> tuple[float, float]:
    """Share of wells held, and its standard error from run to run: wells of one run are no independent trials."""
    shares = np.array([np.mean(left_out(run).holds()) for run in runs])
    return float(shares.mean()), float(shares.std(ddof=1) / math.sqrt(len(runs)))


def test_intervals_of_runs_left_out_hold_what_was_pipetted() -> None:
    """Two runs of sixteen wells; with so few runs the standard error is that of the wells, taken as independent."""
    share, _ = coverage(EVERY_FOURTH)
    assert share >= NOMINAL - 3.0 * math.sqrt(NOMINAL * (1.0 - NOMINAL) / (16 * len(EVERY_FOURTH)))


def test_intervals_of_runs_left_out_are_as_wide_as_runs_differ() -> None:
    """ln c of a well is known to sd_Asym / Asym / (1 - share), sd_xmid and noise: about 0.2, so a fold of about 2.2."""
    folds = [fold for run in EVERY_FOURTH for fold in left_out(run).folds()]
    assert len(folds) == 6 * len(EVERY_FOURTH)
    assert 1.5 < np.median(folds) < 3.0


def test_the_lowest_concentration_is_not_called_detected_by_a_run_that_has_no_blank() -> None:
    """0.05 ng/mL lies at the floor; the highest, 12.5, lies at the plateau, and gets no upper end."""
    for run in EVERY_FOURTH:
        said = left_out(run)
        statements = dict(zip(said.level, (one.statement for one in said.readings), strict=True))
        assert statements[min(said.level)] in ("not detected", "detected, amount uncertain")
        assert statements[max(said.level)] == "at or above"


@pytest.mark.slow
def test_intervals_of_every_other_run_hold_what_was_pipetted() -> None:
    """Five of eleven, each left out in turn, to keep the time of the whole suite; all eleven gave .97."""
    share, se = coverage(range(2, 12, 2))
    assert abs(share - NOMINAL) <= 3.0 * se + 0.02
