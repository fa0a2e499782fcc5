"""The pages of plans that were kept: all of them, and one for a batch opened again."""

from __future__ import annotations

from typing import TYPE_CHECKING

from brinemark.faces.web.answers import Answer, Page
from brinemark.faces.web.pages import planned
from brinemark.faces.web.visit import Visit
from brinemark.steps.kept_plans import fish_plan_head

if TYPE_CHECKING:
    from brinemark.steps.kept_plans import KeptBatchPlan


def table(visit: Visit) -> Answer:
    """Plans for batches and for consignments, newest first."""
    data = {
        "batch_plans": visit.desk.kept("batch plans", lambda: [one.head() for one in visit.book.batch_plans()][::-1]),
        "fish_plans": visit.desk.kept(
            "fish plans", lambda: [fish_plan_head(one) for one in visit.book.fish_plans()][::-1]
        ),
        "unit": visit.settings.analyte.level_unit,
        "wishes": dict(planned.WISHES),
    }
    return Page("planning_kept.html", "Earlier plans", data)


def batch(visit: Visit) -> Answer:
    """A kept plan for a batch as it was expected then. Raises Refused."""
    kept = _kept(visit)
    address = f"/plan/batch/{kept.id}"
    data = {
        "batch_plan": kept.id,
        "kept_at": kept.kept_at,
        "called": kept.title,
        "runs": [
            {"plan": one.id, "title": one.title, "state": one.state}
            for one in visit.book.run_plans()
            if one.request.plan == kept.id
        ],
        **planned.answer_data(visit, kept.answer, f"/pictures/trade.svg?plan={kept.id}", f"{address}/print", kept.id),
    }
    return Page("planning_batch_kept.html", f"Plan of a batch: {kept.title}", data)


def batch_print(visit: Visit) -> Answer:
    """The same for the bench, with boxes to tick. Raises Refused."""
    kept = _kept(visit)
    return planned.bench_page(kept.answer, f"/plan/batch/{kept.id}")


def _kept(visit: Visit) -> KeptBatchPlan:
    return visit.book.batch_plan(visit.path["id"])
