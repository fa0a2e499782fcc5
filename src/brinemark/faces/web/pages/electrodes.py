"""The page of one electrode: how it was made, its state, its life, its rows, signals and files."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any
from urllib.parse import urlencode

from brinemark.faces.web.answers import Answer, Page
from brinemark.faces.web.filters import segment
from brinemark.faces.web.looks import row_words
from brinemark.faces.web.numbers import shown_unit
from brinemark.faces.web.visit import Visit
from brinemark.terms.errors import Refused
from brinemark.terms.making import READY
from brinemark.terms.wording import signal_of

if TYPE_CHECKING:
    from brinemark.steps.batch_answers import Batch


def one(visit: Visit) -> Answer:
    name = visit.path["name"]
    return Page("electrode.html", f"Electrode {name}", visit.desk.kept(("electrode", name), lambda: _data(visit, name)))


def _data(visit: Visit, name: str) -> dict[str, Any]:
    batch = visit.desk.kept("batches of electrodes", lambda: _by_electrode(visit)).get(name)
    made = None if batch is None else _made(batch, name)
    try:
        read = _read(visit, name)
    except Refused:
        if made is None:
            raise
        read = {"batches": [made["batch"]], "rows": [], "spent_on": "", "picture": "", "readings": []}
    return {"name": name, "made": made, **read}


def _by_electrode(visit: Visit) -> Mapping[str, Batch]:
    return {one.electrode: batch for batch in visit.book.batches() for one in batch.electrodes}


def _made(batch: Batch, name: str) -> dict[str, Any]:
    """Its state now, and what the making of its batch says of it."""
    mine = next(one for one in batch.electrodes if one.electrode == name)
    making = batch.making if mine.made else None
    return {
        "batch": batch.name,
        "state": mine.state,
        "words": mine.words,
        "position": mine.position or "",
        "made_on": making.made_on if making else "",
        "maker": (making.maker or "") if making else "",
        "recipe": (making.recipe or "") if making else "",
        "plan": mine.plan or "",
        "lay_out": f"/lay-out?{urlencode({'batch': batch.name})}" if mine.state == READY else "",
    }


def _read(visit: Visit, name: str) -> dict[str, Any]:
    """Its rows. Raises Refused when it has none."""
    shown = visit.book.show(f"electrode:{name}")
    unit = shown_unit(shown.unit)
    rows = []
    for row in shown.rows:
        plain = row.to_dict()
        for signal in plain["signals"]:
            signal["words"] = signal_of(signal["role"])
        has_curve = any(file["role"] in ("trace", "prescan") for file in plain["files"])
        rows.append({**plain, "words": row_words(row, unit), "has_curve": has_curve})
    current = [row for row in rows if not row["superseded"]]
    spent = ", ".join(dict.fromkeys(row["words"] for row in current if row["role"] != "addition"))
    return {
        "batches": list(dict.fromkeys(row["batch"] for row in rows)),
        "rows": rows,
        "spent_on": f"; spent on: {spent}" if spent else "",
        "picture": f"/pictures/life.svg?electrode={segment(name)}" if current else "",
        "readings": shown.to_dict()["readings"],
    }
