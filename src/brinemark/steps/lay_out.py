"""Lay out a run: choose by lot what each electrode reads and in which order, and make its sheet; or withdraw a plan."""

from __future__ import annotations

import re
import secrets
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from typing import Any

from brinemark.records.reader import Reader
from brinemark.records.run_request import checked_request, request_and_faults, request_to_json
from brinemark.records.sheet_text import safe_part, sheet_text
from brinemark.records.sheets import sheet_and_faults
from brinemark.records.text import nearest, shown
from brinemark.science.making.allocation import Portion, Task, Wish, allocate
from brinemark.science.making.codes import draw_codes
from brinemark.steps.identity import Made, Recipe
from brinemark.steps.making import plain_reason
from brinemark.steps.makings import Known
from brinemark.steps.place import Place
from brinemark.steps.run_plans import BATCH_PLAN, GONE, PLAN, RunPlan, plans_of, row_to_json, sample_names, with_plans
from brinemark.terms.errors import Refused
from brinemark.terms.findings import Finding, findings_of
from brinemark.terms.making import READY
from brinemark.terms.run_plans import OPEN, PlannedRow, RunRequest, WantedPortion
from brinemark.terms.stored import Record

LARGEST_SEED = 2**53 - 1
FEWEST_DIGITS = 4
_DATE = re.compile(r"\d{1,4}[-/.]\d{1,4}([-/.]\d{1,4})?", re.ASCII)
_TRIAL = datetime(2000, 1, 3, 9, 0, tzinfo=UTC)


@dataclass(frozen=True, slots=True, eq=False)
class _Bench:
    """All that a plan is drawn from."""

    place: Place
    known: Known
    plans: Sequence[RunPlan]
    request: RunRequest
    seed: int
    samples_there: Mapping[str, str]


def lay_out(place: Place, values: Mapping[str, object], seed: int | None = None) -> RunPlan:
    """Draw a run and keep it as a record; its sheet is RunPlan.sheet().

    values : as records.run_request takes them; seed : None draws one, which is kept. Raises Refused for electrodes that
    are not ready and for what cannot be laid out; then nothing is stored.
    """
    request = checked_request(values)
    seed = _checked_seed(seed)
    with place.database.writing() as writer:
        request = replace(request, title=request.title or f"run {writer.now[:10]}")
        record = _drawn(_bench(place, writer.reader, request, seed))
        writer.add_records([record])
        results: Any = record.results
        electrodes = list(dict.fromkeys(row["electrode"] for row in results["rows"]))
        writer.seal("run laid out", request.title or "", {"plan": record.id, "seed": seed, "electrodes": electrodes})
    return plan_named(place, record.id)


def run_findings(place: Place, values: Mapping[str, object]) -> tuple[Finding, ...]:
    """Every fault of a request, or the one thing that keeps it from being laid out; nothing is stored."""
    request, faults = request_and_faults(values)
    if request is None:
        return findings_of(faults)
    try:
        with place.database.reading() as reader:
            _drawn(_bench(place, reader, request, 0))
    except Refused as fault:
        return findings_of([fault])
    return ()


def _checked_seed(seed: int | None) -> int:
    if seed is None:
        return secrets.randbelow(2**31)
    if not 0 <= seed <= LARGEST_SEED:
        raise Refused(f"the seed {seed}", f"a whole number from 0 to {LARGEST_SEED}", "choose another")
    return seed


def _bench(place: Place, reader: Reader, request: RunRequest, seed: int) -> _Bench:
    uses = reader.uses()
    known, plans = with_plans(reader, uses)
    planned = None if request.plan is None else reader.records([request.plan]).get(request.plan)
    if request.plan is not None and (planned is None or planned.kind != BATCH_PLAN):
        came = f"no plan for a batch {shown(request.plan)}"
        raise Refused(came, "the id of one that was kept", "see batch-plans", column="plan")
    there = {row.sample: row.role for row in uses if row.sample and row.role != "addition"}
    return _Bench(place, known, plans, request, seed, there)


