"""Samples answered to a fold of 3 from equal electrodes: planned from each lab's own history, against fixed habits.

    python benchmarks/planning.py [--labs 500] [--minutes 60] [--processes 2] [--folder planning] [--full 0]

Three groups of habits: read once or with pre-scan; pre-scan and closing spike on every electrode; and, beside the two
that the targets are about, the same with a rising addition before the spike. The planner's best without rising
additions stands beside its best, so that what the addition buys and what the choice buys can be told apart.

A lab is a population of electrodes drawn at random (scatters, K, floor, noise, drift), six batches of six as its
history, of which standards of the last three went through pre-scan and closing spike, and new batches of six. From the
history the planner chooses once; a habit burns the same standards and reads samples in the same way in every lab. Both
are judged on the same new batches of the lab's truth, which neither has seen, by the likelihood of reading under the
lab's own calibration (science/planning/expected.py; --full reads some of them in full and prints both). A sample is
answered when its 95 % interval is closed, within the standards, and spans a fold of at most 3; a plan's count is
samples served times the share answered, over the levels alike. The limit is what full knowledge of population and batch
would answer with nothing burned. Labs go into a file one by one, so that a stopped study goes on where it was.
"""

from __future__ import annotations

import argparse
import json
import time
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import asdict, dataclass, replace
from multiprocessing import get_context
from pathlib import Path

import numpy as np
from planned_in_full import InFull, two_sided_folds
from worlds import HISTORY_LEVELS

from brinemark.science.amount.calibration import calibrate
from brinemark.science.amount.compiled import load
from brinemark.science.amount.simulate import (
    SINGLE,
    WITH_PRESCAN,
    Protocol,
    TrueBatch,
    Truth,
    draw_batches,
    draw_lives,
    live,
    simulate_history,
)
from brinemark.science.planning.allocation import Planner
from brinemark.science.planning.candidates import protocols
from brinemark.science.planning.expected import Expectation, Outcome
from brinemark.science.planning.figures import Prices, Wish
from brinemark.science.planning.new_batches import FreshElectrode, NewBatches
from brinemark.science.planning.plans import BatchPlan, Burned, Use
from brinemark.terms.amounts import Calibration
from brinemark.terms.arrays import FloatArray, IntArray
from brinemark.terms.errors import GateFailed
from brinemark.terms.settings import AnalyteSection, CalibrationSection, DecisionSection, PriorSection

HISTORY, ELECTRODES, NEW, FULL = 6, 6, 40, 10
LIVED = (1, 4, 5)
LEVELS = (0.7, 1.4, 2.8, 5.6, 11.2)
LADDERS = ((1.0,), (1.0, 1.0), (1.0, 1.0, 1.0), (1.0, 4.0), (1.0, 10.0), (1.0, 4.0, 16.0))
BURNED = ((), (2.0,), (0.0, 2.0), (0.0, 2.0, 8.0), (0.0, 0.0, 2.0, 8.0))
RISE = 100.0
LIFE = Protocol(prescan=True, additions=(RISE,), spiked=True)
RISING = Protocol(prescan=True, additions=(2.0, RISE), spiked=True)
PLAN, WITHOUT = "plan", "plan without rising additions"
WANTED = {"spiked": 1.10, "plain": 1.25}


@dataclass(frozen=True, slots=True)
class Lab:
    """answers : samples answered by each habit's name, the plans under PLAN and WITHOUT; plan : PLAN in words; limit :
    the most."""

    seed: int
    answers: dict[str, float]
    plan: str
    limit: float
    seconds: float


def drawn_truth(rng: np.random.Generator) -> Truth:
    """A lab's population."""

    def between(low: float, high: float) -> float:
        return float(np.exp(rng.uniform(np.log(low), np.log(high))))

    return Truth(
        batch_sd=between(0.12, 0.35),
        electrode_sd=between(0.06, 0.22),
        slope=0.0,
        ln_K=float(np.log(between(1.0, 4.0))),
        ln_K_sd=between(0.1, 0.3),
        floor=between(0.1, 0.4),
        noise=between(0.01, 0.04),
        cv=between(0.02, 0.06),
        floor_sd=between(0.03, 0.2),
        drift=-between(0.01, 0.08),
        drift_sd=between(0.02, 0.12),
        prescan_sd=between(0.02, 0.1),
    )


