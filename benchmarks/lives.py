"""How narrow an interval gets when one electrode is read several times in its life, on simulated electrodes.

    python benchmarks/lives.py [--histories 12] [--batches 4] [--samples 3] [--seed 1] [--world still drifting]
                               [--study life ladder] [--siblings lived] [--processes 2] [--quick] [--losses]

One history: 25 batches of six electrodes at 0, 0, .5, 1, 2, 8 ug/L, of which in the last three batches a blank and the
standards at 2 and 8 went through pre-scan, main reading and closing spike (nine electrodes); new batches with three
electrodes burned at 0, 2, 8, which join at reading. Then samples on fresh electrodes of a new batch: one electrode with
pre-scan and spike, or three at 1, 10 and 100 times dilution. "Without" are the same electrodes and the same draws,
calibrated and read as if nothing but main readings had been taken. Folds are upper over lower end of the two-sided 95 %
interval, whatever the statement. Standard errors and the spread of medians are clustered by history.
"""

from __future__ import annotations

import argparse
import os
import sys
import time
from collections.abc import Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field, replace
from multiprocessing import get_context

import numpy as np
from numpy.random import Generator
from oracle import BatchPoints, Interval, intervals, known, learned, log_likelihood, with_true_population
from worlds import BURNED_LEVELS, HISTORY_LEVELS, NEW_BATCH

from brinemark.science.amount.calibration import calibrate
from brinemark.science.amount.compiled import load
from brinemark.science.amount.predictive import DrawMemory, subset
from brinemark.science.amount.reading import read_sample
from brinemark.science.amount.simulate import (
    LADDER,
    PRESCAN_AND_SPIKE,
    SINGLE,
    Protocol,
    TrueBatch,
    Truth,
    draw_batches,
    main_portions,
    main_readings,
    simulate_history,
    simulate_sample,
)
from brinemark.terms.amounts import Calibration, ElectrodeReadings, Reading, SamplePortion
from brinemark.terms.arrays import FloatArray
from brinemark.terms.errors import GateFailed
from brinemark.terms.settings import AnalyteSection, CalibrationSection, DecisionSection, PriorSection

BATCHES, LIVED_BATCHES = 25, 3
LIVED_LEVELS = (1, 4, 5)  # places in HISTORY_LEVELS: a blank, 2 and 8 ug/L
LIFE_LEVELS = (1.5, 2.0, 2.5)
LADDER_LEVELS = (8.0, 20.0, 50.0, 100.0, 150.0, 200.0)
WORLDS = {
    "still": ("no drift, floors alike", Truth()),
    "drifting": ("floor scatter .2, spike drifts by -5 % +- 8 %", Truth(floor_sd=0.2, drift=-0.05, drift_sd=0.08)),
    "restless": (
        "the same, and the pre-scan lies +- 8 % off too",
        Truth(floor_sd=0.2, drift=-0.05, drift_sd=0.08, prescan_sd=0.08),
    ),
}
FOLD_WANTED = {"still": 3.2, "drifting": 5.0}
SHARE_WANTED, LADDER_WANTED, SPIKED_LADDER_WANTED, ORACLE_WANTED = 0.4, 8.0, 4.0, 1.6
BOUNDED_BELOW = 100.0  # up to here the ladder's fold is judged alone, beyond it against the oracle
Ends = Mapping[tuple[str, float], FloatArray]


@dataclass(frozen=True, slots=True)
class Task:
    """One history to simulate; siblings : whether the new batch's electrodes went through the protocol as well."""

    world: str
    seed: tuple[int, int]
    batches: int
    samples: int
    studies: tuple[str, ...]
    lived_siblings: bool
    losses: bool
    same_water: bool


@dataclass(frozen=True, slots=True, eq=False)
class Season:
    """Calibration electrodes as they lived, the new batches' true numbers, and the truth all come from."""

    truth: Truth
    new: tuple[TrueBatch, ...]
    lived: ElectrodeReadings


@dataclass(frozen=True, slots=True, eq=False)
class Outcome:
    """ends[kind, level] : (n, 2) lower and upper ends, 0 and inf where open; seconds of calibrating and of reading."""

    ends: Ends
    calibrating: float
    reading: float
    sentences: tuple[str, ...]


def season(truth: Truth, batches: tuple[int, int], protocol: Protocol, siblings: Protocol, rng: Generator) -> Season:
    """Batches of history, the last three of which took some standards through the protocol, and new batches."""
    past, new = batches
    names = [*(f"B{i}" for i in range(past)), *(f"{NEW_BATCH}{i}" for i in range(new))]
    drawn = draw_batches(truth, names, rng)
    levels = [np.array(HISTORY_LEVELS)] * past + [np.array(BURNED_LEVELS)] * new
    plain = [SINGLE] * len(HISTORY_LEVELS)
    lived = [protocol if i in LIVED_LEVELS else SINGLE for i in range(len(HISTORY_LEVELS))]
    burned = [siblings] * len(BURNED_LEVELS)
    plans = [plain] * (past - LIVED_BATCHES) + [lived] * LIVED_BATCHES + [burned] * new
    return Season(truth, drawn[past:], simulate_history(truth, drawn, levels, rng, plans))


