"""The pages of runs: sheets that were taken in, taking in another with its curves, and whether the runs count."""

from __future__ import annotations

import shutil
import tempfile
from collections import Counter
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from brinemark.faces.web.answers import Answer, GoTo, Page
from brinemark.faces.web.looks import row_words, rows_of
from brinemark.faces.web.numbers import shown_unit
from brinemark.faces.web.visit import Upload, Visit, sliced
from brinemark.records.archives import unpack
from brinemark.terms.errors import Refused

SHEET, CURVES, ARCHIVE = "sheet", "curves", "archive"


def table(visit: Visit) -> Answer:
    """All sheets, the last one first."""
    found = visit.desk.kept("run sheets", lambda: _sheets(visit))
    word = visit.ask("find").casefold()
    wanted = [one for one in found if word in one["text"]] if word else found
    part, shown = sliced(visit, len(wanted))
    judged = visit.desk.jobs.last("controls")
    data = {"sheets": wanted[part], "shown": shown, "judged": judged is not None}
    return Page("runs.html", "Runs", data)


def sheet(visit: Visit) -> Answer:
    """One sheet: its rows, files, remarks, and what it corrects."""
    name = visit.path["id"]
    found = next((one for one in visit.book.sheets() if one.id == name), None)
    if found is None:
        raise Refused(f"no sheet {name[:12]!r}", "the id of a sheet", "choose one on the page Runs")
    unit = shown_unit(visit.settings.analyte.level_unit)
    rows = [row for row in visit.book.rows(superseded=True) if row.sheet_id == name]
    later = next((one for one in visit.book.sheets() if one.supersedes == name), None)
    data = {
        "id": found.id,
        "sheet_title": found.title,
        "file": found.file_sha256,
        "added_at": found.added_at,
        "remarks": list(found.warnings),
        "supersedes": found.supersedes,
        "reason": found.reason,
        "superseded_by": later.id if later else None,
        "rows": [_row(row, unit) for row in rows],
    }
    return Page("sheet.html", f"Sheet {found.title}", data)


def form(visit: Visit) -> Answer:
    """Where a sheet and its curves are dropped."""
    sheets = [{"id": one.id, "title": one.title} for one in reversed(visit.book.sheets(current=True))]
    return Page("take_in.html", "Take in a run", {"sheets": sheets, "corrects": visit.ask("corrects")})


def take_in(visit: Visit) -> Answer:
    """Put what came into a spool of ours, and start the job that looks it through and keeps it."""
    sheets = [one for one in visit.files if one.field == SHEET]
    if len(sheets) != 1:
        raise Refused(f"{len(sheets)} run sheets", "one", "choose the sheet of the run", column=SHEET)
    corrects, reason = visit.get("corrects") or None, visit.get("reason") or None
    if (corrects is None) != (reason is None):
        raise Refused("a correction and its reason, of which one is missing", "both or neither", "say which and why")
    return began_taking_in(visit, sheets[0].name, sheets[0].body(), (corrects, reason))


def began_taking_in(
    visit: Visit, name: str, sheet: bytes, correction: tuple[str | None, str | None] = (None, None)
) -> Answer:
    """The job that looks a sheet and the uploaded curves through, and keeps them when all is right. Raises Refused."""
    spool = Path(tempfile.mkdtemp(prefix="brinemark-"))
    try:
        files = _spooled(visit.files, spool)
        (spool / SHEET).write_bytes(sheet)
        corrects, reason = correction
        said: dict[str, Any] = {"called": name, "sheet": str(spool / SHEET), "files": files}
        said |= {"corrects": corrects, "reason": reason}
        return GoTo(f"/jobs/{visit.desk.jobs.begin('take in', f'Take in {name}', spool, **said).id}")
    except BaseException:
        shutil.rmtree(spool, ignore_errors=True)
        raise


def controls(visit: Visit) -> Answer:
    """What the blanks and controls of the runs said when they were judged last."""
    judged = visit.desk.jobs.last("controls")
    runs: Sequence[Mapping[str, Any]] = [] if judged is None else list(reversed(judged.answer))
    titles = {one.id: one.title for one in visit.book.sheets()}
    data = {
        "runs": [{**run, "sheet_title": titles.get(run["sheet"], "")} for run in runs],
        "judged_at": None if judged is None else judged.ended_at,
    }
    return Page("run_controls.html", "Whether the runs count", data)


def judge(visit: Visit) -> Answer:
    job = visit.desk.jobs.begin("controls", "Judge the runs")
    return GoTo(f"/jobs/{job.id}")


def _spooled(uploads: Sequence[Upload], spool: Path) -> list[tuple[str, str]]:
    """Curves under numbers of ours: the name of each as it came, and its place. Raises Refused."""
    files: list[tuple[str, str]] = []
    for number, one in enumerate(uploads):
        place = spool / f"file-{number:06d}"
        if one.field == CURVES:
            one.save(place)
            files.append((one.name, str(place)))
        elif one.field == ARCHIVE:
            one.save(place)
            inside = spool / f"archive-{number:06d}"
            inside.mkdir()
            files += [(name, str(path)) for name, path in unpack(place, inside).files.items()]
    return files


def _sheets(visit: Visit) -> list[dict[str, Any]]:
    current = {one.id for one in visit.book.sheets(current=True)}
    rows: dict[str, list[Any]] = {}
    for row in rows_of(visit.desk):
        rows.setdefault(row.sheet_id, []).append(row.row)
    return [_sheet(one, rows.get(one.id, []), one.id not in current) for one in reversed(visit.book.sheets())]


def _sheet(one: Any, rows: Sequence[Any], old: bool) -> dict[str, Any]:
    roles = Counter(row.role for row in rows)
    batches = list(dict.fromkeys(row.batch for row in rows))
    return {
        "id": one.id,
        "title": one.title,
        "added_at": one.added_at,
        "old": old,
        "measured": min(row.measured_at for row in rows).isoformat() if rows else None,
        "batches": batches,
        "instruments": list(dict.fromkeys(row.instrument for row in rows)),
        "electrodes": len({row.electrode for row in rows}),
        "roles": dict(roles),
        "remarks": len(one.warnings),
        "text": " ".join([one.title, *batches, *(row.sample or "" for row in rows)]).casefold(),
    }


def _row(stored: Any, unit: str) -> dict[str, Any]:
    row = stored.row
    return {
        "id": stored.id,
        "number": row.number,
        "electrode": row.electrode,
        "batch": row.batch,
        "instrument": row.instrument,
        "measured_at": row.measured_at.isoformat(),
        "words": row_words(row, unit),
        "sample": row.sample if row.role in ("sample", "control") else None,
        "conditions": dict(row.conditions),
        "note": row.note,
        "trace": stored.trace_sha256,
        "prescan": stored.prescan_sha256,
        "signal": row.signal,
    }
