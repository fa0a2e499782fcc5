"""The accuracy study: one change at a time around a base case, and what a chemist would do instead.

    python benchmarks/accuracy.py [--histories 16] [--samples 4] [--seed 1] [--case ...] [--processes 2] [--quick]
                                  [--keep FILE] [--write docs]

Base: nine batches of six electrodes at 0, 0, .5, 1, 2, 8 ug/L in random order, three of a new batch burned at 0, 2, 8,
one sample electrode read once, bench noise. Every case reads samples on fresh electrodes at each level and prints blank
rate, power, coverage, error of ln c, median fold and the share of "at or above", with standard errors clustered by
history; beside them the limit (an oracle that knows population and batch) and, for single readings, the pooled curve, a
curve for each batch and a curve scaled by film charge. --write regenerates accuracy.md and its picture in a folder,
with the tables of the worlds that the model does not contain, if their output is given with --worlds FILE. --keep FILE
keeps what is done, case by case, so that the study can be stopped and gone on with.
"""

from __future__ import annotations

import argparse
import json
import os
import sys
import time
from collections.abc import Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import asdict, dataclass, field
from multiprocessing import get_context
from pathlib import Path

import numpy as np
from accuracy_page import write_page
from lives import Reader, Season
from oracle import BatchPoints, intervals, known, log_likelihood
from second_half import clustered
from worlds import NEW_BATCH

from brinemark.science.amount.classical import SaturatingCurve, batch_curves, charge_scaled_curve, pooled_curve
from brinemark.science.amount.compiled import load
from brinemark.science.amount.simulate import (
    PRESCAN_AND_SPIKE,
    SINGLE,
    Protocol,
    Truth,
    draw_batches,
    simulate_history,
    simulate_sample,
)
from brinemark.terms.amounts import SamplePortion
from brinemark.terms.arrays import FloatArray
from brinemark.terms.errors import GateFailed

LEVELS = (0.0, 0.25, 0.5, 1.0, 2.0, 4.0, 8.0, 20.0)
POWER_AT = (0.5, 1.0)
HISTORY, PORTABLE = (0.0, 0.0, 0.5, 1.0, 2.0, 8.0), Truth(noise=0.06, cv=0.10)
LIVED = 3  # of the last batches, whose blank and standards at 2 and 8 went through the protocol
ALPHA = 0.05


@dataclass(frozen=True, slots=True)
class Case:
    """One row of the study. burned : levels of the new batch's calibration electrodes; electrodes : that read one
    sample; spread : whether each of them is of another new batch."""

    what: str
    truth: Truth = field(default_factory=Truth)
    batches: int = 9
    burned: tuple[float, ...] = (0.0, 2.0, 8.0)
    protocol: Protocol = SINGLE
    electrodes: int = 1
    spread: bool = False


CASES = {
    "base": Case("base"),
    "batches-25": Case("25 batches of history", batches=25),
    "batches-50": Case("50 batches of history", batches=50),
    "burned-0": Case("no electrode burned", burned=()),
    "burned-1": Case("one burned, a blank", burned=(0.0,)),
    "burned-2": Case("two burned, at 0 and 2", burned=(0.0, 2.0)),
    "burned-4": Case("four burned, at 0, 1, 2, 8", burned=(0.0, 1.0, 2.0, 8.0)),
    "two": Case("two electrodes", electrodes=2),
    "three": Case("three electrodes", electrodes=3),
    "three-batches": Case("three electrodes of three batches", electrodes=3, spread=True),
    "lived": Case("with pre-scan and closing spike", protocol=PRESCAN_AND_SPIKE),
    "lived-three": Case("the same, three electrodes", protocol=PRESCAN_AND_SPIKE, electrodes=3),
    "portable": Case("portable noise", truth=PORTABLE),
    "floor-.06": Case("floor .06 of the rise", truth=Truth(floor=0.06)),
    "floor-.1": Case("floor .1 of the rise", truth=Truth(floor=0.1)),
    "low-duds": Case("5 % of the films at .4 of their gain", truth=Truth(low_share=0.05)),
    "high-duds": Case("5 % of the films at twice their gain", truth=Truth(high_share=0.05)),
}


@dataclass(frozen=True, slots=True)
class Task:
    case: str
    seed: tuple[int, int]
    samples: int


# who -> level -> (n, 5): detected, lower, upper (0 and inf where open), best (nan where none), says "at or above"
Answers = Mapping[str, Mapping[float, FloatArray]]