def _drawn(bench: _Bench) -> Record:
    """The record of the plan. Raises Refused."""
    request = bench.request
    electrodes = _chosen(bench.known, request)
    wish = Wish(
        blanks=request.blanks,
        standards=request.standards,
        levels=request.levels,
        levels_per_electrode=request.levels_per_electrode,
        portions=tuple(Portion(f"{one.role} {one.name}", one.electrodes) for one in request.portions),
        bracket=request.bracket,
        blank_every=request.blank_every,
    )
    allocation = allocate(list(electrodes.items()), wish, bench.seed)
    labels = _labels(bench)
    rows = [row for place, task in enumerate(allocation.tasks, 1) for row in _rows(bench, task, place, labels)]
    rows = _timed(rows, request) if request.start is not None else rows
    remarks = [*_trial(bench, rows), *_remarks(bench, electrodes, labels)]
    coded = {code: name for name, code in labels.items() if code != name}
    results: dict[str, Any] = {
        "rows": [row_to_json(row) for row in rows],
        "key": coded,
        "left": list(allocation.left),
        "remarks": remarks,
    }
    batches = dict.fromkeys(electrodes.values())
    parents = [("making", bench.known.makings[batch].id) for batch in batches]
    parents += [("after", bench.plans[-1].id)] if bench.plans else []
    parents += [("planned", request.plan)] if request.plan is not None else []
    unit = bench.place.settings.analyte.level_unit
    settings: dict[str, Any] = {"request": request_to_json(request), "electrodes": electrodes, "unit": unit}
    return Recipe(PLAN, "laid out", tuple(parents), settings, bench.seed).record(Made(results, {}))


def _chosen(known: Known, request: RunRequest) -> dict[str, str]:
    """Electrode to batch: those named, and every ready one of the batches named. Raises Refused."""
    batches = known.batches_of_electrodes()
    found: dict[str, str] = {}
    for name in request.electrodes:
        if name not in batches:
            alike = nearest(name, batches)
            hint = f"did you mean {shown(alike)}?" if alike else "record the making of its batch first"
            raise Refused(f"electrode {shown(name)}, which no making names", "one that is ready", hint)
        state = known.electrode(name, batches[name])
        if state.state != READY:
            came = f"electrode {shown(name)}, which is {state.words}"
            raise Refused(came, "one that is ready", "choose another", column="electrodes")
        found[name] = batches[name]
    for batch in request.batches:
        if batch not in known.makings:
            alike = nearest(batch, known.makings)
            hint = f"did you mean {shown(alike)}?" if alike else "record its making first"
            raise Refused(f"no making of a batch {shown(batch)}", "a batch with a making", hint, column="batches")
        ready = [one.electrode for one in known.batch(batch).electrodes if one.state == READY and one.made]
        if not ready:
            came = f"batch {shown(batch)}, of which no electrode is ready"
            raise Refused(came, "a batch with one at least", "choose another", column="batches")
        found |= dict.fromkeys(ready, batch)
    return found


def _labels(bench: _Bench) -> dict[str, str]:
    """What stands on the sheet for each sample and control: a code, the one it had before; or its own name."""
    roles: dict[str, WantedPortion] = {}
    for one in bench.request.portions:
        other = roles.setdefault(one.name, one)
        if other.role != one.role:
            came = f"{shown(one.name)} as a {other.role} and as a {one.role}"
            raise Refused(came, "one role for a name", "give the control a name of its own", column=one.role)
    samples = [name for name, one in roles.items() if one.role == "sample"]
    labels = {name: name for name in roles}
    if bench.request.coded:
        codes = sample_names(bench.plans)
        had = {name: code for code, name in codes.items()}
        fresh = [name for name in samples if name not in had]
        drawn = draw_codes(len(fresh), {*codes, *bench.samples_there, *roles}, bench.seed)
        labels |= {name: had[name] for name in samples if name in had} | dict(zip(fresh, drawn, strict=True))
    for name, label in labels.items():
        there = bench.samples_there.get(label)
        if there is not None and there != roles[name].role:
            came = f"{shown(label)} as a {roles[name].role}, in the logbook a {there}"
            raise Refused(came, "one role for a name", "give it another name", column=roles[name].role)
    return labels


def _rows(bench: _Bench, task: Task, place: int, labels: Mapping[str, str]) -> Iterator[PlannedRow]:
    """The rows of one electrode: its main readings, then the additions."""
    request = bench.request
    file = f"curves/{place:03d}-{safe_part(task.electrode)}"
    base = PlannedRow(
        place,
        task.electrode,
        task.batch,
        request.instrument,
        task.role,
        matrix_lot=request.matrix_lot,
        position=dict(bench.known.made[task.batch].positions).get(task.electrode),
        operator=request.operator,
    )
    main = _main_rows(request, task, base, labels)
    added = _added_rows(request, replace(base, matrix_lot=None)) if main[0].role in request.add_to else []
    for number, row in enumerate([*main, *added]):
        names: dict[str, Any] = {"trace": f"{file}.csv" if number == 0 else f"{file}-then-{number}.csv"}
        if number == 0 and request.prescan:
            names["prescan"] = f"{file}-before.csv"
        volume = request.volume_mL if number == 0 and any(one.added_volume_mL is not None for one in added) else None
        yield replace(row, volume_mL=volume, **names)


