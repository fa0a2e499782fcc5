"""The pages of plans: what to do with the next batch, the next electrode, and where better making would help."""

from __future__ import annotations

from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from brinemark.faces.web.answers import Answer, GoTo, Page
from brinemark.faces.web.filters import segment
from brinemark.faces.web.looks import rows_of
from brinemark.faces.web.pages import planned
from brinemark.faces.web.visit import Visit
from brinemark.steps.fish_answers import finite
from brinemark.terms.errors import Refused

if TYPE_CHECKING:
    from brinemark.outputs.charts import Kind
    from brinemark.steps.plan_batch_answers import BatchPlanned, PlannedBatch
    from brinemark.steps.what_helps_answers import Helps

JOB, BATCH_JOB = "what helps", "plan batch"
BATCH, HELPS = "/plan/batch", "/plan/what-helps"


def first(visit: Visit) -> Answer:
    """What can be planned."""
    rows = (row.row for row in rows_of(visit.desk))
    samples = sorted({row.sample for row in rows if row.role == "sample" and row.sample})
    return Page("planning.html", "Plan", {**planned.choices(visit), "samples": samples})


def sample(visit: Visit) -> Answer:
    """The part of a sample's page that says what its next electrode is best used for. Raises Refused."""
    name = visit.ask("sample")
    if not any(row.row.sample == name for row in rows_of(visit.desk)):
        raise Refused(f"no sample {name[:60]!r}", "a sample of a run sheet", "choose one on the page Plan")
    return GoTo(f"/samples/{segment(name)}#one-more")


def batch(visit: Visit) -> Answer:
    """The form of a batch and, when it was sent, the plan. It stores nothing, so that its address says it all."""
    entered = planned.given(visit, planned.BATCH_FIELDS)
    data: dict[str, Any] = {**planned.choices(visit), "given": entered, "answer": None, "refusal": "", "field": ""}
    data["long"] = False
    if not any(entered.values()):
        return Page("planning_batch.html", "Plan the next batch", data)
    try:
        answer = batch_of(visit)
        data |= {"long": True} if answer is None else _batch_data(visit, answer)
    except Refused as refusal:
        data |= {"refusal": str(refusal), "field": refusal.column or ""}
        return Page("planning_batch.html", "Plan the next batch", data, 422)
    return Page("planning_batch.html", "Plan the next batch", data)


def batch_of(visit: Visit) -> BatchPlanned | None:
    """The plan that an address asks for; None where that takes a job, and none has done it since the logbook changed.

    Raises Refused.
    """
    asked = planned.Asked.of(visit.ask)
    if asked.is_long:
        job = visit.desk.jobs.last(BATCH_JOB, asked=asked, state=visit.desk.state())
        return None if job is None else job.answer
    return visit.desk.kept(("plan batch", asked), lambda: asked.plan(visit.book))


def begin_batch(visit: Visit) -> Answer:
    """Plan as a job. Raises Refused."""
    asked = planned.Asked.of(visit.get)
    see = planned.address_of(BATCH, {name: visit.get(name) for name in planned.BATCH_FIELDS})
    job = visit.desk.jobs.begin(BATCH_JOB, "Plan of a batch", asked=asked, state=visit.desk.state(), see=see)
    return GoTo(f"/jobs/{job.id}")


def batch_print(visit: Visit) -> Answer:
    """The plan for the bench, with boxes to tick. Raises Refused when there is none that does it."""
    answer = _planned_batch(visit)
    data = {
        "answer": answer.to_dict(),
        "rows": planned.bench_rows(answer.plans[0]),
        "back": planned.address_of(BATCH, planned.given(visit, planned.BATCH_FIELDS)),
    }
    return Page("planning_batch_print.html", "Plan of a batch, for the bench", data)


def draw_batch(visit: Visit, kind: Kind) -> bytes:
    """The trade of the plan that the address asks for. Raises Refused."""
    return visit.book.draw_trade(_planned_batch(visit), kind)


def _planned_batch(visit: Visit) -> BatchPlanned:
    """A plan that is there. Raises Refused."""
    answer = batch_of(visit)
    if answer is None:
        raise Refused("a plan that is not worked out", "one that is", "begin it on its page")
    if not answer.plans:
        raise Refused("a wish without a plan", "one with a plan", f"{answer.reason}")
    return answer


def _batch_data(visit: Visit, answer: BatchPlanned) -> dict[str, Any]:
    asked = planned.given(visit, planned.BATCH_FIELDS)
    data: dict[str, Any] = {"answer": answer.to_dict(), "rows": [], "by_burned": []}
    if answer.plans:
        data |= {
            "rows": [_row(one, one is answer.plans[0]) for one in answer.plans],
            "by_burned": [_row(one, one.plan == answer.plans[0].plan) for one in answer.by_burned],
            "picture": planned.address_of("/pictures/trade.svg", asked),
            "print": planned.address_of(f"{BATCH}/print", asked),
            "lay_out": planned.lay_out_address(visit, answer),
            "bench": planned.bench_rows(answer.plans[0]),
            "otherwise": not answer.plans[0].burned_alike,
        }
    return data


def _row(one: PlannedBatch, chosen: bool) -> dict[str, Any]:
    """A line of the tables."""
    mark = "does not meet the wish" if not one.meets else "chosen" if chosen else "tie" if one.tie else ""
    return {"burned_words": one.burned, "seen": one.dilutions, "mark": mark, **one.to_dict()}


def helps(visit: Visit) -> Answer:
    """The form of what would help and, when a job has worked it out, the answer."""
    entered = planned.given(visit, planned.HELPS_FIELDS)
    data: dict[str, Any] = {**planned.choices(visit), "given": entered, "answer": None, "rows": [], "asked": False}
    if any(entered.values()):
        answer = helps_of(visit)
        data["asked"] = answer is None
        if answer is not None:
            data |= {"answer": answer.to_dict(), "gains": _gains(answer)}
            drawn = any(one["value"] is not None for one in data["gains"])
            data["picture"] = planned.address_of("/pictures/helps.svg", entered) if drawn else ""
    return Page("planning_helps.html", "What would help", data)


def helps_of(visit: Visit) -> Helps | None:
    """The answer that a job has found since the logbook changed, None for none. Raises Refused for bad input."""
    asked = planned.Asked.of(visit.ask)
    job = visit.desk.jobs.last(JOB, asked=asked, state=visit.desk.state())
    return None if job is None else job.answer


def begin_helps(visit: Visit) -> Answer:
    """Work it out, which takes some seconds. Raises Refused."""
    asked = planned.Asked.of(visit.get)
    see = planned.address_of(HELPS, {name: visit.get(name) for name in planned.HELPS_FIELDS})
    job = visit.desk.jobs.begin(JOB, "What would help", asked=asked, state=visit.desk.state(), see=see)
    return GoTo(f"/jobs/{job.id}")


def draw_helps(visit: Visit, kind: Kind) -> bytes:
    """The bars of the answer that the address asks for. Raises Refused."""
    answer = helps_of(visit)
    if answer is None:
        raise Refused("an answer that is not worked out", "one that is", "begin it on its page")
    return visit.book.draw_helps(answer, kind)


def _gains(answer: Helps) -> list[dict[str, Any]]:
    """What each part buys, as the picture shows it."""
    from brinemark.steps.planning_pictures import AXES, helps_bars

    what = AXES[answer.planned.wish.aim]
    return [{"what": what, **finite(asdict(one))} for one in helps_bars(answer)]
