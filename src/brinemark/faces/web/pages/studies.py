"""The pages of studies: what was simulated, a form to ask for another one, and what one of them found."""

from __future__ import annotations

import json
import os
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from brinemark.faces.web.answers import Answer, File, GoTo, Page
from brinemark.faces.web.jobs import DONE, Job
from brinemark.faces.web.pages import planned, study_form
from brinemark.faces.web.visit import Visit
from brinemark.steps.fish_answers import finite
from brinemark.terms.errors import Refused

if TYPE_CHECKING:
    from brinemark.outputs.charts import Kind
    from brinemark.steps.studied import KeptStudy
    from brinemark.steps.study import StudyAnswer

JOB = "study"
STUDIES = planned.STUDIES


def table(visit: Visit) -> Answer:
    """Every study, those that are under way or were broken off, and the form for another one."""
    made = visit.desk.kept("studies", visit.book.studies)
    choices = planned.choices(visit)
    data = {
        **choices,
        "studies": [_line(one) for one in made],
        "open": _open(visit, {one.id for one in made}),
        "given": planned.given(visit, study_form.FIELDS),
        "ways": [list(one) for one in study_form.WAYS],
        "rises": study_form.usual(visit) if choices["calibrated"] else {},
        "max_fold": visit.settings.decision.max_fold,
        "workers": _spare_cores(),
    }
    return Page("studies.html", "Studies of plans", data)


def begin(visit: Visit) -> Answer:
    """Simulate what the form, or the file, asks for, unless that was done or is being done. Raises Refused."""
    asked = visit.book.ask_study(_plan(visit))
    if asked.made:
        return GoTo(f"{STUDIES}/{asked.id}", "This study was there already; nothing was simulated.")
    workers = planned.whole_in(visit.get, "workers", _spare_cores())
    if not 1 <= workers <= (os.cpu_count() or 1):
        expected = f"1 to {os.cpu_count() or 1}"
        raise Refused(f"{workers} processes", expected, "this computer has no more", column="workers")
    running = next((job for job in _jobs(visit, asked.id) if not job.ended), None)
    if running is not None:
        return GoTo(f"/jobs/{running.id}")
    name = asked.request["title"] or "without a title"
    plan = ("plan.toml", asked.text.encode())
    job = visit.desk.jobs.begin(JOB, f"Study: {name}", study=asked.id, plan=plan, workers=workers)
    return GoTo(f"/jobs/{job.id}")


def one(visit: Visit) -> Answer:
    """What a study was asked and what it found. Raises Refused."""
    found = _kept(visit)
    return Page(
        "study.html",
        f"Study: {found.name}",
        visit.desk.kept(("study page", found.answer.id), lambda: _data(visit, found)),
    )


def file(visit: Visit) -> Answer:
    """The plan as a file for the command, or what was found as data. Raises Refused."""
    found, name = _kept(visit), visit.path["name"]
    if name == "plan.toml":
        return File(found.text.encode(), "application/toml", f"{_stem(found)}.toml")
    if name == "study.json":
        body = json.dumps(found.answer.to_dict(), indent=2, allow_nan=False)
        return File(body.encode(), "application/json", f"{_stem(found)}.json")
    raise Refused(f"{name[:24]!r} of a study", "plan.toml or study.json", "follow a link of its page")


def _stem(found: KeptStudy) -> str:
    """How the files of a study begin."""
    return f"study-{found.answer.id[:12]}"


def draw(visit: Visit, kind: Kind) -> bytes:
    """The picture of the study that the address names. Raises Refused."""
    return visit.book.draw_study(visit.ask("study"), kind)


def _kept(visit: Visit) -> KeptStudy:
    return visit.desk.kept(("study", visit.path["id"]), lambda: visit.book.kept_study(visit.path["id"]))


def _plan(visit: Visit) -> tuple[str, bytes | Mapping[str, object]]:
    """What is asked for: a chosen file, a study that was broken off, or the fields. Raises Refused."""
    files = [one for one in visit.files if one.field == "plan"]
    if files:
        return files[0].name, files[0].body()
    if visit.get("do") == "file":
        raise Refused("no file", "a plan as a TOML file", "choose one", column="plan")
    if visit.get("carried"):
        return "plan.toml", visit.get("carried").encode()
    return "plan", study_form.values_of(visit)


def _spare_cores() -> int:
    """All but one, which the pages and other programs need."""
    return max((os.cpu_count() or 1) - 1, 1)


def _jobs(visit: Visit, study: str) -> list[Job]:
    return [job for job in visit.desk.jobs.all() if job.kind == JOB and job.arguments["study"] == study]


def _open(visit: Visit, made: set[str]) -> list[dict[str, Any]]:
    """Studies asked for since the pages were started that are not made yet, each with its newest job."""
    found: dict[str, dict[str, Any]] = {}
    for job in visit.desk.jobs.all():
        if job.kind == JOB and job.state != DONE and job.arguments["study"] not in made:
            text = job.arguments["plan"][1].decode()
            found.setdefault(job.arguments["study"], {**job.to_dict(), "plan": text})
    return list(found.values())


def _line(one: StudyAnswer) -> dict[str, Any]:
    """A line of the list."""
    from brinemark.steps.studied import asked_words

    names = ("batches", "answered_per_batch", "interval", "false_detections")
    return {
        "id": one.id,
        "title": one.request["title"] or "",
        "made_at": one.made_at,
        "asked": list(asked_words(one.request, one.unit)),
        "max_fold": one.max_fold,
        "figures": {name: one.figures[name] for name in names},
    }


def _data(visit: Visit, found: KeptStudy) -> dict[str, Any]:
    from brinemark.science.planning.study_laboratory import STATEMENTS

    answer = found.answer
    shares = [[{"value": one.value, "error": one.error} for one in kinds] for kinds in found.statements]
    report = planned.choices(visit)["calibration"]
    return {
        **_line(answer),
        "answer": answer.to_dict(),
        "sentence": found.sentence,
        "interval": found.interval,
        "unit": answer.unit,
        "kinds": list(STATEMENTS),
        "statements": finite(shares),
        "text": found.text,
        "file": f"{_stem(found)}.toml",
        "calibration": answer.calibration,
        "newer": answer.calibration is not None and report != answer.calibration,
        "picture": f"/pictures/study.svg?study={answer.id}" if found.statements else "",
        "again": study_form.address_of_request(answer.request),
    }
