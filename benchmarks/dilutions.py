"""Planned dilutions one after another beside fixed ladders: electrodes until the interval spans a factor of 3.

    python benchmarks/dilutions.py [--histories 4] [--past 12] [--batches 4] [--seed 1] [--processes 2] [--levels 2 20]
                                    [--ways risen spiked "read once"] [--lived risen]

One history: batches of six electrodes, of which in the last three a blank and two standards went through pre-scan, main
reading, an addition of 2 ug/L and closing spike (--lived spiked: without the addition); new batches with three
electrodes burned at 0, 2, 8 in the same way, which join at reading.
Of every new batch one sample of each level is read until its two-sided 95 % interval spans a factor of at most 3, with
at most MOST electrodes: at the dilution that tells most by what was read so far ("planned"), or at 1, 10, 100, 1, ...
times ("ladder"). The n-th electrode of a sample has the same own numbers whatever is done with it, and each dilution
has an error of its own. "Oracle" are the intervals of one who knows the population and the batch, on the same
electrodes: where his likelihood root stays within 1.96. Standard errors are clustered by history.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from multiprocessing import get_context

import numpy as np
from lives import Reader, Season, season
from oracle import Interval, oracle

from brinemark.science.amount.one_more import Known
from brinemark.science.amount.simulate import (
    PRESCAN_AND_SPIKE,
    RISING,
    WITH_PRESCAN,
    Protocol,
    TrueBatch,
    Truth,
    simulate_sample,
)
from brinemark.science.planning.dilution import DILUTIONS, READ_ONCE, RISEN, SPIKED, Choice, Planner, spike_rise, used
from brinemark.terms.amounts import OtherDip, SamplePortion
from brinemark.terms.settings import DecisionSection

LEVELS = (2.0, 5.0, 10.0, 20.0, 50.0, 100.0, 200.0, 500.0)
LADDER = (1.0, 10.0, 100.0)
FOLD, MOST, AFTER, WANTED = 3.0, 6, 3, 3.0
REL_U = 0.01  # of a dilution by pipette and flask
RISE = 2.0  # of the addition before the closing spike, about K
WAYS = {"risen": (RISEN, RISING), "spiked": (SPIKED, PRESCAN_AND_SPIKE), "read once": (READ_ONCE, WITH_PRESCAN)}
LIVED = {"risen": RISING, "spiked": PRESCAN_AND_SPIKE}
TRUTH = Truth()


@dataclass(frozen=True, slots=True)
class Case:
    """One sample read in one way: electrodes until the interval spans FOLD, MOST + 1 where it never did; the same for
    the oracle; fold after AFTER electrodes, or when it stopped before; whether the last interval holds the level, and
    whether the oracle's does."""

    history: int
    way: str
    level: float
    count: int
    oracle: int
    fold: float
    holds: bool
    oracle_holds: bool
    dilutions: tuple[float, ...]


def choices_of(reader: Reader, batch: TrueBatch, way: str) -> list[Choice]:
    """A fresh electrode of a batch with its pre-scan, at every practical dilution."""
    rise = spike_rise(reader.calibration) or 0.0
    rises = {READ_ONCE: (), SPIKED: (rise,), RISEN: (RISE, rise)}[way]
    before = (OtherDip(-1, 0.0, 0.0, 0.0, 0.0),)
    covariate = reader.calibration.covariate_ref
    made = (SamplePortion("new", batch.name, "bench", covariate, 0.0, 0.0, d, others=before) for d in DILUTIONS)
    return [Choice(way, used(one, rises), 0.0 if one.dilution == 1.0 else REL_U) for one in made]


def next_dilution(reader: Reader, portions: Sequence[SamplePortion], choices: Sequence[Choice]) -> float:
    known = Known(portions, reader.calibration, reader.readings, DecisionSection(), reader.memory)
    return choices[Planner.of(known, choices).next().best].dilution


def sample_read(reader: Reader, batch: TrueBatch, level: float, how: tuple[str, str], seed: Sequence[int]) -> Case:
    """One sample read one electrode after another. how : "planned" or "ladder", and a name of WAYS."""
    planned, (way, protocol) = how[0] == "planned", WAYS[how[1]]
    choices = choices_of(reader, batch, way)
    portions: list[SamplePortion] = []
    folds: list[float] = []
    oracles: list[Interval] = []
    holds = False
    while len(portions) < MOST and not (folds and folds[-1] <= FOLD):
        number = len(portions)
        dilution = next_dilution(reader, portions, choices) if planned else LADDER[number % len(LADDER)]
        portions.append(read_electrode(batch, level, dilution, protocol, [*seed, number]))
        ends = reader.interval(portions)
        folds.append(ends.fold if ends.upper <= reader.calibration.highest_level * span(portions) else np.inf)
        holds = ends.lower <= level <= ends.upper
        oracles.append(oracle(TRUTH, batch, portions, protocol).root)
    count = len(folds) if folds[-1] <= FOLD else MOST + 1
    best = next((n for n, one in enumerate(oracles, 1) if one.fold <= FOLD), MOST + 1)
    told = oracles[-1].lower <= level <= oracles[-1].upper
    used_dilutions = tuple(portion.dilution for portion in portions)
    return Case(seed[1], " ".join(how), level, count, best, folds[:AFTER][-1], holds, told, used_dilutions)


