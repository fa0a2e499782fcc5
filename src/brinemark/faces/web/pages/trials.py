"""The page of trials: how the method did on tanks of fish whose history is known."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any
from urllib.parse import urlencode

from brinemark.faces.web.answers import Answer, GoTo, Page
from brinemark.faces.web.pages.considered import cap_dict, consignments_of, rate_dict
from brinemark.faces.web.visit import Visit
from brinemark.steps.fish_answers import finite
from brinemark.steps.tank_history import histories_in, kind_of
from brinemark.terms.errors import Refused

if TYPE_CHECKING:
    from brinemark.steps.trials import JudgedTank, TrialAnswer, WorldTrial


JOB, KEEP = "trial", "keep"
MANY = 20
"""With more tanks of fish of known history than that, the trial is worked out as a job."""


def trial_of(visit: Visit) -> tuple[TrialAnswer | None, str]:
    """The trial as it would be judged now, or None and why there is none."""
    if _tanks(visit) > MANY:
        job = visit.desk.jobs.last(JOB, state=visit.desk.state())
        return (None, "it is not worked out yet") if job is None else (job.answer, "")

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
        waits = _tanks(visit) if _tanks(visit) > MANY else 0
        begun = next((job.id for job in visit.desk.jobs.all() if job.kind == JOB and not job.ended), "")
        return Page("trials.html", "Trials", {"none": why, "waits": waits, "job": begun})
    return Page("trials.html", "Trials", visit.desk.kept("trial page", lambda: _data(visit, answer)))


def begin(visit: Visit) -> Answer:
    """Keep the trial, which interpretations use from then on; or work out a long one."""
    if visit.get("do") == JOB:
        return GoTo(f"/jobs/{visit.desk.jobs.begin(JOB, 'Trials', state=visit.desk.state()).id}")
    if visit.get("do") != KEEP:
        raise Refused(f"{visit.get('do')!r}", f"{KEEP} or {JOB}", "use the buttons of the page", column="do")
    return GoTo(f"/jobs/{visit.desk.jobs.begin('judge', 'Keep the trial').id}")


def _tanks(visit: Visit) -> int:
    """How many tanks hold fish of known history."""
    known = consignments_of(visit).values()
    tanks = [(one, tank) for one in known for tank in one.tanks if histories_in(one, tank)]
    return sum(kind_of(one, tank) != "unknown" for one, tank in tanks)


def _data(visit: Visit, answer: TrialAnswer) -> dict[str, Any]:
    data = {
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
    return finite(data)  # type: ignore[no-any-return]


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
