"""Adding sheets: all or nothing, once, with corrections, under crashes and crowds."""

from __future__ import annotations

import os
import stat
import subprocess
import sys
import threading
from pathlib import Path

import pytest

from brinemark.logbook import Logbook
from brinemark.terms.canonical import sha256_hex
from brinemark.terms.curves import Dissection, Trace
from brinemark.terms.errors import Refused
from season import BLANK, COVARIATE, Season, sample, standard

PLAN = [BLANK, standard(2.0), standard(8.0), sample("S1", 1.0)]


def state(book: Logbook) -> tuple[str, list[str]]:
    """All that a refused sheet must not change."""
    files = sorted(path.relative_to(book.path).as_posix() for path in (book.path / "originals").rglob("*"))
    return book._place.database.logical_dump(), files


def signal_sheet(folder: Path, name: str, batch: str, electrodes: list[str], level: float = 2.0) -> Path:
    """A sheet whose signals were read off curves elsewhere."""
    lines = ["electrode,batch,instrument,measured_at,role,level,signal,signal_unit"]
    lines += [f"{one},{batch},bench,2031-05-01T09:00:00Z,standard,{level:g},2e-7,A" for one in electrodes]
    path = folder / name
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


def test_a_sheet_comes_in_with_every_file_as_it_came(book: Logbook, season: Season) -> None:
    path = season.batch("B1", PLAN)
    added = book.add(path)
    assert (added.new, added.rows, added.electrodes, added.batches, added.originals) == (True, 4, 4, ("B1",), 9)
    for file in season.folder.iterdir():
        data = file.read_bytes()
        kept = book.path / "originals" / sha256_hex(data)[:2] / sha256_hex(data)
        assert kept.read_bytes() == data
        assert os.name == "nt" or stat.S_IMODE(kept.stat().st_mode) == 0o444
    assert [row.row.electrode for row in book.rows()] == ["B1-1", "B1-2", "B1-3", "B1-4"]
    assert book.verify().sound


def test_signals_of_a_new_sheet_are_provisional_and_grow_with_the_level(book: Logbook, season: Season) -> None:
    added = book.add(season.batch("B1", PLAN))
    assert added.wave == "theoretical"
    assert all(one.to_dict()["provisional"] for one in added.signals)
    blank, low, high, _ = (one.line.signal for one in added.signals)
    assert high.value > low.value > blank.value + 5 * blank.u
    assert [one.line.role for one in added.signals] == ["blank", "standard", "standard", "sample"]


def test_a_pre_scan_is_read_when_there_is_a_covariate(season: Season, tmp_path: Path) -> None:
    Logbook.create(tmp_path / "book").close()
    with (tmp_path / "book" / "logbook.toml").open("a", encoding="utf-8") as settings:
        settings.write(COVARIATE)
    with Logbook.open(tmp_path / "book") as book:
        book.add(season.batch("B1", PLAN))
        shown = book.show("B1-1").rows[0]
    charge = next(one.signal for one in shown.signals if one.role == "prescan")
    assert charge.unit == "C"
    assert charge.value > 5 * charge.u


@pytest.mark.parametrize("delimiter", [",", ";", "\t"])
def test_the_same_content_again_changes_nothing_whatever_the_delimiter(
    book: Logbook, season: Season, delimiter: str
) -> None:
    path = season.batch("B1", PLAN)
    first = book.add(path)
    before = state(book)
    text = path.read_text(encoding="utf-8")
    path.with_name("other.csv").write_text(text.replace(",", delimiter), encoding="utf-8")
    again = book.add(path.with_name("other.csv"))
    assert (again.new, again.sheet, again.originals) == (False, first.sheet, 0)
    assert "same content" in again.warnings[0]
    assert "nothing new" in str(again)
    assert state(book) == before


def test_a_correction_supersedes_and_keeps_the_old_rows(book: Logbook, season: Season) -> None:
    path = season.batch("B1", PLAN)
    first = book.add(path)
    text = path.read_text(encoding="utf-8")
    path.write_text(text.replace(",standard,8,", ",standard,4,"), encoding="utf-8")
    second = book.add(path, corrects=first.sheet[:8], reason="level was misread")
    assert second.supersedes == first.sheet
    assert [row.row.level for row in book.rows() if row.row.role == "standard"] == [2.0, 4.0]
    assert len(book.rows(superseded=True)) == 8
    assert book.sheets()[1].reason == "level was misread"
    assert [entry.action for entry in book.audit()][-1] == "sheet corrected"
    assert [row.superseded for row in book.show("B1-3").rows] == [True, False]
    assert book.verify().sound


