"""What the waters of a consignment say, as several pages ask for it: worked out once, or as a job where it is long."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from brinemark.faces.web.visit import Visit
from brinemark.terms.errors import Refused
from brinemark.terms.tanks import Consignment

if TYPE_CHECKING:
    from brinemark.steps.fish_answers import ConsignmentAnswer, TankAnswer, WaterAnswer
    from brinemark.terms.evidence import Cap, Rate, Weight

JOB = "consider"
MANY = 40
"""With more tanks than that, a consignment is worked out as a job."""


def consignments_of(visit: Visit) -> Mapping[str, Consignment]:
    """Every consignment by name."""
    return visit.desk.kept("consignments", lambda: {one.name: one for one in visit.book.consignments()})


def consignment_of(visit: Visit, name: str) -> Consignment:
    """One consignment. Raises Refused."""
    found = consignments_of(visit).get(name)
    if found is None:
        raise Refused(f"no consignment {name[:60]!r}", "one of the list", "choose one on the page Consignments")
    return found


def tank_name_of(visit: Visit, consignment: Consignment, name: str) -> str:
    """A tank that the record fills. Raises Refused."""
    if name not in consignment.tanks:
        came = f"no tank {name[:60]!r} in consignment {consignment.name}"
        raise Refused(came, "one that its record fills", "choose one on its page")
    return name


def is_long(consignment: Consignment) -> bool:
    """Whether its tanks are too many to be worked out while a browser waits."""
    return len(consignment.tanks) > MANY


def considered(visit: Visit, consignment: Consignment) -> ConsignmentAnswer | None:
    """What all its waters say now; None where that is a job, and none has done it since the logbook changed."""
    name = consignment.name
    if not is_long(consignment):
        return visit.desk.kept(("considered", name), lambda: visit.book.consider(name))
    job = visit.desk.jobs.last(JOB, consignment=name, state=visit.desk.state())
    return None if job is None else job.answer


def considered_tank(visit: Visit, consignment: Consignment, tank: str) -> ConsignmentAnswer:
    """The same of one tank alone, or of all where that is there."""
    whole = considered(visit, consignment) if is_long(consignment) else None
    if whole is not None:
        return whole
    name = consignment.name
    return visit.desk.kept(("considered", name, tank), lambda: visit.book.consider(name, [tank]))


def tank_in(answer: ConsignmentAnswer, tank: str) -> TankAnswer:
    """One tank of an answer, which has it."""
    found = answer.tank(tank)
    if found is None:
        raise Refused(f"no answer about tank {tank!r}", "one of the consignment", "load the page again")
    return found


def most_telling(tank: TankAnswer) -> WaterAnswer | None:
    """Of the waters that were read the one with the highest lower end, else the last; None when none was read."""
    read = [one for one in tank.samples if one.reading is not None]
    return max(read, key=lambda one: (one.lower or 0.0, read.index(one))) if read else None


def weight_dict(weight: Weight) -> dict[str, Any]:
    """A weight as ratios; None for an end that is open or too large to write."""
    ends = {name: ratio_of(getattr(weight, name)) for name in ("lower", "upper")}
    said = weight.lower == weight.upper == weight.log10_ratio == 0.0
    return {"second": weight.second, "ratio": ratio_of(weight.log10_ratio), **ends, "silent": said}


def ratio_of(log10: float) -> float | None:
    """A ratio from its logarithm; None where it is too large to write."""
    return 10.0**log10 if -300.0 < log10 < 300.0 else 0.0 if log10 < 0.0 else None


def cap_dict(cap: Cap) -> dict[str, Any]:
    """What held-out fish of known history support at most and at least, for a sentence."""
    return {
        "ratio": cap.ratio,
        "floor": cap.floor,
        "false": {"count": cap.false_positive.count, "of": cap.false_positive.of},
        "right": {"count": cap.sensitivity.count, "of": cap.sensitivity.of},
        "population": cap.population,
        "caution": cap.caution or "",
        "of_ratios": cap.of_ratios,
    }


def rate_dict(rate: Rate) -> dict[str, Any]:
    """A share with its exact interval."""
    names = ("count", "of", "value", "lower", "upper", "level")
    return {name: getattr(rate, name) for name in names}
