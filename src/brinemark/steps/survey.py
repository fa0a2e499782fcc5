"""From the tested tanks of all consignments to prevalence by origin and season, or why none can be stated."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from zoneinfo import ZoneInfo

import numpy as np

from brinemark.science.fish.released import Case, released
from brinemark.science.fish.surveillance import (
    WaterTest,
    expected_false,
    expected_false_at,
    funnel,
    survey,
    time_chart,
)
from brinemark.science.fish.worlds import CAUTIONS, Drawing, World
from brinemark.steps.interpret import fish_desk
from brinemark.steps.known_waters import known_tanks
from brinemark.steps.place import Place
from brinemark.steps.survey_answers import SurveyAnswer, SurveyedConsignment, SurveyedWorld
from brinemark.steps.tested_tanks import CountedTank, false_findings, tanks_of
from brinemark.steps.water_power import WaterPower, water_power
from brinemark.terms.arrays import FloatArray
from brinemark.terms.surveillance import ConsignmentTests, FalseFindings

OF_TANKS = (
    "a test is of a tank: the fish of one tank are taken to have been caught in one way, and a prevalence is one of "
    "tanks"
)
CLEAN_WATER = (
    "the sensitivity is that of fish in clean water read by one electrode; what the source water held, further "
    "electrodes and what was lost between taking and reading are left out"
)
NOT_AVERAGED = "the worlds contradict each other; what one of them states is not to be averaged with another"
NONE_TESTED = "no tank of fish of unknown history was read with an outcome"


def survey_consignments(place: Place) -> SurveyAnswer:
    """Prevalence by origin and season under each world, over consignments whose fish are of unknown history.

    A tank counts once, with its newest sample whose reading says whether thiocyanate was found (p at most alpha).
    Nothing is stored. Raises Refused where there are tests and no calibration that says what they can find.
    """
    with place.database.reading() as reader:
        desk = fish_desk(place, reader)
        known, zone = desk.consignments.values(), ZoneInfo(place.settings.logbook.timezone)
        tanks, left_out = tanks_of(known, desk.waters, zone)
        power = water_power(place, reader) if tanks else None
    false = false_findings(known_tanks(known, desk.waters))
    groups, tested, alpha = _grouped(tanks), len(tanks), desk.rule.alpha
    asked = None if power is None else Asked(power, false, desk.scales.drawing)
    return SurveyAnswer(
        alpha=alpha,
        power=power,
        consignments=tuple(_told(group) for group in groups),
        not_counted=tuple(left_out),
        false_findings=false,
        known=None if false is None else expected_false(tested, false),
        nominal=expected_false_at(tested, alpha),
        worlds=() if asked is None else tuple(_in_world(one, groups, asked) for one in desk.scales.worlds),
        cautions=(NOT_AVERAGED, OF_TANKS, CLEAN_WATER, *CAUTIONS),
        reason=None if tanks else NONE_TESTED,
    )


def _grouped(tanks: Sequence[CountedTank]) -> list[tuple[CountedTank, ...]]:
    """Tanks of one consignment, origin and season together."""
    found: dict[tuple[str, str, str], list[CountedTank]] = {}
    for one in tanks:
        found.setdefault((one.consignment, one.origin, one.season), []).append(one)
    return [tuple(group) for group in found.values()]


def _told(group: Sequence[CountedTank]) -> SurveyedConsignment:
    first = group[0]
    return SurveyedConsignment(
        name=first.consignment,
        origin=first.origin,
        season=first.season,
        tested=len(group),
        positive=sum(one.found for one in group),
        days=float(np.mean([one.days for one in group])),
        volume_L=float(np.mean([one.volume_L for one in group])),
        samples=tuple(one.sample for one in group),
    )


@dataclass(frozen=True, slots=True, eq=False)
class Asked:
    """What both worlds share: power of the electrodes, what is known of false findings, how draws are made."""

    power: WaterPower
    false: FalseFindings | None
    drawing: Drawing


def _in_world(world: World, groups: Sequence[Sequence[CountedTank]], asked: Asked) -> SurveyedWorld:
    tests, names = [], Counter(group[0].consignment for group in groups)
    for group in groups:
        said = _told(group)
        name = said.name if names[said.name] == 1 else f"{said.name}, {said.origin} {said.season}"
        sensitivity = np.mean([chances(world, tank, asked.power, asked.drawing) for tank in group], axis=0)
        tests.append(
            ConsignmentTests(
                name,
                said.origin,
                said.season,
                said.tested,
                said.positive,
                said.days,
                said.volume_L,
                sensitivity=tuple(sensitivity.tolist()),
            )
        )
    test = WaterTest(None, asked.false, asked.drawing.seed)
    statements = survey(tests, test)
    whole = survey([replace(one, origin="", season="") for one in tests], test)[0].estimate or 0.0
    means = tuple(float(np.mean(one.sensitivity)) for one in tests)
    chart, drawn = time_chart(statements), funnel(tests, test, whole)
    return SurveyedWorld(world.name, world.words, statements, chart, drawn, whole, means)


def chances(world: World, tank: CountedTank, power: WaterPower, drawing: Drawing) -> FloatArray:
    """(draws,) of the chance that the sample of a tank shows its fish, had all of them been exposed at capture."""
    story = tank.story
    case = Case(tank.tank, story.fish, story.capture_u_d)
    level = released(world, story.history, case, np.array([tank.sample_d]), drawing).water_ug_L[:, 0]
    return power.at(level)
