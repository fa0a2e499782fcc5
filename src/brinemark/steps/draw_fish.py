"""Pictures of consignments, tanks, weights and trials, as they are shown."""

from __future__ import annotations

from typing import Literal

from brinemark.outputs.charts import (
    Kind,
    Spec,
    consignment_overview,
    moves_chart,
    ratio_calibration,
    render,
    roc_chart,
    tank_timeline,
    weights_chart,
)
from brinemark.steps.fish_answers import ConsignmentAnswer, TankAnswer
from brinemark.steps.fish_pictures import (
    consignment_picture,
    minimum_detectable,
    moves_of,
    tank_timeline_picture,
    weights_picture,
)
from brinemark.steps.interpret import verbal_scale
from brinemark.steps.place import Place
from brinemark.steps.trials import TrialAnswer
from brinemark.terms.errors import Refused

TrialChart = Literal["calls", "ratios"]


def draw_tank(place: Place, consignment: str, tank: str, kind: Kind) -> bytes:
    """One tank against time. Raises Refused for unknown names."""
    return render(tank_timeline(tank_timeline_picture(place, consignment, tank)), kind)


def draw_consignment(place: Place, answer: ConsignmentAnswer, kind: Kind) -> bytes:
    """All tanks of an interpretation. Raises Refused when it has none."""
    if not answer.tanks:
        raise Refused(f"consignment {answer.name}, which has no tank", "one with tanks", "record its tanks first")
    with place.database.reading() as reader:
        least = minimum_detectable(place, reader)
    return render(consignment_overview(consignment_picture(answer, least)), kind)


def draw_weights(place: Place, answer: ConsignmentAnswer, tank: str, kind: Kind) -> bytes:
    """What the readings of one tank weigh. Raises Refused for an unknown tank."""
    return render(weights_chart(weights_picture(_tank(answer, tank), answer.cap, verbal_scale(place))), kind)


def draw_moves(answer: ConsignmentAnswer, tank: str, kind: Kind) -> bytes:
    """What moves these weights. Raises Refused for an unknown tank, and where nothing moves them."""
    moves = moves_of(_tank(answer, tank))
    if not moves:
        raise Refused(f"tank {tank}, whose ratio no assumption moves", "a tank with a ratio", "see why on its page")
    return render(moves_chart(moves), kind)


def draw_known_fish(answer: TrialAnswer, world: str, of: TrialChart, kind: Kind) -> bytes:
    """What a trial says of one world: its calls, or its ratios against what was counted. Raises Refused."""
    return render(trial_spec(answer, world, of), kind)


def trial_spec(answer: TrialAnswer, world: str, of: TrialChart) -> Spec:
    """The chart of it. Raises Refused for an unknown world, one without a result, and of ratios without bins."""
    one = next((found for found in answer.worlds if found.world == world), None)
    if one is None or one.result is None:
        came = f"no result of the trial in the world {world!r}"
        raise Refused(came, "a world with tanks of exposed and of unexposed fish", "see the page of trials")
    if of == "ratios" and not one.result.bins:
        raise Refused("a trial without ratios to count", "one with bins of ratios", "judge more tanks")
    return ratio_calibration(one.result) if of == "ratios" else roc_chart(one.result)


def _tank(answer: ConsignmentAnswer, name: str) -> TankAnswer:
    found = answer.tank(name)
    if found is None:
        raise Refused(f"no tank {name!r} in consignment {answer.name!r}", "one that its record fills", "correct it")
    return found
