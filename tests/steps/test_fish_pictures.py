"""Charts of tanks and consignments are drawn from what their interpretation says, and from nothing else."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from brinemark.outputs.charts import consignment_overview, moves_chart, tank_timeline, weights_chart
from brinemark.steps.fish_answers import ConsignmentAnswer
from brinemark.steps.fish_pictures import (
    SEVERAL,
    consignment_picture,
    moves_of,
    stated_of,
    timeline_of,
    weight_bar,
    weights_picture,
)
from brinemark.steps.interpret import FishDesk, considered
from brinemark.terms.evidence import Cap, Rate, Weight
from brinemark.terms.fish_pictures import TankTimeline
from fish_bench import consignment, controls, desk, lognormal_signals

BACKGROUND = lognormal_signals(8, 0.5, 1.6)
SIGNALS = {**BACKGROUND, "A-1": 6.0, "A-2": 4.0, "B-1": 0.1, "F": 0.0, "S": 0.2}
TABLE = """
2031-07-01T08:00 catch fish=wrasse count=2 mass_g=20 at_u_d=0.2
2031-07-02T08:00 filled tank=A volume_L=4 system=harbour near=outflow
2031-07-02T08:00 filled tank=B volume_L=30 system=harbour
2031-07-02T09:00 in tank=A fish=wrasse carried_L=0.05
2031-07-02T20:00 renewed tank=A share=0.5
2031-07-03T09:00 sample tank=A sample=A-1
2031-07-03T10:00 out fish=wrasse count=1 dead=yes
2031-07-03T12:00 sample tank=A sample=A-2
2031-07-03T13:00 in tank=B fish=wrasse
2031-07-04T13:00 sample tank=B sample=B-1
2031-07-03T09:05 blank blank=field sample=F
2031-07-02T07:00 blank blank=source_water system=harbour sample=S
"""


@pytest.fixture(scope="module")
def found() -> FishDesk:
    return desk([consignment("K", TABLE), controls("harbour", 8)], SIGNALS)


@pytest.fixture(scope="module")
def answer(found: FishDesk) -> ConsignmentAnswer:
    return considered(found, "K")


def timeline(found: FishDesk, answer: ConsignmentAnswer, tank: str = "A") -> TankTimeline:
    one = answer.tank(tank)
    assert one is not None
    return timeline_of(found, answer.name, one)


def test_bands_pass_through_the_levels_that_the_interpretation_expects(
    found: FishDesk, answer: ConsignmentAnswer
) -> None:
    picture, tank = timeline(found, answer), answer.tank("A")
    assert tank is not None
    days = {one.name: one.day for one in picture.samples}
    for band, world in zip(picture.worlds, tank.worlds, strict=True):
        assert band.world == world.world
        for one in world.expected:
            for line, level in (
                (band.outer_lower, one.lower),
                (band.median, one.median),
                (band.outer_upper, one.upper),
            ):
                # Between two of the grid's times the course is nearly straight: 2 % of the level is a wide tolerance.
                assert np.interp(days[one.sample], band.day, line) == pytest.approx(level, rel=0.02, abs=1e-12)


def test_bands_rise_from_fish_in_and_drop_by_half_when_half_the_water_is_renewed(
    found: FishDesk, answer: ConsignmentAnswer
) -> None:
    picture = timeline(found, answer)
    released = picture.worlds[0]
    days = {one.kind: one.day for one in picture.events}
    before = released.day < days["fish in"] - 1e-9
    assert before.any() and not released.outer_upper[before].any()
    at = int(np.argmin(np.abs(released.day - days["renewed"])))
    assert released.median[at] == pytest.approx(0.5 * released.median[at - 1], rel=1e-3)
    assert not picture.worlds[1].median.any()  # nothing is released there


def test_fish_that_die_or_go_to_another_tank_are_among_the_events(found: FishDesk, answer: ConsignmentAnswer) -> None:
    told = [(one.kind, one.words) for one in timeline(found, answer).events]
    assert ("fish in", "2 wrasse, 0.05 L along") in told
    assert ("fish out", "1 wrasse dead") in told and ("fish out", "wrasse to B") in told
    assert ("renewed", "50 %") in told
    assert all("dead" not in words for _, words in [(o.kind, o.words) for o in timeline(found, answer, "B").events])


def test_days_count_from_the_capture_unless_fish_were_caught_at_several_moments(
    found: FishDesk, answer: ConsignmentAnswer
) -> None:
    picture = timeline(found, answer)
    assert picture.capture_d == pytest.approx(0.0) and picture.capture_u_d == 0.2
    more = "2031-06-30T08:00 catch fish=tang count=1 mass_g=9\n2031-07-02T09:30 in tank=A fish=tang"
    two = desk([consignment("K", TABLE + more)], SIGNALS)
    both = timeline(two, considered(two, "K"))
    assert both.capture_d is None and SEVERAL in both.notes


def test_a_water_that_was_kept_too_long_states_a_lower_limit_or_nothing() -> None:
    late = desk([consignment("K", TABLE)], SIGNALS, hold_h=2.0)
    high, none = stated_of(late.waters["A-1"]), stated_of(late.waters["B-1"])
    assert high is not None and high.lower is not None and high.lower > 4.0 and high.upper is None
    assert none is not None and none.statement == "cannot say" and none.reason


def test_the_overview_shows_the_weight_with_the_least_support_for_exposure(answer: ConsignmentAnswer) -> None:
    picture = consignment_picture(answer)
    first, tank = picture.rows[0].weights[0], answer.tanks[0]
    weights = [tank.worlds[0].weight, *tank.worlds[0].against]
    assert len(weights) > 1
    assert first.log10_ratio == min(one.log10_ratio for one in weights if one is not None)
    assert picture.worlds == ("released", "not released")
    assert {one.tank for one in picture.rows} == {"A", "B"}


def test_what_counts_of_a_weight_ends_at_the_cap() -> None:
    rate = Rate(0, 20, 0.0, 0.0, 0.1, 0.95, 1)
    cap = Cap(10.0, 0.2, rate, rate, "captive-bred", False)
    bar = weight_bar("released", Weight("released", "a", "b", 2.5, 2.0, math.inf), cap)
    assert (bar.counted, bar.largest) == (1.0, 1.0) and bar.least == pytest.approx(math.log10(0.2))
    assert bar.log10_ratio == 2.5 and bar.upper == math.inf
    assert weight_bar("released", Weight("released", "a", "b", 0.3, 0.1, 0.5), cap).counted == 0.3
    assert weight_bar("released", None, cap, "no reading").reason == "no reading"
    assert weight_bar("released", Weight("r", "a", "b", -3.0, -4.0, -2.0), replace(cap, floor=0.0)).least is None


def test_every_picture_can_be_drawn(found: FishDesk, answer: ConsignmentAnswer) -> None:
    tank = answer.tanks[0]
    weights = weights_picture(tank, answer.cap, found.scales.scale)
    assert len({bar.world for bar in weights.bars}) == len(weights.bars) > 2
    specs = [tank_timeline(timeline(found, answer)), weights_chart(weights), moves_chart(moves_of(tank))]
    specs.append(consignment_overview(consignment_picture(answer)))
    for spec in specs:
        assert spec["title"]["text"] and spec["description"]


def test_a_tank_without_fish_has_no_bands() -> None:
    bare = desk(
        [consignment("K", "2031-07-02T08:00 filled tank=A volume_L=4\n2031-07-03T08:00 sample tank=A sample=A-1")],
        SIGNALS,
    )
    assert timeline(bare, considered(bare, "K")).worlds == ()
