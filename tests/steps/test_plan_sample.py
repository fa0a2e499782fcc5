"""Which electrode to read next in a whole logbook: what is said, what is refused, nothing stored."""

from __future__ import annotations

import math
import re
from typing import Any

import numpy as np
import pytest

from brinemark.logbook import Logbook
from brinemark.terms.dilutions import Flask, Kit, Pipette
from brinemark.terms.errors import Refused
from brinemark.terms.sample_plans import SampleWish
from season import Season, sample

from .test_read_step import valid

SMALL = SampleWish(cell_mL=10.0, read_once=True)


def state(book: Logbook) -> tuple[str, list[str]]:
    return book.audit_head(), [head.id for head in book.reading_heads()]


def test_it_answers_in_the_committed_shape_and_stores_nothing(calibrated: Logbook) -> None:
    calibrated.read()
    before = state(calibrated)
    answer = calibrated.plan_sample("S-mid")
    assert state(calibrated) == before
    plain = valid("plan-sample", answer.to_dict())
    assert {row["dilution"] for row in plain["rows"]} == {1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0, 200.0}
    assert sum(row["best"] for row in plain["rows"]) == 1
    assert (plain["now"]["statement"], plain["batch"]) == (calibrated.read("S-mid")[0].reading.statement, "B5")
    best = max(plain["rows"], key=lambda row: row["told"]["information"])
    assert best["best"]
    assert best["told"]["narrower"] == pytest.approx(math.exp(best["told"]["information"]))


def test_a_saturated_sample_is_to_be_diluted_and_an_absent_one_is_not(calibrated: Logbook) -> None:
    calibrated.read()
    full, absent, middle = (calibrated.plan_sample(name) for name in ("S-full", "S-absent", "S-mid"))
    assert full.best.dilution >= 5.0
    assert absent.best.dilution <= 2.0
    assert middle.best.dilution <= 5.0
    again = next(row for row in full.rows if (row.dilution, row.way) == (1.0, "read once"))
    assert again.told.information < 0.5 * full.best.told.information
    assert "diluted" in full.sentence
    assert full.prepare[0].steps
    assert any("filled up with seawater" in text for text in full.remarks())


def test_nothing_known_is_spread_and_the_levels_that_are_supposed_are_said(calibrated: Logbook) -> None:
    wish = SampleWish(electrodes=3, unread=True, cell_mL=10.0, read_once=True)
    answer = calibrated.plan_sample("S-new", wish)
    valid("plan-sample", answer.to_dict())
    assert answer.together is not None
    first, *_, last = answer.together.dilutions
    assert (len(answer.together.dilutions), answer.reading, answer.now) == (3, None, None)
    assert last >= 10.0 * first
    assert answer.together.told.information > answer.best.told.information
    assert answer.highest > 100.0
    assert any("supposed to lie between 0 and" in text for text in answer.remarks())
    low = calibrated.plan_sample("S-new", SampleWish(unread=True, cell_mL=10.0, read_once=True, highest=3.0))
    assert low.best.dilution < calibrated.plan_sample("S-new", SampleWish(unread=True, read_once=True)).best.dilution


def test_never_more_water_is_taken_than_there_is(calibrated: Logbook) -> None:
    calibrated.read()
    freely = calibrated.plan_sample("S-mid", SMALL)
    scarce = calibrated.plan_sample("S-mid", SampleWish(cell_mL=10.0, read_once=True, water_mL=4.0))
    assert freely.best.sample_mL > 4.0
    assert all(row.sample_mL <= 4.0 for row in scarce.rows)
    lost = {one.dilution: one.reason for one in scarce.not_possible}
    assert lost[1.0] == "takes 10 mL of the sample, 4 mL are left"
    assert {1.0} <= set(lost) == {row.dilution for row in freely.rows} - {row.dilution for row in scarce.rows}
    wish = SampleWish(unread=True, electrodes=3, cell_mL=10.0, read_once=True, water_mL=12.0)
    together = calibrated.plan_sample("S-new", wish).together
    assert together is not None
    assert together.sample_mL <= 12.0


