"""The pages of reports: choose what of, look at the pages beforehand, make it, hand it over."""

from __future__ import annotations

import tempfile
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from brinemark.faces.web.answers import Answer, File, GoTo, Page
from brinemark.faces.web.jobs import DONE
from brinemark.faces.web.looks import calibration_of, rows_of
from brinemark.faces.web.visit import Visit
from brinemark.terms.errors import Refused

KINDS: Mapping[str, str] = {
    "samples": "samples",
    "batch": "a batch",
    "calibration": "the calibration",
    "consignment": "a consignment",
    "trials": "the trial of fish of known history",
}
ONE = ("batch", "consignment")
"""Kinds of which one is chosen."""
OF_FISH = ("consignment", "trials")
"""Kinds that a logbook without consignments has not."""
DECIMALS = ("", "point", "comma")
MOST_SHOWN = 50


def form(visit: Visit) -> Answer:
    """What a report may be of, and those that were made."""
    rows = [row.row for row in rows_of(visit.desk)]
    report, _ = calibration_of(visit.desk)
    consignments = [one.name for one in visit.book.consignments()]
    kinds = [kind for kind in KINDS if kind not in OF_FISH or consignments]
    data = {
        "kinds": [{"kind": kind, "words": KINDS[kind]} for kind in kinds],
        "samples": sorted({row.sample for row in rows if row.sample}),
        "batches": sorted({row.batch for row in rows}),
        "consignments": consignments,
        "calibrated": report is not None,
        "kind": visit.ask("kind", "samples"),
        "names": list(visit.asked.get("name", ())),
        "made": visit.desk.kept("reports", lambda: _made(visit)),
    }
    return Page("reports.html", "Reports", data)


def make(visit: Visit) -> Answer:
    """Begin making one, or its pages to look at first."""
    kind, decimal = visit.get("kind"), visit.get("decimal")
    if kind not in KINDS or decimal not in DECIMALS:
        raise Refused(f"a report of {kind!r}", f"one of {', '.join(KINDS)}", "choose one", column="kind")
    field = {"samples": "samples", **{one: one for one in ONE}}.get(kind)
    names = visit.all(field) if field else []
    if kind in ONE and not names:
        raise Refused(f"no {kind}", "one", f"choose the {kind}", column=kind)
    wanted: dict[str, Any] = {"of": kind, "names": names, "decimal": decimal or visit.style}
    if visit.get("do") == "look":
        spool = Path(tempfile.mkdtemp(prefix="brinemark-"))
        jobs = visit.desk.jobs
        return GoTo(f"/jobs/{jobs.begin('preview', 'Pages of a report', spool, keep=True, **wanted).id}")
    return GoTo(f"/jobs/{visit.desk.jobs.begin('report', 'Make a report', **wanted).id}")


def one(visit: Visit) -> Answer:
    """A report that was made: the file, its sha256, what it rests on."""
    made = visit.book.record(visit.path["id"])
    if made.kind != "report":
        raise Refused(f"record {made.id[:12]}, a {made.kind}", "the id of a report", "choose one on the page Reports")
    results: Any = made.results
    data = {
        "id": made.id,
        "kind": KINDS.get(made.role, made.role),
        "made_at": made.made_at,
        "pdf": results["pdf"],
        "notes": list(results["notes"]),
        "names": _names(visit, _read(visit), made),
        "parents": len(made.parents),
    }
    return Page("report.html", f"Report {made.id[:12]}", data)


def pdf(visit: Visit) -> Answer:
    """The file itself, shown by the browser, or to save ("save" in the address)."""
    made = visit.book.record(visit.path["id"])
    results: Any = made.results
    if made.kind != "report":
        raise Refused(f"record {made.id[:12]}, a {made.kind}", "the id of a report", "choose one on the page Reports")
    _, body = visit.book.original(results["pdf"])
    return File(body, "application/pdf", f"report-{made.role}-{made.id[:12]}.pdf" if visit.ask("save") else None)


def pages(visit: Visit) -> Answer:
    """The pages of a report that is not made yet."""
    job = visit.desk.jobs.get(visit.path["job"])
    if job is None or job.kind != "preview" or job.state != DONE:
        raise Refused("no such pages", "pages that were drawn since these pages were started", "ask for them again")
    wanted = {key: job.arguments[key] for key in ("of", "names", "decimal")}
    data = {"job": job.id, "count": int(job.answer), "wanted": wanted}
    return Page("report_pages.html", "Pages of a report, not made yet", data)


def page_png(visit: Visit) -> Answer:
    """One of these pages."""
    job = visit.desk.jobs.get(visit.path["job"])
    number = visit.path["number"]
    if job is None or job.spool is None or not number.isdecimal() or not 1 <= int(number) <= int(job.answer or 0):
        raise Refused("no such page", "a page that was drawn", "ask for the pages again")
    return File((job.spool / f"{int(number)}.png").read_bytes(), "image/png")


def _made(visit: Visit) -> list[dict[str, Any]]:
    read = _read(visit)
    return [
        {"id": one.id, "kind": KINDS.get(one.role, one.role), "made_at": one.made_at, "names": _names(visit, read, one)}
        for one in visit.book.reports()[:MOST_SHOWN]
    ]


def _read(visit: Visit) -> dict[str, str]:
    """The sample of every reading, by its id."""
    return {head.id: head.sample for head in visit.desk.kept("heads", visit.book.reading_heads)}


def _names(visit: Visit, read: Mapping[str, str], made: Any) -> list[str]:
    """The consignment, or the samples, that a report is of."""
    if made.role == "consignment":
        interpretation = visit.book.record(dict(made.parents)["interpretation"])
        return [interpretation.role.removeprefix("consignment ")]
    return sorted({read[one] for _, one in made.parents if one in read})
