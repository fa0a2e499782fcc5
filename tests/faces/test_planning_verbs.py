"""The verbs plan-batch and what-helps: a sentence, tables within the terminal, data of the committed shape."""

from __future__ import annotations

from pathlib import Path

from .conftest import call
from .test_data import data


def test_a_plan_is_a_sentence_and_tables_within_80_columns(book: Path) -> None:
    result = call("--logbook", book, "plan-batch", "--electrodes", "4", "--level", "1")
    assert result.exit_code == 0, result.stderr
    told = result.stdout.partition("\nNext: ")[0].splitlines()
    assert max(map(len, told)) <= 80
    assert "The best for each number of burned electrodes:" in result.stdout
    assert "If the batch were known exactly" in " ".join(result.stdout.split())


def test_its_data_have_the_committed_shape(book: Path) -> None:
    answer = data("plan-batch", "--logbook", book, "plan-batch", "--electrodes", "3", "--level", "1", "--wish", "power")
    assert answer["wish"]["aim"] == "power"
    assert answer["electrodes"] == 3


def test_no_electrodes_is_an_answer_and_a_wrong_wish_is_refused(book: Path) -> None:
    none = call("--logbook", book, "plan-batch", "--electrodes", "0")
    assert (none.exit_code, none.stdout.splitlines()[0][:29]) == (0, "no plan for 0 electrodes does")
    wrong = call("--logbook", book, "plan-batch", "--electrodes", "4", "--wish", "cost")
    assert (wrong.exit_code, wrong.stdout) == (1, "")
    assert "without a value" in wrong.stderr


def test_what_helps_is_a_sentence_and_a_table_within_80_columns(book: Path) -> None:
    result = call("--logbook", book, "what-helps", "--electrodes", "3", "--wish", "narrow", "--level", "1")
    assert result.exit_code == 0, result.stderr
    assert max(map(len, result.stdout.partition("\nNext: ")[0].splitlines())) <= 80
    assert "electrode scatter" in result.stdout


def test_the_data_of_what_helps_have_the_committed_shape(book: Path) -> None:
    words = ("what-helps", "--electrodes", "2", "--level", "1", "--factor", "3")
    assert data("what-helps", "--logbook", book, *words)["factor"] == 3.0
