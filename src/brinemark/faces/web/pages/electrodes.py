"""The page of one electrode: its life, its rows, signals and files."""

from __future__ import annotations

from typing import Any

from brinemark.faces.web.answers import Answer, Page
from brinemark.faces.web.filters import segment
from brinemark.faces.web.looks import row_words
from brinemark.faces.web.numbers import shown_unit
from brinemark.faces.web.visit import Visit

SIGNAL_OF = {"prescan": "pre-scan", "zero": "pre-scan at the wave's place"}


def one(visit: Visit) -> Answer:
    name = visit.path["name"]
    return Page("electrode.html", f"Electrode {name}", visit.desk.kept(("electrode", name), lambda: _data(visit, name)))


def _data(visit: Visit, name: str) -> dict[str, Any]:
    shown = visit.book.show(f"electrode:{name}")
    unit = shown_unit(shown.unit)
    rows = []
    for row in shown.rows:
        plain = row.to_dict()
        for signal in plain["signals"]:
            kind, _, covariate = signal["role"].partition(" ")
            signal["words"] = f"pre-scan, {covariate}" if covariate else SIGNAL_OF.get(kind, "curve")
        has_curve = any(file["role"] in ("trace", "prescan") for file in plain["files"])
        rows.append({**plain, "words": row_words(row, unit), "has_curve": has_curve})
    current = [row for row in rows if not row["superseded"]]
    spent = ", ".join(dict.fromkeys(row["words"] for row in current if row["role"] != "addition"))
    return {
        "name": name,
        "batches": list(dict.fromkeys(row["batch"] for row in rows)),
        "rows": rows,
        "spent_on": f"; spent on: {spent}" if spent else "",
        "picture": f"/pictures/life.svg?electrode={segment(name)}" if current else "",
        "readings": shown.to_dict()["readings"],
    }
