"""The pages of samples: what is said about each, what it rests on, and the way back."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from typing import Any
from urllib.parse import urlencode

from brinemark.faces.web.answers import Answer, GoTo, Page
from brinemark.faces.web.looks import READINGS, all_rows, calibration_of, rows_of
from brinemark.faces.web.pages.planned import address_of, run_address
from brinemark.faces.web.visit import Visit, sliced
from brinemark.steps.planned_run import portions_of
from brinemark.terms.errors import Refused
from brinemark.terms.making import READY
from brinemark.terms.wording import film_words, probability

READ_ROLES = ("sample", "control")
ONE_MORE = "one more"


def table(visit: Visit) -> Answer:
    """All samples with what was said about each last."""
    found = _overview(visit)
    word = visit.ask("find").casefold()
    wanted = [one for one in found if word in f"{one['sample']} {one['name']}".casefold()] if word else found
    part, shown = sliced(visit, len(wanted))
    report, _ = calibration_of(visit.desk)
    read = [one["reading"]["id"] for one in wanted[part] if one["reading"] and not one["reading"]["old"]]
    strip = f"/pictures/readings.svg?{urlencode([('reading', one) for one in read])}" if len(read) > 1 else ""
    data = {
        "samples": wanted[part],
        "shown": shown,
        "calibrated": report is not None,
        "unread": 0 if report is None else sum(1 for one in found if not one["reading"] or one["reading"]["old"]),
        "strip": strip,
    }
    return Page("samples.html", "Samples", data)


def read_all(visit: Visit) -> Answer:
    """Read those without a reading of the newest calibration; all of them when none is left out."""
    unread = [one["sample"] for one in _overview(visit) if not one["reading"] or one["reading"]["old"]]
    job = visit.desk.jobs.begin("read", "Read the samples", samples=unread)
    return GoTo(f"/jobs/{job.id}")


def one(visit: Visit) -> Answer:
    """One sample: the statement, its picture, its electrodes, and what was said before."""
    name = visit.path["name"]
    rows = [row for row in rows_of(visit.desk) if row.row.sample == name]
    if not rows:
        raise Refused(f"no sample {name!r}", "a sample of a run sheet", "look it up on the page Samples")
    heads = [head for head in _heads(visit) if head.sample == name]
    report, _ = calibration_of(visit.desk)
    data: dict[str, Any] = {
        "sample": name,
        "name": visit.desk.kept("sample names", visit.book.sample_names).get(name, ""),
        "calibrated": report is not None,
        "reading": None,
        "earlier": [head.to_dict() for head in reversed(heads[:-1])],
    }
    if heads:
        data |= visit.desk.kept(("sample", heads[-1].id), lambda: _said(visit, heads[-1].id))
        data["old"] = report is None or heads[-1].calibration != report.id
        data["supposed"] = _supposed(visit, name, heads[-1].id)
        data["planned"] = found = _planned(visit, name, heads[-1].id)
        asked = {"sample": name, "batch": "" if found is None else found["batch"]}
        data["plan"] = address_of("/plan/sample", asked)
        data["print"] = address_of("/plan/sample/print", asked)
        data["choices"] = [] if report is None else batch_choices(visit, set(report.calibration.readings.batch))
    return Page("sample.html", f"Sample {name}", data)


def begin(visit: Visit) -> Answer:
    """Read the sample, or suppose one more electrode for it."""
    name = visit.path["name"]
    if not any(row.row.sample == name for row in rows_of(visit.desk)):
        raise Refused(f"no sample {name!r}", "a sample of a run sheet", "look it up on the page Samples")
    if visit.get("do") == ONE_MORE:
        batch = visit.get("batch")
        job = visit.desk.jobs.begin(ONE_MORE, f"One more electrode for {name}", sample=name, batch=batch)
    else:
        job = visit.desk.jobs.begin("read", f"Read sample {name}", samples=[name])
    return GoTo(f"/jobs/{job.id}")


def _supposed(visit: Visit, name: str, reading: str) -> dict[str, Any] | None:
    """What one more electrode would change, as it was worked out last of this very reading."""
    job = visit.desk.jobs.last(ONE_MORE, sample=name)
    if job is None or job.answer["reading"] != reading:
        return None
    answer = {key: value for key, value in job.answer.items() if key not in ("plan", "run")}
    dilution = answer["best"] or min((row["dilution"] for row in answer["rows"]), default=1.0)
    plain = {"batches": [answer["batch"]], "sample": portions_of([dilution], [name])}
    return {**answer, "lay_out": run_address(job.answer["run"] or plain)}


def _planned(visit: Visit, name: str, reading: str) -> dict[str, Any] | None:
    """What the next electrode is expected to tell, worked out with it."""
    job = visit.desk.jobs.last(ONE_MORE, sample=name)
    return None if job is None or job.answer["reading"] != reading else job.answer["plan"]


def batch_choices(visit: Visit, names: Collection[str]) -> list[tuple[str, str]]:
    """Batches of these names, newest first, with how many of their electrodes are ready; before them none."""
    known = visit.desk.kept("batches in order", visit.book.batches)
    found = [(one.name, one.count(READY)) for one in reversed(known) if one.name in names]
    words = [(name, f"{name} ({ready} ready)" if ready else name) for name, ready in found]
    return [("", "the newest with ready electrodes"), *words]


def _heads(visit: Visit) -> Sequence[Any]:
    return visit.desk.kept("heads", visit.book.reading_heads)


def _overview(visit: Visit) -> list[dict[str, Any]]:
    return visit.desk.kept("samples", lambda: _made_overview(visit))


def _made_overview(visit: Visit) -> list[dict[str, Any]]:
    report, _ = calibration_of(visit.desk)
    newest = {head.sample: head for head in _heads(visit)}
    electrodes: dict[str, list[str]] = {}
    for row in rows_of(visit.desk):
        if row.row.role in READ_ROLES and row.row.sample:
            electrodes.setdefault(row.row.sample, []).append(row.row.electrode)
    names = visit.desk.kept("sample names", visit.book.sample_names)
    return [
        {
            "sample": name,
            "name": names.get(name, ""),
            "electrodes": list(dict.fromkeys(used)),
            "reading": _short(newest.get(name), None if report is None else report.id),
        }
        for name, used in sorted(electrodes.items())
    ]


def _short(head: Any, calibration: str | None) -> dict[str, Any] | None:
    if head is None:
        return None
    said = head.sentence.removeprefix(f"{head.sample}: ")
    return {"id": head.id, "said": said, "made_at": head.made_at, "old": head.calibration != calibration}


def _said(visit: Visit, reading: str) -> dict[str, Any]:
    """Everything about one stored reading."""
    answer = visit.book.reading(reading)
    plain = answer.to_dict()
    rows = _row_ids(visit, [use["electrode"] for use in plain["electrodes"]])
    for use in plain["electrodes"]:
        for line in use["readings"]:
            line["words"] = READINGS.get(line["role"], line["role"])
            line["row_id"] = rows.get((use["electrode"], line["row"]), "")
    found = plain["detection"]
    return {
        "id": reading,
        "reading": plain,
        "sentence": answer.sentence,
        "probability": "" if found is None else probability(found["p_value"], _several(plain)),
        "picture": f"/pictures/readings.svg?reading={reading}",
        "electrodes": plain["electrodes"],
        "lives": [use["electrode"] for use in plain["electrodes"] if len(use["readings"]) > 1],
        "film_words": [film_words(film) for film in answer.reading.films],
        "lines": [line.words(answer.unit) for line in answer.straight_lines],
    }


def _several(plain: Mapping[str, Any]) -> bool:
    return sum(len(use["readings"]) for use in plain["electrodes"] if use["share"] > 0) > 1


def _row_ids(visit: Visit, electrodes: Sequence[str]) -> dict[tuple[str, int], str]:
    """Id of each row with a curve, by electrode and number in its sheet; the newest where a sheet was corrected."""
    wanted = set(electrodes)
    return {
        (row.row.electrode, row.row.number): row.id
        for row in all_rows(visit.desk).values()
        if row.row.electrode in wanted and (row.trace_sha256 or row.prescan_sha256)
    }
