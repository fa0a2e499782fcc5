"""The pages of plans: what to do with the next batch, and where better making would help."""

from __future__ import annotations

from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from brinemark.faces.web.answers import Answer, GoTo, Page
from brinemark.faces.web.pages import planned
from brinemark.faces.web.visit import Visit
from brinemark.steps.fish_answers import finite
from brinemark.terms.errors import Refused

if TYPE_CHECKING:
    from brinemark.outputs.charts import Kind
    from brinemark.steps.plan_batch_answers import BatchPlanned
    from brinemark.steps.what_helps_answers import Helps

JOB, BATCH_JOB = "what helps", "plan batch"
BATCH, HELPS = "/plan/batch", "/plan/what-helps"


def first(visit: Visit) -> Answer:
    """What can be planned."""
    return Page("planning.html", "Plan", planned.choices(visit))


def batch(visit: Visit) -> Answer:
    """The form of a batch and, when it was sent, the plan. A visit stores nothing: its address says it all."""
    entered = planned.given(visit, planned.BATCH_FIELDS)
    data: dict[str, Any] = {**planned.choices(visit), "given": entered, "answer": None, "refusal": "", "field": ""}
    data["long"] = False
    if not any(entered.values()):
        return Page("planning_batch.html", "Plan the next batch", data)
    try:
        answer = batch_of(visit)
        data |= {"long": True} if answer is None else _batch_data(visit, answer)
        data["here"] = visit.with_asked()
    except Refused as refusal:
        data |= {"refusal": refusal.without_place, "field": refusal.column or ""}
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


def send_batch(visit: Visit) -> Answer:
    """Keep the plan that the address asks for, or plan as a job. Raises Refused."""
    if visit.get("do") == "keep":
        kept = visit.book.keep_batch_plan(_planned_batch(visit), visit.get("title"))
        return GoTo(f"{BATCH}/{kept.id}", "" if kept.new else "This plan was kept already; nothing changed.")
    return _begin_batch(visit)


def _begin_batch(visit: Visit) -> Answer:
    asked = planned.Asked.of(visit.get)
    see = planned.address_of(BATCH, {name: visit.get(name) for name in planned.BATCH_FIELDS})
    job = visit.desk.jobs.begin(BATCH_JOB, "Plan of a batch", asked=asked, state=visit.desk.state(), see=see)
    return GoTo(f"/jobs/{job.id}")


def batch_print(visit: Visit) -> Answer:
    """The plan for the bench, with boxes to tick. Raises Refused when there is none that does it."""
    return planned.bench_page(
        _planned_batch(visit), planned.address_of(BATCH, planned.given(visit, planned.BATCH_FIELDS))
    )


def draw_batch(visit: Visit, kind: Kind) -> bytes:
    """The trade of the plan that the address asks for, or names where it is kept. Raises Refused."""
    kept = visit.ask("plan")
    return visit.book.draw_trade(visit.book.batch_plan(kept).answer if kept else _planned_batch(visit), kind)


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
    printed = planned.address_of(f"{BATCH}/print", asked)
    return planned.answer_data(visit, answer, planned.address_of("/pictures/trade.svg", asked), printed)


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
