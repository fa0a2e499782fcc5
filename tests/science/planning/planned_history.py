"""One small history of known truth that the tests of planning share."""

from __future__ import annotations

from functools import cache

import numpy as np

from brinemark.science.amount.calibration import calibrate
from brinemark.science.amount.simulate import SINGLE, Protocol, Truth, draw_batches, simulate_history
from brinemark.science.planning.new_batches import NewBatches
from brinemark.science.planning.plans import Burned
from brinemark.terms.amounts import Calibration
from brinemark.terms.settings import AnalyteSection, CalibrationSection, PriorSection

LEVELS = (0.0, 0.0, 0.5, 1.0, 2.0, 8.0)
BATCHES, LIVED, SEED = 6, (1, 4, 5), 8
LIFE = Protocol(prescan=True, additions=(100.0,), spiked=True)
TRUTH = Truth(slope=0.0, floor_sd=0.1, drift=-0.04, drift_sd=0.06, prescan_sd=0.05)


@cache
def calibration(batches: int = BATCHES) -> Calibration:
    """From batches of six, of which three electrodes of the last ones went through pre-scan and closing spike."""
    rng = np.random.default_rng(SEED)
    drawn = draw_batches(TRUTH, [f"B{i}" for i in range(batches)], rng)
    lived = [LIFE if i in LIVED else SINGLE for i in range(len(LEVELS))]
    plans = [lived if i >= batches - 3 else [SINGLE] * len(LEVELS) for i in range(batches)]
    readings = simulate_history(TRUTH, drawn, [np.array(LEVELS)] * batches, rng, plans)
    return calibrate(readings, AnalyteSection(), PriorSection(), CalibrationSection(seed=SEED, draws=512))


@cache
def new_batches(batches: int = BATCHES) -> NewBatches:
    return NewBatches.of(calibration(batches), SEED)


def burned(*levels: float, protocol: Protocol = LIFE) -> tuple[Burned, ...]:
    return tuple(Burned(level, protocol) for level in levels)
