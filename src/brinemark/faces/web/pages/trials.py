"""The page of trials: how the method did on tanks of fish whose history is known."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any
from urllib.parse import urlencode

from brinemark.faces.web.answers import Answer, GoTo, Page
from brinemark.faces.web.pages.considered import cap_dict, rate_dict
from brinemark.faces.web.visit import Visit
from brinemark.terms.errors import Refused

if TYPE_CHECKING:
    from brinemark.steps.trials import JudgedTank, TrialAnswer, WorldTrial


def trial_of(visit: Visit) -> tuple[TrialAnswer | None, str]:
    """The trial as it would be judged now, or None and why there is none."""

    def look() -> tuple[TrialAnswer | None, str]:
        try:
            return visit.book.consider_trials(), ""
        except Refused as refusal:
            return None, str(refusal)

    return visit.desk.kept("trial", look)


def show(visit: Visit) -> Answer:
    """Rates, charts and ratios of the trial as it stands."""
    answer, why = trial_of(visit)
    if answer is None:
        return Page("trials.html", "Trials", {"none": why})
    return Page("trials.html", "Trials", visit.desk.kept("trial page", lambda: _data(visit, answer)))


def keep(visit: Visit) -> Answer:
    """Keep the trial; interpretations use it from then on."""
    job = visit.desk.jobs.begin("judge", "Keep the trial")
    return GoTo(f"/jobs/{job.id}")


def _data(visit: Visit, answer: TrialAnswer) -> dict[str, Any]:
    return {
        "none": "",
        "trial": answer.to_dict(),
        "kept": visit.book.kept_trial(),
        "alpha": answer.alpha,
        "rates": [{"history": name, **rate_dict(rate)} for name, rate in answer.rates],
        "specificity": rate_dict(answer.specificity),
        "worlds": [_world(one) for one in answer.worlds],
        "cap": cap_dict(answer.cap),
        "tanks": [_tank(one) for one in answer.tanks],
        "cautions": list(answer.cautions),
    }


def _world(one: WorldTrial) -> dict[str, Any]:
    result = one.result
    data: dict[str, Any] = {"world": one.world, "reason": one.reason, "result": None}
    if result is None:
        return data
    asked = urlencode({"world": one.world})
    line = one.recalibration
    data["result"] = {
        "exposed": result.exposed,
        "unexposed": result.unexposed,
        "area": result.roc.area,
        "threshold": 10.0**result.threshold if abs(result.threshold) < 300.0 else None,
        "sensitivity": rate_dict(result.sensitivity),
        "specificity": rate_dict(result.specificity),
        "cost": result.cost,
        "least_cost": result.least_cost,
        "recalibrated_cost": one.recalibrated_cost,
        "line": None if line is None else {"shift": line.shift, "slope": line.slope},
        "misleading": [
            {"factor": m.factor, "bound": m.bound, "exposed": rate_dict(m.exposed), "unexposed": rate_dict(m.unexposed)}
            for m in result.misleading
        ],
        "calls": f"/pictures/calls.svg?{asked}",
        "ratios": f"/pictures/ratios.svg?{asked}" if result.bins else "",
    }
    return data


def _tank(one: JudgedTank) -> dict[str, Any]:
    ratios = {world: None if value is None else 10.0 ** max(min(value, 300.0), -300.0) for world, value in one.ratios}
    return {
        "consignment": one.consignment,
        "tank": one.tank,
        "history": one.history,
        "kind": one.kind,
        "sample": one.sample,
        "sentence": one.sentence,
        "found": one.found,
        "ratios": ratios,
    }
