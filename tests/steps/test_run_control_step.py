"""Runs in a logbook: one that passes, one whose control fails, one whose blank fails, one without, and history."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime, timedelta

import numpy as np

from brinemark.logbook import Logbook
from brinemark.steps.answers import SampleReading
from brinemark.steps.run_control import runs_of
from brinemark.terms.runs import SheetRow, StoredRow
from season import BLANK, Season, sample, standard

Cells = dict[str, str]
Plan = list[tuple[str, float, str]]
FULL: Plan = [BLANK, standard(2.0), sample("S-run", 1.5), ("control", 2.0, "QC")]


def run(book: Logbook, batch: str, plan: Plan, day: int = 9, change: Callable[[Cells], None] | None = None) -> None:
    """Add one sheet with one run; change may alter the cells of a row."""
    folder = book.path.parent / f"run-{batch}"
    folder.mkdir()
    path = Season(folder, np.random.default_rng(100 + day)).batch(batch, plan, day=day)
    header, *lines = path.read_text(encoding="utf-8").splitlines()
    names = [*header.split(","), "matrix_lot"]
    rows = []
    for line in lines:
        cells = dict(zip(names, [*line.split(","), ""], strict=True))
        if change is not None:
            change(cells)
        rows.append(",".join(cells.values()))
    path.write_text("\n".join([",".join(names), *rows, ""]), encoding="utf-8")
    book.add(path)


def read(book: Logbook, name: str = "S-run") -> SampleReading:
    (answer,) = book.read(name)
    return answer


def test_a_run_that_passes_says_nothing_and_stands_behind_the_reading(calibrated: Logbook) -> None:
    run(calibrated, "B6", FULL)
    answer = read(calibrated)
    assert answer.statement != "cannot say"
    assert [text for text in answer.warnings if "run control" in text] == []
    (report,) = [one for one in calibrated.controls() if "S-run" in one.to_dict()["samples"]]
    assert report.decision.accepted is True
    assert [(one.kind, one.name, one.passed) for one in report.findings] == [
        ("blank", "B6-1", True),
        ("check standard", "QC", True),
    ]
    recovery = report.findings[1]
    assert recovery.value is not None and recovery.lower is not None
    assert recovery.lower < recovery.value < (recovery.upper or np.inf)


def test_a_control_far_from_its_level_takes_the_samples_of_its_run_with_it(calibrated: Logbook) -> None:
    def promise_more(cells: Cells) -> None:
        if cells["role"] == "control":
            cells["expected_level"] = "15"

    plan: Plan = [BLANK, standard(2.0), sample("S-run", 1.5), ("control", 0.3, "QC")]
    run(calibrated, "B6", plan, change=promise_more)
    answer = read(calibrated)
    assert answer.statement == "cannot say"
    reason = answer.reading.reason or ""
    assert "electrode B6-3: run control failed: check standard QC recovered" in reason
    assert "limits 70 % to 130 %, starting limits" in reason
    assert read(calibrated, "S-mid").statement != "cannot say"  # another run


def test_a_blank_that_holds_analyte_takes_the_samples_of_its_run_with_it(calibrated: Logbook) -> None:
    def call_it_blank(cells: Cells) -> None:
        if cells["level"] == "8":
            cells |= {"role": "blank", "level": "0"}

    run(
        calibrated,
        "B6",
        [standard(8.0), standard(2.0), sample("S-run", 1.5), ("control", 2.0, "QC")],
        change=call_it_blank,
    )
    answer = read(calibrated)
    assert answer.statement == "cannot say"
    assert "run control failed: blank B6-1: a blank is as high with probability" in (answer.reading.reason or "")


def test_a_run_without_a_control_is_read_with_a_warning(calibrated: Logbook) -> None:
    run(calibrated, "B6", [BLANK, standard(2.0), sample("S-run", 1.5)])
    answer = read(calibrated)
    assert answer.statement != "cannot say"
    (text,) = [text for text in answer.warnings if "run control" in text]
    assert text == "no run control in the run of bench 2031-05-09T09:01+00:00: it holds no control (1 blank)"


def test_a_control_named_as_a_lot_is_that_water_spiked_and_level_0_is_judged_as_a_blank(calibrated: Logbook) -> None:
    plan: Plan = [BLANK, standard(2.0), sample("S-run", 1.5), ("control", 2.0, "tank 4"), ("control", 0.0, "clean")]
    path = calibrated.path / "logbook.toml"
    path.write_text(path.read_text(encoding="utf-8") + '\n[lot."tank 4"]\ncontent = 0.5\nu = 0.1\n', encoding="utf-8")
    calibrated.close()
    with Logbook.open(path.parent) as book:
        run(book, "B6", plan)
        (report,) = [one for one in book.controls() if "S-run" in one.to_dict()["samples"]]
        answer = read(book, "tank 4").reading.two_sided
    found = {one.name: one for one in report.findings}
    assert answer is not None and answer.lower is not None
    assert (found["tank 4"].kind, found["tank 4"].lower) == ("spiked water", (answer.lower - 0.5) / (2.0 - 0.5))
    assert (found["clean"].kind, found["clean"].limits, found["clean"].passed) == ("check standard", None, True)


def test_enough_earlier_controls_give_the_limits_and_stand_behind_the_reading(calibrated: Logbook) -> None:
    path = calibrated.path / "logbook.toml"
    path.write_text(path.read_text(encoding="utf-8") + "\n[run]\ncontrol_history = 10\n", encoding="utf-8")
    calibrated.close()
    with Logbook.open(path.parent) as book:
        for day in range(10, 19):
            run(book, f"Q{day}", [("control", 2.0, "QC")], day=day)
        run(book, "B6", FULL, day=25)
        answer = read(book)  # nine of them and C1 of the fixture
        (report,) = [one for one in book.controls() if "S-run" in one.to_dict()["samples"]]
        limits = report.findings[1].limits
        assert limits is not None
        assert limits.earlier == 10
        assert limits.low < 1.0 < limits.high
        with book._place.database.reading() as reader:
            record = reader.record(answer.id)
        assert record is not None
        assert [role for role, _ in record.parents].count("earlier control") == 10
        before = book._place.database.logical_dump()
        assert read(book).id == answer.id
        book.controls()
        assert book._place.database.logical_dump() == before
        assert book.verify().faults == ()


def test_six_spiked_waters_measure_how_waters_differ(calibrated: Logbook) -> None:
    names = [f"pool {n}" for n in range(6)]
    path = calibrated.path / "logbook.toml"
    lots = "".join(f'\n[lot."{name}"]\ncontent = 0.0\n' for name in names)
    path.write_text(path.read_text(encoding="utf-8") + lots, encoding="utf-8")
    calibrated.close()
    with Logbook.open(path.parent) as book:
        for day, name in enumerate(names[:5], start=10):
            run(book, f"W{day}", [("control", 2.0, name)], day=day)
        run(book, "B6", FULL, day=25)
        before = read(book)
        assert any("how this water shifts K is not measured: 10%" in text for text in before.warnings)
        run(book, "W20", [("control", 2.0, names[5])], day=20)
        after = read(book)
        assert any("taken from recoveries in 6 waters" in text for text in after.warnings)
        assert not any("is not measured" in text for text in after.warnings)
        with book._place.database.reading() as reader:
            record = reader.record(after.id)
        assert record is not None
        assert [role for role, _ in record.parents].count("spiked water") == 6
        assert read(book).id == after.id != before.id
        control = read(book, "pool 0")
        assert any("is not measured" in text for text in control.warnings), "a recovery does not rest on itself"
        assert book.verify().faults == ()


def stored(number: int, electrode: str, hours: float, *, sheet: str = "s", instrument: str = "bench") -> StoredRow:
    moment = datetime(2031, 5, 1, 9, tzinfo=UTC) + timedelta(hours=hours)
    return StoredRow(f"id{number}", sheet, SheetRow(number, electrode, "B1", instrument, moment, "blank", 0.0))


def test_a_run_is_one_sheet_one_instrument_and_one_sitting() -> None:
    rows = [
        stored(2, "A", 0.0),
        stored(3, "B", 11.9),
        stored(4, "B", 13.0),  # the life of B began within the sitting
        stored(5, "C", 12.5),
        stored(6, "D", 1.0, instrument="boat"),
        stored(7, "E", 2.0, sheet="other"),
    ]
    found = [[row.row.number for row in one.rows] for one in runs_of(rows, 12.0)]
    assert found == [[2, 3, 4], [6], [7], [5]]
    assert [one.name for one in runs_of(rows, 12.0)][1] == "boat 2031-05-01T10:00+00:00"
    assert runs_of([], 12.0) == ()
