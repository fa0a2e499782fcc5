"""What the waters of a consignment say of its fish: worlds side by side, other accounts, amounts, negatives."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from dataclasses import replace

import numpy as np
import pytest

from brinemark.science.fish.kinetics import follow
from brinemark.science.fish.mass_balance import EXCLUDED, POSSIBLE
from brinemark.science.fish.tanks import History, Leave
from brinemark.science.fish.wording import NEITHER
from brinemark.science.fish.worlds import Drawing, draw_world, kinetics_of, published_worlds
from brinemark.steps.fish_answers import ConsignmentAnswer, TankAnswer
from brinemark.steps.interpret import FishDesk, considered
from brinemark.steps.tank_history import histories_in, kind_of, story_of
from brinemark.steps.trial_lines import KeptTrial
from brinemark.terms.errors import Refused
from brinemark.terms.evidence import Recalibration
from brinemark.terms.tanks import Consignment
from fish_bench import consignment, controls, desk, lognormal_signals

BACKGROUND = lognormal_signals(8, 0.5, 1.6)
CONVICTING = ("guilty", "cyanide-caught", "caught with cyanide", "was exposed to cyanide", "cyanide found", "illegal")


def one_tank(more: str = "", volume: float = 4.0, near: str = "") -> Consignment:
    """Two fish of 20 g, caught a day before they came into one small tank, sampled after a day; a field blank."""
    table = f"""
    2031-07-01T08:00 catch fish=wrasse count=2 mass_g=20 at_u_d=0.2 {near}
    2031-07-02T08:00 filled tank=A volume_L={volume} system=harbour
    2031-07-02T09:00 in tank=A fish=wrasse carried_L=0.05
    2031-07-03T09:00 sample tank=A sample=A-1
    2031-07-03T09:05 blank blank=field sample=F
    2031-07-02T07:00 blank blank=source_water system=harbour sample=S
    {more}
    """
    return consignment("K", table)


def tank_of(found: FishDesk, name: str = "K", tank: str = "A") -> TankAnswer:
    answer = considered(found, name).tank(tank)
    assert answer is not None
    return answer


def said(answer: TankAnswer) -> str:
    return " ".join([answer.headline, *answer.words]).lower()


def test_each_world_speaks_for_itself_and_one_without_release_says_nothing() -> None:
    found = desk([one_tank(), controls("harbour", 8)], {**BACKGROUND, "A-1": 6.0, "F": 0.0, "S": 0.2})
    released, silent = tank_of(found).worlds
    assert (released.world, silent.world) == ("released", "not released")
    assert released.weight is not None and released.weight.log10_ratio > 0.5
    assert silent.weight is not None
    assert silent.weight.log10_ratio == silent.weight.lower == silent.weight.upper == 0.0
    assert not any("average" in text for text in (*released.told, *silent.told))


@pytest.mark.parametrize("signal", [0.0, 0.4, 2.0, 20.0])
def test_no_reading_moves_a_world_without_release(signal: float) -> None:
    found = desk([one_tank(), controls("harbour", 8)], {**BACKGROUND, "A-1": signal, "F": 0.0, "S": 0.2})
    weight = tank_of(found).worlds[1].weight
    assert weight is not None and weight.log10_ratio == 0.0


def test_without_water_of_known_fish_there_is_a_table_and_no_ratio() -> None:
    found = desk([one_tank()], {"A-1": 6.0, "F": 0.0, "S": 0.2})
    answer = tank_of(found)
    for world in answer.worlds:
        assert world.weight is None and world.table is not None
        assert world.table.least_favourable in world.table.rows
        least = min(row.log10_ratio for row in world.table.rows)
        assert world.table.least_favourable.log10_ratio == least
    assert "no ratio" in answer.headline


def test_fish_that_cannot_hold_so_much_are_excluded_as_the_only_source_also_when_a_ratio_is_high() -> None:
    found = desk([one_tank(volume=400.0), controls("harbour", 8)], {**BACKGROUND, "A-1": 6.0, "F": 0.0, "S": 0.2})
    answer = tank_of(found)
    assert answer.balance is not None and answer.balance.status == EXCLUDED
    least = answer.balance.least
    assert least is not None
    # 5.2 ug/L (lower end 4.8 less the blank) times 400 L over 2.232 x f x 40 g: some 27 mg CN per kg at f = .8
    lower = answer.samples[0].lower
    blank = answer.blanks[0].upper
    assert lower is not None and blank is not None
    assert least.median == pytest.approx((lower - blank) * 400.05 / (2.232 * 0.75 * 0.040) / 1000.0, rel=0.05)
    assert "cannot be the only source" in said(answer)


def test_dead_and_removed_fish_count_in_the_amount() -> None:
    more = "2031-07-02T20:00 out fish=wrasse count=1 dead=yes"
    found = desk([one_tank(more), controls("harbour", 8)], {**BACKGROUND, "A-1": 6.0, "F": 0.0, "S": 0.2})
    answer = tank_of(found)
    assert answer.fish[0].count == 2 and answer.fish[0].dead == 1
    assert answer.balance is not None and answer.balance.status == POSSIBLE


@pytest.mark.parametrize(
    ("near", "more", "field_blank", "account"),
    [
        ("near=sewage_outflow", "", 0.0, "shoreline outflow"),
        ("", "2031-07-03T09:10 sample tank=A sample=A-2 smoker=yes", 0.0, "contamination while sampling"),
        ("", "", 3.0, "contamination while sampling"),
        ("", "2031-07-02T18:00 fed tank=A substance=pellets amount_g=0.3", 0.0, "feed"),
    ],
)
def test_another_account_that_is_open_takes_the_words_away(
    near: str, more: str, field_blank: float, account: str
) -> None:
    """The words of a world are for the account that explains the readings best."""
    found = desk(
        [one_tank(more, near=near), controls("harbour", 30)],
        {**lognormal_signals(30, 0.5, 1.3), "A-1": 3.0, "A-2": 3.1, "F": field_blank, "S": 0.1},
    )
    answer = tank_of(found)
    assert account in dict(answer.open)
    for world in answer.worlds:
        weights = {one.second: one.log10_ratio for one in world.against}
        assert account in weights and world.least is not None and world.least <= weights[account]
        assert NEITHER in answer.headline
    assert not any(word in said(answer) for word in CONVICTING)


def test_words_never_convict_and_a_negative_never_clears() -> None:
    for signal in (0.0, 0.5, 3.0, 30.0, 62.0):
        found = desk([one_tank(), controls("harbour", 8)], {**BACKGROUND, "A-1": signal, "F": 0.0, "S": 0.2})
        answer = considered(found, "K")
        text = said(answer.tanks[0])
        assert not any(word in text for word in (*CONVICTING, "not exposed", "innocent"))
        if signal < 0.1:
            assert "does not show how the fish were caught" in text
        assert any("does not convict" in one for one in answer.cautions)


def test_readings_without_an_end_stay_without_one() -> None:
    found = desk([one_tank(), controls("harbour", 8)], {**BACKGROUND, "A-1": 62.0, "F": 0.0, "S": 0.2})
    answer = tank_of(found)
    assert answer.samples[0].upper is None and answer.samples[0].lower is not None
    json.dumps(considered(found, "K").to_dict(), allow_nan=False)


def test_a_water_that_was_kept_too_long_is_a_lower_limit_and_no_negative() -> None:
    signals = {**BACKGROUND, "A-1": 0.05, "F": 0.0, "S": 0.2}
    fresh = tank_of(desk([one_tank(), controls("harbour", 8)], signals, hold_h=24.0, hours=6.0))
    late = tank_of(desk([one_tank(), controls("harbour", 8)], signals, hold_h=24.0, hours=200.0))
    assert fresh.samples[0].found is False and late.samples[0].found is None
    first, second = fresh.worlds[0].weight, late.worlds[0].weight
    assert second is None or first is None or second.log10_ratio >= first.log10_ratio
    assert any("lower limit" in text for text in (*late.samples[0].remarks, *late.remarks))


def test_the_cap_is_what_tanks_of_known_fish_support() -> None:
    found = desk([one_tank(), controls("harbour", 8)], {**dict.fromkeys(BACKGROUND, 0.02), "A-1": 20.0, "F": 0.0})
    # 0 false of 8: the one-sided upper bound of the rate is 1 - .05^(1/8) = .312; the other side was not tried
    assert found.scales.cap.ratio == pytest.approx(1.0 / (1.0 - 0.05 ** (1.0 / 8.0)), rel=1e-6)
    assert found.scales.cap.caution == "specificity unknown for wild fish"


def test_a_trial_that_was_kept_moves_the_ratio_along_its_line() -> None:
    line = Recalibration(-0.2, 0.5, "captive-bred", 12, 15)
    signals = {**BACKGROUND, "A-1": 6.0, "F": 0.0, "S": 0.2}
    world = tank_of(
        desk([one_tank(), controls("harbour", 8)], signals, trial=KeptTrial("t", {"released": line}))
    ).worlds[0]
    assert world.weight is not None and world.recalibrated is not None
    assert world.recalibrated.log10_ratio == pytest.approx(-0.2 + 0.5 * world.weight.log10_ratio)
    assert world.least == world.recalibrated.log10_ratio
    assert any("12 tanks of exposed" in text for text in world.told)


def test_ratios_of_a_trial_cap_a_ratio_by_how_many_unexposed_tanks_reached_it() -> None:
    """With a background that is always found, found and not found support nothing; ratios of known tanks may."""
    signals = {**BACKGROUND, "A-1": 9.0, "F": 0.0, "S": 0.2}
    plain = desk([one_tank(), controls("harbour", 8)], signals)
    assert plain.scales.cap.ratio < 2.0
    trial = KeptTrial("t", {}, {"released": (np.full(12, 9.0), np.full(30, -0.3))}, "captive-bred", False)
    world = tank_of(desk([one_tank(), controls("harbour", 8)], signals, trial=trial)).worlds[0]
    assert world.cap is not None and world.cap.ratio == pytest.approx(1.0 / (1.0 - 0.05 ** (1.0 / 30.0)), rel=1e-6)
    reached = KeptTrial("t", {}, {"released": (np.full(12, 9.0), np.full(30, 9.0))}, "captive-bred", False)
    world = tank_of(desk([one_tank(), controls("harbour", 8)], signals, trial=reached)).worlds[0]
    assert world.cap is not None and world.cap.ratio == pytest.approx(1.0)


def test_blanks_that_are_missing_are_named() -> None:
    table = """
    2031-07-01T08:00 catch fish=wrasse count=2 mass_g=20
    2031-07-02T08:00 filled tank=A volume_L=4
    2031-07-02T09:00 in tank=A fish=wrasse
    2031-07-02T18:00 fed tank=A substance=pellets amount_g=0.3
    2031-07-03T09:00 sample tank=A sample=A-1 filtration_um=0.2
    """
    answer = tank_of(desk([consignment("K", table)], {"A-1": 0.5}))
    assert [text.split(" blank")[0] for text in answer.missing] == [
        *("no source water", "no field", "no feed leach", "no filter"),
    ]


def test_expected_false_detections_are_counted_at_the_alpha_of_consignments() -> None:
    answer = considered(desk([controls("harbour", 8)], dict.fromkeys(BACKGROUND, 0.02)), "controls")
    assert answer.false_alarms.tested == 8 and answer.false_alarms.found == 0
    assert answer.false_alarms.mean == pytest.approx(0.08)
    assert answer.false_alarms.at_least_one == pytest.approx(1.0 - 0.99**8)


def test_an_unknown_consignment_or_tank_is_refused_in_one_line() -> None:
    found = desk([one_tank()], {})
    with pytest.raises(Refused, match=r"no consignment 'Kk'.*did you mean 'K'"):
        considered(found, "Kk")
    with pytest.raises(Refused, match=r"no tank 'B' in consignment 'K'"):
        considered(found, "K", ["B"])


CHAIN = """
2031-07-01T08:00 catch fish=wrasse count=4 mass_g=20
2031-07-01T08:00 catch fish=tang count=3 mass_g=40
2031-07-01T20:00 filled tank=boat volume_L=100 renewal_L_per_d=30
2031-07-01T21:00 in tank=boat fish=wrasse
2031-07-01T21:30 in tank=boat fish=tang
2031-07-02T10:00 filled tank=A volume_L=20
2031-07-02T10:00 filled tank=B volume_L=30
2031-07-02T12:00 in tank=A fish=wrasse carried_L=0.3
2031-07-02T13:00 in tank=B fish=tang carried_L=0.4
2031-07-02T20:00 renewed tank=A share=0.3
2031-07-03T08:00 out fish=wrasse count=1 dead=yes
2031-07-03T12:00 sample tank=A sample=A-1
2031-07-03T13:00 filled tank=C volume_L=10
2031-07-03T14:00 in tank=C fish=wrasse carried_L=0.2
2031-07-03T15:00 volume tank=A volume_L=15
"""


def test_what_is_followed_for_one_tank_gives_the_level_that_following_everything_gives() -> None:
    """The story of tank A leaves out tank B and C; its water is the same as in the whole consignment's history."""
    whole = consignment("K", CHAIN)
    story = story_of(whole, "A")
    assert {tank.name for tank in story.history.tanks} == {"A", "boat"}
    assert {fish.name for fish in story.history.fish} == {"wrasse"}
    every = story_of(replace(whole, rows=(*whole.rows, *consignment("K", MEETING).rows)), "D")
    assert {tank.name for tank in every.history.tanks} >= {"A", "B", "C", "boat"}
    drawn = draw_world(published_worlds()[0], Drawing(50, 3))
    times = np.array([story.day(row.at) for row in whole.samples_of("A")])
    levels = [water_of_a(one.history, drawn, times) for one in (story, every)]
    # What the tangs would have taken up: .52 L/kg/d, up to 2.6 in the draws, of .12 kg in 100 L for 16 h.
    np.testing.assert_allclose(levels[0], levels[1], rtol=2.6 * 0.12 / 100.0)


