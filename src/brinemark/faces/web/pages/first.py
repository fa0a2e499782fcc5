"""The page Next, which a browser comes to first: what waits, what looks wrong, and the sensible next step."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any
from urllib.parse import urlencode

from brinemark.faces.web.answers import Answer, GoTo, Page
from brinemark.faces.web.filters import segment
from brinemark.faces.web.visit import Visit
from brinemark.steps.next_steps import CALIBRATE, CHECK, CONTROLS, FILL, LAY_OUT, LOOK, MAKE, READ

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
KINDS = {"batch": "/batches/", "electrode": "/electrodes/", "sample": "/samples/", "plan": "/plans/"}


def home(_visit: Visit) -> Answer:
    return GoTo("/next")


def show(visit: Visit) -> Answer:
    """Everything that waits, most pressing first."""
    steps = visit.desk.kept("next", lambda: [_step(one.to_dict()) for one in visit.book.next_steps()])
    return Page("next.html", "Next", {"steps": steps, "empty": not visit.book.sheets() and not visit.book.batches()})


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
