"""The verb plan-sample: a sentence, a table within the terminal, data of the committed shape, refusals in one line."""

from __future__ import annotations

from pathlib import Path

import pytest

from .conftest import call
from .test_data import data


def test_it_says_a_sentence_and_a_table_within_80_columns(book: Path) -> None:
    result = call("--logbook", book, "plan-sample", "W-1", "--cell-mL", "10", "--read-once")
    assert result.exit_code == 0, result.stderr
    assert result.stdout.startswith("W-1: ")
    assert "Nothing was" in result.stdout
    told = result.stdout.partition("\nNext: ")[0].splitlines()
    assert max(map(len, told)) <= 80
    head = next(line for line in told if line.strip().startswith("dilution"))
    assert head.split()[:4] == ["dilution", "then", "sample,", "mL"]
    assert sum(line.rstrip().endswith("  most") for line in told) == 1


def test_its_data_have_the_committed_shape(book: Path) -> None:
    one = data("plan-sample", "--logbook", book, "plan-sample", "W-2", "--water-mL", "8", "--cell-mL", "10")
    assert (one["water_mL"], one["cell_mL"], one["together"]) == (8.0, 10.0, None)
    words = ("plan-sample", "W-9", "--unread", "--electrodes", "2", "--cell-mL", "10", "--read-once")
    several = data("plan-sample", "--logbook", book, *words)
    assert len(several["together"]["dilutions"]) == 2
    assert several["now"] is None


def test_the_list_for_the_bench_is_written_beside_the_answer(book: Path, tmp_path: Path) -> None:
    page = tmp_path / "bench.txt"
    words = ("--logbook", book, "plan-sample", "W-1", "--cell-mL", "10", "--read-once", "--page")
    result = call(*words, page)
    assert (result.exit_code, f"Wrote {page}." in " ".join(result.stdout.split())) == (0, True), result.stderr
    assert page.read_text(encoding="utf-8").startswith("NEXT ELECTRODE OF SAMPLE W-1")
    nowhere = call(*words, tmp_path / "no folder" / "bench.txt")
    assert (nowhere.exit_code, nowhere.stdout) == (1, "")
    assert "cannot write" in nowhere.stderr


@pytest.mark.parametrize(
    ("words", "came"),
    [
        (("W-9",), "no sample 'W-9'"),
        (("W-1", "--electrodes", "0"), "0 electrodes"),
        (("W-1", "--unread"), "of which something was read"),
    ],
)
def test_what_cannot_be_had_is_one_line_on_the_error_stream(book: Path, words: tuple[str, ...], came: str) -> None:
    result = call("--logbook", book, "plan-sample", *words)
    assert (result.exit_code, result.stdout) == (1, "")
    assert came in result.stderr
    assert len(result.stderr.strip().splitlines()) == 1


def test_too_little_water_is_an_answer_that_says_what_would_be_enough(book: Path) -> None:
    words = ("--logbook", book, "plan-sample", "W-1", "--water-mL", "0.01")
    result = call(*words)
    assert (result.exit_code, result.stderr) == (0, "")
    assert "Not as wished: 0.01 mL of W-1 for one electrode" in " ".join(result.stdout.split())
    said = data("plan-sample", *words)
    assert sorted(said) == ["not_as_wished", "sample", "schema"]
    assert "at least 0.125 mL" in said["not_as_wished"]
