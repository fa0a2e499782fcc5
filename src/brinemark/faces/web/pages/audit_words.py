"""Entries of the audit list in words, with links to what they are about."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from brinemark.faces.web.filters import segment
from brinemark.faces.web.looks import all_rows
from brinemark.faces.web.pages.settings_form import ABSENT, value_text
from brinemark.faces.web.visit import Visit
from brinemark.terms.wording import counted

HASH = re.compile(r"[0-9a-f]{64}")
SHORT = re.compile(r"[0-9a-f]{12}")
MOST = 12  # links in one cell; the page of the entry has all
QUIET = ("seal", "content")
"""What only the page of an entry shows: hashes that lead nowhere."""
WORDS = {
    "originals": "files new",
    "definition_locked": "definition locked",
    "original": "file",
    "tank_records": "tank records",
    "supersedes": "takes the place of",
    "before": "file before",
    "after": "file after",
    "not_blind": "not chosen blind",
    "new_calibration": "a new calibration is needed",
    "fault_count": "faults",
    "head": "hash of the last entry",
}
ORDER = ("reason", "sheet", "calibration", "tank_records", "rows", "readings", "before", "after")
COUNTED = {"rows": "row", "records": "record", "electrodes": "electrode"}


@dataclass(slots=True, eq=False)
class Known:
    """What ids and names in entries may stand for: sheets by id with the file of each, and the rest as sets."""

    sheets: Mapping[str, str] = field(default_factory=dict)
    originals: frozenset[str] = frozenset()
    calibrations: Mapping[str, str] = field(default_factory=dict)
    electrodes: frozenset[str] = frozenset()
    batches: frozenset[str] = frozenset()
    samples: frozenset[str] = frozenset()
    consignments: frozenset[str] = frozenset()

    @classmethod
    def of(cls, visit: Visit) -> Known:
        rows = [row.row for row in all_rows(visit.desk).values()]
        return cls(
            {one.id: one.file_sha256 for one in visit.book.sheets()},
            visit.book.original_ids(),
            {one.id[:12]: one.id for one in visit.book.calibrations()},
            frozenset(row.electrode for row in rows),
            frozenset(row.batch for row in rows),
            frozenset(row.sample for row in rows if row.sample),
            frozenset(one.name for one in visit.book.consignments()),
        )

    def address(self, found: str) -> str:
        """Where an id leads: to a sheet's own file, a kept file, or a record."""
        if found in self.sheets:
            return f"/originals/{self.sheets[found]}"
        return f"/originals/{found}" if found in self.originals else f"/records/{found}"


Part = dict[str, Any]


def subject_link(known: Known, subject: str, detail: Mapping[str, Any]) -> str:
    """The page of what an entry is about, "" when it has none."""
    if SHORT.fullmatch(subject):
        named = [one for one in detail.values() if isinstance(one, str) and one.startswith(subject)]
        found = next(iter(named), known.calibrations.get(subject, ""))
        return f"/records/{found}" if HASH.fullmatch(found) else ""
    for key in ("sheet", "original"):
        if isinstance(detail.get(key), str):
            return known.address(detail[key])
    if subject in known.electrodes:
        return f"/electrodes/{segment(subject)}"
    if "interpretation" in detail and subject in known.consignments:
        return f"/consignments/{segment(subject)}"
    return f"/batches/{segment(subject)}" if subject in known.batches else ""


def parts_of(known: Known, detail: Mapping[str, Any], style: str, most: int = MOST) -> list[Part]:
    """The detail of an entry: each part a few words with links behind them."""
    if "changed" in detail and isinstance(detail["changed"], list):
        head = [
            _part(f"{one['key']}: {_said(one['old'], style)} → {_said(one['new'], style)}") for one in detail["changed"]
        ]
    else:
        head = []
    rest = {key: value for key, value in detail.items() if key not in (*QUIET, "changed")}
    order = sorted(rest, key=lambda key: ORDER.index(key) if key in ORDER else len(ORDER))
    return [*head, *(part for key in order for part in _parts(known, key, rest[key], (style, most)))]


def _said(value: Any, style: str) -> str:
    return ABSENT if value is None else value_text(value, style)


def _part(words: str, links: list[dict[str, str]] | None = None) -> Part:
    return {"words": words, "links": links or []}


def _parts(known: Known, key: str, value: Any, manner: tuple[str, int]) -> list[Part]:
    style, most = manner
    words = WORDS.get(key, key.replace("_", " "))
    if value is None or value is False or value in ("", [], {}):
        return []
    if value is True:
        return [_part(words)]
    if isinstance(value, str):
        if HASH.fullmatch(value):
            return [_part(words, [_link(known, value)] if key != "head" else [{"words": value[:12], "address": ""}])]
        return [_part(f"{words}: {value}")]
    if isinstance(value, list):
        links = [_link(known, one) for one in value[:most]]
        more = f" and {len(value) - most} more" if len(value) > most else ""
        return [{**_part(words, links), "more": more}]
    if key in COUNTED and isinstance(value, int):
        return [_part(counted(value, COUNTED[key]))]
    return [_part(f"{words}: {value_text(value, style)}")]


def _link(known: Known, one: Any) -> dict[str, str]:
    if isinstance(one, Mapping):
        name = next((str(text) for text in one.values() if not HASH.fullmatch(str(text))), "")
        found = next((str(text) for text in one.values() if HASH.fullmatch(str(text))), "")
        return {"words": name or found[:12], "address": known.address(found) if found else ""}
    text = str(one)
    if HASH.fullmatch(text):
        return {"words": text[:12], "address": known.address(text)}
    if text in known.electrodes:
        return {"words": text, "address": f"/electrodes/{segment(text)}"}
    return {"words": text, "address": f"/samples/{segment(text)}" if text in known.samples else ""}


def searched(entry: Any) -> str:
    """What a word is looked up in."""
    return f"{entry.action} {entry.subject} {json.dumps(entry.detail, ensure_ascii=False)}".casefold()