def one_history(task: Task) -> Answers | None:
    """Simulate, calibrate and read; None when a gate of the calibration failed."""
    load()
    case, rng = CASES[task.case], np.random.default_rng(task.seed)
    past = history(case, rng)
    try:
        reader = Reader.of(past.lived, task.seed[1])
    except GateFailed as failed:
        print(f"{task.case}, history {task.seed[1]}: {failed}", file=sys.stderr)
        return None
    found: dict[str, dict[float, FloatArray]] = {}
    for level in LEVELS:
        portions = [sample(case, past, level, rng) for _ in range(task.samples)]
        found.setdefault("Brinemark", {})[level] = np.array([by_program(reader, one) for one in portions])
        points = {batch.name: known(batch) for batch in past.new}
        found.setdefault("oracle", {})[level] = np.array([by_oracle(case, points, one) for one in portions])
        if case.protocol == SINGLE and case.electrodes == 1 and case.burned:
            for name, curve in instead(past).items():
                answers = [by_curve(curve, one[0]) for one in portions]
                found.setdefault(name, {})[level] = np.array(answers)
    return found


def history(case: Case, rng: np.random.Generator) -> Season:
    """Batches of history, their levels in random order, and new batches."""
    new = case.electrodes if case.spread else 1
    names = [*(f"B{i}" for i in range(case.batches)), *(f"{NEW_BATCH}{i}" for i in range(new))]
    drawn = draw_batches(case.truth, names, rng)
    levels, plans = [], []
    for i in range(len(names)):
        order = rng.permutation(np.array(HISTORY)) if i < case.batches else np.array(case.burned)
        through = case.protocol if i >= case.batches - LIVED else SINGLE
        taken = i >= case.batches
        first = {value: int(np.flatnonzero(order == value)[0]) for value in (0.0, 2.0, 8.0) if value in order}
        plans.append([through if taken or first.get(c) == j else SINGLE for j, c in enumerate(order)])
        levels.append(order)
    return Season(case.truth, drawn[case.batches :], simulate_history(case.truth, drawn, levels, rng, plans))


def sample(case: Case, past: Season, level: float, rng: np.random.Generator) -> tuple[SamplePortion, ...]:
    batches = past.new if case.spread else [past.new[0]] * case.electrodes
    return simulate_sample(case.truth, batches, level, case.protocol, rng, (1.0,) * case.electrodes)


def by_program(reader: Reader, portions: Sequence[SamplePortion]) -> tuple[float, ...]:
    reading = reader.read(portions)
    two, found = reading.two_sided, reading.detection
    detected = np.nan if found is None else float(found.detected)
    at_or_above = float(reading.statement == "at or above")
    if two is None:
        return detected, 0.0, np.inf, np.nan, at_or_above
    upper = np.inf if two.upper is None else two.upper
    return detected, two.lower or 0.0, upper, np.nan if two.median is None else two.median, at_or_above


def by_oracle(case: Case, points: Mapping[str, BatchPoints], portions: Sequence[SamplePortion]) -> tuple[float, ...]:
    """Detected where the likelihood root leaves 0 out, one-sided at .05. Duds are hidden from the oracle too."""
    each = [log_likelihood(case.truth, points[one.batch], [one], case.protocol) for one in portions]
    log_l = np.sum(each, axis=0)
    ends = intervals(log_l).root
    detected = np.sqrt(2.0 * max(0.0, float(np.max(log_l) - log_l[0]))) > 1.645
    return float(detected), ends.lower, ends.upper, np.nan, np.nan


def instead(past: Season) -> dict[str, SaturatingCurve]:
    """What a chemist would do: curves by least squares."""
    new = past.new[0].name
    return {
        "pooled curve": pooled_curve(past.lived),
        "curve per batch": batch_curves(past.lived, pooled_sd=True)[new],
        "curve by charge": charge_scaled_curve(past.lived),
    }


def by_curve(curve: SaturatingCurve, portion: SamplePortion) -> tuple[float, ...]:
    read = curve.read(portion.signal, 0.95, portion.covariate) if curve.charge else curve.read(portion.signal, 0.95)
    detected = float(read.p_blank is not None and read.p_blank <= ALPHA)
    upper = np.inf if read.upper is None else read.upper
    return detected, read.lower or 0.0, upper, np.nan if read.estimate is None else read.estimate, np.nan


@dataclass(frozen=True, slots=True)
class Figures:
    """What one way of reading gave in one case; (value, standard error) or a value.

    worst : lowest coverage of a level, and that level; error : median |ln(best/true)| from .5 ug/L up; open : share of
    intervals without an upper end at 2 ug/L; above : share of "at or above" at 8 ug/L.
    """

    case: str
    who: str
    histories: int
    failed: int
    blank: tuple[float, float]
    power: tuple[tuple[float, float], ...]
    coverage: tuple[float, float]
    worst: tuple[float, float, float]
    error: float
    fold: float
    above: tuple[float, float]