def test_a_correction_may_be_named_by_title_and_made_again(book: Logbook, season: Season) -> None:
    path = season.batch("B1", PLAN)
    book.add(path)
    fixed = path.with_name("fixed.csv")
    fixed.write_text(path.read_text(encoding="utf-8").replace(",2,", ",3,"), encoding="utf-8")
    assert book.add(fixed, corrects="B1.csv", reason="level").new
    before = state(book)
    assert not book.add(fixed, corrects="B1.csv", reason="level").new
    with pytest.raises(Refused, match="new content in a correction"):
        book.add(path, corrects="fixed.csv", reason="back again")
    assert "corrected on" in book.add(path).warnings[0]
    assert state(book) == before


CORRECTIONS = {
    "without a reason": ("B1.csv", None, "a correction without a reason"),
    "with a blank reason": ("B1.csv", "  ", "a correction without a reason"),
    "of nothing": (None, "because", "a reason without a sheet"),
    "of an unknown sheet": ("B7.csv", "because", r"no sheet 'B7.csv'.*its sheets are: B1.csv"),
}


@pytest.mark.parametrize("name", CORRECTIONS)
def test_an_incomplete_correction_is_refused(book: Logbook, season: Season, name: str) -> None:
    corrects, reason, words = CORRECTIONS[name]
    book.add(season.batch("B1", PLAN))
    before = state(book)
    with pytest.raises(Refused, match=words):
        book.add(signal_sheet(season.folder, "n.csv", "B2", ["B2-1"]), corrects=corrects, reason=reason)
    assert state(book) == before


def test_a_corrected_sheet_is_not_corrected_twice(book: Logbook, season: Season) -> None:
    book.add(signal_sheet(season.folder, "one.csv", "B1", ["E1"]))
    book.add(signal_sheet(season.folder, "two.csv", "B1", ["E1"], level=3), corrects="one.csv", reason="level")
    with pytest.raises(Refused, match="corrected already"):
        book.add(signal_sheet(season.folder, "three.csv", "B1", ["E1"], level=4), corrects="one.csv", reason="level")


def test_two_sheets_of_one_title_must_be_named_by_id(book: Logbook, season: Season) -> None:
    first = book.add(signal_sheet(season.folder, "same.csv", "B1", ["E1"]))
    book.add(signal_sheet(season.folder, "same.csv", "B1", ["E2"]))
    new = signal_sheet(season.folder, "new.csv", "B1", ["E3"])
    with pytest.raises(Refused, match=f"2 sheets called.*{first.sheet[:12]}"):
        book.add(new, corrects="same.csv", reason="level")
    assert book.add(new, corrects=first.sheet, reason="level").supersedes == first.sheet


def test_an_electrode_is_spent_after_its_one_answer(book: Logbook, season: Season) -> None:
    book.add(season.batch("B1", PLAN))
    before = state(book)
    with pytest.raises(Refused, match=r"row 2, column electrode: electrode 'B1-4' was spent on sample S1 in B1\.csv"):
        book.add(signal_sheet(season.folder, "n.csv", "B1", ["B1-4"]))
    with pytest.raises(Refused, match=r"row 3, column electrode: electrode 'B1-2' was spent on standard 2 in B1\.csv"):
        book.add(signal_sheet(season.folder, "n.csv", "B1", ["B1-9", "B1-2"]))
    with pytest.raises(Refused, match=r"row 2, column batch: electrode 'B1-2' in batch B2, in the logbook in B1"):
        book.add(signal_sheet(season.folder, "n.csv", "B2", ["B1-2"]))
    assert state(book) == before


def test_an_electrode_that_a_correction_gave_up_is_free_again(book: Logbook, season: Season) -> None:
    book.add(signal_sheet(season.folder, "one.csv", "B1", ["E1", "E2"]))
    book.add(signal_sheet(season.folder, "two.csv", "B1", ["E1"]), corrects="one.csv", reason="E2 was not used")
    assert book.add(signal_sheet(season.folder, "three.csv", "B1", ["E2"])).new


def test_an_id_keeps_its_role(book: Logbook, season: Season) -> None:
    book.add(season.batch("B1", [BLANK, sample("X1", 1.0)]))
    with pytest.raises(Refused, match="'X1' as a control, in the logbook a sample"):
        book.add(season.batch("B2", [("control", 1.5, "X1")]))


def test_a_bad_curve_is_named_by_row_column_file_and_line(book: Logbook, season: Season) -> None:
    path = season.batch("B1", PLAN)
    bad = season.folder / "B1-3.csv"
    lines = bad.read_text(encoding="utf-8").splitlines()
    lines[40] = "0.1,none,3"
    bad.write_text("\n".join(lines), encoding="utf-8")
    before = state(book)
    with pytest.raises(Refused, match=r"B1\.csv, row 4, column trace: B1-3\.csv, line 41") as caught:
        book.add(path)
    assert (caught.value.row, caught.value.column) == (4, "trace")
    assert state(book) == before


