"""The audit list, records by their ids, and the kept files: the end of every way back."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Sequence
from datetime import date
from typing import Any
from urllib.parse import urlencode

from brinemark.faces.web.answers import Answer, File, GoTo, Page
from brinemark.faces.web.looks import all_rows
from brinemark.faces.web.pages.audit_words import Known, parts_of, searched, subject_link
from brinemark.faces.web.visit import Visit, sliced
from brinemark.steps.check import CHECKED, FAULTY
from brinemark.terms.errors import Refused

MOST_PARENTS = 200
ASKED = ("find", "action", "day")
COLUMNS = ("number", "at", "action", "subject", "detail", "previous", "hash")
FORMULA = ("=", "+", "-", "@", "\t", "\r")


def entries(visit: Visit) -> Answer:
    """The audit list, newest first: all of it, or what is asked for by word, action or day."""
    wanted = _wanted(visit)
    part, shown = sliced(visit, len(wanted))
    known = _known(visit)
    every = _all(visit)
    data = {
        "entries": [_entry(known, one, visit.style) for one in wanted[part]],
        "shown": shown,
        "actions": sorted({one.action for one in every}),
        "asked": {name: visit.ask(name) for name in ASKED},
        "check": _last_check(every),
        "export": _export(visit),
    }
    return Page("audit.html", "Audit", data)


def entry(visit: Visit) -> Answer:
    """One entry in full. Raises Refused."""
    every, text = _all(visit), visit.path["number"]
    if not text.isdecimal() or not 1 <= int(text) <= len(every):
        raise Refused(f"no entry {text[:24]!r}", f"a number from 1 to {len(every)}", "follow a link of these pages")
    one = every[int(text) - 1]
    plain = _entry(_known(visit), one, visit.style, most=10_000)
    more = {"previous": one.previous, "before": one.seq - 1, "after": one.seq + 1 if one.seq < len(every) else 0}
    detail = json.dumps(one.detail, indent=2, ensure_ascii=False)
    return Page("audit_entry.html", f"Entry {one.seq} of the audit list", {**plain, **more, "detail_text": detail})


def export(visit: Visit) -> Answer:
    """The entries that are asked for, with all that their hashes are made of, oldest first. Raises Refused."""
    kind = visit.path["kind"]
    plain = [_exported(one) for one in reversed(_wanted(visit))]
    if kind == "json":
        body = json.dumps({"schema": 1, "entries": plain}, indent=1, ensure_ascii=False)
        return File(body.encode(), "application/json", "audit.json")
    if kind != "csv":
        raise Refused(f"entries as {kind[:12]!r}", "csv or json", "follow a link of the page Audit")
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\r\n")
    writer.writerow(COLUMNS)
    writer.writerows([_cell(one[name]) for name in COLUMNS] for one in plain)
    return File(text.getvalue().encode(), "text/csv; charset=utf-8", "audit.csv")


def verify(visit: Visit) -> Answer:
    job = visit.desk.jobs.begin("verify", "Check the whole logbook")
    return GoTo(f"/jobs/{job.id}")


def record(visit: Visit) -> Answer:
    """One record: what it was made from, with which settings, and what came out."""
    made = visit.book.record(visit.path["id"])
    parents = [{"role": role, "id": one, **_parent(visit, one)} for role, one in made.parents[:MOST_PARENTS]]
    data = {
        "id": made.id,
        "kind": made.kind,
        "role": made.role,
        "made_at": made.made_at,
        "engine": made.engine,
        "seed": made.seed,
        "content": made.content,
        "parents": parents if not visit.wants_json else [{"role": role, "id": one} for role, one in made.parents],
        "more_parents": max(0, len(made.parents) - MOST_PARENTS),
        "settings": made.settings,
        "results": made.results,
        "settings_text": json.dumps(made.settings, indent=2, ensure_ascii=False),
        "results_text": json.dumps(made.results, indent=2, ensure_ascii=False),
    }
    return Page("record.html", f"Record {made.id[:12]}", data)


def original(visit: Visit) -> Answer:
    """A kept file, byte for byte, to save; its name is only offered."""
    found, body = visit.book.original(visit.path["sha256"])
    return File(body, "application/octet-stream", found.name.replace("\\", "/").rpartition("/")[2] or "original")


def _parent(visit: Visit, name: str) -> dict[str, str]:
    row = all_rows(visit.desk).get(name)
    if row is not None:
        return {"address": f"/electrodes/{row.row.electrode}", "words": f"row {row.row.number}, {row.row.electrode}"}
    if name in visit.desk.kept("original ids", visit.book.original_ids):
        return {"address": f"/originals/{name}", "words": f"file {name[:12]}"}
    return {"address": f"/records/{name}", "words": f"record {name[:12]}"}


def _all(visit: Visit) -> Sequence[Any]:
    """Oldest first, so that entry n stands in place n - 1."""
    return visit.desk.kept("audit", visit.book.audit)


def _known(visit: Visit) -> Known:
    return visit.desk.kept("audit names", lambda: Known.of(visit))


def _wanted(visit: Visit) -> list[Any]:
    """Newest first. Raises Refused for a day that is none."""
    word, action, day = visit.ask("find").casefold(), visit.ask("action"), visit.ask("day")
    try:
        first = date.fromisoformat(day).isoformat() if day else ""
    except ValueError:
        raise Refused(f"the day {day[:24]!r}", "year-month-day, such as 2031-04-02", "choose a day") from None
    return [
        one
        for one in reversed(_all(visit))
        if (not action or one.action == action) and one.at.startswith(first) and (not word or word in searched(one))
    ]


def _entry(known: Known, one: Any, style: str, most: int = 12) -> dict[str, Any]:
    detail = one.detail if isinstance(one.detail, dict) else {}
    return {
        "number": one.seq,
        "at": one.at,
        "action": one.action,
        "subject": one.subject,
        "address": subject_link(known, one.subject, detail),
        "parts": parts_of(known, detail, style, most),
        "detail": one.detail,
        "hash": one.hash,
    }


def _last_check(every: Sequence[Any]) -> dict[str, Any] | None:
    """The newest check of the whole logbook, and how many entries came after it."""
    found = next((one for one in reversed(every) if one.action in (CHECKED, FAULTY)), None)
    if found is None:
        return None
    return {"number": found.seq, "at": found.at, "since": len(every) - found.seq, **found.detail}


def _export(visit: Visit) -> str:
    asked = [(name, visit.ask(name)) for name in ASKED if visit.ask(name)]
    return f"?{urlencode(asked)}" if asked else ""


def _exported(one: Any) -> dict[str, Any]:
    values = (one.seq, one.at, one.action, one.subject, one.detail, one.previous, one.hash)
    return dict(zip(COLUMNS, values, strict=True))


def _cell(value: Any) -> str:
    """A cell that no table program takes for a formula."""
    text = value if isinstance(value, str) else json.dumps(value, ensure_ascii=False, sort_keys=True)
    return f"'{text}" if text.startswith(FORMULA) else text
