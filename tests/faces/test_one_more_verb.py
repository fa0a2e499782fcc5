"""The verb one-more: a sentence, a table within the terminal, data of the committed shape."""

from __future__ import annotations

from pathlib import Path

from .conftest import call
from .test_data import data


def test_it_says_a_sentence_and_a_table_within_80_columns(book: Path) -> None:
    result = call("--logbook", book, "one-more", "W-1")
    assert result.exit_code == 0, result.stderr
    assert result.stdout.startswith("W-1: one more electrode of batch ")
    assert "a supposition: what a typical signal would do" in result.stdout
    told = result.stdout.partition("\nNext: ")[0].splitlines()
    assert max(map(len, told)) <= 80
    head = next(line for line in told if line.strip().startswith("dilution"))
    assert head.split()[:3] == ["dilution", "level", "in"] or head.split()[:3] == ["dilution", "in", "cell"]


def test_its_data_have_the_committed_shape(book: Path) -> None:
    answer = data("one-more", "--logbook", book, "one-more", "W-2", "--dilution", "1", "--dilution", "8")
    assert {row["dilution"] for row in answer["rows"]} == {1.0, 8.0}
    assert answer["sample"] == "W-2"


def test_a_dilution_below_one_is_refused(book: Path) -> None:
    result = call("--logbook", book, "one-more", "W-1", "--dilution", "0.1")
    assert (result.exit_code, result.stdout) == (1, "")
    assert "dilution 0.1" in result.stderr