class Nature(NewBatches):
    """New batches of a lab's truth, read with its calibration."""

    truth: Truth
    own: TrueBatch

    @classmethod
    def true(cls, calibration: Calibration, truth: Truth, seed: int) -> Nature:
        made = NewBatches.of(calibration, seed)
        one = cls(made.calibration, made.draws, made.in_water, made.u, seed, made.instrument)
        drawn = draw_batches(truth, [str(i) for i in range(NEW)], np.random.default_rng([seed, 23]))
        rows = np.array([(b.log_gain, b.ln_K, b.floor_shift) for b in drawn]).T
        object.__setattr__(one, "truth", truth)
        object.__setattr__(one, "own", TrueBatch("all", *rows))
        return one

    def lived(self, electrode: FreshElectrode, level: float, true: IntArray, key: str) -> FloatArray:
        draws = draw_lives(true.size, self.random(key))
        batch = replace(
            self.own,
            log_gain=self.own.log_gain[true],  # type: ignore[index]
            ln_K=self.own.ln_K[true],  # type: ignore[index]
            floor_shift=self.own.floor_shift[true],  # type: ignore[index]
        )
        lives = live(self.truth, batch, draws, np.full(true.size, level / electrode.dilution), electrode.protocol)
        main = int(np.flatnonzero(lives.dip == 0)[0])
        order = [main, *(i for i in range(lives.dip.size) if i != main)]
        return np.asarray(lives.signal[:, order] / self.calibration.signal_ref)


def habits() -> Iterator[tuple[str, str, BatchPlan]]:
    """Group, name and plan of every fixed habit."""
    for group, name, protocol in (
        ("rising", "addition and spike", RISING),
        ("spiked", "life", LIFE),
        ("plain", "single", SINGLE),
        ("plain", "pre-scan", WITH_PRESCAN),
    ):
        for levels in BURNED:
            for ladder in LADDERS:
                plan = BatchPlan(ELECTRODES, tuple(Burned(c, protocol) for c in levels), Use(protocol, ladder))
                if plan.samples:
                    yield group, f"{group}: {name}, {_list(levels)} burned, samples at {_list(ladder)}x", plan


def _list(values: tuple[float, ...]) -> str:
    return " ".join(f"{one:g}" for one in values) or "none"


def answered(outcome: Outcome, plan: BatchPlan) -> float:
    return plan.samples * float(outcome.answered(DecisionSection().max_fold).mean())


def calibration_of(truth: Truth, rng: np.random.Generator, seed: int) -> Calibration:
    batches = draw_batches(truth, [f"B{i}" for i in range(HISTORY)], rng)
    plain = [SINGLE] * len(HISTORY_LEVELS)
    lived = [LIFE if i in LIVED else SINGLE for i in range(len(HISTORY_LEVELS))]
    plans = [plain if i < HISTORY - 3 else lived for i in range(HISTORY)]
    readings = simulate_history(truth, batches, [np.array(HISTORY_LEVELS)] * HISTORY, rng, plans)
    return calibrate(readings, AnalyteSection(), PriorSection(), CalibrationSection(seed=seed, draws=512))


def one_lab(seed: int) -> Lab | None:
    """A lab's plan and habits, judged on its new batches; None when a numerical gate of its calibration failed."""
    load()
    start = time.process_time()
    rng = np.random.default_rng([seed, 29])
    truth = drawn_truth(rng)
    try:
        calibration = calibration_of(truth, rng, seed)
    except GateFailed:
        return None
    planner = Planner.of(calibration, Wish("answers", LEVELS), DecisionSection(), Prices())
    uses = [Use(protocol, ladder) for protocol in protocols(calibration).values() for ladder in LADDERS]
    chosen = {PLAN: uses, WITHOUT: [use for use in uses if len(use.protocol.additions) < len(RISING.additions)]}
    best = {name: planner.allocation(ELECTRODES, some).plans[0].figures.plan for name, some in chosen.items()}
    nature = Expectation.of(Nature.true(calibration, truth, seed), DecisionSection(), LEVELS, NEW)
    answers = {name: answered(nature.of_plan(plan), plan) for _, name, plan in habits()}
    answers |= {name: answered(nature.of_plan(plan), plan) for name, plan in best.items()}
    richest = [one for one in uses if one.protocol.dips.size == max(use.protocol.dips.size for use in uses)]
    known = planner.expectation(NEW)
    most = max(answered(known.at_best(use), BatchPlan(ELECTRODES, (), use)) for use in richest)
    return Lab(seed, answers, words(best[PLAN]), most, time.process_time() - start)


def read_in_full(seed: int, habit: str) -> None:
    """One lab's plan and a habit: samples of FULL new batches read in full, beside the quick figures for them."""
    load()
    rng = np.random.default_rng([seed, 29])
    truth = drawn_truth(rng)
    calibration = calibration_of(truth, rng, seed)
    planner = Planner.of(calibration, Wish("answers", LEVELS), DecisionSection(), Prices())
    uses = [Use(protocol, ladder) for protocol in protocols(calibration).values() for ladder in LADDERS]
    best = planner.allocation(ELECTRODES, uses).plans[0].figures.plan
    nature = Nature.true(calibration, truth, seed)
    bench = Expectation.of(nature, DecisionSection(), LEVELS, NEW)
    chosen = {"planned": best, habit: next(plan for _, name, plan in habits() if name == habit)}
    for name, plan in chosen.items():
        outcome, full = bench.of_plan(plan), InFull(nature, plan, np.arange(FULL))
        span = calibration.highest_level * max(plan.use.dilutions)
        folds = np.array([two_sided_folds(full.readings(level), span) for level in LEVELS])
        quick, slow = np.median(outcome.fold[:, :FULL].reshape(len(LEVELS), -1), axis=1), np.median(folds, axis=1)
        share = float((folds <= DecisionSection().max_fold).mean())
        said = plan.samples * float(outcome.answered(DecisionSection().max_fold)[:, :FULL].mean())
        error = plan.samples * np.sqrt(share * (1.0 - share) / folds.size)
        print(f"lab {seed}, {name} ({words(plan)})")
        print(f"  median folds in full {np.round(slow, 2)}, quick {np.round(quick, 2)}")
        print(f"  answered in full {plan.samples * share:.2f} (SE {error:.2f}), quick {said:.2f}", flush=True)