def test_a_curve_that_misses_the_window_is_refused_before_anything_is_written(book: Logbook, season: Season) -> None:
    path = season.batch("B1", PLAN)
    bad = season.folder / "B1-2.csv"
    lines = bad.read_text(encoding="utf-8").splitlines()
    kept = [line for line in lines[1:] if float(line.split(",")[0]) < 0.3]
    bad.write_text("\n".join([lines[0], *kept]), encoding="utf-8")
    before = state(book)
    with pytest.raises(Refused, match=r"B1\.csv, row 3, column trace"):
        book.add(path)
    assert state(book) == before


def test_equal_curves_of_two_electrodes_are_remarked_upon(book: Logbook, season: Season) -> None:
    path = season.batch("B1", PLAN)
    (season.folder / "B1-2.csv").write_bytes((season.folder / "B1-3.csv").read_bytes())
    assert "the curve of B1-3 is byte for byte that of B1-2" in book.add(path).warnings[-1]


def test_a_signal_without_a_curve_is_marked(book: Logbook, season: Season) -> None:
    added = book.add(signal_sheet(season.folder, "old.csv", "B1", ["E1"]))
    signal = added.signals[0].line.signal
    assert (signal.value, signal.unit, [flag.name for flag in signal.flags]) == (2e-7, "A", ["no curve kept"])
    with pytest.raises(Refused, match="no curve kept for electrode E1"):
        book.trace_of(book.rows()[0])


CRASH = """
import os, sys
from brinemark.logbook import Logbook
from brinemark.records.writer import Writer
Writer.seal = lambda *_: os._exit(9)
Logbook.open(sys.argv[1]).add(sys.argv[2])
"""


def test_a_crash_between_files_and_commit_leaves_nothing_half_stored(book: Logbook, season: Season) -> None:
    path = season.batch("B1", PLAN)
    before, _ = state(book)
    done = subprocess.run([sys.executable, "-c", CRASH, str(book.path), str(path)], check=False)
    assert done.returncode == 9
    assert state(book)[0] == before
    assert book.verify().sound
    leftovers = [one for one in (book.path / "originals").rglob("*") if one.is_file()]
    assert len(leftovers) == 9
    other = season.batch("B2", PLAN[:2])
    added = book.add(other)
    assert (added.new, added.swept) == (True, 9)
    kept = {one.name for one in (book.path / "originals").rglob("*") if one.is_file()}
    assert kept == {sha256_hex(one.read_bytes()) for one in season.folder.glob("B2*")}


def test_a_crowd_adds_without_losing_a_sheet(book: Logbook, season: Season) -> None:
    sheets = [signal_sheet(season.folder, f"{n}.csv", f"B{n}", [f"B{n}-1", f"B{n}-2"]) for n in range(8)]
    errors: list[BaseException] = []

    def work(sheet: Path) -> None:
        try:
            with Logbook.open(book.path) as own:
                own.add(sheet)
        except BaseException as error:
            errors.append(error)

    threads = [threading.Thread(target=work, args=(sheet,)) for sheet in sheets]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert errors == []
    assert len(book.sheets()) == 8
    assert book.verify().sound


def test_of_two_who_spend_the_same_electrode_at_once_one_is_refused(book: Logbook, season: Season) -> None:
    sheets = [signal_sheet(season.folder, f"{n}.csv", "B1", ["E1"], level=n) for n in range(1, 5)]
    outcomes: list[str] = []
    gate = threading.Barrier(len(sheets))

    def work(sheet: Path) -> None:
        with Logbook.open(book.path) as own:
            gate.wait()
            try:
                own.add(sheet)
                outcomes.append("added")
            except Refused as fault:
                outcomes.append("spent" if "was spent" in str(fault) else str(fault))

    threads = [threading.Thread(target=work, args=(sheet,)) for sheet in sheets]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(outcomes) == ["added", "spent", "spent", "spent"]


def test_a_stolen_original_is_found(book: Logbook, season: Season) -> None:
    book.add(season.batch("B1", PLAN))
    first = next(one for one in (book.path / "originals").rglob("*") if one.is_file())
    first.chmod(0o644)
    first.write_bytes(b"forged")
    assert [fault for fault in book.verify().faults if first.name in fault]


def test_the_curve_comes_back_from_the_cache_and_from_the_file(book: Logbook, season: Season) -> None:
    book.add(season.batch("B1", PLAN))
    row = book.rows()[1]
    cached = book.trace_of(row)
    with book._place.database._transaction(write=True) as connection:
        connection.execute("DELETE FROM array_cache")
    fresh = book.trace_of(row)
    assert isinstance(cached, Trace)
    assert isinstance(fresh, Trace)
    assert (cached.potential_V == fresh.potential_V).all()
    assert (cached.current_A == fresh.current_A).all()
    assert cached.time_s is not None
    assert fresh.time_s is not None
    assert (cached.time_s == fresh.time_s).all()
    view = book.dissection_of(row)
    assert isinstance(view, Dissection)
    left = view.current_A - view.baseline_A - view.wave_A - view.residual_A
    assert abs(left).max() < 1e-12 * abs(view.current_A).max()
