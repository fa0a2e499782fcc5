"""How a call ends: 0 answered, 1 refused or failed, 2 wrong use, 130 stopped; one line, nothing stored."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from brinemark.faces.cli.session import TRACEBACK
from brinemark.logbook import Logbook
from brinemark.terms.errors import GateFailed, Stopped

from .conftest import SHEET, SMALL, call


def state(book: Path) -> tuple[int, str, list[str]]:
    """Rows, the newest line of the audit list, and the files kept."""
    with Logbook.open(book) as logbook:
        entries = logbook.audit()
        files = sorted(str(path) for path in (book / "originals").rglob("*"))
        return len(logbook.rows()), repr(entries[-1]), files


def refusal(*words: str | Path) -> str:
    """The one line of a call that must end with status 1 and print no answer."""
    result = call(*words)
    assert result.exit_code == 1
    assert result.stdout == ""
    assert result.stderr.count("\n") == 1
    return result.stderr.rstrip("\n")


def spoiled(folder: Path, old: str, new: str) -> Path:
    """The small example with a change in its sheet."""
    shutil.copytree(SMALL, folder)
    sheet = folder / "runsheet.csv"
    sheet.write_text(sheet.read_text(encoding="utf-8").replace(old, new, 1), encoding="utf-8")
    return sheet


def test_an_unknown_sample_is_refused_with_the_nearest_name(book: Path) -> None:
    assert refusal("--logbook", book, "read", "w2") == (
        "brinemark: no sample 'w2'; expected a sample or control of this logbook; did you mean 'W-2'?"
    )


def test_a_wrong_cell_is_refused_with_row_and_column_and_nothing_is_stored(book: Path, tmp_path: Path) -> None:
    sheet = spoiled(tmp_path / "run", "standard,0.5,", "standard,half,")
    before = state(book)
    assert refusal("--logbook", book, "add", sheet) == (
        "brinemark: runsheet.csv, row 3, column level: 'half', which is not a number; expected a number from 0; "
        "correct the number"
    )
    assert state(book) == before


def test_an_electrode_that_was_spent_is_refused(book: Path, tmp_path: Path) -> None:
    sheet = spoiled(tmp_path / "run", "standard,0.5,", "standard,0.6,")
    before = state(book)
    assert refusal("--logbook", book, "add", sheet).startswith(
        "brinemark: runsheet.csv, row 2, column electrode: electrode 'S1-1' was spent on blank 0 in runsheet.csv, "
        "row 2; expected an electrode that has not been used; correct the id, or use 'add SHEET --corrects "
    )
    assert state(book) == before


def test_a_sheet_that_is_not_there_is_refused(book: Path) -> None:
    assert "no-such.csv" in refusal("--logbook", book, "add", "no-such.csv")


def test_a_correction_without_a_reason_is_refused(book: Path) -> None:
    assert refusal("--logbook", book, "add", SHEET, "--corrects", "runsheet.csv") == (
        "brinemark: a correction without a reason; expected both or neither; "
        "use 'add SHEET --corrects OLD --reason TEXT'"
    )


def test_a_folder_without_a_logbook_is_refused(tmp_path: Path) -> None:
    assert refusal("--logbook", tmp_path, "read") == (
        f"brinemark: no logbook in {tmp_path}; expected a folder with logbook.toml and logbook.db; "
        "give the logbook's folder, or make a logbook with 'new'"
    )


def test_a_new_logbook_over_something_else_is_refused(tmp_path: Path) -> None:
    (tmp_path / "notes.txt").touch()
    assert refusal("new", tmp_path) == (
        f"brinemark: {tmp_path} is not empty: it holds 'notes.txt'; expected a new or empty folder; "
        "choose another folder"
    )


def test_calibrating_an_empty_logbook_is_refused(empty: Path) -> None:
    assert refusal("--logbook", empty, "calibrate") == (
        "brinemark: no blank or standard in this logbook; expected electrodes whose level is known; "
        "add their run sheet first"
    )


def test_a_changed_signal_definition_is_refused_with_both_ways_out(book: Path) -> None:
    with (book / "logbook.toml").open("a", encoding="utf-8") as settings:
        settings.write('\n[signal]\nquantity = "charge"\n')
    line = refusal("--logbook", book, "read", "W-1")
    assert "signal definition changed since calibration" in line
    assert "run calibrate, or read --calibration" in line


def test_an_unknown_id_to_show_or_draw_is_refused(book: Path, tmp_path: Path) -> None:
    expected = "no sample or electrode or batch 'S9'"
    assert expected in refusal("--logbook", book, "show", "S9")
    assert expected in refusal("--logbook", book, "chart", "S9", "--to", tmp_path / "x.svg")
    assert not (tmp_path / "x.svg").exists()


def test_a_chart_does_not_write_over_a_file_unless_told(book: Path, tmp_path: Path) -> None:
    file = tmp_path / "kept.svg"
    file.write_text("mine", encoding="utf-8")
    words = ("--logbook", book, "chart", "S2-5", "--to", file)
    assert refusal(*words) == (
        f"brinemark: {file} is already there; expected a new file; give another with --to, or write --replace"
    )
    assert file.read_text(encoding="utf-8") == "mine"
    assert call(*words, "--replace").exit_code == 0
    assert file.read_bytes().startswith(b"<svg")


def test_a_chart_in_a_folder_that_is_not_there_is_refused(book: Path, tmp_path: Path) -> None:
    assert "cannot write" in refusal("--logbook", book, "chart", "S2-5", "--to", tmp_path / "no" / "x.svg")


def test_a_calibration_for_a_curve_is_refused(book: Path, tmp_path: Path) -> None:
    words = ("chart", "S2-5", "--calibration", "abcd", "--to", tmp_path / "x.svg")
    assert "leave --calibration out" in refusal("--logbook", book, *words)


def test_a_covariate_is_of_a_pre_scan_and_of_the_settings(book: Path, tmp_path: Path) -> None:
    to = ("--covariate", "dye", "--to", tmp_path / "x.svg")
    assert "expected a pre-scan as prescan:ELECTRODE" in refusal("--logbook", book, "chart", "S2-5", *to)
    electrode = refusal("--logbook", book, "chart", "prescan:S2-5", *to)
    assert "[further_covariate.dye]" in electrode or "no pre-scan kept" in electrode


def test_what_belongs_to_many_curves_is_refused_elsewhere(book: Path, tmp_path: Path) -> None:
    words = ("--logbook", book, "chart")
    to = ("--to", tmp_path / "x.svg")
    assert "expected curves:BATCH" in refusal(*words, "S2-5", "--prescans", "only", *to)
    assert "expected curves:BATCH" in refusal(*words, "calibration", "--above-baseline", *to)
    assert "no batch 'S9'" in refusal(*words, "curves:S9", *to)
    assert "leave --calibration out" in refusal(*words, "curves:S2", "--calibration", "abcd", *to)


@pytest.mark.parametrize(
    ("words", "phrase"),
    [
        ((), "Usage: brinemark"),
        (("raed",), "No such command 'raed'"),
        (("read", "--quick"), "No such option"),
        (("read", "--logbook", "book"), "--logbook DIRECTORY stands before the verb"),
        (("read",), "no logbook: write --logbook DIRECTORY before the verb"),
        (("add",), "Missing argument"),
        (("chart", "S2-5", "--to", "x.jpg"), "should end in .svg, .png or .pdf"),
        (("demo", "--seed", "-1"), "--seed"),
        (("new", "a", "b"), "unexpected extra argument"),
    ],
)
def test_wrong_use_ends_with_status_2(
    words: tuple[str, ...], phrase: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    result = call(*words)
    assert result.exit_code == 2
    assert phrase in result.stderr
    assert list(tmp_path.iterdir()) == []


def failing(error: BaseException) -> object:
    def fail(*_: object, **__: object) -> None:
        raise error

    return fail


@pytest.mark.parametrize("error", [KeyboardInterrupt(), Stopped(3, 9)])
def test_ctrl_c_ends_with_status_130_and_one_line(
    error: BaseException, empty: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(Logbook, "calibrate", failing(error))
    result = call("--logbook", empty, "calibrate")
    assert (result.exit_code, result.stdout, result.stderr) == (130, "", "brinemark: stopped; nothing was stored\n")


def test_a_gate_that_fails_ends_with_status_1_and_names_gate_and_parameter(
    empty: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(Logbook, "calibrate", failing(GateFailed("Pareto k", 0.9, 0.7, "h")))
    line = refusal("--logbook", empty, "calibrate")
    assert line.startswith("brinemark: calibration failed its gate 'Pareto k': 0.9 where at most 0.7 is allowed")


def test_a_fault_of_the_program_is_one_line_and_a_traceback_only_when_asked_for(
    empty: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(Logbook, "calibrate", failing(ValueError("two\nlines")))
    assert refusal("--logbook", empty, "calibrate") == (
        "brinemark: a fault of the program, ValueError: two lines; nothing was stored; please report it, "
        "with what BRINEMARK_TRACEBACK=1 shows"
    )
    monkeypatch.setenv(TRACEBACK, "1")
    assert isinstance(call("--logbook", empty, "calibrate").exception, ValueError)


def test_a_full_disk_is_one_line(empty: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(Logbook, "calibrate", failing(OSError(28, "No space left on device", "logbook.db")))
    assert "No space left on device (logbook.db); nothing was stored" in refusal("--logbook", empty, "calibrate")