@dataclass(frozen=True, slots=True, eq=False)
class Reader:
    """The program with one calibration."""

    calibration: Calibration
    readings: ElectrodeReadings
    seed: int
    memory: DrawMemory = field(default_factory=DrawMemory)

    @classmethod
    def of(cls, readings: ElectrodeReadings, seed: int, prior: PriorSection = PriorSection()) -> Reader:  # noqa: B008
        """Calibrated on the history; readings : the new batches' electrodes too, which join at reading."""
        past = subset(readings, np.array([not name.startswith(NEW_BATCH) for name in readings.batch]))
        made = calibrate(past, AnalyteSection(), prior, CalibrationSection(seed=seed))
        return cls(made, readings, seed)

    def read(self, portions: Sequence[SamplePortion]) -> Reading:
        return read_sample(portions, self.calibration, self.readings, DecisionSection(), self.seed, self.memory)

    def interval(self, portions: Sequence[SamplePortion]) -> Interval:
        """The two-sided interval whatever the statement; open on both sides where there is none."""
        two = self.read(portions).two_sided
        if two is None:
            return Interval(0.0, np.inf)
        return Interval(two.lower or 0.0, np.inf if two.upper is None else two.upper)


def one_history(task: Task) -> Outcome | None:
    """Simulate, calibrate twice and read; None when a numerical gate of a calibration failed."""
    load()
    rng = np.random.default_rng(task.seed)
    siblings = PRESCAN_AND_SPIKE if task.lived_siblings else SINGLE
    past = season(WORLDS[task.world][1], (BATCHES, task.batches), PRESCAN_AND_SPIKE, siblings, rng)
    samples = {c: _samples(task, past, c, rng) for c in levels_of(task.studies)}
    start = time.perf_counter()
    try:
        prior = PriorSection(matrix_K_sd=0.0) if task.same_water else PriorSection()
        with_lives = Reader.of(past.lived, task.seed[1], prior)
        without = Reader.of(main_readings(past.lived), task.seed[1], prior)
    except GateFailed as failed:
        print(f"history {task.seed}: {failed}", file=sys.stderr)
        return None
    calibrated = time.perf_counter()
    ends: dict[tuple[str, float], FloatArray] = dict(oracle_ends(past, samples))
    for level, made in samples.items():
        ends["with", level] = np.array([with_lives.interval(one) for one in made])
        ends["without", level] = np.array([without.interval(main_portions(one)) for one in made])
    seconds = calibrated - start, time.perf_counter() - calibrated
    if task.losses:
        ends |= losses(past, samples)
        told = with_true_population(with_lives.calibration, past.truth)
        knowing = replace(with_lives, calibration=told, memory=DrawMemory())
        for level, made in samples.items():
            ends["population known, with", level] = np.array([knowing.interval(one) for one in made])
    _show_progress(task, seconds)
    return Outcome(ends, *seconds, with_lives.calibration.weaknesses)


def levels_of(studies: Sequence[str]) -> tuple[float, ...]:
    """All levels of the studies; those of the two do not meet."""
    return (LIFE_LEVELS if "life" in studies else ()) + (LADDER_LEVELS if "ladder" in studies else ())


def _samples(task: Task, past: Season, level: float, rng: Generator) -> list[tuple[SamplePortion, ...]]:
    """Samples of one level, the same number in every new batch."""
    dilutions = LADDER if level in LADDER_LEVELS else (1.0,)
    return [
        simulate_sample(past.truth, [batch] * len(dilutions), level, PRESCAN_AND_SPIKE, rng, dilutions)
        for batch in past.new
        for _ in range(task.samples)
    ]


def _show_progress(task: Task, seconds: tuple[float, float]) -> None:
    calibrating, reading = seconds
    print(
        f"  {task.world} {task.seed[1]}: two calibrations {calibrating:.1f} s, reading {reading:.1f} s", file=sys.stderr
    )


Samples = Mapping[float, Sequence[tuple[SamplePortion, ...]]]


def oracle_ends(past: Season, samples: Samples) -> Ends:
    """Ends of one who knows population and batch, credible and by the likelihood root."""
    points = {batch.name: known(batch) for batch in past.new}
    return _exact_ends(past.truth, samples, (points, points), "oracle")


