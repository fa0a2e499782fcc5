"""What a new user sees on the small example, verb by verb: sentences, plain tables, one hint what to do next."""

from __future__ import annotations

import re
import shutil
from pathlib import Path

import pytest
from click.testing import Result

from .conftest import SHEET, SMALL, call

Walk = tuple[Path, dict[str, Result]]
STATEMENT = re.compile(r"W-\d: (thiocyanate|cannot say)")


def body(result: Result) -> str:
    assert result.exit_code == 0, result.stderr
    return result.stdout


@pytest.mark.parametrize("verb", ["new", "add", "calibrate", "read"])
def test_every_step_of_the_page_answers_with_status_0_and_says_what_comes_next(walked: Walk, verb: str) -> None:
    answer = walked[1][verb]
    assert answer.exit_code == 0
    assert answer.stderr == ""
    assert answer.stdout.count("\nNext: ") == 1


@pytest.mark.parametrize("verb", ["add", "calibrate", "read"])
def test_sentences_and_tables_fit_into_80_columns_in_ascii_without_colour(walked: Walk, verb: str) -> None:
    told = walked[1][verb].stdout.partition("\nNext: ")[0]
    assert max(len(line) for line in told.splitlines()) <= 80
    assert told.isascii()
    assert "\x1b" not in told
    assert not [line for line in told.splitlines() if line != line.rstrip()]


def test_add_lists_each_electrode_with_its_provisional_signal(walked: Walk) -> None:
    told = body(walked[1]["add"])
    assert "14 rows, 14 electrodes of 3 batches, 29 new files kept" in " ".join(told.split())
    lines = [line for line in told.splitlines() if re.match(r"\s+\d+\s+S\d-\d", line)]
    assert len(lines) == 14
    assert re.search(r"S1-3\s+standard\s+2\s+\d\.\d+ \+- 0\.\d+", told)


def test_calibrate_tells_the_population_each_batch_and_the_weakness(walked: Walk) -> None:
    told = " ".join(body(walked[1]["calibrate"]).split())
    assert "11 electrodes of 3 batches" in told
    assert "K: level at half of the rise" in told
    for batch, electrodes in (("S1", 5), ("S2", 4), ("S3", 2)):
        assert f"{batch} bench {electrodes} 0." in told
    assert "weakness: 3 batches only" in told


def test_read_tells_statement_p_electrodes_and_their_shares(walked: Walk) -> None:
    told = body(walked[1]["read"])
    assert len(STATEMENT.findall(told)) == 2
    assert told.count("that a blank gives such a signal or a higher one") == 2
    shares = re.findall(r"^ +S3-[34] .* (\d+)%$", told, re.MULTILINE)
    assert len(shares) == 2
    assert abs(sum(map(int, shares)) - 100) <= 1


def test_the_same_sheet_again_changes_nothing_and_says_so(book: Path) -> None:
    told = body(call("--logbook", book, "add", SHEET))
    assert "nothing new" in told
    assert "Signals" not in told


def test_calibrating_again_gives_the_same_calibration(book: Path) -> None:
    assert "It was there already; nothing changed." in " ".join(body(call("--logbook", book, "calibrate")).split())


def test_a_sheet_is_corrected_by_its_name_with_a_reason(book: Path, tmp_path: Path) -> None:
    shutil.copytree(SMALL, tmp_path / "run")
    corrected = tmp_path / "run" / "corrected.csv"
    text = SHEET.read_text(encoding="utf-8").replace("standard,0.5,", "standard,0.6,")
    corrected.write_text(text, encoding="utf-8")
    reason = ("--corrects", "runsheet.csv", "--reason", "the standard was 0.6")
    told = body(call("--logbook", book, "add", corrected, *reason))
    assert "takes the place of sheet" in told
    shown = " ".join(body(call("--logbook", book, "show", "S1-2")).split())
    assert "standard of 0.6 ug/L" in shown
    assert "(corrected since)" in shown


def test_show_leads_back_to_files_that_are_there(book: Path) -> None:
    told = body(call("--logbook", book, "show", "W-2"))
    paths = re.findall(r"originals/\S+", told)
    assert len(paths) == 6
    assert all((book / path).is_file() for path in paths)
    assert (book / paths[1]).read_bytes() == (SMALL / "curves" / "S3-3.csv").read_bytes()
    assert "W-2: thiocyanate" in told


def test_show_of_a_batch_tells_what_it_can_do(book: Path) -> None:
    told = body(call("--logbook", book, "show", "batch:S2"))
    assert "batch S2: 5 rows" in told
    assert "critical value" in told


@pytest.mark.parametrize(
    ("what", "file", "start"),
    [
        ("calibration", "a.svg", b"<svg"),
        ("S2", "b.png", b"\x89PNG"),
        ("S2-5", "c.pdf", b"%PDF"),
        ("prescan:S2-5", "d.svg", b"<svg"),
        ("life:S2-5", "g.svg", b"<svg"),
        ("W-2", "e.PNG", b"\x89PNG"),
        ("statements", "f.pdf", b"%PDF"),
        ("fit", "h.svg", b"<svg"),
        ("curves:S2", "i.svg", b"<svg"),
    ],
)
def test_chart_draws_by_the_suffix(book: Path, tmp_path: Path, what: str, file: str, start: bytes) -> None:
    told = body(call("--logbook", book, "chart", what, "--to", tmp_path / file))
    assert (tmp_path / file).read_bytes().startswith(start)
    assert told.startswith("Drew the ")


def test_chart_without_a_file_names_an_svg_itself(book: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    body(call("--logbook", book, "chart", "prescan:S2-5"))
    assert (tmp_path / "prescan-S2-5.svg").read_bytes().startswith(b"<svg")


def test_read_with_an_older_calibration_by_the_first_digits_of_its_id(book: Path, walked: Walk) -> None:
    digits = re.findall(r"Calibration ([0-9a-f]{12}):", walked[1]["calibrate"].stdout)[0]
    assert body(call("--logbook", book, "read", "W-1", "--calibration", digits[:8])).startswith("W-1: ")


def test_reading_before_calibrating_says_what_is_missing(empty: Path) -> None:
    result = call("--logbook", empty, "read")
    assert result.exit_code == 1
    assert "no calibration in this logbook" in result.stderr
