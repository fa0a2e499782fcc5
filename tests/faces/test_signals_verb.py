"""The verb signals: a ranking in 80 columns, data of the committed shape, what was tried, and "cannot say"."""

from __future__ import annotations

import shutil
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from .conftest import call, schema
from .test_data import data

WORDS = ("signals", "--quantity", "height", "--baseline", "chord", "--baseline", "polynomial")


@pytest.fixture(scope="module")
def studied(walked: tuple[Path, Any], tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, str]:
    """The small example with its definitions tried, and what the command said."""
    book = tmp_path_factory.mktemp("studied") / "book"
    shutil.copytree(walked[0], book)
    result = call("--logbook", book, *WORDS)
    assert result.exit_code == 0, result.stderr
    return book, result.stdout


def flat(text: str) -> str:
    return " ".join(text.split())


def test_it_tells_a_ranking_with_its_electrodes_windows_and_verdict(studied: tuple[Path, str]) -> None:
    said = flat(studied[1])
    assert "6 definitions, all judged on the same 11 electrodes of 3 batches, 0 controls among them" in said
    assert "each batch was read by what the others teach" in said
    assert "Standards rise above the blanks of their batch from 0.4" in said
    assert "Proposed windows rest on all blanks and standards" in said
    assert "present" in said


def test_it_says_first_that_samples_were_read_and_last_that_they_were_hidden(studied: tuple[Path, str]) -> None:
    said = flat(studied[1])
    assert said.startswith(
        "warning: samples were read already (2 readings): a definition that is chosen now is not chosen blind"
    )
    assert "Samples were not looked at: no curve of a sample was read. Choose a definition before samples are" in said
    assert "The present definition is locked: a sample was read by it." in said


def test_one_definition_alone_is_not_counted_aloud(walked: tuple[Path, Any]) -> None:
    assert "tried" not in walked[1]["read"].stdout
    assert data("read", "--logbook", walked[0], "read", "W-1")[0]["choice"]["tried"] == 1


def test_the_answer_fits_80_columns_and_ends_with_one_hint(studied: tuple[Path, str]) -> None:
    answer, _, hint = studied[1].partition("\nNext: ")
    assert "signals --tried" in hint
    assert max(len(line) for line in answer.splitlines()) <= 80
    assert studied[1].isascii()


def test_the_data_has_the_committed_shape_and_the_schema_bites(studied: tuple[Path, str]) -> None:
    answer = data("signals", "--logbook", studied[0], *WORDS)
    assert answer["new"] is False
    assert answer["samples_looked_at"] == 0
    assert len(answer["definitions"]) == 6
    assert [one["present"] for one in answer["definitions"]].count(True) == 1
    typical = [(one["by_model"] or one["by_curve"])["typical"] for one in answer["definitions"] if one["by_model"]]
    assert typical == sorted(typical)
    answer["definitions"][0]["window"] = "perhaps"
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.Draft202012Validator(schema("signals")).validate(answer)


def test_what_was_tried_is_listed_in_text_and_data(studied: tuple[Path, str]) -> None:
    text = call("--logbook", studied[0], "signals", "--tried").stdout
    assert "6 definitions tried in this logbook." in text
    assert max(len(line) for line in text.splitlines() if "brinemark" not in line) <= 80
    answer = data("signals-tried", "--logbook", studied[0], "signals", "--tried")
    assert [one["rank"] for one in answer["tried"]].count(1) == 1
    assert {one["of"] for one in answer["tried"]} == {6}
    assert answer["tried"][0]["signal"]["quantity"] == "height"


def test_an_empty_logbook_cannot_say_which_is_an_answer(empty: Path) -> None:
    result = call("--logbook", empty, "signals")
    assert result.exit_code == 0
    assert "cannot say: no blank, standard or control with a curve." in flat(result.stdout)
    answer = data("signals", "--logbook", empty, "signals")
    assert (answer["id"], answer["definitions"], answer["step"]) == (None, [], None)
    assert "No definition was tried yet." in call("--logbook", empty, "signals", "--tried").stdout


def test_a_listing_tries_nothing_and_a_wrong_quantity_is_refused_in_one_line(empty: Path) -> None:
    assert call("--logbook", empty, "signals", "--tried", "--baseline", "chord").exit_code == 2
    result = call("--logbook", empty, "signals", "--quantity", "band")
    assert (result.exit_code, result.stdout) == (1, "")
    assert result.stderr.startswith("brinemark: quantity 'band' of voltammograms; expected height or charge")