def losses(past: Season, samples: Samples) -> Ends:
    """Ends of one who knows the population but learns the batch from its burned electrodes: what the batch costs."""
    kinds = past.lived, main_readings(past.lived)
    points = [
        {batch.name: learned(past.truth, batch, readings, PRESCAN_AND_SPIKE) for batch in past.new}
        for readings in kinds
    ]
    return _exact_ends(past.truth, samples, (points[0], points[1]), "batch learned")


Points = Mapping[str, BatchPoints]


def _exact_ends(truth: Truth, samples: Samples, points: tuple[Points, Points], who: str) -> Ends:
    """Exact intervals with and without what is read beside the main reading."""
    ends: dict[tuple[str, float], FloatArray] = {}
    for level, made in samples.items():
        cut = [main_portions(one) for one in made]
        for told, at, read in (("with", points[0], made), ("without", points[1], cut)):
            found = [intervals(log_likelihood(truth, at[one[0].batch], one, PRESCAN_AND_SPIKE)) for one in read]
            ends[f"{who}, {told}", level] = np.array([both.credible for both in found])
            ends[f"{who}, {told}, root", level] = np.array([both.root for both in found])
    return ends


def joined(outcomes: Sequence[Outcome], kind: str, level: float) -> list[FloatArray]:
    """One array (n, 2) per history."""
    return [outcome.ends[kind, level] for outcome in outcomes]


def folds(parts: Sequence[FloatArray]) -> FloatArray:
    """Upper over lower end of all samples; inf where either is open."""
    ends = np.concatenate(parts)
    return np.asarray(np.divide(ends[:, 1], ends[:, 0], out=np.full(len(ends), np.inf), where=ends[:, 0] > 0))


def median_fold(parts: Sequence[FloatArray]) -> tuple[float, float]:
    """Median fold, and its standard error by redrawing histories."""
    rng = np.random.default_rng(0)
    middle = float(np.median(folds(parts)))
    redrawn = [np.median(folds([parts[i] for i in rng.integers(0, len(parts), len(parts))])) for _ in range(200)]
    return middle, float(np.std(redrawn)) if np.isfinite(redrawn).all() else float("nan")


def coverage(parts: Sequence[FloatArray], level: float) -> tuple[float, float]:
    """Share of intervals that hold the level, and its standard error clustered by history."""
    means = np.array([np.mean((part[:, 0] <= level) & (level <= part[:, 1])) for part in parts])
    return float(means.mean()), float(means.std(ddof=1) / np.sqrt(means.size)) if means.size > 1 else float("nan")


def told_fold(parts: Sequence[FloatArray]) -> str:
    middle, error = median_fold(parts)
    return f"{middle:.2f} ({error:.2f})" if np.isfinite(middle) else "infinite"


def table(title: str, rows: Mapping[str, Sequence[str]], head: Sequence[str]) -> str:
    """Fixed-width text."""
    lines = [f"{title:<34}" + "".join(f"{name:>15}" for name in head)]
    return "\n".join(
        lines + [f"  {name:<32}" + "".join(f"{cell:>15}" for cell in cells) for name, cells in rows.items()]
    )


def print_tables(outcomes: Sequence[Outcome], levels: Sequence[float]) -> None:
    """Median folds and coverage of every kind of reader."""
    head = [f"{level:g} ug/L" for level in levels]
    kinds = list(dict.fromkeys(kind for kind, _ in outcomes[0].ends))
    shown = {kind: [told_fold(joined(outcomes, kind, c)) for c in levels] for kind in kinds}
    print(table("median fold (SE)", shown, head) + "\n")
    held = {}
    for kind in kinds:
        rates = [coverage(joined(outcomes, kind, c), c) for c in levels]
        held[kind] = [f"{rate:.3f} ({error:.3f})" for rate, error in rates]
    print(table("interval holds the level (SE)", held, head) + "\n")


def verdict(good: bool, sentence: str) -> bool:
    """Print one target and whether it is met."""
    print(f"{'PASS' if good else 'miss':<6}{sentence}")
    return good


def judge_life(world: str, outcomes: Sequence[Outcome]) -> bool:
    """One electrode with pre-scan and spike against the same without; a world without a target is shown only."""
    met, wanted = True, FOLD_WANTED.get(world)
    for level in LIFE_LEVELS:
        fold = median_fold(joined(outcomes, "with", level))[0]
        bare = median_fold(joined(outcomes, "without", level))[0]
        told = f"{bare:.3g}, share {fold / bare:.2f}" if np.isfinite(bare) else "infinite"
        sentence = f"{level:g} ug/L: fold {fold:.2f}, without {told}"
        if wanted is None:
            print(f"      {sentence}")
        else:
            good = fold <= wanted and (not np.isfinite(bare) or fold <= SHARE_WANTED * bare)
            met &= verdict(good, f"{sentence}; wanted {wanted:g} and {SHARE_WANTED:g} x without")
    return met


