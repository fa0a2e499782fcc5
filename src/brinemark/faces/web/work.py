"""What jobs do, in a process of their own. Each kind takes the logbook's folder, its arguments, and a way to tell."""

from __future__ import annotations

import signal
from collections.abc import Callable, Mapping
from multiprocessing.connection import Connection
from multiprocessing.synchronize import Event
from pathlib import Path
from typing import Any, TypeAlias
from urllib.parse import quote

from brinemark.logbook import Logbook
from brinemark.steps.planned_run import run_of_sample
from brinemark.steps.sheet_sources import Uploads
from brinemark.terms.errors import BrinemarkError, Refused, Stopped
from brinemark.terms.findings import Finding
from brinemark.terms.sample_plans import SampleWish

AT_ONCE = 20  # samples between two looks at whether to stop
KEPT_WHEN_STOPPED = {
    "read": "what was read until then is kept",
    "study": "what is finished is kept, and the same study goes on from there",
}
"""What of a job that was stopped stays; of the others nothing does."""
WITH_PROCESSES = frozenset({"study"})
"""Kinds of jobs that start processes of their own."""


class Told:
    """A job's line to the pages."""

    def __init__(self, pipe: Connection, stop: Event) -> None:
        self._pipe, self._stop = pipe, stop

    def step(self, done: int, total: int) -> bool:
        """Tell how far it is; False when it should stop."""
        self._pipe.send({"done": done, "total": total})
        return not self._stop.is_set()

    def now(self, text: str) -> None:
        """Tell what is being done. Raises Stopped when it should stop."""
        self._pipe.send({"said": text})
        if self._stop.is_set():
            raise Stopped(0, 0)


Work: TypeAlias = Callable[[Logbook, Mapping[str, Any], Told], dict[str, Any]]


def calibrate(book: Logbook, _given: Mapping[str, Any], told: Told) -> dict[str, Any]:
    """A new calibration."""
    report = book.calibrate(told.step)
    count = len(report.calibration.readings.electrode)
    made = "made" if report.new else "was there already; nothing changed"
    return {"said": f"calibration {report.id[:12]} of {count} electrodes {made}", "see": "/calibration"}


def read(book: Logbook, given: Mapping[str, Any], told: Told) -> dict[str, Any]:
    """Read some samples, or all."""
    names = list(given.get("samples", ()))
    wanted = names or sorted({row.row.sample for row in book.rows() if row.row.role == "sample" and row.row.sample})
    for place in range(0, len(wanted), AT_ONCE):
        if not told.step(place, len(wanted)):
            raise Stopped(place, len(wanted))
        book.read(*wanted[place : place + AT_ONCE])
    told.step(len(wanted), len(wanted))
    see = f"/samples/{quote(names[0], safe='')}" if len(names) == 1 else "/samples"
    return {"said": f"{len(wanted)} {'sample' if len(wanted) == 1 else 'samples'} read", "see": see}


def verify(book: Logbook, _given: Mapping[str, Any], told: Told) -> dict[str, Any]:
    """Check the file, the audit list, every record and every original, and keep the outcome in the audit list."""
    told.now("checking every record and every original")
    report = book.verify(keep=True)
    findings = [{"what": line} for line in report.faults]
    said = f"{report.entries} entries, {report.records} records, {report.originals} originals: "
    said += "all is sound" if report.sound else f"{len(findings)} faults; the logbook is not sound"
    return {"said": said, "see": "/audit", "findings": findings}


def take_in(book: Logbook, given: Mapping[str, Any], told: Told) -> dict[str, Any]:
    """A run sheet with its uploaded files: all of it when every row is right, else every finding and nothing stored."""
    files = [(name, Path(path)) for name, path in given["files"]]
    source = Uploads(given["called"], Path(given["sheet"]).read_bytes(), files)
    told.now("looking the sheet and its files through")
    checked = book.check_sheet(source, given.get("corrects"), given.get("reason"), told.step)
    remarks = [{"where": "remark", "what": text} for text in checked.remarks]
    if not checked.sound:
        findings = [{"where": _where(one), "what": _what(one)} for one in checked.findings]
        said = f"{len(findings)} {'finding' if len(findings) == 1 else 'findings'}; nothing was stored"
        return {"state": "refused", "said": said, "findings": [*findings, *remarks]}
    told.now("storing")
    added = book.keep(checked, told.step)
    return {"said": str(added), "see": f"/runs/{added.sheet}", "findings": remarks}


