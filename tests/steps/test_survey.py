"""Surveys over consignments: tanks counted as they were recorded and read, each world by itself, no number for both."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from brinemark.logbook import Logbook
from brinemark.science.fish.kinetics import follow
from brinemark.science.fish.proportions import upper_bound
from brinemark.science.fish.tanks import Fish, History, Move, Resize, Tank
from brinemark.science.fish.worlds import Drawing, draw_world, kinetics_of, published_worlds
from brinemark.steps.known_waters import KnownTank
from brinemark.steps.survey_answers import SurveyAnswer
from brinemark.steps.tested_tanks import ENOUGH_WILD, false_findings
from surveyed import BRED, CONSIGNMENTS, HIGH, at, bank_of, consignment, levels, make_surveyed
from tank_build import Cells, tank_csv


@pytest.fixture(scope="module")
def folder(calibrated_folder: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    root = tmp_path_factory.mktemp("surveyed")
    shutil.copytree(calibrated_folder, root / "book")
    make_surveyed(root / "book", root / "sheets")
    return root / "book"


@pytest.fixture(scope="module")
def answer(folder: Path) -> SurveyAnswer:
    with Logbook.open(folder) as book:
        return book.survey()


@pytest.fixture
def surveyed(folder: Path, tmp_path: Path) -> Iterator[Logbook]:
    shutil.copytree(folder, tmp_path / "book")
    with Logbook.open(tmp_path / "book") as book:
        yield book


def test_positives_are_those_whose_stored_reading_has_so_small_a_p(folder: Path, answer: SurveyAnswer) -> None:
    with Logbook.open(folder) as book:
        p = {one.sample: one.reading.detection.p_value for one in book.read(*levels()) if one.reading.detection}
    assert len(p) == len(levels())
    assert {one.name: one.positive for one in answer.consignments} == {
        name: sum(p[bank_of(name, n)] <= answer.alpha for n in range(1, len(one[2]) + 1))
        for name, one in CONSIGNMENTS.items()
    }
    # The invented levels are far above the minimum detectable value or none at all.
    assert {one.name: one.positive for one in answer.consignments} == {
        name: one[2].count(HIGH) for name, one in CONSIGNMENTS.items()
    }


def test_days_volume_origin_and_season_are_those_of_the_record(answer: SurveyAnswer) -> None:
    for one in answer.consignments:
        origin, day, tanks = CONSIGNMENTS[one.name]
        assert (one.origin, one.tested) == (origin, len(tanks))
        assert one.days == pytest.approx(2.0)
        assert one.volume_L == pytest.approx(1.0)  # drained from 2 L before the sample
        assert one.season == {"04": "2031-2", "05": "2031-2", "06": "2031-2", "07": "2031-3"}[day[5:7]]


def test_the_sensitivity_is_that_of_fish_followed_by_hand(answer: SurveyAnswer) -> None:
    world, drawing = published_worlds()[0], Drawing()
    drawn = draw_world(world, drawing)
    fish = Fish("F1", 3, 0.008, drawn["absorbed_dose"])
    events = (Move(1.0, "F1", "T1"), Resize(1.0 + 1.0 / 24.0, "T1", 1.0))
    history = History((Tank("T1", 2.0, filled_d=23.0 / 24.0),), (fish,), events)
    levels_at_two_days = follow(kinetics_of(drawn), history, np.array([2.0])).water_ug_L[:, 0, 0]
    assert answer.power is not None
    expected = float(answer.power.at(levels_at_two_days).mean())
    released, kept = answer.worlds
    assert released.sensitivity == pytest.approx([expected] * len(answer.consignments), rel=1e-6)
    assert kept.sensitivity == pytest.approx([answer.alpha] * len(answer.consignments), rel=1e-6)


def test_one_world_states_a_prevalence_where_the_other_cannot(answer: SurveyAnswer) -> None:
    released, kept = answer.worlds
    north, south = released.statements
    share = sum(level == HIGH for name in ("K1", "K2", "K3") for level in CONSIGNMENTS[name][2]) / 12
    assert north.interval is not None and north.interval.lower <= share <= north.interval.upper
    assert south.estimate is None and "1 consignment, at least 3 are wanted" in (south.reason or "")
    assert [one.estimate for one in kept.statements] == [None, None]
    assert all("positives say nothing of the prevalence" in (one.reason or "") for one in kept.statements)
    assert "not to be averaged" in answer.cautions[0]


def test_captive_bred_fish_tell_the_false_findings_and_do_not_stand_for_wild_ones(answer: SurveyAnswer) -> None:
    false = answer.false_findings
    assert false is not None and answer.known is not None
    assert (false.tested, false.same_population) == (BRED, False)
    assert answer.known.upper == pytest.approx(15 * upper_bound(false.found, BRED))
    assert answer.nominal.mean == pytest.approx(15 * 0.01)
    assert all(any("specificity unknown" in text for text in one.cautions) for one in answer.worlds[0].statements)


def test_the_funnel_and_the_chart_hold_every_consignment_and_season(answer: SurveyAnswer) -> None:
    for world in answer.worlds:
        assert [one.name for one in world.funnel.points] == [one.name for one in answer.consignments]
        assert [(one.origin, one.season) for one in world.chart] == [("north bank", "2031-2"), ("south cay", "2031-3")]
    assert answer.worlds[0].funnel.centre == pytest.approx(answer.positive / answer.tested)
    assert answer.worlds[1].funnel_prevalence == 0.0  # none can be stated there


def other(changes: dict[str, str] | None = None, **lot: str) -> list[Cells]:
    """One tank of consignment K9 with one sample that was read: K1-W1 stands in for it under another record."""
    rows = list(consignment("K9", "2031-04-01", 1, **{"origin": "north bank", "history": "unknown", **lot}))
    return [*rows, {"consignment": "K9", **changes}] if changes else rows


@pytest.mark.parametrize(
    ("rows", "words"),
    [
        (other(), "no sample of it was read with an outcome"),
        (
            other({"what": "spiked", "at": at("2031-04-01", 30), "tank": "T1", "amount_ug": "5"}),
            "thiocyanate was put into it on purpose",
        ),
        (
            [
                *other(),
                *list(consignment("K9", "2031-04-01", 2, origin="hatchery", history="captive-bred"))[5:6],
                {"consignment": "K9", "what": "in", "at": at("2031-04-01", 26), "tank": "T1", "fish": "F2"},
            ],
            "several histories",
        ),
        (other()[:-1], "no sample was taken"),
    ],
)
def test_tanks_that_do_not_count_are_named_with_the_reason(surveyed: Logbook, rows: list[Cells], words: str) -> None:
    surveyed.add_tanks(("more.csv", tank_csv(rows).encode()))
    answer = surveyed.survey()
    assert answer.tested == 15
    (one,) = answer.not_counted
    assert (one.consignment, one.tank) == ("K9", "T1")
    assert words in one.reason


def test_fish_of_several_origins_in_one_tank_do_not_count(surveyed: Logbook) -> None:
    """The read sample of K4's first tank, after fish of another origin came into it."""
    more = [
        {"consignment": "K4", "what": "catch", "at": at("2031-07-01", 1), "fish": "G", "count": "1", "mass_g": "8",
         "origin": "north bank", "history": "unknown"},
        {"consignment": "K4", "what": "in", "at": at("2031-07-01", 25), "tank": "T1", "fish": "G"},
    ]  # fmt: skip
    surveyed.add_tanks(("more.csv", tank_csv(more).encode()))
    answer = surveyed.survey()
    assert [(one.consignment, one.tank) for one in answer.not_counted] == [("K4", "T1")]
    assert "north bank 2031-3, south cay 2031-3" in answer.not_counted[0].reason
    assert next(one for one in answer.consignments if one.name == "K4").tested == 2


