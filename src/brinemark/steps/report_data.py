"""What a report says, gathered from records as plain data: the same data are attached to it, so nothing else may."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

from brinemark.outputs.charts import Spec
from brinemark.records.reader import Reader
from brinemark.steps.answers import CalibrationReport, SampleReading
from brinemark.steps.candidates import definition_words
from brinemark.steps.chosen import limits_of, named
from brinemark.steps.definition_lock import DefinitionChoice, lock_of
from brinemark.steps.identity import ENGINE
from brinemark.steps.look import stored_calibration
from brinemark.steps.making import batch_named
from brinemark.steps.place import Place
from brinemark.steps.read import judge_runs, read_samples
from brinemark.steps.report_pictures import batch_pictures, calibration_pictures, sample_pictures
from brinemark.steps.run_control import RunReport
from brinemark.steps.run_plans import RunPlan, with_plans
from brinemark.steps.shown import ShownRow
from brinemark.steps.signals import tried_definitions
from brinemark.steps.trace_back import show, way_back
from brinemark.terms.errors import Refused
from brinemark.terms.run_plans import WITHDRAWN
from brinemark.terms.stored import Record
from brinemark.terms.wording import film_words, statement_words

SAMPLES, BATCH, CALIBRATION = "samples", "batch", "calibration"
CONSIGNMENT, TRIALS = "consignment", "trials"
KINDS = (SAMPLES, BATCH, CALIBRATION, CONSIGNMENT, TRIALS)
Parents = tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True, eq=False)
class Gathered:
    """data : what the report says; parents : the records behind it; pictures : draws the specifications, by name."""

    data: dict[str, Any]
    parents: Parents
    pictures: Callable[[], dict[str, Spec]]


def gather_samples(place: Place, names: Sequence[str], calibration: str | None) -> Gathered:
    """Of the named samples and controls, or of all samples. Raises Refused, also when there is no sample."""
    answers = read_samples(place, names, calibration)
    if not answers:
        raise Refused("no sample in this logbook", "at least one", "add a run sheet with samples, then read them")
    report = stored_calibration(place, answers[0].calibration)
    electrodes = sorted({use.electrode for answer in answers for use in answer.electrodes})
    runs = judge_runs(place, report.id, frozenset(electrodes))
    with place.database.reading() as reader:
        behind = list(reader.records([answer.id for answer in answers]).values())
        made = {record.id: record.made_at for record in behind}
        rows = way_back(place, reader, reader.rows(electrodes=electrodes), _ids(behind))
        plans = [
            one
            for one in with_plans(reader)[1]
            if one.state != WITHDRAWN and not set(one.electrodes).isdisjoint(electrodes)
        ]
        own = {code: name for plan in plans for code, name in plan.key.items()}
        said = {
            "samples": [_sample(answer, made[answer.id], own.get(answer.sample)) for answer in answers],
            "plans": [_plan(plan, [answer.sample for answer in answers]) for plan in plans],
            "readings": [answer.to_dict() for answer in answers],
            "standards": _standards(report, {use.batch for answer in answers for use in answer.electrodes}),
        }
        locks = [("definition lock", answer.choice["lock"]) for answer in answers if answer.choice is not None]
        first = [("reading", answer.id) for answer in answers]
        return _gathered(
            _Told(place, reader, SAMPLES, [answer.sample for answer in answers], report, rows, runs),
            said,
            [*first, *locks, *(("run plan", plan.id) for plan in plans), *_judged(runs)],
            lambda: sample_pictures(place, answers, report, of_now=calibration is None),
        )


def gather_batch(place: Place, batch: str, calibration: str | None) -> Gathered:
    """Of one batch. Raises Refused when it is unknown, or the calibration does not have it."""
    shown = show(place, f"{BATCH}:{batch}")
    report, made = stored_calibration(place, calibration), batch_named(place, batch)
    if batch not in report.calibration.readings.batch:
        there = ", ".join(sorted(set(report.calibration.readings.batch)))
        came = f"no electrode of batch {batch!r} in calibration {report.id[:12]}"
        raise Refused(came, f"one of {there}", "add blanks and standards of it and calibrate, or name another")
    # What judging stores has to be there before the snapshot that the report is made from.
    runs = judge_runs(place, report.id, frozenset(row.electrode for row in shown.rows if not row.superseded))
    with place.database.reading() as reader:
        found = reader.rows(batches=[batch])
        readings = reader.made_from([row.id for row in found], "reading")
        own = [one for one in readings if ("calibration", report.id) in one.parents]
        record = reader.records([report.id])[report.id]
        judged = reader.records([parent for _, parent in _judged(runs)]).values()
        rows = way_back(place, reader, found, _ids([record, *own, *judged]))
        kept = {one.id for one in own}
        said = {
            "batch": made.to_dict(),
            "said": [asdict(one) for one in shown.readings if one.id in kept],
            "standards": _standards(report, {batch}),
        }
        making = [] if made.id is None else [("making", made.id)]
        behind = [*making, *(("reading", one.id) for one in own), *_judged(runs)]
        told = _Told(place, reader, BATCH, [batch], report, rows, runs)
        return _gathered(told, said, behind, lambda: batch_pictures(place, report, batch))


def gather_calibration(place: Place, calibration: str | None) -> Gathered:
    """Of a calibration, the newest of the current definition or the named one. Raises Refused without one."""
    report = stored_calibration(place, calibration)
    with place.database.reading() as reader:
        record = reader.records([report.id])[report.id]
        found = reader.rows(electrodes=sorted(set(report.calibration.readings.electrode)))
        rows = way_back(place, reader, found, _ids([record]))
        said = {"standards": _standards(report, set(report.calibration.readings.batch))}
        told = _Told(place, reader, CALIBRATION, [report.id], report, rows, ())
        return _gathered(told, said, [], lambda: calibration_pictures(place, report))


@dataclass(frozen=True, slots=True, eq=False)
class _Told:
    """What every report tells."""

    place: Place
    reader: Reader
    kind: str
    names: Sequence[str]
    report: CalibrationReport
    rows: Sequence[ShownRow]
    runs: Sequence[RunReport]


def _gathered(
    told: _Told, said: Mapping[str, Any], first: Iterable[tuple[str, str]], pictures: Callable[[], dict[str, Spec]]
) -> Gathered:
    place, reader, report = told.place, told.reader, told.report
    tried = tried_definitions(place)
    chosen = named(reader, report.id)
    lock = lock_of(reader, chosen.definition)
    limits = limits_of(place, reader, report.id)
    parents = [*first, ("calibration", report.id), *([] if limits is None else [("limits", limits.id)])]
    parents += [("definition", one.id) for one in tried]
    parents += [("row", row.id) for row in told.rows]
    unique = tuple(dict.fromkeys(parents))
    choice = DefinitionChoice.of(lock)
    locked = lock.made_at != ""
    data = {
        "kind": told.kind,
        "names": list(told.names),
        "logbook": place.settings.logbook.name,
        "analyte": report.analyte,
        "unit": report.unit,
        "youngest": youngest(reader, unique, told.rows),
        "engine": ENGINE,
        "decision": place.settings.decision.model_dump(mode="json"),
        "calibration": report.to_dict(),
        "definition": {
            "words": definition_words(chosen.definition.signal),
            "locked": locked,
            "choice": choice.to_dict() if locked else None,
        },
        "tried": [one.to_dict() for one in tried],
        "runs": [run.to_dict() for run in told.runs],
        "rows": [row.to_dict() for row in told.rows],
        **said,
        "records": [list(parent) for parent in unique],
    }
    return Gathered(data, unique, pictures)


def youngest(reader: Reader, parents: Parents, rows: Sequence[ShownRow]) -> str:
    """When the youngest of the records was made, or the youngest of the sheets was added."""
    sheets = {row.sheet for row in rows}
    moments = [record.made_at for record in reader.records([parent for _, parent in parents]).values()]
    return max([*moments, *(sheet.added_at for sheet in reader.sheets() if sheet.id in sheets)])


def _ids(records: Iterable[Record]) -> frozenset[str]:
    return frozenset(parent for record in records for _, parent in record.parents)


def _judged(runs: Sequence[RunReport]) -> list[tuple[str, str]]:
    return [parent for run in runs for parent in run.parents]


def _plan(plan: RunPlan, samples: Sequence[str]) -> dict[str, Any]:
    """How a run was laid out and what departed from it; of the coded samples those that are reported, and no others."""
    return {
        "plan": plan.id,
        "title": plan.title,
        "laid_out_at": plan.made_at,
        "seed": plan.seed,
        "state": plan.state,
        "key": {code: name for code, name in plan.key.items() if code in samples},
        "departures": [asdict(one) for one in plan.departures],
    }


def _sample(answer: SampleReading, made_at: str, own_name: str | None) -> dict[str, Any]:
    """A reading in words, beside its numbers. own_name : of the sample, when the sheet has a code for it."""
    reading = answer.reading
    words = statement_words(reading, answer.unit, answer.analyte)
    return {
        "sample": answer.sample,
        "own_name": own_name,
        "reading": answer.id,
        "made_at": made_at,
        "role": "sample" if answer.choice is not None else "control",
        "words": f"cannot say: {reading.reason}" if answer.statement == "cannot say" else words,
        "agreement": reading.agreement,
        "films": [film_words(film) for film in reading.films],
        "straight_lines": [line.words(answer.unit) for line in answer.straight_lines],
    }


def _standards(report: CalibrationReport, batches: Iterable[str]) -> list[dict[str, Any]]:
    """The readings of the calibration electrodes of some batches."""
    readings, wanted = report.calibration.readings, frozenset(batches)
    found = []
    for place, unit in enumerate(readings.unit.tolist()):
        if readings.batch[unit] in wanted:
            found.append(
                {
                    "electrode": readings.electrode[unit],
                    "batch": readings.batch[unit],
                    "instrument": readings.instrument[unit],
                    "dip": int(readings.dip[place]),
                    "level": _number(readings.level[place]),
                    "signal": float(readings.signal[place]),
                    "u": float(readings.u[place]),
                    "unit": report.signal_unit,
                }
            )
    return found


def _number(value: float) -> float | None:
    return float(value) if np.isfinite(value) else None
