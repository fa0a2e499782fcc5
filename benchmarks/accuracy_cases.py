"""The logbooks and the cases of the accuracy study.

A logbook is simulated and calibrated once; all its cases are read by that one calibration. Its new batches join at
reading with the electrodes that the case burns, so that cases of one logbook differ in nothing else.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np
from lives import Season
from worlds import NEW_BATCH

from brinemark.science.amount.simulate import (
    LADDER,
    PRESCAN_AND_SPIKE,
    RISING,
    SINGLE,
    SPIKED,
    WITH_PRESCAN,
    Protocol,
    TrueBatch,
    Truth,
    draw_batches,
    simulate_history,
    simulate_sample,
)
from brinemark.terms.amounts import SamplePortion
from brinemark.terms.arrays import FloatArray

HISTORY = (0.0, 0.0, 0.5, 1.0, 2.0, 8.0)
LIVED = 3  # of the last batches, whose blank and standards at 2 and 8 went through the protocol
LIVED_AT = (0.0, 2.0, 8.0)
NEW = 3  # new batches in each logbook
PORTABLE = Truth(noise=0.06, cv=0.10)

# Samples at each level, in each new batch.
USUAL = {0.0: 10, 0.25: 3, 0.5: 8, 1.0: 8, 2.0: 5, 4.0: 3, 8.0: 3, 20.0: 3}
MANY = {0.0: 30, 0.25: 6, 0.5: 20, 1.0: 20, 2.0: 8, 4.0: 8, 8.0: 8, 20.0: 8}
FEW = {0.0: 1, 0.5: 2, 1.0: 1, 2.0: 1, 8.0: 1}
NEAR_K = (1.5, 2.0, 2.5)
LIVES = {0.0: 3, 0.25: 1, 0.5: 2, 1.0: 2, 2.0: 2, 4.0: 1, 8.0: 1, 20.0: 1}
WITH_NEAR_K = LIVES | {1.5: 2, 2.5: 2}
BLANKS_AND_HALF = {0.0: 30, 0.5: 30, 1.0: 10}
WATERS = (6, 12, 24, 48)
LADDER_AT = (8.0, 20.0, 50.0, 100.0)


@dataclass(frozen=True, slots=True)
class Logbook:
    """What is simulated and calibrated once.

    histories : how many of them the study asks for; levels : of each batch, in random order; defects : also calibrated
    with the component for defective films; alike : also calibrated and read as one who knows that K scatters neither
    between electrodes nor waters; floors : also calibrated as one who knows that floors do not scatter; siblings : what
    calibration electrodes below the highest level go through, where it is not what samples do; waters : also read after
    so many waters each were spiked and recovered.
    """

    histories: int
    truth: Truth = field(default_factory=Truth)
    batches: int = 9
    protocol: Protocol = SINGLE
    levels: tuple[float, ...] = HISTORY
    defects: bool = False
    alike: bool = False
    floors: bool = False
    siblings: Protocol | None = None
    waters: tuple[int, ...] = ()

    def through(self, level: float) -> Protocol:
        """What a calibration electrode of a level goes through."""
        return self.protocol if self.siblings is None or level == max(self.levels) else self.siblings


@dataclass(frozen=True, slots=True)
class Case:
    """One row of the study.

    burned : levels of a new batch's calibration electrodes; electrodes : that read one sample; spread : whether each of
    them is of another new batch; samples : at each level, in each new batch; costs : whether samples are also read by
    those who know more (known to be in the standards' own water; the population known and the batch learned).
    """

    what: str
    logbook: str
    burned: tuple[float, ...] = (0.0, 2.0, 8.0)
    electrodes: int = 1
    spread: bool = False
    dilutions: tuple[float, ...] = ()
    samples: Mapping[float, int] = field(default_factory=lambda: USUAL)
    costs: bool = False


LOGBOOKS = {
    "plain": Logbook(30),
    "25": Logbook(30, batches=25),
    "25-floors": Logbook(10, batches=25, floors=True),
    "50": Logbook(4, batches=50),
    "portable": Logbook(40, truth=PORTABLE),
    "floor-.06": Logbook(6, truth=Truth(floor=0.06)),
    "floor-.1": Logbook(6, truth=Truth(floor=0.1)),
    "prescan": Logbook(6, protocol=WITH_PRESCAN),
    "spike": Logbook(6, protocol=SPIKED),
    "both": Logbook(24, protocol=PRESCAN_AND_SPIKE, alike=True),
    "rising": Logbook(24, protocol=PRESCAN_AND_SPIKE, siblings=RISING, waters=WATERS),
    "low": Logbook(12, truth=Truth(low_share=0.05), defects=True),
    "high": Logbook(16, truth=Truth(high_share=0.05), defects=True),
}
TWO = (0.0, 2.0)
CASES = {
    "base": Case("base", "plain"),
    "burned-0": Case("no electrode burned", "plain", burned=()),
    "burned-1": Case("one burned, a blank", "plain", burned=(0.0,)),
    "burned-2": Case("two burned, at 0 and 2", "plain", burned=TWO, samples=MANY),
    "burned-4": Case("four burned, at 0, 1, 2, 8", "plain", burned=(0.0, 1.0, 2.0, 8.0)),
    "two": Case("two electrodes", "plain", electrodes=2, samples=FEW),
    "three": Case("three electrodes", "plain", electrodes=3, samples=FEW, costs=True),
    "three-batches": Case("three electrodes of three batches", "plain", electrodes=3, spread=True, samples=FEW),
    "25": Case("25 batches of history", "25"),
    "25-burned-2": Case("25 batches, two burned", "25", burned=TWO, samples=MANY, costs=True),
    "ladder": Case("25 batches, diluted 1, 10, 100 times", "25", dilutions=LADDER, samples=dict.fromkeys(LADDER_AT, 2)),
    "25-floors": Case(
        "25 batches, two burned, other samples", "25-floors", burned=TWO, samples=BLANKS_AND_HALF, costs=True
    ),
    "50": Case("50 batches of history", "50"),
    "50-burned-2": Case("50 batches, two burned", "50", burned=TWO),
    "prescan": Case("with pre-scan", "prescan", samples=LIVES),
    "spike": Case("with closing spike", "spike", samples=LIVES),
    "both": Case("with pre-scan and closing spike", "both", samples=WITH_NEAR_K, costs=True),
    "both-three": Case("pre-scan and spike, three electrodes", "both", electrodes=3, samples=FEW),
    "rising": Case("the same, siblings with an addition before the spike", "rising", samples=WITH_NEAR_K, costs=True),
    "portable": Case("portable noise", "portable", samples=MANY),
    "floor-.06": Case("floor .06 of the rise", "floor-.06"),
    "floor-.1": Case("floor .1 of the rise", "floor-.1"),
    "low": Case("5 % of the films at .4 of their gain", "low", samples=MANY),
    "high": Case("5 % of the films at twice their gain", "high", samples=MANY),
}


def cases_of(logbook: str) -> dict[str, Case]:
    """The cases that are read by one calibration."""
    return {name: case for name, case in CASES.items() if case.logbook == logbook}


def new_name(case: str, place: int) -> str:
    """The new batch at a place, as one case sees it; no calibration holds batches so named (lives.Reader)."""
    return f"{NEW_BATCH}{place}-{case}"


def simulate(name: str, rng: np.random.Generator) -> dict[str, Season]:
    """Each case's season: all electrodes of the logbook, and the new batches under the case's own names.

    Levels of a history's batch are in random order; the new batches have the same gain, K and floor in every case.
    """
    logbook, cases = LOGBOOKS[name], cases_of(name)
    drawn = draw_batches(logbook.truth, [f"B{i}" for i in range(logbook.batches + NEW)], rng)
    past, fresh = drawn[: logbook.batches], drawn[logbook.batches :]
    levels: list[FloatArray] = [rng.permutation(np.array(logbook.levels)) for _ in past]
    plans = [_plan(logbook, i, order) for i, order in enumerate(levels)]
    named: dict[str, tuple[TrueBatch, ...]] = {}
    for key, case in cases.items():
        named[key] = tuple(replace(batch, name=new_name(key, i)) for i, batch in enumerate(fresh))
        levels += [np.array(case.burned)] * NEW
        plans += [[logbook.through(level) for level in case.burned]] * NEW
    batches = [*past, *(batch for each in named.values() for batch in each)]
    readings = simulate_history(logbook.truth, batches, levels, rng, plans)
    return {key: Season(logbook.truth, named[key], readings) for key in cases}


def _plan(logbook: Logbook, place: int, order: FloatArray) -> list[Protocol]:
    """What each electrode of a history's batch goes through: in the last batches one of each of LIVED_AT all of it."""
    plan = [SINGLE] * order.size
    if place >= logbook.batches - LIVED:
        for level in LIVED_AT:
            plan[int(np.flatnonzero(order == level)[0])] = logbook.through(level)
    return plan


Samples = Mapping[float, list[tuple[SamplePortion, ...]]]


def samples_of(case: Case, season: Season, rng: np.random.Generator) -> Samples:
    """Samples on fresh electrodes, by level."""
    protocol = LOGBOOKS[case.logbook].protocol
    dilutions = case.dilutions or (1.0,) * case.electrodes
    found: dict[float, list[tuple[SamplePortion, ...]]] = {}
    for level, count in case.samples.items():
        for place in range(NEW * count):
            own = [season.new[(place + i * case.spread) % NEW] for i in range(len(dilutions))]
            made = simulate_sample(season.truth, own, level, protocol, rng, dilutions)
            found.setdefault(level, []).append(made)
    return found
