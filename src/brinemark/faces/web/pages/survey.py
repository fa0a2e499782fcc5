"""The pages of surveys and holds: what many consignments say together, and whether a hold would show anything."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any
from urllib.parse import urlencode

from brinemark.faces.web.answers import Answer, GoTo, Page
from brinemark.faces.web.numbers import number_from
from brinemark.faces.web.pages.considered import MANY, consignments_of
from brinemark.faces.web.visit import Visit
from brinemark.steps.fish_answers import finite
from brinemark.terms.errors import Refused

if TYPE_CHECKING:
    from brinemark.steps.holds import HoldAnswer
    from brinemark.steps.survey_answers import SurveyAnswer, SurveyedWorld

JOB = "survey"
REMARKABLE = 0.002
"""Two-sided p below which a consignment is named as apart from the others."""
LISTS = {"days": "days since capture", "volumes": "volumes", "hours": "hours of the hold"}


def survey_of(visit: Visit) -> SurveyAnswer | None:
    """The survey as it is now; None where that is a job, and none has done it since the logbook changed."""
    if is_long(visit):
        job = visit.desk.jobs.last(JOB, state=visit.desk.state())
        return None if job is None else job.answer
    return visit.desk.kept("survey", visit.book.survey)


def is_long(visit: Visit) -> bool:
    """Whether the tanks of all consignments are too many to follow while a browser waits."""
    return sum(len(one.tanks) for one in consignments_of(visit).values()) > MANY


def show(visit: Visit) -> Answer:
    """What all consignments of fish of unknown history say together, in each world."""
    answer = survey_of(visit)
    if answer is None:
        begun = next((job.id for job in visit.desk.jobs.all() if job.kind == JOB and not job.ended), "")
        return Page("survey.html", "Survey", {"survey": None, "job": begun})
    return Page("survey.html", "Survey", visit.desk.kept("survey page", lambda: _data(answer)))


def begin(visit: Visit) -> Answer:
    """Work a long one out."""
    return GoTo(f"/jobs/{visit.desk.jobs.begin(JOB, 'Survey', state=visit.desk.state()).id}")


def _data(answer: SurveyAnswer) -> dict[str, Any]:
    plain: Mapping[str, Any] = answer.to_dict()
    data = {
        "survey": plain,
        "headline": str(answer),
        "test": "" if answer.power is None else answer.power.words,
        "worlds": [_world(one) for one in answer.worlds],
    }
    return finite(data)  # type: ignore[no-any-return]


def _world(one: SurveyedWorld) -> dict[str, Any]:
    asked = urlencode({"world": one.world})
    apart = [point for point in one.funnel.points if point.p < REMARKABLE]
    names = ("origin", "season", "consignments", "tested", "positive", "estimate", "reason", "sensitivity")
    return {
        "world": one.world,
        "words": one.words,
        "statements": [
            {
                **{name: getattr(said, name) for name in names},
                "interval": None if said.interval is None else list(said.interval),
                "cautions": list(said.cautions),
            }
            for said in one.statements
        ],
        "apart": [{"name": p.name, "share": p.share, "expected": p.expected, "p": p.p} for p in apart],
        "funnel": f"/pictures/funnel.svg?{asked}" if one.funnel.points else "",
        "seasons": f"/pictures/seasons.svg?{asked}" if one.chart else "",
        "sensitivity": list(one.sensitivity),
    }


def holds(visit: Visit) -> Answer:
    """The form of holds and, when it was sent, the chances. It stores nothing, so that its address says it all."""
    entered = {name: visit.ask(name) for name in ("fish", "mass_g", *LISTS)}
    data: dict[str, Any] = {"given": entered, "answer": None, "refusal": "", "field": ""}
    if any(entered.values()):
        try:
            data |= _held(holds_of(visit), visit)
        except Refused as refusal:
            data |= {"refusal": refusal.without_place, "field": refusal.column or ""}
            return Page("holds.html", "Holds", data, 422)
    return Page("holds.html", "Holds", data)


def holds_of(visit: Visit) -> HoldAnswer:
    """The chances that an address asks for. Raises Refused."""
    count, mass = _number(visit, "fish", 1.0), _number(visit, "mass_g", 5.0)
    if count != int(count):
        raise Refused(f"{count:g} fish", "a whole number", "count the fish", column="fish")
    days, volumes, hours = (_numbers(visit, name) for name in LISTS)
    key = ("holds", count, mass, *(None if one is None else tuple(one) for one in (days, volumes, hours)))
    return visit.desk.kept(key, lambda: visit.book.holds(int(count), mass, days=days, volumes_L=volumes, hours=hours))


def _held(answer: HoldAnswer, visit: Visit) -> dict[str, Any]:
    plain: Mapping[str, Any] = answer.to_dict()
    hours = sorted({one.hours for one in answer.worlds[0].places})
    data = {
        "answer": plain,
        "test": answer.power.words,
        "hours": hours,
        "worlds": [
            {
                "world": one.world,
                "words": one.words,
                "false_alarm": one.false_alarm,
                "reason": one.best[0].reason if all(best.hours is None for best in one.best) else None,
                "rows": [
                    {
                        "days": best.days,
                        "volume_L": best.volume_L,
                        "best": best.hours,
                        "chances": [
                            p.probability for p in one.places if (p.days, p.volume_L) == (best.days, best.volume_L)
                        ],
                    }
                    for best in one.best
                ],
            }
            for one in answer.worlds
        ],
        "picture": visit.with_asked().replace("/holds", "/pictures/holds.svg", 1),
    }
    return finite(data)  # type: ignore[no-any-return]


def _number(visit: Visit, name: str, otherwise: float) -> float:
    found = _numbers(visit, name)
    if found is not None and len(found) != 1:
        raise Refused(f"{visit.ask(name)!r}", "one number", "give one", column=name)
    return otherwise if found is None else found[0]


def _numbers(visit: Visit, name: str) -> list[float] | None:
    """Numbers with spaces or semicolons between them, with point or comma; None for an empty field. Raises Refused."""
    words = visit.ask(name).replace(";", " ").split()
    try:
        return [number_from(word) for word in words] or None
    except ValueError:
        expected = "numbers with spaces between them"
        raise Refused(f"{visit.ask(name)[:60]!r}", expected, "write them with digits", column=name) from None
