"""What comes next is told from what the logbook holds, and nothing is stored for it."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from bench import Bench
from brinemark.logbook import Logbook
from brinemark.records.writer import Writer
from brinemark.steps import next_steps as module
from brinemark.steps.identity import Made, Recipe
from brinemark.steps.next_steps import NextStep, next_steps
from season import BLANK, Season, sample, standard


def told(book: Logbook) -> list[tuple[str, str, tuple[str, ...]]]:
    before = book._place.database.logical_dump()
    found = book.next_steps()
    assert book._place.database.logical_dump() == before
    return [(one.step, one.kind, one.about) for one in found]


def sentences(book: Logbook) -> str:
    return "\n".join(one.sentence for one in book.next_steps())


def test_an_empty_logbook_waits_for_a_batch(book: Logbook) -> None:
    assert told(book) == [("make", "logbook", ())]


def test_electrodes_that_are_ready_wait_for_a_run_and_a_run_for_its_sheet(book: Logbook, tmp_path: Path) -> None:
    book.record_making({"batch": "L1", "made_on": "2031-05-30", "electrode_count": 5})
    assert told(book) == [("lay-out", "batch", ("L1",))]
    assert "5 electrodes are ready and not laid out: L1 (5)" in sentences(book)
    wanted = {"instrument": "bench", "batches": ["L1"], "blanks": 2, "standards": 2, "levels": [1, 8], "title": "one"}
    plan = book.lay_out(wanted, 3)
    assert told(book) == [("fill", "plan", (plan.id,)), ("lay-out", "batch", ("L1",))]
    assert "run plan one is open: 4 of 4 rows are still empty" in sentences(book)
    book.set_aside(plan.left[0], "film lifted")
    bench = Bench(tmp_path / "sheets", {})
    book.add(bench.read(plan, lambda rows: rows[:1], "part.csv"))
    assert told(book) == [("calibrate", "calibration", ()), ("fill", "plan", (plan.id,))]
    assert "3 of 4 rows are still empty" in sentences(book)
    book.add(bench.read(plan, lambda rows: rows[1:3], "more.csv"))
    assert ("look", "plan", (plan.id,)) in told(book)
    assert "was taken in with 1 departure, 1 of 4 rows are empty" in sentences(book)


def test_new_standards_wait_for_a_calibration_and_new_samples_for_a_reading(
    calibrated: Logbook, tmp_path: Path
) -> None:
    unread = ("S-absent", "S-mid", "S-full")
    assert told(calibrated) == [("read", "sample", unread)]
    calibrated.read("S-mid")
    assert told(calibrated) == [("read", "sample", ("S-absent", "S-full"))]
    calibrated.read()
    assert told(calibrated) == []
    season = Season(tmp_path, np.random.default_rng(3))
    calibrated.add(season.batch("B6", [sample("S-mid", 1.5), sample("S-new", 1.0)], day=8))
    assert told(calibrated) == [("read", "sample", ("S-new",)), ("read", "sample", ("S-mid",))]
    calibrated.add(season.batch("B7", [BLANK, standard(2.0)], day=9))
    assert told(calibrated)[0] == ("calibrate", "sheet", ("B7.csv",))
    assert "sheets added since: B7.csv" in sentences(calibrated)


def test_a_correction_of_standards_waits_for_a_calibration_and_one_of_samples_does_not(
    calibrated: Logbook, tmp_path: Path
) -> None:
    """The sheet of batch B5 has a blank, a standard, three samples and a control."""
    calibrated.read()
    source = calibrated.path.parent / "sheets"
    source.mkdir(exist_ok=True)
    (sheet,) = [one for one in calibrated.sheets() if one.title == "B5.csv"]
    rows = [row for row in calibrated.rows() if row.sheet_id == sheet.id]
    names = {row.trace_sha256: row.row.trace for row in rows} | {row.prescan_sha256: row.row.prescan for row in rows}
    for sha256, name in names.items():
        data = (calibrated.path / "originals" / str(sha256)[:2] / str(sha256)).read_bytes()
        (source / str(name)).write_bytes(data)
    text = (calibrated.path / "originals" / sheet.file_sha256[:2] / sheet.file_sha256).read_text()
    path = source / "B5.csv"
    lines = text.splitlines()
    changed = [line + ("," if "B5-3" not in line else ",slime") for line in lines[1:]]
    path.write_text("\n".join([lines[0] + ",note", *changed]) + "\n")
    calibrated.add(path, corrects="B5.csv", reason="a note was missing")
    assert "calibrate" not in [step for step, _, _ in told(calibrated)]
    changed = [line + ("," if "B5-2" not in line else ",spilt") for line in lines[1:]]
    path.write_text("\n".join([lines[0] + ",note", *changed]) + "\n")
    calibrated.add(path, corrects="B5.csv", reason="a note was missing")
    assert told(calibrated)[0] == ("calibrate", "sheet", ("B5.csv",))


def test_a_definition_that_changed_waits_for_a_calibration(calibrated: Logbook) -> None:
    settings = calibrated.path / "logbook.toml"
    settings.write_text(settings.read_text().replace("window_V = [0.40, 0.76]", "window_V = [0.42, 0.74]"))
    with Logbook.open(calibrated.path) as changed:
        (step,) = changed.next_steps()
    assert step.step == "calibrate"
    assert "signal definition changed since calibration" in step.sentence
    assert "[signal]" in step.sentence


def test_samples_without_a_standard_wait_for_one(book: Logbook, season: Season) -> None:
    book.add(season.batch("B1", [sample("S1", 1.0)]))
    assert told(book) == [("lay-out", "logbook", ())]


def test_runs_whose_control_failed_are_told_once_with_their_samples(calibrated: Logbook) -> None:
    """A reading as `read` stores it when the control of its run failed."""
    calibration = calibrated.calibration().id
    text = "electrode B5-3: run control failed: control C1 recovers 20% (limits 70% to 130%, starting limits); read on"
    with calibrated._place.database.writing() as writer:
        for name in ("S-absent", "S-mid", "S-full"):
            electrodes = [{"electrode": row.row.electrode} for row in writer.reader.rows(samples=[name])]
            results: Any = {"reason": text, "warnings": [], "context": {"electrodes": electrodes}}
            recipe = Recipe("reading", f"sample {name}", (("calibration", calibration),), {"name": name})
            writer.add_records([recipe.record(Made(results, {}))])
        writer.seal("samples read", "S", {})
    (step,) = calibrated.next_steps()
    assert (step.step, step.about) == ("controls", ("S-absent", "S-mid", "S-full"))
    assert step.sentence == (
        "run control failed for S-absent, S-mid, S-full: control C1 recovers 20% (limits 70% to 130%, starting limits)"
    )


def test_films_falls_and_batches_that_do_not_fit_are_looked_at(
    calibrated: Logbook, monkeypatch: pytest.MonkeyPatch
) -> None:
    calibrated.read()
    fall = "calibration electrode B1-4 of batch B1: its signal falls from dip to dip as it would with probability 1e-5"
    steep = {"name": "batch B2", "what": "steepness", "tau": 0.9, "u": 0.1, "limit": 3.0, "electrodes": 4}
    quiet = {**steep, "name": "batch B3", "tau": 0.1}
    view = module._view

    def doubtful(place: Any, reader: Any) -> Any:
        found: Any = view(place, reader)
        results: Any = found.calibration.results
        films = [{"electrode": "B1-2", "low": 0.7, "high": 0.1}, {"electrode": "B1-3", "low": 0.2, "high": 0.1}]
        said = {**results, "films": films, "weaknesses": ["few batches", fall], "fit": [steep, quiet]}
        return replace(found, calibration=replace(found.calibration, results=said))

    monkeypatch.setattr(module, "_view", doubtful)
    assert told(calibrated) == [
        ("look", "electrode", ("B1-2",)),
        ("look", "electrode", ("B1-4",)),
        ("look", "batch", ("B2",)),
    ]
    assert "likely defective (p = 0.8)" in sentences(calibrated)


def test_a_logbook_that_was_not_checked_for_long_waits_for_a_check(
    book: Logbook, monkeypatch: pytest.MonkeyPatch
) -> None:
    begin = datetime.fromisoformat(book.audit()[0].at)

    def after(days: int) -> list[NextStep]:
        moment = (begin + timedelta(days=days)).isoformat()
        return [one for one in next_steps(book._place, moment) if one.step == "check"]

    assert after(89) == []
    assert after(90)[0].sentence.startswith("the audit list was never checked since ")
    monkeypatch.setattr(Writer, "__init__", _later(90))
    assert book.verify(keep=True).sound
    assert book.audit()[-1].action == "logbook checked"
    assert after(90) == []
    assert "last checked on" in after(181)[0].sentence
    assert book.verify().sound


def _later(days: int) -> Any:
    original = Writer.__init__

    def begun(self: Writer, connection: Any) -> None:
        original(self, connection)
        self.now = (datetime.fromisoformat(self.now) + timedelta(days=days)).isoformat()

    return begun


def test_a_check_is_kept_when_it_was_asked_for_and_says_what_it_found(book: Logbook, season: Season) -> None:
    book.add(season.batch("B1", [BLANK]))
    entries = len(book.audit())
    assert book.verify().sound
    assert len(book.audit()) == entries
    original = next(path for path in (book.path / "originals").rglob("*") if path.is_file())
    original.chmod(0o644)
    original.write_bytes(b"other")
    assert not book.verify(keep=True).sound
    assert [one.action for one in book.audit()[entries:]] == ["faults found"]
