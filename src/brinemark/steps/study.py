"""A plan studied: asked in a small file, simulated by a crew, with its finished chunks and its figures kept."""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import asdict, dataclass, field, replace
from functools import partial
from importlib.util import find_spec
from pathlib import Path
from typing import Any, TypeAlias

import numpy as np

from brinemark.records.study_request import checked_study, read_study, study_text
from brinemark.science.amount.posterior import OnStep, always
from brinemark.science.amount.simulate import Protocol, Truth
from brinemark.science.planning.study import Hire, Progress, Study, run_study
from brinemark.science.planning.study_laboratory import Chunk, simulate_chunk
from brinemark.science.planning.study_plan import (
    BatchPlan,
    FixedDilutions,
    HistoryPlan,
    Rules,
    SamplePlan,
    StudyPlan,
)
from brinemark.steps.answers import ANSWER_SCHEMA
from brinemark.steps.chosen import current
from brinemark.steps.crews import cluster, here, processes
from brinemark.steps.fish_answers import finite
from brinemark.steps.identity import ENGINE, Made, Recipe, difference
from brinemark.steps.packing import unpack_calibration
from brinemark.steps.place import Place
from brinemark.terms.amounts import Calibration
from brinemark.terms.canonical import JsonValue
from brinemark.terms.errors import Refused
from brinemark.terms.stored import Record
from brinemark.terms.studies import StudyRequest, Way

STUDY, ROLE = "study", "plan"
SMALLEST = 500
"""Batches below which Monte Carlo errors are so wide that a study says so."""
FEW = "fewer than 500 simulated batches: the errors beside the figures are wide"


@dataclass(frozen=True, slots=True)
class Workforce:
    """workers : processes of this computer, None = as many as it has cores, 0 = this process itself; scheduler :
    address of a Dask scheduler instead."""

    workers: int | None = None
    scheduler: str | None = None

    def hire(self) -> Hire:
        """Raises Refused for a number of workers that is none."""
        if self.scheduler is not None:
            if self.workers is not None:
                came = "workers and a scheduler"
                raise Refused(came, "one of them", "a scheduler has workers of its own: leave --workers out")
            return partial(cluster, self.scheduler)
        count = os.cpu_count() or 1 if self.workers is None else self.workers
        if count < 0:
            raise Refused(f"{count} workers", "0 or more", "0 is this process itself")
        return here if count == 0 else partial(processes, count)


@dataclass(frozen=True, slots=True, eq=False)
class StudyAnswer:
    """What a study found. id : of its record; new : whether it was made now; resumed : batches that an earlier call had
    finished; figures : as of study_figures.StudyFigures, in plain values; made_at : when."""

    id: str
    new: bool
    request: Mapping[str, Any]
    calibration: str | None
    unit: str
    max_fold: float
    figures: Mapping[str, Any]
    remarks: tuple[str, ...] = ()
    resumed: int = 0
    made_at: str = field(default="")

    def to_dict(self) -> dict[str, Any]:
        """The JSON of `study --json`."""
        return {
            "schema": ANSWER_SCHEMA,
            "study": self.id,
            "new": self.new,
            "made_at": self.made_at,
            "plan": dict(self.request),
            "calibration": self.calibration,
            "unit": self.unit,
            "max_fold": self.max_fold,
            "figures": dict(self.figures),
            "remarks": list(self.remarks),
        }

    def head(self) -> dict[str, Any]:
        """One line of `studies --json`."""
        wanted = ("batches", "samples", "answered_per_batch", "electrodes_per_answer", "interval", "false_detections")
        figures = {name: self.figures[name] for name in wanted}
        return {"study": self.id, "title": self.request["title"], "made_at": self.made_at, **figures}


@dataclass(frozen=True, slots=True)
class StudyAsked:
    """A study that can be made. id : that its record has or will have; made : whether it has; request : in plain
    values; text : the file that asks for it."""

    id: str
    made: bool
    request: Mapping[str, Any]
    text: str