def figures(case: str, who: str, made: Sequence[Answers], failed: int) -> Figures:
    """Over all histories of a case."""

    def each(level: float, column: int) -> list[FloatArray]:
        return [one[who][level][:, column] for one in made]

    def held(level: float) -> list[FloatArray]:
        return [((rows[:, 1] <= level) & (level <= rows[:, 2])).astype(float) for rows in (o[who][level] for o in made)]

    cover = {level: clustered(held(level)) for level in LEVELS}
    low = min(cover, key=lambda level: cover[level][0])
    pooled = [np.concatenate([held(level)[i] for level in LEVELS]) for i in range(len(made))]
    best = np.concatenate([np.log(np.maximum(part, 1e-9) / c) for c in LEVELS if c >= 0.5 for part in each(c, 3)])
    ends = np.concatenate([one[who][2.0] for one in made])
    fold = np.divide(ends[:, 2], ends[:, 1], out=np.full(len(ends), np.inf), where=ends[:, 1] > 0)
    best = np.abs(best[np.isfinite(best)])
    return Figures(
        case,
        who,
        len(made),
        failed,
        clustered(each(0.0, 0)),
        tuple(clustered(each(level, 0)) for level in POWER_AT),
        clustered(pooled),
        (*cover[low], low),
        float(np.median(best)) if best.size else float("nan"),
        float(np.median(fold)),
        clustered(each(8.0, 4)),
    )


def study(name: str, arguments: argparse.Namespace, pool: ProcessPoolExecutor) -> list[Figures]:
    """All ways of reading in one case."""
    tasks = [Task(name, (arguments.seed, i), arguments.samples) for i in range(arguments.histories)]
    made = list(pool.map(one_history, tasks))
    good = [one for one in made if one is not None]
    if len(good) < 2:
        print(f"{name}: {len(made) - len(good)} of {len(made)} calibrations failed a gate")
        return []
    found = [figures(name, who, good, len(made) - len(good)) for who in good[0]]
    for one in found:
        print(told(one), flush=True)
    return found


def kept(path: Path | None) -> list[Figures]:
    """The cases that an earlier run has done."""
    if path is None or not path.exists():
        return []
    pairs = ("blank", "coverage", "worst", "above")
    rows = json.loads(path.read_text(encoding="utf-8"))
    return [
        Figures(**{**row, "power": tuple(map(tuple, row["power"])), **{name: tuple(row[name]) for name in pairs}})
        for row in rows
    ]


def told(one: Figures) -> str:
    """One line of plain text."""
    power = "  ".join(f"{rate:.3f} ({error:.3f})" for rate, error in one.power)
    return (
        f"{one.case:<14}{one.who:<16}blank {one.blank[0]:.3f} ({one.blank[1]:.3f})  power {power}  holds "
        f"{one.coverage[0]:.3f} ({one.coverage[1]:.3f}), least {one.worst[0]:.3f} ({one.worst[1]:.3f}) at "
        f"{one.worst[2]:g}  |ln| {one.error:.2f}  fold {one.fold:.3g}  above {one.above[0]:.2f}  failed {one.failed}"
    )


def main() -> int:
    """Exit status 0 when every case of the model's own world keeps .95 within .025 + 2 SE."""
    parser = argparse.ArgumentParser(description="Blank rate, power, coverage, error and fold, case by case.")
    parser.add_argument("--histories", type=int, default=16)
    parser.add_argument("--samples", type=int, default=4, help="at each level, in each history")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--case", choices=CASES, nargs="+", default=list(CASES))
    parser.add_argument("--processes", type=int, default=2)
    parser.add_argument("--quick", action="store_true", help="three histories, two samples")
    parser.add_argument("--keep", type=Path, help="file of the cases that are done; they are not run again")
    parser.add_argument("--write", type=Path, help="folder of accuracy.md and its pictures")
    parser.add_argument("--worlds", type=Path, nargs="*", default=[], help="what second_half.py printed")
    arguments = parser.parse_args()
    if arguments.quick:
        arguments.histories, arguments.samples = 3, 2
    os.environ["OMP_NUM_THREADS"] = os.environ["OPENBLAS_NUM_THREADS"] = "1"
    start, found = time.perf_counter(), kept(arguments.keep)
    with ProcessPoolExecutor(arguments.processes, mp_context=get_context("spawn")) as pool:
        for name in arguments.case:
            if any(one.case == name for one in found):
                continue
            found += study(name, arguments, pool)
            if arguments.keep:
                arguments.keep.write_text(json.dumps([asdict(one) for one in found]), encoding="utf-8")
    size = f"{arguments.histories} histories x {arguments.samples} samples a level, seed {arguments.seed}"
    print(f"{size}; {time.perf_counter() - start:.0f} s")
    if arguments.write:
        write_page(arguments.write, found, {name: CASES[name].what for name in CASES}, size, arguments.worlds)
    own = [one for one in found if one.who == "Brinemark" and "duds" not in one.case]
    return 0 if all(abs(one.coverage[0] - 0.95) <= 0.025 + 2 * one.coverage[1] for one in own) else 1


if __name__ == "__main__":
    sys.exit(main())