def water_of_a(history: History, drawn: Mapping[str, np.ndarray], times: np.ndarray) -> np.ndarray:
    """Of the wrasses alone, exposed to 1 mg CN per kg."""
    fish = tuple(replace(one, dose_mg_kg=1.0 if one.name == "wrasse" else 0.0) for one in history.fish)
    course = follow(kinetics_of(drawn), replace(history, fish=fish), times)
    return np.asarray(course.water_ug_L[:, [tank.name for tank in history.tanks].index("A")])


MEETING = """
2031-07-04T08:00 filled tank=D volume_L=50
2031-07-04T09:00 in tank=D fish=wrasse
2031-07-04T09:10 in tank=D fish=tang
"""


def test_an_uncertain_capture_is_part_of_what_is_expected() -> None:
    sure = consignment("K", "\n".join(CHAIN.strip().splitlines()))
    vague = replace(sure, rows=tuple(replace(row, at_u_d=0.2) if row.what == "catch" else row for row in sure.rows))
    answers: list[ConsignmentAnswer] = [considered(desk([one], {"A-1": 1.0}), "K") for one in (sure, vague)]
    assert {row.at_u_d for row in answers[1].lots} == {0.2}
    spreads = [
        math.log(one.tanks[1].worlds[0].expected[0].upper / one.tanks[1].worlds[0].expected[0].lower) for one in answers
    ]
    assert all(math.isfinite(value) for value in spreads) and spreads[0] != spreads[1]