def judge_ladder(outcomes: Sequence[Outcome]) -> bool:
    """Three dilutions: single readings against a bound or the oracle, with spikes against a bound."""
    met = True
    for level in LADDER_LEVELS:
        fold = median_fold(joined(outcomes, "without", level))[0]
        best = median_fold(joined(outcomes, "oracle, without", level))[0]
        root = median_fold(joined(outcomes, "oracle, without, root", level))[0]
        bound = LADDER_WANTED if level <= BOUNDED_BELOW else ORACLE_WANTED * best
        sentence = f"ladder at {level:g} ug/L: fold {fold:.2f}, {fold / best:.2f} x the oracle ({fold / root:.2f} x "
        met &= verdict(fold <= bound, f"{sentence}its likelihood root); wanted {bound:.2f}")
        spiked = median_fold(joined(outcomes, "with", level))[0]
        sentence = f"  with pre-scans and spikes: fold {spiked:.2f}; wanted {SPIKED_LADDER_WANTED:g}"
        met &= verdict(spiked <= SPIKED_LADDER_WANTED, sentence)
    return met


def run(world: str, seed: int, arguments: argparse.Namespace) -> bool:
    """One world with one seed; True when everything wanted is met."""
    start = time.perf_counter()
    asked = arguments.batches, arguments.samples, tuple(arguments.study), arguments.siblings == "lived"
    tasks = [Task(world, (seed, i), *asked, arguments.losses, arguments.same_water) for i in range(arguments.histories)]
    if arguments.processes > 1:
        with ProcessPoolExecutor(arguments.processes, mp_context=get_context("spawn")) as pool:
            made = list(pool.map(one_history, tasks))
    else:
        made = [one_history(task) for task in tasks]
    outcomes = [one for one in made if one is not None]
    size = f"{len(made)} histories x {arguments.batches} new batches x {arguments.samples} samples"
    print(f"\n== {world}: {WORLDS[world][0]}; seed {seed}, {size} a level")
    water = "the standards' own water" if arguments.same_water else "any water"
    print(
        f"   siblings {arguments.siblings}; samples in {water}; {len(made) - len(outcomes)} histories failed a gate\n"
    )
    if not outcomes:
        return False
    met = _report(world, outcomes, arguments.study) and len(outcomes) == len(made)
    each = np.mean([(one.calibrating, one.reading) for one in outcomes], axis=0)
    whole = time.perf_counter() - start
    print(f"{whole:.0f} s in all; a history: two calibrations {each[0]:.1f} s, reads {each[1]:.1f} s")
    return met


def _report(world: str, outcomes: Sequence[Outcome], studies: Sequence[str]) -> bool:
    met = []
    if "life" in studies:
        print_tables(outcomes, LIFE_LEVELS)
        met.append(judge_life(world, outcomes))
        print()
    if "ladder" in studies:
        print_tables(outcomes, LADDER_LEVELS)
        met.append(judge_ladder(outcomes))
    counts: dict[str, int] = {}
    for sentence in (s for one in outcomes for s in one.sentences):
        counts[sentence] = counts.get(sentence, 0) + 1
    for sentence, count in counts.items():
        print(f"  {count} of {len(outcomes)} calibrations say: {sentence}")
    return all(met)


def main() -> int:
    """Exit status 0 when everything wanted is met."""
    parser = argparse.ArgumentParser(description="Several readings in one electrode's life, on known truth.")
    parser.add_argument("--histories", type=int, default=12)
    parser.add_argument("--samples", type=int, default=3, help="at each level, in each new batch")
    parser.add_argument("--batches", type=int, default=4, help="new batches, in each history")
    parser.add_argument("--seed", type=int, nargs="+", default=[1], help="one study for each")
    parser.add_argument("--world", choices=WORLDS, nargs="+", default=["still", "drifting"])
    parser.add_argument("--study", choices=["life", "ladder"], nargs="+", default=["life", "ladder"])
    parser.add_argument("--siblings", choices=["single", "lived"], default="lived", help="of the sample's batch")
    parser.add_argument("--same-water", action="store_true", help="samples known to be in the standards' own seawater")
    parser.add_argument("--processes", type=int, default=2)
    parser.add_argument("--quick", action="store_true", help="three histories with two samples a level in two batches")
    parser.add_argument(
        "--losses",
        action="store_true",
        help="also those who know the population, by the program's statistic and exactly",
    )
    arguments = parser.parse_args()
    if arguments.quick:
        arguments.histories, arguments.batches, arguments.samples = 3, 2, 2
    os.environ["OMP_NUM_THREADS"] = os.environ["OPENBLAS_NUM_THREADS"] = "1"
    met = [run(world, seed, arguments) for world in arguments.world for seed in arguments.seed]
    return 0 if all(met) else 1


if __name__ == "__main__":
    sys.exit(main())