def _where(one: Finding) -> str:
    places = (None if one.row is None else f"row {one.row}", one.column)
    return ", ".join(place for place in places if place)


def _what(one: Finding) -> str:
    return f"{one.came}; expected {one.expected}; {one.remedy}"


def controls(book: Logbook, _given: Mapping[str, Any], told: Told) -> dict[str, Any]:
    """Whether the runs count."""
    told.now("reading blanks and controls of every run")
    reports = [report.to_dict() for report in book.controls()]
    bad = sum(not one["accepted"] for one in reports)
    said = f"{len(reports)} runs judged" + (f", {bad} of them do not count" if bad else "")
    return {"said": said, "see": "/run-controls", "answer": reports}


def one_more(book: Logbook, given: Mapping[str, Any], told: Told) -> dict[str, Any]:
    """What one more electrode would change about a sample; it is told and not stored."""
    told.now("reading the sample together with one more electrode")
    answer = book.one_more(given["sample"], given["batch"] or None)
    see = f"/samples/{quote(given['sample'], safe='')}#one-more"
    told.now("weighing what every dilution is expected to tell")
    return {"said": answer.sentence, "see": see, "answer": {**answer.to_dict(), **_planned(book, given)}}


def _planned(book: Logbook, given: Mapping[str, Any]) -> dict[str, Any]:
    """What the next electrode is best used for, and the run that it asks for; None where nothing can be expected."""
    try:
        planned = book.plan_sample(given["sample"], SampleWish(batch=given["batch"] or None))
    except Refused:
        return {"plan": None, "run": None}
    return {"plan": planned.to_dict(), "run": run_of_sample(planned)}


def what_helps(book: Logbook, given: Mapping[str, Any], told: Told) -> dict[str, Any]:
    """What a better batch would buy; it is told and not stored."""
    told.now("simulating batches, better part by part")
    answer = given["asked"].helps(book)
    return {"said": answer.sentence, "see": given["see"], "answer": answer}


def plan_batch(book: Logbook, given: Mapping[str, Any], told: Told) -> dict[str, Any]:
    """A plan for the next batch; it is told and not stored."""
    told.now("simulating batches, plan by plan")
    answer = given["asked"].plan(book)
    return {"said": answer.sentence, "see": given["see"], "answer": answer}


def study(book: Logbook, given: Mapping[str, Any], told: Told) -> dict[str, Any]:
    """A plan simulated from making to statement, and what was found kept."""
    told.now("simulating the plan")
    answer = book.study(given["plan"], given["workers"], None, told.step)
    found = f"{answer.figures['batches']} batches, {answer.figures['samples']} samples"
    again = f"; {answer.resumed} of the batches were finished before" if answer.resumed else ""
    return {"said": f"{found} simulated{again}", "see": f"/plan/studies/{answer.id}"}


def rank(book: Logbook, given: Mapping[str, Any], told: Told) -> dict[str, Any]:
    """Rank definitions of the signal: all, or those in some windows."""
    study = book.signals(windows=[(low, high) for low, high in given.get("windows", ())], on_work=told.now)
    return {"said": study.verdict, "see": "/curves/definitions"}


def try_window(book: Logbook, given: Mapping[str, Any], told: Told) -> dict[str, Any]:
    """What one definition does on known electrodes, where these are many."""
    told.now("reading blanks, standards and controls")
    named = {name: given[name] for name in ("quantity", "baseline", "sweep")}
    trial = book.try_definition(tuple(given["window"]), **named)
    return {"said": trial.sentences[0], "see": given["see"]}


def report(book: Logbook, given: Mapping[str, Any], told: Told) -> dict[str, Any]:
    """A report, made and kept."""
    told.now("reading, drawing and setting the pages")
    made = book.report(given["of"], *given["names"], decimal=given["decimal"])
    return {"said": f"{made}{'' if made.new else ', which was there already'}", "see": f"/reports/{made.id}"}


