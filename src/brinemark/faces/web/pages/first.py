"""The page Next, which a browser comes to first: what waits, what looks wrong, and the sensible next step."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any
from urllib.parse import urlencode

from brinemark.faces.web.answers import Answer, GoTo, Page
from brinemark.faces.web.filters import segment
from brinemark.faces.web.looks import rows_of
from brinemark.faces.web.visit import Visit
from brinemark.steps.next_steps import CALIBRATE, CHECK, CONTROLS, FILL, LAY_OUT, LOOK, MAKE, READ
from brinemark.terms.making import READY

# What each step is called, where it is done, and whether a form begins it at once.
WORDS: Mapping[str, tuple[str, str, bool]] = {
    CALIBRATE: ("Calibrate", "/calibration", True),
    READ: ("Read the samples", "/samples", True),
    FILL: ("Take in what was measured", "/take-in", False),
    LAY_OUT: ("Lay out a run", "/lay-out", False),
    MAKE: ("Record how it was made", "/batch-making", False),
    CONTROLS: ("Judge the runs", "/run-controls", True),
    LOOK: ("Look at it", "", False),
    CHECK: ("Check the logbook", "/audit", True),
}
KINDS = {
    "batch": "/batches/",
    "electrode": "/electrodes/",
    "sample": "/samples/",
    "plan": "/plans/",
    "consignment": "/consignments/",
}


def home(_visit: Visit) -> Answer:
    return GoTo("/next")


def show(visit: Visit) -> Answer:
    """Everything that waits, most pressing first."""
    steps = visit.desk.kept("next", lambda: [_step(one.to_dict()) for one in visit.book.next_steps()])
    return Page("next.html", "Next", {"steps": steps, **visit.desk.kept("overview", lambda: _overview(visit))})


def _overview(visit: Visit) -> dict[str, Any]:
    """How much there is, and when what was done last."""
    rows = [row.row for row in rows_of(visit.desk)]
    batches = visit.book.batches()
    calibrations = visit.book.calibrations()
    heads = visit.desk.kept("heads", visit.book.reading_heads)
    counts = {
        "batches": len(batches),
        "ready": sum(one.count(READY) for one in batches),
        "electrodes": sum(len(one.electrodes) for one in batches),
        "sheets": len(visit.book.sheets(current=True)),
        "samples": len({row.sample for row in rows if row.role == "sample"}),
    }
    last = {
        "measured": max((row.measured_at for row in rows), default=None),
        "read": heads[-1].made_at if heads else None,
        "calibrated": calibrations[0].made_at if calibrations else None,
    }
    shown = {name: when.isoformat() if isinstance(when, datetime) else when for name, when in last.items()}
    return {"empty": not rows and not batches, "counts": counts, "last": shown}


def _step(plain: Mapping[str, Any]) -> dict[str, Any]:
    words, address, begins = WORDS[plain["step"]]
    where = KINDS.get(plain["kind"], "")
    about = [{"name": name, "address": where + segment(name) if where else ""} for name in plain["about"]]
    if plain["step"] == LOOK:
        address = about[0]["address"] if about else "/calibration"
    elif plain["step"] == FILL and plain["kind"] == "plan" and about:
        address = about[0]["address"]
    elif plain["step"] in (MAKE, LAY_OUT) and plain["kind"] == "batch":
        address += "?" + urlencode([("batch", name) for name in plain["about"]])
    return {**plain, "words": words, "address": address, "begins": begins, "about": about}