def test_a_logbook_without_tests_says_so_and_needs_no_calibration(book: Logbook) -> None:
    answer = book.survey()
    assert (answer.tested, answer.worlds, answer.power) == (0, (), None)
    assert answer.reason is not None and "no tank" in answer.reason


def test_enough_wild_tanks_stand_alone_and_few_do_not() -> None:
    from dataclasses import replace
    from datetime import UTC, datetime

    from brinemark.steps.fish_answers import WaterAnswer

    water = WaterAnswer("W", "sample", "T", datetime(2031, 4, 1, tzinfo=UTC), "", found=False)
    bred = KnownTank("C", "T", "line", "unexposed", "captive-bred", True, water)
    wild = replace(bred, population="wild unexposed", water=replace(water, found=True))
    few = false_findings([bred] * 20 + [wild] * (ENOUGH_WILD - 1))
    assert few is not None
    assert (few.found, few.tested, few.same_population) == (ENOUGH_WILD - 1, 19 + ENOUGH_WILD, False)
    many = false_findings([bred] * 20 + [wild] * ENOUGH_WILD)
    assert many is not None
    assert (many.found, many.tested, many.same_population) == (ENOUGH_WILD, ENOUGH_WILD, True)
    assert false_findings([replace(bred, fish=False), replace(bred, kind="exposed"), replace(bred, water=None)]) is None
