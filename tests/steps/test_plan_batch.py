"""Plans of a whole logbook: the committed shape, nothing stored, impossible wishes and what they would need."""

from __future__ import annotations

import pytest

from brinemark.logbook import Logbook
from brinemark.science.amount.simulate import PRESCAN_AND_SPIKE, SINGLE
from brinemark.science.planning.figures import Figure, PlanFigures
from brinemark.science.planning.plans import BatchPlan, Burned, Use
from brinemark.steps.plan_batch_answers import BURNED_WAYS, PlannedBatch
from brinemark.terms.errors import Refused

from .test_read_step import valid


def state(book: Logbook) -> tuple[str, int]:
    return book.audit_head(), len(book.reading_heads())


def test_a_plan_has_the_committed_shape_and_stores_nothing(calibrated: Logbook) -> None:
    before = state(calibrated)
    answer = calibrated.plan_batch(4, levels=[1.0, 2.0])
    plain = valid("plan-batch", answer.to_dict())
    assert state(calibrated) == before
    assert plain["wish"] == {"aim": "answers", "levels": [1.0, 2.0], "samples": 1, "minimum_detectable": None}
    assert len(plain["plans"]) > 3 and plain["plans_tried"] > len(plain["plans"])
    assert [len(one["burned"]) for one in plain["by_burned"]] == [0, 1, 2, 3]
    for one in plain["plans"]:
        assert one["electrodes_left"] == 4 - len(one["burned"])
    assert any("costs are not set" in text for text in answer.remarks())


def test_costs_of_the_settings_are_counted(calibrated: Logbook) -> None:
    calibrated.change_settings({"costs.electrode": 12.0, "costs.hour": 5.0, "costs.currency": "EUR"}, "prices")
    answer = calibrated.plan_batch(2, levels=[1.0])
    assert answer.costs_set and answer.currency == "EUR"
    assert not any("costs are not set" in text for text in answer.remarks())
    for one in answer.plans:
        assert one.figures.cost == pytest.approx(24.0 + 5.0 * 0.25 * one.plan.dips)


def planned(ways: dict[float, str]) -> PlannedBatch:
    """A plan whose samples are read with pre-scan and spike, its burned electrodes as said."""
    protocols = {"single": SINGLE, "pre-scan and spike": PRESCAN_AND_SPIKE}
    burned = tuple(Burned(level, protocols[way]) for level, way in ways.items())
    none = Figure(0.0, 0.0)
    figures = PlanFigures(BatchPlan(6, burned, Use(PRESCAN_AND_SPIKE)), (), (), (), none, none, none, 0.0, 0.0)
    return PlannedBatch(figures, "pre-scan and spike", tuple(ways.values()), True, True)


@pytest.mark.parametrize(
    ("ways", "words"),
    [
        ({}, "none"),
        ({0.0: "pre-scan and spike", 2.0: "pre-scan and spike"}, "blank, 2 ug/L"),
        ({0.0: "single", 2.0: "single"}, "blank, 2 ug/L once"),
        ({0.0: "single", 2.0: "pre-scan and spike"}, "blank once; 2 ug/L with pre-scan and spike"),
        ({0.5: "single", 0.0: "pre-scan and spike", 8.0: "single"}, "0.5, 8 ug/L once; blank with pre-scan and spike"),
    ],
)
def test_how_burned_electrodes_are_read_is_said_where_samples_are_read_otherwise(
    ways: dict[float, str], words: str
) -> None:
    one = planned(ways)
    assert one.burned_words(BURNED_WAYS, "ug/L") == words
    assert one.burned == words.replace(" ug/L", "")
    assert [(b["level"], b["protocol"]) for b in one.to_dict()["burned"]] == list(ways.items())


def test_the_shortest_tie_is_told_with_what_it_gives(calibrated: Logbook) -> None:
    answer = calibrated.plan_batch(4, levels=[1.0, 2.0])
    best, *behind = answer.plans
    hours = min((one.figures.hours for one in behind if one.tie), default=best.figures.hours)
    said = [text for text in answer.remarks() if text.startswith("the shortest of them takes")]
    if hours >= best.figures.hours:
        assert said == []
        return
    (text,) = said
    assert text.startswith(f"the shortest of them takes {hours:g} h instead of {best.figures.hours:g} h: burn ")
    assert text.endswith(answer.sentence[answer.sentence.index("answered to a fold") :])


def test_no_electrodes_is_answered_with_what_it_takes(calibrated: Logbook) -> None:
    answer = calibrated.plan_batch(0)
    assert answer.plans == ()
    assert answer.sentence == (
        "no plan for 0 electrodes does it: nothing is read without an electrode; it takes at least 1, and 2 or more "
        "for standards beside samples"
    )
    valid("plan-batch", answer.to_dict())


def test_more_samples_than_electrodes_are_answered_with_what_it_takes(calibrated: Logbook) -> None:
    assert "7 samples need at least 7 electrodes" in calibrated.plan_batch(4, samples=7).sentence


def test_a_level_beyond_the_standards_is_answered_with_the_dilution_it_takes(calibrated: Logbook) -> None:
    assert "lies above the highest standard" in calibrated.plan_batch(4, levels=[1e6]).sentence


def test_a_limit_below_what_the_floor_allows_says_what_would_be_needed(calibrated: Logbook) -> None:
    answer = calibrated.plan_batch(2, "cost", [1.0], detectable=1e-4)
    assert not answer.plans[0].meets
    assert "the least minimum detectable value of these plans is" in answer.sentence
    assert "which floor, noise and scatter set" in answer.sentence
    valid("plan-batch", answer.to_dict())


@pytest.mark.parametrize(
    ("electrodes", "wish", "more", "came"),
    [
        (25, "answers", {}, "25 electrodes"),
        (4, "best", {}, "wish best"),
        (4, "answers", {"levels": [0.0]}, "levels 0"),
        (4, "answers", {"levels": [-1.0]}, "levels -1"),
        (4, "cost", {}, "without a value"),
        (4, "power", {"detectable": 1.0}, "a minimum detectable value and power"),
        (4, "answers", {"samples": 0}, "0 samples"),
        (4, "answers", {"instrument": "nobody"}, "instrument nobody"),
    ],
)
def test_a_wish_that_says_nothing_is_refused(
    calibrated: Logbook, electrodes: int, wish: str, more: dict[str, object], came: str
) -> None:
    with pytest.raises(Refused, match=came):
        calibrated.plan_batch(electrodes, wish, **more)  # type: ignore[arg-type]


def test_without_a_calibration_there_is_no_plan(book: Logbook) -> None:
    with pytest.raises(Refused, match="no calibration"):
        book.plan_batch(6)


def test_what_helps_names_the_parts_and_refuses_a_factor_of_one(calibrated: Logbook) -> None:
    answer = calibrated.what_helps(3, wish="narrow", levels=[1.0])
    plain = valid("what-helps", answer.to_dict())
    assert plain["parts"][0]["part"] == "today"
    assert {"batch scatter", "electrode scatter", "noise", "floor", "more electrodes"} <= {
        one["part"] for one in plain["parts"]
    }
    with pytest.raises(Refused, match="factor 1"):
        calibrated.what_helps(3, 1.0)
