"""One logbook of the accuracy study, read by the program, by those who know more and by what a chemist would do."""

from __future__ import annotations

import sys
import time
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from unittest.mock import patch

import numpy as np
from accuracy_cases import LOGBOOKS, WATERS, Case, Samples, cases_of, samples_of, simulate
from accuracy_waters import water_readers
from lives import Reader, Season
from oracle import BatchPoints, best_level, intervals, known, learned, log_likelihood, lone_tails

from brinemark.science.amount.classical import SaturatingCurve, batch_curves, charge_scaled_curve, pooled_curve
from brinemark.science.amount.compiled import load
from brinemark.science.amount.predictive import DrawMemory, subset
from brinemark.science.amount.simulate import SINGLE, Protocol, Truth
from brinemark.terms.amounts import SamplePortion
from brinemark.terms.arrays import FloatArray
from brinemark.terms.errors import GateFailed
from brinemark.terms.settings import PriorSection

US, LIMIT, LEARNED, SAME_WATER, ALIKE, FLOORS, COMPONENT = (
    "Brinemark",
    "oracle",
    "batch learned",
    "same water",
    "K alike",
    "floors alike",
    "with component",
)
WATERS_KNOWN = {count: f"{count} waters measured" for count in WATERS}
WATER_STREAM = 1  # of random numbers, so that samples are the same with and without waters
ALPHA, ONE_SIDED = 0.05, 1.645
STATEMENTS = ("cannot say", "not detected", "at or above", "quantified", "detected, amount uncertain")
NO_STATEMENT, CANNOT_SAY, AT_OR_ABOVE = -1, 0, 2
BRIEF_AT = (0.5, 1.0, 1.5, 2.0, 2.5)  # levels that ways of reading which only explain are asked at

NEXT_TO_NOTHING = (float(np.log(0.003)), 0.1)
PRIORS = {
    COMPONENT: PriorSection(defects=True),
    ALIKE: PriorSection(matrix_K_sd=0.0),
    FLOORS: PriorSection(ln_floor_sd=NEXT_TO_NOTHING, ln_floor_batch_sd=NEXT_TO_NOTHING),
}

# detected, lower, upper (0 and inf where open), best (nan where none), place in STATEMENTS
Row = tuple[float, float, float, float, float]
Answers = Mapping[str, list[Row]]  # by level, as text


@dataclass(frozen=True, slots=True)
class Task:
    """Which logbook, and which of its histories."""

    logbook: str
    seed: int
    number: int


@dataclass(frozen=True, slots=True)
class Done:
    """One history : case -> who -> level -> rows; failed : who -> which gate failed; scatter : who has learned from
    waters -> how many of these told, and the middle of the scatter of ln K between waters."""

    logbook: str
    seed: int
    number: int
    seconds: float
    failed: Mapping[str, str]
    answers: Mapping[str, Mapping[str, Answers]]
    scatter: Mapping[str, tuple[float, float]] = field(default_factory=dict)


def one_history(task: Task, compiled: bool = True) -> Done:
    """Simulate, calibrate as often as the logbook asks for, and read every case."""
    if compiled:
        load()
    start = time.perf_counter()
    rng = np.random.default_rng([task.seed, task.number])
    seasons = simulate(task.logbook, rng)
    asked = {name: samples_of(case, seasons[name], rng) for name, case in cases_of(task.logbook).items()}
    readers, failed = _readers(task, seasons)
    answers: dict[str, dict[str, Answers]] = {}
    for name, case in cases_of(task.logbook).items():
        found = _by_program(readers, case, asked[name])
        answers[name] = found | _by_others(case, seasons[name], asked[name])
    waters = {who: one.calibration.water for who, one in readers.items()}
    scatter = {who: (float(one.waters), one.median) for who, one in waters.items() if one is not None}
    return Done(task.logbook, task.seed, task.number, time.perf_counter() - start, failed, answers, scatter)


def _readers(task: Task, seasons: Mapping[str, Season]) -> tuple[dict[str, Reader], dict[str, str]]:
    """The program's calibrations by who reads with them, and those of which a gate failed."""
    logbook, seed = LOGBOOKS[task.logbook], task.number
    readings = next(iter(seasons.values())).lived
    wanted = [US, *([COMPONENT] * logbook.defects), *([ALIKE] * logbook.alike), *([FLOORS] * logbook.floors)]
    readers, failed = {}, {}
    for who in wanted:
        prior = PRIORS.get(who, PriorSection())
        try:
            with own_K_known(who == ALIKE):
                readers[who] = Reader.of(readings, seed, prior)
        except GateFailed as gate:
            print(f"{task.logbook}, history {task.number}, {who}: {gate}", file=sys.stderr)
            failed[who] = str(gate)
    if US in readers:
        told = replace(readers[US].calibration, matrix_K_sd=0.0)
        readers[SAME_WATER] = replace(readers[US], calibration=told, memory=DrawMemory())
        rng = np.random.default_rng([task.seed, task.number, WATER_STREAM])
        season = next(iter(seasons.values()))
        after = water_readers(readers[US], season, logbook.waters, logbook.protocol, rng)
        readers |= {WATERS_KNOWN[count]: one for count, one in after.items()}
    return readers, failed


