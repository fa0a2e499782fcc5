"""`--json`: every verb that answers prints data of the committed shape, with finite numbers and nothing else."""

from __future__ import annotations

import json
import math
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from .conftest import SHEET, call, schema


def data(verb: str, *words: str | Path) -> Any:
    """The answer of a call, checked against the schema of its verb."""
    result = call(*words, "--json")
    assert result.exit_code == 0, result.stderr
    assert result.stderr == ""
    assert result.stdout.isascii()
    answer = json.loads(result.stdout, parse_constant=lambda name: pytest.fail(f"{name} is no number"))
    jsonschema.Draft202012Validator(schema(verb)).validate(answer)
    assert all(math.isfinite(number) for number in numbers(answer))
    return answer


def numbers(value: Any) -> Iterator[float]:
    if isinstance(value, dict):
        value = list(value.values())
    if isinstance(value, list):
        for part in value:
            yield from numbers(part)
    elif isinstance(value, float):
        yield value


def test_read_gives_a_list_with_one_object_for_each_sample(book: Path) -> None:
    answer = data("read", "--logbook", book, "read")
    assert [one["sample"] for one in answer] == ["W-1", "W-2"]
    assert [use["dilution"] for use in answer[1]["electrodes"]] == [1.0, 4.0]
    assert data("read", "--logbook", book, "read", "W-2") == answer[1:]


def test_the_schema_of_read_bites(book: Path) -> None:
    answer = data("read", "--logbook", book, "read", "W-1")
    answer[0]["statement"] = "perhaps"
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.Draft202012Validator(schema("read")).validate(answer)


def test_new_add_calibrate_and_show_give_data(book: Path, tmp_path: Path) -> None:
    assert data("new", "new", tmp_path / "n", "--name", "Pier", "--timezone", "Etc/GMT-2")["name"] == "Pier"
    assert data("add", "--logbook", book, "add", SHEET)["new"] is False
    assert data("add", "--logbook", tmp_path / "n", "add", SHEET)["rows"] == 14
    made = data("calibrate", "--logbook", book, "calibrate")
    assert made["new"] is False
    assert {one["batch"] for one in made["limits"]} == {"S1", "S2", "S3"}
    for what in ("W-1", "S1-1", "S2"):
        assert data("show", "--logbook", book, "show", what)["name"] == what


def test_chart_says_what_it_drew_and_where(book: Path, tmp_path: Path) -> None:
    file = tmp_path / "x.svg"
    words = ("--logbook", book, "chart")
    assert data("chart", *words, "S2-5", "--to", file) == {
        "schema": 1, "file": str(file), "kind": "svg", "of": "electrode", "name": "S2-5",
    }  # fmt: skip
    assert data("chart", *words, "statements", "--to", file, "--replace")["name"] is None
    many = ("curves:S2", "--prescans", "with", "--above-baseline", "--to", file, "--replace")
    assert data("chart", *words, *many)["of"] == "curves"
    for what in ("fit", "residuals", "life:S2-5"):
        data("chart", *words, what, "--to", file, "--replace")


def test_a_refusal_prints_no_data(book: Path) -> None:
    result = call("--logbook", book, "read", "W-9", "--json")
    assert (result.exit_code, result.stdout) == (1, "")