@dataclass(frozen=True, slots=True, eq=False)
class _Ready:
    """A study before it begins: what is asked, the plan, its recipe, and its chunks, by which they are kept."""

    request: StudyRequest
    plan: StudyPlan
    recipe: Recipe
    chunks: list[tuple[int, ...]]

    def part(self, number: int) -> str:
        """Name of a kept chunk, by its laboratories. Compiled loops differ in the last digits and have their own."""
        inside = self.chunks[number]
        loops = "compiled" if self.plan.rules.compiled else "plain"
        return f"laboratories {inside[0]} to {inside[-1]} {loops} {np.__version__}"


Plan: TypeAlias = Path | tuple[str, bytes | Mapping[str, object]]
"""A TOML file, or a name with bytes or with the values of such a file."""


def ask_study(place: Place, plan: Plan) -> StudyAsked:
    """Whether a plan can be simulated, before it is. Nothing is stored. Raises Refused."""
    ready = _ready(place, *_named(plan))
    said = ready.request.to_dict()
    with place.database.reading() as reader:
        made = ready.recipe.id in reader.records([ready.recipe.id])
    return StudyAsked(ready.recipe.id, made, said, study_text(said))


def study(place: Place, plan: Plan, workforce: Workforce | None = None, on_step: OnStep = always) -> StudyAnswer:
    """Simulate a plan, or give what the same study found before.

    on_step(batches done, of all) -> False stops: what is finished is kept, and the same call goes on from there. Raises
    Refused and Stopped.
    """
    hire = (workforce or Workforce()).hire()
    ready = _ready(place, *_named(plan))
    with place.database.reading() as reader:
        stored = reader.record(ready.recipe.id)
        kept = {} if stored else _kept(reader, ready)
    if stored is not None:
        return answer_of(stored, False)
    progress = Progress(partial(_keep, place, ready), on_step, partial(checked_chunk, versions()))
    found = run_study(ready.plan, hire, kept, progress)
    resumed = sum(ready.plan.batches_of(one) for number in kept for one in ready.chunks[number])
    return replace(_store(place, ready, found), resumed=resumed)


def studies(place: Place) -> list[StudyAnswer]:
    """Every study, newest first."""
    with place.database.reading() as reader:
        return [answer_of(record, False) for record in reader.newest_first(STUDY, ROLE)]


def versions() -> tuple[str, str]:
    """What has to be the same wherever a chunk is computed."""
    return ENGINE, np.__version__


def checked_chunk(wanted: tuple[str, str], plan: StudyPlan, laboratories: tuple[int, ...]) -> Chunk:
    """A chunk, unless this process has another program than the one that asks. Raises Refused."""
    if versions() != wanted:
        came = f"a worker with Brinemark {versions()[0]} and numpy {versions()[1]}"
        raise Refused(came, f"Brinemark {wanted[0]} and numpy {wanted[1]}", "install the same on every worker")
    return simulate_chunk(plan, laboratories)


def _named(plan: Plan) -> tuple[str, bytes | Mapping[str, object]]:
    if isinstance(plan, tuple):
        return plan
    try:
        return plan.name, plan.read_bytes()
    except OSError as error:
        raise Refused(f"{plan.name} cannot be read ({error.strerror})", "a plan", "check the path") from None


def _ready(place: Place, name: str, data: bytes | Mapping[str, object]) -> _Ready:
    request = read_study(data, name) if isinstance(data, bytes) else checked_study(data)
    settings = place.settings
    parents: tuple[tuple[str, str], ...] = ()
    population: Truth | Calibration
    if request.population is None:
        with place.database.reading() as reader:
            chosen = current(place, reader)
            population = unpack_calibration(reader.record(chosen.record.id) or chosen.record)
        parents = (("calibration", chosen.record.id),)
    else:
        population = _truth(request.population)
    compiled = find_spec("numba") is not None
    rules = Rules(settings.decision, settings.analyte, settings.prior, settings.calibration.draws, compiled)
    said: dict[str, JsonValue] = {
        "request": request.to_dict(),
        "decision": settings.decision.model_dump(mode="json"),
        "analyte": settings.analyte.model_dump(mode="json"),
        "prior": settings.prior.model_dump(mode="json"),
        "draws": settings.calibration.draws,
    }
    plan = _plan(request, population, rules)
    return _Ready(request, plan, Recipe(STUDY, ROLE, parents, said, request.seed), plan.chunks())