def words(plan: BatchPlan) -> str:
    burned = _list(tuple(one.level for one in plan.burned))
    dips = [one.protocol.dips.size for one in plan.burned] or [0]
    told = " ".join(map(str, dips if len(set(dips)) > 1 else dips[:1]))
    return f"{burned} burned ({told} dips), samples {plan.use.protocol.dips.size} dips at {_list(plan.use.dilutions)}x"


def told(labs: list[Lab]) -> bool:
    """Print the table; whether the targets are met."""
    groups = {name: group for group, name, _ in habits()}
    table = {name: np.array([lab.answers[name] for lab in labs]) for name in labs[0].answers}
    plan, without, limit = table.pop(PLAN), table.pop(WITHOUT), np.array([lab.limit for lab in labs])
    print(f"{len(labs)} labs, {ELECTRODES} electrodes each; samples of {_list(LEVELS)} answered to a fold of 3")
    for name, values in (("planned", plan), ("without additions", without), ("full knowledge", limit)):
        print(f"  {name:18s} {values.mean():.3f} (SE {_se(values):.3f})")
    met = True
    for group in dict.fromkeys(groups.values()):
        ordered = sorted((n for n in table if groups[n] == group), key=lambda n: table[n].mean(), reverse=True)
        for name in ordered[:3]:
            print(f"  {table[name].mean():.3f} (SE {_se(table[name]):.3f})  {name}")
        for name, values in (("planned", plan), ("planned without additions", without)):
            ratio, error = _ratio(values, table[ordered[0]])
            print(f"  -> {name} over the best {group} habit: {ratio:.3f} (SE {error:.3f})")
        met &= _judged(plan, table[ordered[0]], WANTED.get(group))
    return met


def _judged(plan: FloatArray, habit: FloatArray, wanted: float | None) -> bool:
    """Whether the plan beats the habit as wanted, and print it; None = nothing is wanted of this group."""
    if wanted is None:
        return True
    met = _ratio(plan, habit)[0] >= wanted
    print(f"     wanted of planned {wanted:g}: {'met' if met else 'missed'}")
    return met


def _se(values: FloatArray) -> float:
    return float(values.std(ddof=1) / np.sqrt(values.size)) if values.size > 1 else float("nan")


def _ratio(one: FloatArray, other: FloatArray) -> tuple[float, float]:
    ratio = float(one.mean() / other.mean())
    return ratio, float(_se(one - ratio * other) / other.mean())


def kept(path: Path) -> list[Lab]:
    if not path.exists():
        return []
    return [Lab(**json.loads(line)) for line in path.read_text(encoding="utf-8").splitlines() if line]


def main() -> int:
    """Go on with the study, then print what there is."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--labs", type=int, default=500)
    parser.add_argument("--minutes", type=float, default=60.0)
    parser.add_argument("--processes", type=int, default=2)
    parser.add_argument("--folder", type=Path, default=Path("planning"))
    parser.add_argument("--full", type=int, default=0, help="read some samples of so many labs in full, and print both")
    given = parser.parse_args()
    for seed in range(1, given.full + 1):
        read_in_full(seed, "spiked: life, 2 burned, samples at 1x")
    if given.full:
        return 0
    given.folder.mkdir(parents=True, exist_ok=True)
    path = given.folder / "labs.jsonl"
    there = {lab.seed for lab in kept(path)}
    wanted = [seed for seed in range(1, given.labs + 1) if seed not in there]
    stop = time.monotonic() + 60.0 * given.minutes
    with (
        ProcessPoolExecutor(given.processes, mp_context=get_context("spawn")) as pool,
        path.open("a", encoding="utf-8") as file,
    ):
        for first in range(0, len(wanted), given.processes):
            if time.monotonic() > stop:
                break
            for lab in pool.map(one_lab, wanted[first : first + given.processes]):
                if lab is not None:
                    file.write(json.dumps(asdict(lab)) + "\n")
                    file.flush()
    return 0 if told(kept(path)) else 1


if __name__ == "__main__":
    raise SystemExit(main())