def preview(book: Logbook, given: Mapping[str, Any], told: Told) -> dict[str, Any]:
    """The pages that a report would have."""
    told.now("reading, drawing and setting the pages")
    pages = book.report_preview(given["of"], *given["names"], decimal=given["decimal"])
    for number, page in enumerate(pages, start=1):
        (Path(given["into"]) / f"{number}.png").write_bytes(page)
    return {"said": f"{len(pages)} pages", "see": f"/reports/pages/{given['job']}", "answer": len(pages)}


def consider(book: Logbook, given: Mapping[str, Any], told: Told) -> dict[str, Any]:
    """What the waters of a consignment of many tanks say; it is told and not stored."""
    told.now("interpreting the waters of every tank")
    answer = book.consider(given["consignment"])
    return {"said": f"{len(answer.tanks)} tanks", "see": _consignment(given), "answer": answer}


def interpret(book: Logbook, given: Mapping[str, Any], told: Told) -> dict[str, Any]:
    """The same, kept."""
    told.now("interpreting the waters of every tank")
    answer = book.interpret(given["consignment"])
    return {"said": f"kept as record {answer.id[:12]}", "see": _consignment(given)}


def fit_own(book: Logbook, _given: Mapping[str, Any], told: Told) -> dict[str, Any]:
    """Own experiments fitted, and the fit kept."""
    told.now("fitting spiked tanks and tanks of known exposure")
    answer = book.fit_experiments()
    return {"said": f"kept as record {(answer.record or '')[:12]}", "see": "/worlds"}


def survey(book: Logbook, _given: Mapping[str, Any], told: Told) -> dict[str, Any]:
    """What all consignments say together; it is told and not stored."""
    told.now("following the fish of every tank")
    answer = book.survey()
    return {"said": str(answer), "see": "/survey", "answer": answer}


def trial(book: Logbook, _given: Mapping[str, Any], told: Told) -> dict[str, Any]:
    """How the method did on fish of known history; it is told and not stored."""
    told.now("weighing every tank of fish of known history")
    answer = book.consider_trials()
    return {"said": f"{len(answer.tanks)} tanks", "see": "/trials", "answer": answer}


def judge(book: Logbook, _given: Mapping[str, Any], told: Told) -> dict[str, Any]:
    """How the method did on fish of known history, kept."""
    told.now("weighing every tank of fish of known history")
    answer = book.judge_trials()
    return {"said": f"a trial of {len(answer.tanks)} tanks kept as record {answer.id[:12]}", "see": "/trials"}


def _consignment(given: Mapping[str, Any]) -> str:
    return f"/consignments/{quote(given['consignment'], safe='')}"


WORK: dict[str, Work] = {
    "calibrate": calibrate,
    "consider": consider,
    "controls": controls,
    "fit own": fit_own,
    "interpret": interpret,
    "judge": judge,
    "one more": one_more,
    "plan batch": plan_batch,
    "preview": preview,
    "rank": rank,
    "read": read,
    "report": report,
    "study": study,
    "survey": survey,
    "take in": take_in,
    "trial": trial,
    "try": try_window,
    "verify": verify,
    "what helps": what_helps,
}


def kept_when_stopped(kind: str) -> str:
    """What stays of a job that was stopped, in words."""
    return KEPT_WHEN_STOPPED.get(kind, "nothing was stored")


def carry_out(kind: str, folder: str, given: Mapping[str, Any], pipe: Connection, stop: Event) -> None:
    """The whole life of a job's process: open, do, tell how it ended."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is the server's; it stops its jobs itself.
    told = Told(pipe, stop)
    try:
        with Logbook.open(folder) as book:
            pipe.send({"state": "done", **WORK[kind](book, given, told)})
    except Stopped as stopped:
        how_far = f"stopped after {stopped.done} of {stopped.total} steps"
        pipe.send({"state": "stopped", "said": f"{how_far}; {kept_when_stopped(kind)}"})
    except BrinemarkError as refusal:
        pipe.send({"state": "refused", "said": str(refusal)})
    except Exception as fault:
        pipe.send({"state": "failed", "said": f"a fault of the program, {type(fault).__name__}: {fault}"})
    finally:
        pipe.close()
