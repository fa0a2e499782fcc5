"""Work for studies that processes of tests can find: quick chunks that depend on the plan and their numbers alone."""

from __future__ import annotations

import os
from importlib.util import find_spec
from pathlib import Path

import numpy as np

from brinemark.science.planning.study_laboratory import COLUMNS, Chunk, simulate_chunk, stream
from brinemark.science.planning.study_plan import HistoryPlan, Rules, StudyPlan

COMPILED = find_spec("numba") is not None
SMALL = HistoryPlan(batches=3, levels=(0.0, 1.0, 8.0))
PLAN = StudyPlan(6, per_history=1, seed=11, history=SMALL, rules=Rules(draws=256, compiled=COMPILED))
WIDE = StudyPlan(400, per_history=20, seed=3)


def quick(plan: StudyPlan, laboratories: tuple[int, ...]) -> Chunk:
    """Invented rows: level 1, detected in .8 of the samples, the interval .5 to 2 in .9 of them and elsewhere else."""
    rows, made = [], []
    for number in laboratories:
        rng, count = stream(plan, number), plan.batches_of(number)
        detected, held = rng.random(4 * count) < 0.8, rng.random(4 * count) < 0.9
        for i in range(4 * count):
            ends = (0.5, 1.25) if held[i] else (2.0, 8.0)
            rows.append([number, i // 4, 1.0, 1.0, 3.0, float(detected[i]), *ends, *ends])
        made.append([number, count, 6.0 * count, 4.0 * count])
    return Chunk(np.array(rows).reshape(-1, len(COLUMNS)), np.array(made, dtype=float))


def dies_once(mark: Path, plan: StudyPlan, laboratories: tuple[int, ...]) -> Chunk:
    """The process that is given laboratory 3 first ends in the middle of its work, as if it were killed."""
    if 3 in laboratories and not mark.exists():
        mark.touch()
        os._exit(9)
    return quick(plan, laboratories)


def dies_at_work(mark: Path, plan: StudyPlan, laboratories: tuple[int, ...]) -> Chunk:
    """The same after the real work was done, so that it has to be done again."""
    found = simulate_chunk(plan, laboratories)
    if 3 in laboratories and not mark.exists():
        mark.touch()
        os._exit(9)
    return found


def dies_always(_plan: StudyPlan, _laboratories: tuple[int, ...]) -> Chunk:
    """No process lives."""
    os._exit(9)