@contextmanager
def own_K_known(known_to_be_alike: bool) -> Iterator[None]:
    """The scatter of K between electrodes that the program holds until it is measured, set to next to nothing."""
    if known_to_be_alike:
        with patch("brinemark.science.amount.response.DEFAULT_ELECTRODE_K_SD", 1e-3):
            yield
    else:
        yield


def _by_program(readers: Mapping[str, Reader], case: Case, asked: Samples) -> dict[str, Answers]:
    """By each of the program's calibrations; those that only explain are asked at a few levels of some cases."""
    found: dict[str, Answers] = {}
    for who, reader in readers.items():
        brief = who in (SAME_WATER, ALIKE, *WATERS_KNOWN.values())
        if brief and not case.costs:
            continue
        at = {level: made for level, made in asked.items() if not brief or level in BRIEF_AT}
        with own_K_known(who == ALIKE):
            found[who] = {f"{level:g}": [by_reader(reader, one) for one in made] for level, made in at.items()}
    return found


def by_reader(reader: Reader, portions: Sequence[SamplePortion]) -> Row:
    """What the program says of one sample."""
    reading = reader.read(portions)
    two, found = reading.two_sided, reading.detection
    said = float(STATEMENTS.index(reading.statement))
    detected = np.nan if found is None else float(found.detected)
    if two is None:
        return detected, 0.0, np.inf, np.nan, said
    upper = np.inf if two.upper is None else two.upper
    return detected, two.lower or 0.0, upper, np.nan if two.median is None else two.median, said


def _by_others(case: Case, season: Season, asked: Samples) -> dict[str, Answers]:
    """By those who know the population, and by curves of least squares for lone readings."""
    protocol = LOGBOOKS[case.logbook].protocol
    points = {LIMIT: {batch.name: known(batch) for batch in season.new}}
    alike = season.truth.plateau == 1.0  # then it does not matter which of a sibling's readings is the closing spike
    if case.costs and (LOGBOOKS[case.logbook].siblings is None or alike):
        points[LEARNED] = {batch.name: learned(season.truth, batch, season.lived, protocol) for batch in season.new}
    found: dict[str, Answers] = {}
    for who, at in points.items():
        knower = Knower(season.truth, protocol, at)
        levels = [c for c in asked if who == LIMIT or c in BRIEF_AT]
        found[who] = {f"{c:g}": [knower.read(one) for one in asked[c]] for c in levels}
    if protocol == SINGLE and case.electrodes == 1 and case.burned and not case.dilutions:
        curves = [instead(season, batch.name) for batch in season.new]
        for who in curves[0]:
            by_batch = {batch.name: each[who] for batch, each in zip(season.new, curves, strict=True)}
            found[who] = {
                f"{c:g}": [by_curve(by_batch[one[0].batch], one[0]) for one in made] for c, made in asked.items()
            }
    return found


@dataclass(frozen=True, slots=True, eq=False)
class Knower:
    """One who knows the population, and of each batch so much.

    A lone reading by its exact tails; several by their likelihood root, detected where it leaves 0 out one-sided at
    .05.
    """

    truth: Truth
    protocol: Protocol
    points: Mapping[str, BatchPoints]

    def read(self, portions: Sequence[SamplePortion]) -> Row:
        if len(portions) == 1 and not portions[0].others:
            tails = lone_tails(self.truth, self.points[portions[0].batch], portions[0])
            return float(tails.p_blank <= ALPHA), tails.interval.lower, tails.interval.upper, tails.median, NO_STATEMENT
        log_l = self._log_likelihood(portions)
        ends = intervals(log_l).root
        detected = np.sqrt(2.0 * max(0.0, float(np.max(log_l) - log_l[0]))) > ONE_SIDED
        return float(detected), ends.lower, ends.upper, best_level(log_l), NO_STATEMENT

    def _log_likelihood(self, portions: Sequence[SamplePortion]) -> FloatArray:
        """Electrodes of one batch share what is not known of it."""
        batches = dict.fromkeys(one.batch for one in portions)
        parts = [
            log_likelihood(self.truth, self.points[name], [p for p in portions if p.batch == name], self.protocol)
            for name in batches
        ]
        return np.asarray(np.sum(parts, axis=0))


def instead(season: Season, batch: str) -> dict[str, SaturatingCurve]:
    """What a chemist would do: curves by least squares on the history and one new batch."""
    names = season.lived.batch
    keep = np.array([name == batch or name.startswith("B") for name in names], dtype=bool)
    mine = subset(season.lived, keep)
    return {
        "pooled curve": pooled_curve(mine),
        "curve per batch": batch_curves(mine, pooled_sd=True)[batch],
        "curve by charge": charge_scaled_curve(mine),
    }


def by_curve(curve: SaturatingCurve, portion: SamplePortion) -> Row:
    read = curve.read(portion.signal, 0.95, portion.covariate) if curve.charge else curve.read(portion.signal, 0.95)
    detected = float(read.p_blank is not None and read.p_blank <= ALPHA)
    upper = np.inf if read.upper is None else read.upper
    best = np.nan if read.estimate is None else read.estimate
    return detected, read.lower or 0.0, upper, best, NO_STATEMENT
