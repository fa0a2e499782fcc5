"""Whether likelihood ratios keep what they promise, on tanks of the model and of worlds that it does not have.

Every system has 20 control tanks; half of its other tanks are a trial, from which the line through the ratios is
fitted, and half are judged. Whole path: tank record, readings with their curves, background, kinetics, weight,
line, cap.
`--write docs` writes docs/evidence.md. Takes some minutes; `--systems N` sets how many systems each world has.
"""

from __future__ import annotations

import argparse
import math
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "tests"))

from evidence_page import page
from evidence_worlds import OTHERS, OWN, World, controls_of, tank_record, tanks_of

from brinemark.science.fish.evidence import cap_at, capped
from brinemark.science.fish.trials import fit_recalibration, judge_trial, with_recalibration
from brinemark.steps.tank_history import story_of
from brinemark.steps.weighing import Question, weighed
from brinemark.terms.arrays import FloatArray
from brinemark.terms.evidence import Recalibration, TrialResult
from fish_bench import desk

EDGES = (-math.inf, -1.0, -0.5, 0.0, 0.5, 1.0, 2.0, math.inf)
WANTED = 0.10
"""How far Cllr may lie above its least."""


@dataclass(frozen=True, slots=True, eq=False)
class Judged:
    """One world: what its ratios are worth as they are, after the line of a trial, and within the cap of that trial."""

    world: World
    raw: TrialResult
    lined: TrialResult
    capped: TrialResult
    line: Recalibration
    cap: float
    beyond: tuple[int, int]

    @property
    def excess(self) -> tuple[float, float]:
        """How far Cllr lies above its least, as a part of it: raw, and after the line."""
        first, second = ((one.cost - one.least_cost) / one.least_cost for one in (self.raw, self.lined))
        return first, second


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--systems", type=int, default=8)
    parser.add_argument("--seed", type=int, default=2031)
    parser.add_argument("--write", type=Path, metavar="DOCS")
    asked = parser.parse_args()
    start = time.perf_counter()
    found = []
    for world in (OWN, *OTHERS):
        one = judged(world, asked.systems, asked.seed)
        found.append(one)
        raw, lined = one.excess
        told = f"Cllr {one.raw.cost:.3f} ({raw:+.0%}), lined {one.lined.cost:.3f} ({lined:+.0%})"
        print(f"{world.name:<46} {told}, {one.beyond[0]} of {one.beyond[1]} unexposed cut by the cap", flush=True)
    seconds = time.perf_counter() - start
    missed = [one.world.name for one in found if one.excess[1] > WANTED]
    print(f"{seconds:.0f} s; wanted after the line: Cllr within {WANTED:.0%} of its least; missed: {missed or 'none'}")
    if asked.write:
        (asked.write / "evidence.md").write_text(page(found, asked.systems, WANTED), encoding="utf-8")
    return 1 if missed else 0


def judged(world: World, systems: int, seed: int) -> Judged:
    """One world's tanks: the first half of each kind is the trial, the second is judged."""
    every = [
        one
        for number in range(systems)
        for one in _ratios(world, np.random.default_rng([seed, number, len(world.name)]))
    ]
    trial, rest = ((_of(every, True, half), _of(every, False, half)) for half in (0, 1))
    line = fit_recalibration(trial[0], trial[1], "captive-bred")
    lined = [with_recalibration(values, line) for values in rest]
    caps = [[cap_at(ratio, *trial, "captive-bred", False) for ratio in values] for values in rest]
    within = [
        np.array([capped(one, cap) for one, cap in zip(values, mine, strict=True)])
        for values, mine in zip(lined, caps, strict=True)
    ]
    cut = int(np.sum(lined[1] > within[1]))
    most = max(cap.ratio for mine in caps for cap in mine)
    return Judged(
        world,
        _trial(rest[0], rest[1]),
        _trial(lined[0], lined[1]),
        _trial(within[0], within[1]),
        line,
        most,
        (cut, rest[1].size),
    )


def _of(every: list[tuple[bool, int, float]], exposed: bool, half: int) -> FloatArray:
    return np.array([ratio for known, which, ratio in every if known == exposed and which == half])


def _trial(exposed: FloatArray, unexposed: FloatArray) -> TrialResult:
    return judge_trial(exposed, unexposed, "simulated", 0.0, EDGES)


def _ratios(world: World, rng: np.random.Generator) -> Iterator[tuple[bool, int, float]]:
    """(exposed, half, log10 ratio) of the tanks of one system."""
    known, signals = controls_of(world, rng)
    tanks = tanks_of(world, rng)
    record = tank_record(tanks)
    signals |= {tank.sample: tank.signal for tank in tanks}
    found = desk([known, record], signals)
    background = found.system("harbour").background
    if isinstance(background, str):
        raise RuntimeError(background)
    for place, tank in enumerate(tanks):
        question = Question(
            story_of(record, tank.name), (tank.fish,), (found.waters[tank.sample],), background, (), False, None, False
        )
        weight = weighed(question, found.scales.worlds[0], found.scales).weight
        if weight is None:
            raise RuntimeError(f"no ratio for {tank.name}")
        yield tank.exposed, place // 2 % 2, weight.log10_ratio


if __name__ == "__main__":
    sys.exit(main())
