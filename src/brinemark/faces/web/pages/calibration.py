"""The page Calibration: what electrodes give, what is weak, limits, the population behind it."""

from __future__ import annotations

from typing import Any
from urllib.parse import urlencode

from brinemark.faces.web.answers import Answer, GoTo, Page
from brinemark.faces.web.looks import calibration_of, rows_of
from brinemark.faces.web.numbers import scaled
from brinemark.faces.web.visit import Visit
from brinemark.terms.errors import Refused
from brinemark.terms.wording import DOUBTFUL, MEANINGS

MOST_PANELS = 9  # more batches than this on one picture cannot be told apart
MOST_RESIDUALS = 60  # of so many batches residuals are worked out in a few seconds


def show(visit: Visit) -> Answer:
    report, why = calibration_of(visit.desk)
    if report is None:
        return Page("calibration.html", "Calibration", {"none": why})
    data = visit.desk.kept("calibration page", lambda: _data(visit, report))
    batches = data["calibration"]["electrodes"]["batches"]
    batch = visit.ask("batch")
    if batch and batch not in batches:
        raise Refused(f"no batch {batch!r} in this calibration", f"one of {', '.join(batches)}", "choose one of them")
    shown = [batch] if batch else _newest(visit, batches, MOST_PANELS)
    judged = [batch] if batch else _newest(visit, batches, MOST_RESIDUALS)
    more = {
        "fan": _picture("calibration", report.id, shown),
        "residuals": _picture("residuals", report.id, judged),
        "judged": len(judged),
        "batch": batch,
        "newest_only": len(shown) < len(batches),
    }
    return Page("calibration.html", "Calibration", {**data, **more})


def _picture(name: str, calibration: str, batches: list[str]) -> str:
    return f"/pictures/{name}.svg?{urlencode([('calibration', calibration), *(('batch', one) for one in batches)])}"


def begin(visit: Visit) -> Answer:
    job = visit.desk.jobs.begin("calibrate", "Calibrate")
    return GoTo(f"/jobs/{job.id}")


def _newest(visit: Visit, batches: list[str], most: int) -> list[str]:
    """All batches, or those that were measured last."""
    last: dict[str, Any] = {}
    for row in rows_of(visit.desk):
        one = row.row
        if one.batch in batches:
            last[one.batch] = max(one.measured_at, last.get(one.batch, one.measured_at))
    newest = sorted(last, key=lambda name: last[name])[-most:]
    return [name for name in batches if name in newest]


def _data(visit: Visit, report: Any) -> dict[str, Any]:
    plain = report.to_dict()
    decision = visit.settings.decision
    made = visit.book.calibrations()
    return {
        "none": "",
        "calibration": plain,
        "population": [_population(one) for one in plain["population"]],
        "films": [one for one in plain["films"] if one["low"] + one["high"] >= DOUBTFUL],
        "fit": f"/pictures/fit.svg?calibration={report.id}" if plain["fit"] else "",
        "decision": {"alpha": decision.alpha, "beta": decision.beta, "max_fold": decision.max_fold},
        "waiting": _waiting(visit, report, plain),
        "earlier": [{"id": one.id, "made_at": one.made_at} for one in made if one.id != report.id][:20],
    }


def _population(entry: dict[str, Any]) -> dict[str, Any]:
    """A summary in the prefix of its unit that suits it."""
    factor, unit = scaled(entry["unit"], [entry[name] for name in ("median", "lower", "upper")])
    ends = {name: entry[name] * factor for name in ("median", "lower", "upper")}
    return {"name": MEANINGS.get(entry["name"], entry["name"]), "unit": "" if unit == "1" else unit, **ends}


def _waiting(visit: Visit, report: Any, plain: dict[str, Any]) -> str:
    """Says when blanks and standards were added since."""
    known = set(report.calibration.readings.electrode)
    left_out = {entry.get("electrode") for entry in plain["electrodes"]["left_out"]}
    rows = [row.row for row in rows_of(visit.desk)]
    others = {row.electrode for row in rows if row.role in ("sample", "control")}
    new = {row.electrode for row in rows} - known - left_out - others
    if not new:
        return ""
    return f"{len(new)} electrodes with blanks and standards are not in it: calibrate anew to use them."