def test_only_what_the_vessels_give_is_weighed(calibrated: Logbook) -> None:
    kit = Kit((Pipette(5.0, 0.02),), (Flask(25.0, 0.04), Flask(50.0, 0.06)))
    answer = calibrated.plan_sample("S-new", SampleWish(unread=True, read_once=True, kit=kit))
    assert {row.dilution for row in answer.rows} == {1.0, 5.0, 10.0, 50.0, 100.0}
    assert {one.dilution for one in answer.not_possible} == {2.0, 20.0, 200.0}
    assert all(row.rel_u > 0.0 for row in answer.rows if row.dilution > 1.0)


def test_the_same_is_answered_twice(calibrated: Logbook) -> None:
    calibrated.read()
    assert calibrated.plan_sample("S-mid", SMALL) == calibrated.plan_sample("S-mid", SMALL)


@pytest.mark.parametrize(
    ("sample", "wish", "came"),
    [
        ("S-med", SampleWish(), "no sample 'S-med'.*did you mean 'S-mid'.*--unread"),
        ("S-mid", SampleWish(unread=True), "of which something was read"),
        ("S-mid", SampleWish(electrodes=0), "0 electrodes.*1 to 4"),
        ("S-mid", SampleWish(electrodes=5), "5 electrodes.*1 to 4"),
        ("S-mid", SampleWish(batch="B55"), "B55"),
        ("S-mid", SampleWish(lot="L9"), "no lot 'L9'"),
        ("S-mid", SampleWish(water_mL=0.0), "0 mL of sample"),
        ("S-mid", SampleWish(water_mL=math.nan), "nan mL of sample"),
        ("S-mid", SampleWish(water_mL=0.05), "0.05 mL of S-mid for one electrode.*at least 0.125 mL"),
        ("S-mid", SampleWish(water_mL=0.3, electrodes=4), "for 4 electrodes.*at least 0.5 mL"),
        ("S-mid", SampleWish(cell_mL=-1.0), "a cell of -1 mL"),
        ("S-mid", SampleWish(highest=0.0), "a highest level of 0"),
    ],
)
def test_what_cannot_be_had_is_refused_with_what_would_be_needed(
    calibrated: Logbook, sample: str, wish: SampleWish, came: str
) -> None:
    calibrated.read()
    with pytest.raises(Refused, match=came):
        calibrated.plan_sample(sample, wish)


def test_an_instrument_without_calibration_is_refused(calibrated: Logbook) -> None:
    folder = calibrated.path.parent / "odd"
    folder.mkdir()
    odd = Season(folder, np.random.default_rng(11)).batch("B9", [sample("S-odd", 1.0)], day=9, instrument="elsewhere")
    calibrated.add(odd)
    calibrated.read("S-odd")
    with pytest.raises(Refused, match="instrument elsewhere, which the calibration does not know"):
        calibrated.plan_sample("S-odd")


def test_a_sample_is_to_be_read_first(calibrated: Logbook) -> None:
    with pytest.raises(Refused, match="read the sample first"):
        calibrated.plan_sample("S-mid")


def test_the_seawater_it_is_diluted_with_is_counted(calibrated: Logbook) -> None:
    calibrated.read()
    settings = calibrated.path / "logbook.toml"
    settings.write_text(settings.read_text(encoding="utf-8") + "\n[lot.L7]\ncontent = 6.0\nu = 0.2\n", encoding="utf-8")
    with Logbook.open(calibrated.path) as book:
        book.read()
        clean, foul = (book.plan_sample("S-full", SampleWish(read_once=True, lot=lot)) for lot in (None, "L7"))
    told = [max(row.told.information for row in one.rows if row.dilution >= 20.0) for one in (clean, foul)]
    assert told[1] < 0.8 * told[0]
    assert any("free of the analyte" in text for text in clean.cautions)
    assert not any("free of the analyte" in text for text in foul.cautions)


def all_words(answer: Any) -> list[str]:
    return [answer.sentence, *answer.remarks()]


def test_when_the_interval_is_narrow_enough_it_says_so(calibrated: Logbook) -> None:
    settings = calibrated.path / "logbook.toml"
    wide = re.sub(r"(?m)^max_fold = .*$", "max_fold = 40.0", settings.read_text(encoding="utf-8"))
    settings.write_text(wide, encoding="utf-8")
    with Logbook.open(calibrated.path) as book:
        book.read()
        answer = book.plan_sample("S-mid", SMALL)
    assert answer.now is not None
    assert answer.now.statement == "quantified"
    assert answer.stop == "the interval is as narrow as wanted"
    assert answer.sentence.startswith("no further electrode is needed")
    assert not any("  " in text for text in all_words(answer))
