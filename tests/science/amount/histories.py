"""Histories of known truth that the tests of the amount stage share."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np

from brinemark.science.amount.calibration import calibrate
from brinemark.science.amount.compiled import compiled_loops
from brinemark.science.amount.simulate import (
    TrueBatch,
    Truth,
    draw_batches,
    simulate_electrodes,
    simulate_history,
)
from brinemark.terms.amounts import Calibration, ElectrodeReadings, SamplePortion
from brinemark.terms.settings import AnalyteSection, CalibrationSection, PriorSection

HISTORY_LEVELS = np.array([0.0, 0.0, 0.5, 1.0, 2.0, 8.0])
NEW_BATCH_LEVELS = np.array([0.0, 2.0, 8.0])
TRUTH = Truth()
# The parameters that a history as simulated here was made with, by name, on the working scale.
TRUE_VALUES = {
    "ln_K": TRUTH.ln_K,
    "ln_h": float(np.log(TRUTH.h)),
    "ln_floor": float(np.log(TRUTH.floor)),
    "ln_batch_sd": float(np.log(TRUTH.batch_sd)),
    "ln_electrode_sd": float(np.log(np.hypot(TRUTH.electrode_sd, TRUTH.cv))),
    "ln_K_sd": float(np.log(TRUTH.ln_K_sd)),
    "slope": TRUTH.slope,
}


@dataclass(frozen=True, eq=False)
class History:
    """Nine batches of six electrodes and a new one, B9, of three; the calibration from all of them."""

    batches: tuple[TrueBatch, ...]
    readings: ElectrodeReadings
    calibration: Calibration

    @property
    def new(self) -> TrueBatch:
        return self.batches[9]


def simulated(seed: int, new_levels: tuple[float, ...]) -> tuple[tuple[TrueBatch, ...], ElectrodeReadings]:
    rng = np.random.default_rng(seed)
    batches = draw_batches(TRUTH, [f"B{i}" for i in range(10)], rng)
    levels = [HISTORY_LEVELS] * 9 + [np.array(new_levels)]
    return batches, simulate_history(TRUTH, batches, levels, rng)


def calibrated(readings: ElectrodeReadings, seed: int) -> Calibration:
    """By compiled loops, as a logbook calibrates; test_compiled.py holds them to numpy's."""
    with compiled_loops():
        return calibrate(readings, AnalyteSection(), PriorSection(), CalibrationSection(seed=seed))


@cache
def history(seed: int, new_levels: tuple[float, ...] = tuple(NEW_BATCH_LEVELS)) -> History:
    batches, readings = simulated(seed, new_levels)
    return History(batches, readings, calibrated(readings, seed))


def unknowns(batch: TrueBatch, level: float, count: int, rng: np.random.Generator) -> list[SamplePortion]:
    """Electrodes of a batch that read a sample of a known level, undiluted."""
    x, y = simulate_electrodes(TRUTH, batch, np.full(count, level), rng)
    return [
        SamplePortion(f"X{i}", batch.name, "bench", float(np.exp(xi)), float(yi), 0.0)
        for i, (xi, yi) in enumerate(zip(x, y, strict=True))
    ]