def _main_rows(request: RunRequest, task: Task, base: PlannedRow, labels: Mapping[str, str]) -> list[PlannedRow]:
    if task.portion is None and task.role == "blank":
        return [replace(base, level=0.0)]
    if task.portion is None:
        known = {"stock": request.stock, "level_rel_u": request.level_rel_u}
        return [replace(base, level=level, **known) for level in task.levels]  # type: ignore[arg-type]
    one = request.portions[task.portion]
    row = replace(base, role=one.role, sample=labels[one.name], dilution=one.dilution)
    return [replace(row, expected_level=one.expected_level)]


def _added_rows(request: RunRequest, base: PlannedRow) -> list[PlannedRow]:
    return [
        replace(
            base,
            role="addition",
            level=one.rise,
            stock=one.stock,
            stock_level=one.stock_level,
            added_volume_mL=one.volume_mL,
        )
        for one in request.additions
    ]


def _timed(rows: Sequence[PlannedRow], request: RunRequest) -> list[PlannedRow]:
    """Planned times, one reading after the other."""
    start = datetime.fromisoformat(request.start or _TRIAL.isoformat())
    step = timedelta(minutes=request.minutes)
    return [
        replace(row, measured_at=(start + number * step).isoformat(timespec="seconds"))
        for number, row in enumerate(rows)
    ]


def _trial(bench: _Bench, rows: Sequence[PlannedRow]) -> tuple[str, ...]:
    """Read the sheet as it would be added, at invented times; its remarks. Raises Refused when it could not be."""
    text = sheet_text(_timed(rows, bench.request) if bench.request.start is None else rows)
    sheet, faults = sheet_and_faults(text.encode(), "the run sheet", bench.place.settings)
    if faults:
        first = faults[0]
        raise Refused(first.came, first.expected, first.remedy, file="the run sheet", column=first.column)
    return sheet.warnings


def _remarks(bench: _Bench, names: Iterable[str], labels: Mapping[str, str]) -> Iterator[str]:
    """What is odd: names that a spreadsheet would change, samples that were read under their own names before."""
    dates = [name for name in (*names, *labels.values()) if _DATE.fullmatch(name)]
    if dates:
        named = ", ".join(dates[:3]) + (", ..." if len(dates) > 3 else "")
        yield f"a spreadsheet may take names for dates ({named}): fill the sheet in as text"
    if bench.request.blanks == 0:
        yield "no blank: what is read rests on other batches and runs, and this run has none of its own to be judged by"
    for name, label in labels.items():
        if label != name and name in bench.samples_there:
            yield f"sample {name} has readings under its own name; those of this run will stand under {label}"


def run_plans(place: Place) -> list[RunPlan]:
    """Every run plan, oldest first: open, taken in or withdrawn."""
    with place.database.reading() as reader:
        return plans_of(reader, reader.uses())


def plan_named(place: Place, name: str) -> RunPlan:
    """The plan of this title, or whose id begins so. Raises Refused when there is none, or several."""
    with place.database.reading() as reader:
        return _named(plans_of(reader, reader.uses()), name)


def _named(plans: Sequence[RunPlan], name: str) -> RunPlan:
    found = [plan for plan in plans if plan.title == name or (len(name) >= FEWEST_DIGITS and plan.id.startswith(name))]
    if len(found) != 1:
        ids = ", ".join(plan.id[:12] for plan in found)
        alike = nearest(name, [plan.title for plan in plans])
        hint = f"name it by its id: {ids}" if found else f"did you mean {shown(alike)}?" if alike else "see plans"
        raise Refused(f"{len(found)} run plans {shown(name)}", "one, by its title or the digits of its id", hint)
    return found[0]


def withdraw(place: Place, name: str, reason: str) -> RunPlan:
    """Withdraw an open plan, so that its electrodes are ready again; the plan stays on record. Raises Refused."""
    why = plain_reason(reason)
    with place.database.writing() as writer:
        plan = _named(plans_of(writer.reader, writer.reader.uses()), name)
        if plan.state != OPEN:
            when = f"which is {plan.state}" + (f" by {', '.join(plan.sheets)}" if plan.sheets else "")
            raise Refused(f"run plan {shown(plan.title)}, {when}", "an open plan", "leave it as it is")
        record = Recipe(GONE, "withdrawn", (("plan", plan.id),), {"reason": why}).record(Made({}, {}))
        writer.add_records([record])
        writer.seal("run plan withdrawn", plan.title, {"plan": plan.id, "reason": why})
    return plan_named(place, plan.id)
