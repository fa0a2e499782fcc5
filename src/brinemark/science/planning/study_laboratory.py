"""One simulated laboratory: its history, its calibration, and new batches used as a plan says, read by the program."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextvars import copy_context
from dataclasses import dataclass, replace

import numpy as np

from brinemark.science.amount import compiled
from brinemark.science.amount.calibration import calibrate
from brinemark.science.amount.reading import SampleReader
from brinemark.science.amount.simulate import TrueBatch, Truth, draw_batches, simulate_history, simulate_sample
from brinemark.science.planning.study_plan import Asked, Rules, StudyPlan
from brinemark.science.planning.study_truth import PLAIN, Units, drawn_truth
from brinemark.terms.amounts import Calibration, ElectrodeReadings, Estimate, Reading, SamplePortion
from brinemark.terms.arrays import FloatArray
from brinemark.terms.errors import GateFailed, Refused
from brinemark.terms.settings import CalibrationSection

COLUMNS = (
    "laboratory", "batch", "level", "electrodes", "statement", "detected", "lower", "upper",
    "stated_lower", "stated_upper",
)  # fmt: skip
STATEMENTS = ("cannot say", "not detected", "at or above", "quantified", "detected, amount uncertain")
HISTORY, NEW, CALIBRATION, PICK = range(4)  # streams of random numbers of one laboratory


@dataclass(frozen=True, slots=True, eq=False)
class Chunk:
    """What some laboratories found. rows : (samples, COLUMNS), nan = not said, inf = no finite end; made : batches,
    electrodes made and electrodes that read samples, of each laboratory; failed : laboratories whose calibration failed
    a gate."""

    rows: FloatArray
    made: FloatArray
    failed: tuple[int, ...] = ()


def simulate_chunk(plan: StudyPlan, laboratories: tuple[int, ...]) -> Chunk:
    """Some laboratories of a plan; the same digits wherever it is computed, whatever was computed before.

    Raises Refused where the plan asks for compiled loops that are not installed.
    """
    return copy_context().run(_simulate, plan, laboratories)  # loops are chosen for this call alone


def _simulate(plan: StudyPlan, laboratories: tuple[int, ...]) -> Chunk:
    compiled.unload()
    if plan.rules.compiled and not compiled.load():
        came = "a process without the compiled loops that this study uses"
        raise Refused(came, "the same program in every process", 'install the extra "fast" there, or nowhere')
    rows: list[list[float]] = []
    made, failed = [], []
    for number in laboratories:
        try:
            found = list(_laboratory(plan, number))
            rows += found
            used = sum(row[3] for row in found)
        except GateFailed:
            failed.append(number)
            used = 0.0
        count = plan.batches_of(number)
        made.append([number, count, count * plan.batch.electrodes, used])
    return Chunk(np.array(rows, dtype=float).reshape(-1, len(COLUMNS)), np.array(made, dtype=float), tuple(failed))


def stream(plan: StudyPlan, *place: int) -> np.random.Generator:
    """Random numbers that depend on the plan's seed and the place alone, never on who draws them."""
    return np.random.default_rng(np.random.SeedSequence([plan.seed, *place]))


def _laboratory(plan: StudyPlan, number: int) -> Iterator[list[float]]:
    """Rows of the samples of one laboratory."""
    truth, units, calibration = _behind(plan, number)
    word = int(np.random.SeedSequence([plan.seed, number, CALIBRATION]).generate_state(1)[0])
    turn = number * plan.per_history * plan.batch.electrodes
    for place in range(plan.batches_of(number)):
        reader = SampleReader.of(calibration, plan.rules.decision, word)
        for row in _batch(plan, (number, place), (truth, units), reader, turn):
            yield row
            turn += 1


def _behind(plan: StudyPlan, number: int) -> tuple[Truth, Units, Calibration]:
    """The truth of a laboratory, and the calibration that its history gives."""
    population, history = plan.population, plan.history
    if isinstance(population, Calibration):
        draw = int(stream(plan, number, PICK).integers(population.draws.shape[0]))
        return (*drawn_truth(population, draw), population)
    rng = stream(plan, number, HISTORY)
    batches = draw_batches(population, [f"past-{i}" for i in range(history.batches)], rng)
    levels = [rng.permutation(np.array(history.levels)) for _ in batches]
    readings = simulate_history(population, batches, levels, rng, history.protocols())
    return population, PLAIN, _calibrated(plan.rules, readings, plan.seed, number)


def _calibrated(rules: Rules, readings: ElectrodeReadings, seed: int, number: int) -> Calibration:
    word = int(np.random.SeedSequence([seed, number, CALIBRATION]).generate_state(1)[0])
    options = CalibrationSection(seed=word, draws=rules.draws)
    return calibrate(readings, rules.analyte, rules.prior, options)


def _batch(
    plan: StudyPlan, place: tuple[int, int], world: tuple[Truth, Units], reader: SampleReader, turn: int
) -> Iterator[list[float]]:
    """Rows of the samples of one new batch; turn : whose level is next."""
    truth, units = world
    rng, name = stream(plan, place[0], NEW, place[1]), f"new-{place[1]}"
    drawn = draw_batches(truth, [name], rng)
    burned = np.array(plan.batch.burned, dtype=float)
    protocols = [[plan.batch.protocol] * burned.size]
    readings = units.readings(simulate_history(truth, drawn, [burned], rng, protocols))
    asked = Asked((), plan.batch.electrodes - burned.size, name, reader, readings, int(rng.integers(2**31)))
    while asked.left > 0:
        level = plan.samples.levels[turn % len(plan.samples.levels)]
        water = float(np.exp(plan.samples.water_K_sd * rng.normal()))
        in_water = replace(truth, matrix=truth.matrix * water)
        for portion in _dips(plan, asked, (in_water, units), (drawn, level), rng):
            asked = replace(asked, portions=(*asked.portions, portion), left=asked.left - 1)
        if not asked.portions:
            return
        yield [*place, level, *_row(len(asked.portions), asked.read())]
        asked = replace(asked, portions=())
        turn += 1


def _dips(
    plan: StudyPlan,
    asked: Asked,
    world: tuple[Truth, Units],
    sample: tuple[Sequence[TrueBatch], float],
    rng: np.random.Generator,
) -> Iterator[SamplePortion]:
    """One electrode after another, as long as the plan's chooser wants one."""
    (truth, units), (batches, level) = world, sample
    while asked.left > 0:
        dilution = plan.samples.chooser(asked)
        if dilution is None:
            return
        made = simulate_sample(truth, batches, level, plan.samples.protocol, rng, (dilution,))
        portion = replace(units.portion(made[0]), electrode=f"{asked.batch}-{asked.left}")
        yield portion
        asked = replace(asked, portions=(*asked.portions, portion), left=asked.left - 1)


def _row(electrodes: int, reading: Reading) -> list[float]:
    """Columns from `electrodes` on."""
    detected = np.nan if reading.detection is None else float(reading.detection.detected)
    ends = (*_ends(reading.two_sided), *_ends(reading.estimate))
    return [float(electrodes), float(STATEMENTS.index(reading.statement)), detected, *ends]


def _ends(estimate: Estimate | None) -> tuple[float, float]:
    if estimate is None:
        return np.nan, np.nan
    return estimate.lower or 0.0, np.inf if estimate.upper is None else estimate.upper
