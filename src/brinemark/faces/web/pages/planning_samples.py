"""The page that plans the next electrode of a sample, or several at once; its address holds all that was asked."""

from __future__ import annotations

import math
from collections import Counter
from typing import TYPE_CHECKING, Any

from brinemark.faces.web.answers import Answer, Page
from brinemark.faces.web.filters import segment
from brinemark.faces.web.looks import calibration_of, rows_of
from brinemark.faces.web.pages import planned
from brinemark.faces.web.pages.samples import READ_ROLES, batch_choices
from brinemark.faces.web.visit import Visit
from brinemark.steps.plan_sample_bench import SampleBench
from brinemark.steps.planned_run import run_of_sample
from brinemark.terms.errors import Refused
from brinemark.terms.making import READY
from brinemark.terms.sample_plans import SampleWish, TooLittleWater

if TYPE_CHECKING:
    from brinemark.outputs.charts import Kind
    from brinemark.steps.plan_sample_answers import PlannedSample

SAMPLE, ONCE = "/plan/sample", "once"
FIELDS = ("sample", "new", "electrodes", "water_mL", "cell_mL", "read", "highest", "lot", "batch")
READ = (("", "as tells most"), (ONCE, "once"))


def form(visit: Visit) -> Answer:
    """The form of a sample and, when it was sent, the plan. A visit stores nothing."""
    entered = planned.given(visit, FIELDS)
    data: dict[str, Any] = {**_choices(visit), "given": entered, "answer": None}
    data |= {"refusal": "", "field": "", "not_possible": ""}
    status = 200
    if any(entered.values()):
        try:
            data |= _answer_data(planned_of(visit), entered)
        except TooLittleWater as little:
            data["not_possible"] = str(little)
        except Refused as refusal:
            data |= {"refusal": refusal.without_place, "field": refusal.column or ""}
            status = 422
    return Page("planning_sample.html", "Plan the next electrode of a sample", data, status)


def planned_of(visit: Visit) -> PlannedSample:
    """The plan that an address asks for, worked out once as long as the logbook does not change. Raises Refused."""
    name, wish = _asked(visit)
    return visit.desk.kept(("plan sample", name, wish), lambda: visit.book.plan_sample(name, wish))


def bench_list(visit: Visit) -> Answer:
    """The plan for the bench, with boxes to tick. Raises Refused."""
    answer = planned_of(visit)
    data = {
        "bench": SampleBench.of(answer).to_dict(),
        "back": planned.address_of(SAMPLE, planned.given(visit, FIELDS)),
    }
    what = "Next electrode" if len(answer.chosen) == 1 else f"Next {len(answer.chosen)} electrodes"
    return Page("planning_sample_print.html", f"{what} of sample {answer.sample}, for the bench", data)


def draw(visit: Visit, kind: Kind) -> bytes:
    """The choices of the plan that the address asks for. Raises Refused."""
    return visit.book.draw_dilutions(planned_of(visit), kind)


def _asked(visit: Visit) -> tuple[str, SampleWish]:
    """The name of a sample and what is wished. Raises Refused."""
    read, new = visit.ask("sample"), visit.ask("new")
    _check_name(visit, read, new)
    way = visit.ask("read")
    if way not in dict(READ):
        raise Refused(f"{way[:60]!r} as a way of reading", f"{ONCE!r}, or nothing", "choose one", column="read")
    wish = SampleWish(
        electrodes=planned.whole_in(visit.ask, "electrodes", 1),
        unread=not read,
        water_mL=_volume(visit, "water_mL") or math.inf,
        cell_mL=_volume(visit, "cell_mL"),
        batch=visit.ask("batch") or None,
        lot=visit.ask("lot") or None,
        highest=planned.number_in(visit.ask, "highest"),
        read_once=way == ONCE,
    )
    return read or new, wish


def _check_name(visit: Visit, read: str, new: str) -> None:
    """A sample that was read, or a new one, and not both: so no slip of the pen makes a new one of one that was."""
    if bool(read) == bool(new):
        came = f"the samples {read[:60]!r} and {new[:60]!r}" if read else "no sample"
        expected = "one that was read, or the name of a new one"
        raise Refused(came, expected, "choose the one or name the other", column="new" if read else "sample")
    known = _names(visit)
    if read and read not in known:
        came = f"no sample {read[:60]!r}"
        raise Refused(came, "a sample of a run sheet", "choose it, or name a new one", column="sample")
    if new in known:
        raise Refused(f"{new!r}, of which something was read", "a new name", "choose it from the list", column="new")


def _volume(visit: Visit, name: str) -> float | None:
    value = planned.number_in(visit.ask, name)
    if value is not None and not (math.isfinite(value) and value > 0.0):
        raise Refused(f"{value:g} mL", "a volume above 0", "fill it in, or leave it empty", column=name)
    return value


def _names(visit: Visit) -> set[str]:
    """Samples and controls of the run sheets."""
    return {row.row.sample for row in rows_of(visit.desk) if row.row.role in READ_ROLES and row.row.sample}


def _choices(visit: Visit) -> dict[str, Any]:
    """What the form offers. A control is no sample to plan for, unless one asks for it."""
    report, _ = calibration_of(visit.desk)
    asked = visit.ask("sample")
    rows = [row.row for row in rows_of(visit.desk)]
    samples = {row.sample for row in rows if row.role == "sample" and row.sample}
    samples |= {asked} & _names(visit)
    batches = {one.name for one in visit.desk.kept("batches in order", visit.book.batches) if one.count(READY)}
    batches |= set() if report is None else set(report.calibration.readings.batch)
    return {
        **planned.choices(visit),
        "samples": sorted(samples),
        "sample_page": f"/samples/{segment(asked)}" if asked in samples else "",
        "read_choices": [list(one) for one in READ],
        "lots": sorted(visit.settings.lot),
        "batches": [["", "newest of the calibration"], *map(list, batch_choices(visit, batches)[1:])],
    }


def _answer_data(answer: PlannedSample, entered: dict[str, str]) -> dict[str, Any]:
    """What the page says of a plan."""
    made = set(answer.made())
    return {
        "answer": answer.to_dict(),
        "rows": _rows(answer),
        "remarks": [text for text in answer.remarks() if text not in made],
        "bench": SampleBench.of(answer).to_dict(),
        "otherwise": len({row.additions for row in answer.chosen}) > 1,
        "picture": planned.address_of("/pictures/dilutions.svg", entered),
        "print": planned.address_of(f"{SAMPLE}/print", entered),
        "lay_out": planned.run_address(run_of_sample(answer)),
    }


def _rows(answer: PlannedSample) -> list[dict[str, Any]]:
    """Every choice, with a mark at those that the plan names and at those that are as good."""
    named = Counter((row.dilution, row.way) for row in answer.chosen)
    found = []
    for plain, row in zip(answer.to_dict()["rows"], answer.rows, strict=True):
        count = named[row.dilution, row.way]
        alike = row.alike and answer.together is None
        found.append({**plain, "electrodes": count, "as_good": alike and not count})
    return found
