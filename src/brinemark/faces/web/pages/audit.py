"""The audit list, records by their ids, and the kept files: the end of every way back."""

from __future__ import annotations

import json
import re
from typing import Any

from brinemark.faces.web.answers import Answer, File, GoTo, Page
from brinemark.faces.web.looks import all_rows
from brinemark.faces.web.visit import Visit, sliced

HASH = re.compile(r"[0-9a-f]{64}")
MOST_PARENTS = 200


def entries(visit: Visit) -> Answer:
    """The audit list, newest first."""
    found = visit.desk.kept("audit", lambda: _entries(visit))
    word = visit.ask("find").casefold()
    wanted = [one for one in found if word in one["text"]] if word else found
    part, shown = sliced(visit, len(wanted))
    return Page("audit.html", "Audit", {"entries": wanted[part], "shown": shown})


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


def _entries(visit: Visit) -> list[dict[str, Any]]:
    found = []
    for one in reversed(visit.book.audit()):
        detail = json.dumps(one.detail, ensure_ascii=False)
        is_record = bool(HASH.fullmatch(one.subject)) and one.action not in ("sheet added", "sheet corrected")
        found.append(
            {
                "number": one.seq,
                "at": one.at,
                "action": one.action,
                "subject": one.subject,
                "record": one.subject if is_record else "",
                "detail": detail if len(detail) <= 300 else detail[:297] + "...",
                "hash": one.hash,
                "text": f"{one.action} {one.subject} {detail}".casefold(),
            }
        )
    return found
