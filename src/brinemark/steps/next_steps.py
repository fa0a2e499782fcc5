"""What comes next: what waits in a logbook and what looks wrong, each with a step. Nothing is computed or stored."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import datetime
from typing import Any

from brinemark.records.reader import Reader
from brinemark.records.writer import utc_now
from brinemark.science.amount.lack_of_fit import fit_words
from brinemark.steps.answers import ANSWER_SCHEMA
from brinemark.steps.blanks import source_blanks, wanted_blanks
from brinemark.steps.check import CHECKED
from brinemark.steps.chosen import current
from brinemark.steps.consignments import known_consignments
from brinemark.steps.gather import CALIBRATION_ROLES
from brinemark.steps.makings import Known
from brinemark.steps.place import Place
from brinemark.steps.run_plans import RunPlan, sample_names, with_plans
from brinemark.terms.amounts import FitCheck
from brinemark.terms.errors import Refused
from brinemark.terms.making import READY
from brinemark.terms.run_plans import OPEN
from brinemark.terms.runs import RowUse
from brinemark.terms.stored import Record, StoredSheet
from brinemark.terms.tanks import BLANK, SAMPLE, SOURCE_WATER, Consignment

MAKE, LAY_OUT, FILL = "make", "lay-out", "fill"
CALIBRATE, READ, CONTROLS, LOOK, CHECK = "calibrate", "read", "controls", "look", "check"
STEPS = (CALIBRATE, READ, FILL, LAY_OUT, MAKE, CONTROLS, LOOK, CHECK)
"""What can be advised, most pressing first."""

LIKELY_DEFECT = 0.5
"""Probability of a defective film from which on an electrode of the calibration is named here."""
CHECK_DAYS, CHECK_ENTRIES = 90, 1000
"""The logbook is to be checked again after so many days, or so many audit entries (our own choice)."""
_NAMED = 8
_FAILED = "run control failed: "
_FALLEN = re.compile(r"calibration electrode (?P<electrode>.+) of batch (?P<batch>.+): its signal falls ")


@dataclass(frozen=True, slots=True)
class NextStep:
    """One thing that waits or looks wrong. step : one of STEPS; kind, about : what things it is about, by name."""

    step: str
    sentence: str
    kind: str
    about: tuple[str, ...]

    def to_dict(self) -> dict[str, Any]:
        """One step in the JSON of `next --json`."""
        return {"schema": ANSWER_SCHEMA, **asdict(self), "about": list(self.about)}


@dataclass(frozen=True, slots=True, eq=False)
class _View:
    """The logbook at one moment. calibration : the one that `read` would take; refusal : why there is none."""

    reader: Reader
    rows: Sequence[RowUse]
    sheets: Sequence[StoredSheet]
    known: Known
    plans: Sequence[RunPlan]
    calibration: Record | None
    refusal: Refused | None


def next_steps(place: Place, now: str | None = None) -> list[NextStep]:
    """Everything that waits, most pressing first; now : ISO 8601 UTC, None is the present."""
    with place.database.reading() as reader:
        view = _view(place, reader)
        found = [*_calibrate(view), *_samples(view), *_plans(view), *_electrodes(view), *_wrong(view)]
        found += _consignments(view)
        found += _check(reader, now or utc_now())
    return sorted(found, key=lambda one: STEPS.index(one.step))


def _view(place: Place, reader: Reader) -> _View:
    rows = reader.uses()
    known, plans = with_plans(reader, rows)
    calibration, refusal = None, None
    try:
        calibration = current(place, reader).record
    except Refused as fault:
        refusal = fault
    return _View(reader, rows, reader.sheets(), known, plans, calibration, refusal)


def _named(names: Iterable[str]) -> str:
    there = list(names)
    return ", ".join(there[:_NAMED]) + (f" and {len(there) - _NAMED} more" if len(there) > _NAMED else "")


def _many(names: Sequence[str], noun: str) -> str:
    plural = f"{noun}{'' if len(names) == 1 else 'es' if noun.endswith('ch') else 's'}"
    return f"{len(names)} {plural}"


def _calibrate(view: _View) -> Iterator[NextStep]:
    """Blanks and standards that no calibration knows, or a definition that changed since."""
    known = _calibrating(view.rows)
    if not known:
        if view.rows:
            yield NextStep(LAY_OUT, "there is no blank or standard yet, so nothing can be read", "logbook", ())
        return
    if view.calibration is None:
        made = next(view.reader.newest_first("calibration"), None)
        many = _many(list(dict.fromkeys(row.electrode for row in known.values())), "electrode")
        came = "" if view.refusal is None else view.refusal.came
        sentence = f"no calibration to read by: {came}" if made else f"{many} with known levels and no calibration"
        yield NextStep(CALIBRATE, sentence, "calibration", () if made is None else (made.id,))
        return
    changed = known.keys() ^ _calibrating_then(view, view.calibration)
    if not changed:
        return
    titles = {sheet.id: sheet.title for sheet in view.sheets}
    fresh = dict.fromkeys(titles[row.sheet_id] for key, row in known.items() if key in changed)
    what = f"sheets added since: {_named(fresh)}" if fresh else "sheets corrected since"
    sentence = f"blanks or standards have changed since calibration {view.calibration.id[:12]} ({what})"
    yield NextStep(CALIBRATE, sentence, "sheet", tuple(fresh))


def _calibrating(rows: Iterable[RowUse]) -> dict[str, RowUse]:
    """Rows of electrodes that never read a sample or control, by id."""
    there = list(rows)
    unknown = {row.electrode for row in there if row.role not in (*CALIBRATION_ROLES, "addition")}
    return {row.id: row for row in there if row.electrode not in unknown}


def _calibrating_then(view: _View, calibration: Record) -> set[str]:
    """Ids of the rows that a calibration knew: of sheets that stood when it was made, of electrodes that it names."""
    results: Any = calibration.results
    told = {*results["electrode"], *(one["electrode"] for one in results["context"]["left_out"])}
    then = [sheet for sheet in view.sheets if sheet.added_at <= calibration.made_at]
    rows = view.rows
    if len(then) < len(view.sheets):
        alive = {sheet.id for sheet in then} - {sheet.supersedes for sheet in then}
        rows = [row for row in view.reader.uses(superseded=True) if row.sheet_id in alive]
    return {key for key, row in _calibrating(rows).items() if row.electrode in told}


def _samples(view: _View) -> Iterator[NextStep]:
    """Samples that the current calibration has not read, or not on all their electrodes."""
    if view.calibration is None:
        return
    electrodes: dict[str, set[str]] = {}
    for row in view.rows:
        if row.role == "sample" and row.sample is not None:
            electrodes.setdefault(row.sample, set()).add(row.electrode)
    read = _read(view)
    unread = tuple(name for name in electrodes if name not in read)
    more = tuple(
        name
        for name, there in electrodes.items()
        if name in read and there != {use["electrode"] for use in read[name]["context"]["electrodes"]}
    )
    if unread:
        yield NextStep(READ, f"{_many(unread, 'sample')} not read yet: {_named(unread)}", "sample", unread)
    if more:
        sentence = f"{_many(more, 'sample')} with other electrodes than when last read: {_named(more)}"
        yield NextStep(READ, sentence, "sample", more)


def _read(view: _View) -> Mapping[str, Any]:
    """Results of the newest reading of each sample and control by the current calibration."""
    if view.calibration is None:
        return {}
    return {role.removeprefix("sample "): results for role, results in view.reader.readings_of(view.calibration.id)}


def _plans(view: _View) -> Iterator[NextStep]:
    for plan in view.plans:
        if plan.state == OPEN:
            sentence = f"run plan {plan.title} is open: {plan.empty} of {len(plan.rows)} rows are still empty"
            yield NextStep(FILL, sentence, "plan", (plan.id,))
        elif plan.departures and _since(view, plan.taken_at):
            missing = f", {plan.empty} of {len(plan.rows)} rows are empty" if plan.reason is None and plan.empty else ""
            count = f"{len(plan.departures)} departure{'' if len(plan.departures) == 1 else 's'}"
            yield NextStep(LOOK, f"run plan {plan.title} was taken in with {count}{missing}", "plan", (plan.id,))


def _since(view: _View, moment: str | None) -> bool:
    """Whether nothing was calibrated since; departures that somebody has gone on from need no further look."""
    return view.calibration is None or moment is None or moment > view.calibration.made_at


def _electrodes(view: _View) -> Iterator[NextStep]:
    """Electrodes that are ready and stand in no plan."""
    batches = view.known.batches()
    if not batches:
        yield NextStep(MAKE, "no batch yet: record how one was made, with its electrodes", "logbook", ())
    ready = {name: batch.count(READY) for name, batch in batches.items() if batch.count(READY)}
    if ready:
        total = sum(ready.values())
        counts = _named(f"{name} ({count})" for name, count in ready.items())
        verb = "electrode is" if total == 1 else "electrodes are"
        yield NextStep(LAY_OUT, f"{total} {verb} ready and not laid out: {counts}", "batch", tuple(ready))


def _wrong(view: _View) -> Iterator[NextStep]:
    """Run control that failed, films that are likely defective, signals that fall, batches that do not fit."""
    if view.calibration is None:
        return
    results: Any = view.calibration.results
    yield from _failed_runs(view)
    batches = dict(zip(results["electrode"], results["batch"], strict=True))
    for film in results["films"]:
        name, chance = film["electrode"], film["low"] + film["high"]
        if chance >= LIKELY_DEFECT:
            sentence = f"the film of electrode {name} of batch {batches[name]} is likely defective (p = {chance:.2g})"
            yield NextStep(LOOK, sentence, "electrode", (name,))
    for text in results["weaknesses"]:
        fallen = _FALLEN.match(text)
        if fallen is not None:
            yield NextStep(LOOK, text, "electrode", (fallen["electrode"],))
    for check in (FitCheck(**one) for one in results["fit"]):
        if check.speaks and check.name.startswith("batch "):
            yield NextStep(LOOK, " ".join(fit_words((check,))), "batch", (check.name.removeprefix("batch "),))


def _failed_runs(view: _View) -> Iterator[NextStep]:
    """Samples whose last reading says that run control failed, together where the reason is one."""
    failed: dict[str, list[str]] = {}
    for name, results in _read(view).items():
        said = [str(results["reason"] or ""), *results["warnings"]]
        why = next((text.partition(_FAILED)[2] for text in said if _FAILED in text), None)
        if why is not None:
            failed.setdefault(why.partition(";")[0], []).append(name)
    for why, names in failed.items():
        yield NextStep(CONTROLS, f"run control failed for {_named(names)}: {why}", "sample", tuple(names))


def _consignments(view: _View) -> Iterator[NextStep]:
    """Waters of consignments that were not read, and blanks that were not taken."""
    known = known_consignments(view.reader)
    names = sample_names(view.plans)
    on_sheets = {names.get(str(row.sample), str(row.sample)) for row in view.rows if row.sample is not None}
    roles = [role.removeprefix("sample ") for role in view.reader.roles_of("reading")]
    read = {names.get(name, name) for name in roles}
    for one in known.values():
        waters = tuple(str(row.sample) for row in one.of(SAMPLE, BLANK))
        unread = tuple(name for name in waters if name not in read)
        if unread:
            measured = any(name in on_sheets for name in unread)
            where = "not read yet" if measured else "in no run sheet yet"
            sentence = f"consignment {one.name}: {len(unread)} of {_many(waters, 'water')} {where}: {_named(unread)}"
            yield NextStep(READ if measured else LAY_OUT, sentence, "consignment", (one.name,))
        missing = _missing_blanks(one, known.values())
        if missing:
            yield NextStep(LOOK, f"consignment {one.name}: no {' and no '.join(missing)}", "consignment", (one.name,))


def _missing_blanks(one: Consignment, known: Iterable[Consignment]) -> list[str]:
    """Blanks that no water of the consignment can be judged well without, and that were not taken."""
    taken = {row.blank for row in one.of(BLANK)}
    every, found = list(known), []
    for tank in one.tanks:
        if not one.samples_of(tank):
            continue
        kinds = taken | ({SOURCE_WATER} if source_blanks(every, one.system_of(tank)) else set())
        found += [f"{kind} blank" for kind in wanted_blanks(one, tank) if kind not in kinds]
    return list(dict.fromkeys(found))


def _check(reader: Reader, now: str) -> Iterator[NextStep]:
    """The audit list was not checked for long."""
    last = reader.last_entry(CHECKED)
    since = last or reader.last_entry()
    if since is None:
        return
    number, moment = since
    days = (datetime.fromisoformat(now) - datetime.fromisoformat(moment)).days
    entries = reader.audit_count() - number
    if days < CHECK_DAYS and entries < CHECK_ENTRIES:
        return
    if last is None:
        sentence = f"the audit list was never checked since {moment[:10]}: {days} days, {entries + 1:,} audit entries"
    else:
        sentence = f"the audit list was last checked on {moment[:10]}: {days} days, {entries:,} audit entries ago"
    yield NextStep(CHECK, sentence, "logbook", ())