def _truth(values: Mapping[str, float]) -> Truth:
    named = {name: value for name, value in values.items() if name != "K"}
    if "K" in values:
        named["ln_K"] = float(np.log(values["K"]))
    return Truth(**named)  # type: ignore[arg-type]


def _plan(request: StudyRequest, population: Truth | Calibration, rules: Rules) -> StudyPlan:
    past, batch, samples = request.past, request.batch, request.samples
    return StudyPlan(
        request.batches,
        request.per_history,
        request.seed,
        population,
        HistoryPlan(past.batches, past.levels, _protocol(past.way), past.lived),
        BatchPlan(batch.electrodes, batch.burned, _protocol(batch.way)),
        SamplePlan(samples.levels, FixedDilutions(samples.dilutions), _protocol(samples.way), samples.water_K_sd),
        rules,
    )


def _protocol(way: Way) -> Protocol:
    spike = () if way.spike is None else (way.spike,)
    return Protocol(way.prescan, (*way.additions, *spike), way.spike is not None)


def _kept(reader: Any, ready: _Ready) -> dict[int, Chunk]:
    """Chunks that an earlier call finished."""
    found = {}
    for number in range(len(ready.chunks)):
        arrays = reader.cached_arrays(ready.recipe.id, ready.part(number))
        if arrays is not None:
            failed = tuple(round(one) for one in arrays["failed"].tolist())
            found[number] = Chunk(arrays["rows"], arrays["made"], failed)
    return found


def _keep(place: Place, ready: _Ready, number: int, chunk: Chunk) -> None:
    arrays = {"rows": chunk.rows, "made": chunk.made, "failed": np.array(chunk.failed, dtype=float)}
    with place.database.writing() as writer:
        writer.cache_arrays({(ready.recipe.id, ready.part(number)): arrays})


def _store(place: Place, ready: _Ready, found: Study) -> StudyAnswer:
    settings = place.settings
    figures = finite(asdict(found.figures))
    results: Any = {
        "figures": figures,
        "unit": settings.analyte.level_unit,
        "max_fold": settings.decision.max_fold,
        "failed": list(found.found.failed),
        "remarks": list(_remarks(ready, found)),
    }
    record = ready.recipe.record(Made(results, {"rows": found.found.rows, "made": found.found.made}))
    with place.database.writing() as writer:
        stored = writer.reader.record(record.id)
        if stored is not None:  # another call was quicker
            said = difference(stored, record)
            return replace(answer_of(stored, False), remarks=(*results["remarks"], *([said] if said else [])))
        writer.add_records([record])
        writer.seal("plan studied", record.id[:12], {"study": record.id, "batches": ready.plan.batches})
        record = replace(record, made_at=writer.now)
    return answer_of(record, True)


def _remarks(ready: _Ready, found: Study) -> list[str]:
    said = [FEW] if ready.plan.batches < SMALLEST else []
    if ready.plan.laboratories < 20 and ready.request.population is not None:
        said.append(f"only {ready.plan.laboratories} histories: the errors beside the figures are rough themselves")
    if found.figures.failed:
        failed, of = found.figures.failed, found.figures.laboratories
        said.append(f"{failed} of {of} histories gave no calibration; their batches answer nothing and count so")
    if ready.request.population is None:
        said.append("truths are drawn from what the calibration holds, so its own faults are not seen")
    return said


def answer_of(record: Record, new: bool) -> StudyAnswer:
    """What the record of a study says."""
    results: Any = record.results
    settings: Any = record.settings
    calibration = next((parent for role, parent in record.parents if role == "calibration"), None)
    return StudyAnswer(
        id=record.id,
        new=new,
        request=settings["request"],
        calibration=calibration,
        unit=results["unit"],
        max_fold=results["max_fold"],
        figures=results["figures"],
        remarks=tuple(results["remarks"]),
        made_at=record.made_at,
    )