def span(portions: Sequence[SamplePortion]) -> float:
    return max(portion.dilution for portion in portions)


def read_electrode(
    batch: TrueBatch, level: float, dilution: float, protocol: Protocol, seed: Sequence[int]
) -> SamplePortion:
    """A fresh electrode, its own numbers by the seed alone, in a dilution that is not quite what it is called."""
    rng = np.random.default_rng(list(seed))
    error = REL_U * rng.normal() if dilution > 1.0 else 0.0
    (portion,) = simulate_sample(TRUTH, [batch], level * float(np.exp(error)), protocol, rng, [dilution])
    return portion


@dataclass(frozen=True, slots=True)
class Task:
    """One history: its seed, number, batches of history, new batches, levels, names of WAYS, and one of LIVED."""

    seed: int
    number: int
    past: int
    new: int
    levels: tuple[float, ...]
    ways: tuple[str, ...]
    lived: str


def study(task: Task) -> list[Case]:
    """Every sample of one history in every way."""
    seed, number, protocol = task.seed, task.number, LIVED[task.lived]
    rng = np.random.default_rng([seed, number])
    made: Season = season(TRUTH, (task.past, task.new), protocol, protocol, rng)
    reader = Reader.of(made.lived, seed)
    ways = [(plan, way) for way in task.ways for plan in ("planned", "ladder")]
    return [
        sample_read(reader, batch, level, how, [seed, number, place, int(level)])
        for place, batch in enumerate(made.new)
        for level in task.levels
        for how in ways
    ]


def clustered(cases: Sequence[Case], values: Sequence[float]) -> tuple[float, float]:
    """Mean, and its standard error over histories."""
    by_history = {one.history for one in cases}
    means = [np.mean([v for one, v in zip(cases, values, strict=True) if one.history == h]) for h in by_history]
    error = np.std(means, ddof=1) / np.sqrt(len(means)) if len(means) > 1 else np.nan
    return float(np.mean(values)), float(error)


def print_way(way: str, cases: Sequence[Case], levels: Sequence[float]) -> None:
    """One table."""
    head = ("electrodes", "oracle", "in 3", "fold in 3", "holds", "oracle")
    widths = (12, 8, 6, 10, 6, 6)
    columns = " ".join(f"{name:>{width}}" for name, width in zip(head, widths, strict=True))
    print(f"\n{way}\n{'ug/L':>6} {columns}  first two")
    for level in (*levels, None):
        mine = [one for one in cases if level in (None, one.level)]
        count, best = (float(np.median([getattr(one, name) for one in mine])) for name in ("count", "oracle"))
        in_three, _ = clustered(mine, [one.count <= AFTER for one in mine])
        holds, error = clustered(mine, [one.holds for one in mine])
        firsts = [one.dilutions[:2] for one in mine]
        usual = max(sorted(set(firsts)), key=firsts.count)
        name = "all" if level is None else f"{level:g}"
        fold = float(np.median([one.fold for one in mine]))
        told, _ = clustered(mine, [one.oracle_holds for one in mine])
        tail = f"{holds:6.3f} {told:6.3f}  {usual}" + (f"  SE of holds {error:.3f}" if level is None else "")
        print(f"{name:>6} {count:12g} {best:8g} {in_three:6.2f} {fold:10.2f} {tail}")


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--histories", type=int, default=4)
    parser.add_argument("--past", type=int, default=12)
    parser.add_argument("--batches", type=int, default=4)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--processes", type=int, default=2)
    parser.add_argument("--levels", type=float, nargs="+", default=LEVELS)
    parser.add_argument("--ways", nargs="+", choices=WAYS, default=list(WAYS))
    parser.add_argument("--lived", choices=LIVED, default="risen")
    given = parser.parse_args()
    shared = given.past, given.batches, tuple(given.levels), tuple(given.ways), given.lived
    tasks = [Task(given.seed, n, *shared) for n in range(given.histories)]
    cases: list[Case] = []
    with ProcessPoolExecutor(given.processes, get_context("spawn")) as pool:
        for found in pool.map(study, tasks):
            cases += found
    for way in dict.fromkeys(one.way for one in cases):
        print_way(way, [one for one in cases if one.way == way], given.levels)
    planned = [one for one in cases if one.way == f"planned {given.ways[0]}"]
    over_all = float(np.median([one.count for one in planned]))
    each = {level: float(np.median([one.count for one in planned if one.level == level])) for level in given.levels}
    late = [f"{level:g}" for level, count in each.items() if count > WANTED]
    print(f"\nwanted: planned, {given.ways[0]}, a factor of {FOLD:g} is reached with a median of {WANTED:g} electrodes")
    print(f"over all levels: {over_all:g}, {'met' if over_all <= WANTED else 'MISSED'}")
    print(f"at each level: {'MISSED at ' + ', '.join(late) + ' ug/L' if late else 'met'}")
    return 0 if over_all <= WANTED and not late else 1


if __name__ == "__main__":
    sys.exit(main())