def test_fish_of_known_history_are_told_apart() -> None:
    known = controls("harbour", 3, "wild_unexposed")
    assert kind_of(known, "C1") == "unexposed" and histories_in(known, "C1") == ("wild unexposed",)
    assert kind_of(one_tank(), "A") == "unknown"
    table = """
    2031-07-01T08:00 catch fish=x count=1 mass_g=9 history=heavy_exposure
    2031-07-01T09:00 filled tank=A volume_L=4
    2031-07-01T10:00 in tank=A fish=x
    """
    trial = consignment("T", table)
    assert kind_of(trial, "A") == "exposed"


def test_fish_that_left_are_followed_out_of_sight() -> None:
    story = story_of(consignment("K", CHAIN), "boat")
    assert {tank.name for tank in story.history.tanks} == {"boat"}
    assert [event.count for event in story.history.events if isinstance(event, Leave)] == [1]


def test_a_field_blank_of_one_tank_says_nothing_of_another_that_was_sampled_later() -> None:
    more = """
    2031-07-02T08:00 filled tank=B volume_L=4 system=harbour
    2031-07-01T08:00 catch fish=tang count=1 mass_g=30
    2031-07-02T09:00 in tank=B fish=tang
    2031-07-05T10:00 sample tank=B sample=B-1
    """
    plain = one_tank(more)
    only_a = replace(plain, rows=tuple(replace(row, tank="A") if row.sample == "F" else row for row in plain.rows))
    for record, accounts in ((plain, []), (only_a, ["contamination while sampling"])):
        found = desk([record, controls("harbour", 8)], {**BACKGROUND, "A-1": 1.0, "B-1": 1.0, "F": 0.0, "S": 0.2})
        assert not tank_of(found).open
        assert [name for name, _ in tank_of(found, tank="B").open] == accounts
        assert ("no field blank was taken" in tank_of(found, tank="B").missing) == bool(accounts)


def test_the_blank_of_the_consignment_itself_stands_for_its_source_water() -> None:
    """A blank of the same system, taken for another consignment weeks before, does not."""
    other = consignment("old", "2031-05-01T07:00 filled tank=Z volume_L=9 system=harbour\n"
                        "2031-05-02T07:00 blank blank=source_water system=harbour sample=Z-S")  # fmt: skip
    signals = {**BACKGROUND, "A-1": 2.0, "F": 0.0, "S": 0.2, "Z-S": 5.0}
    answer = tank_of(desk([one_tank(), other, controls("harbour", 8)], signals))
    assert answer.balance is not None and answer.balance.rise_ug_L > 0.0
    assert {one.sample for one in answer.blanks} == {"S", "Z-S"}
