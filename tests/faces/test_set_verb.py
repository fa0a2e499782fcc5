"""The verb set: what the settings say and may say, and a change of them."""

from __future__ import annotations

import json
import tomllib
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from brinemark.logbook import Logbook

from .conftest import call, schema


def as_data(name: str, *words: str | Path) -> Any:
    done = call(*words, "--json")
    assert done.exit_code == 0, done.stderr
    answer = json.loads(done.stdout)
    jsonschema.Draft202012Validator.check_schema(schema(name))
    jsonschema.Draft202012Validator(schema(name)).validate(answer)
    return answer


def test_the_list_has_the_committed_shape_and_says_what_holds(empty: Path) -> None:
    answer = as_data("set-list", "--logbook", empty, "set")
    found = {one["key"]: one for one in answer["keys"]}
    assert found["decision.alpha"]["value"] == 0.05
    assert found["run.max_gap_h"] | {"written": False, "unit": "h", "default": 12.0} == found["run.max_gap_h"]
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.Draft202012Validator(schema("set-list")).validate({"schema": 1, "keys": [{"key": "a"}]})


def test_a_change_has_the_committed_shape(empty: Path) -> None:
    answer = as_data("set", "--logbook", empty, "set", "decision.alpha", "0.01", "--reason", "stricter")
    assert answer["changed"] == [{"key": "decision.alpha", "old": 0.05, "new": 0.01}]
    assert (answer["entry"], answer["new_calibration"]) == (2, False)
    again = as_data("set", "--logbook", empty, "set", "decision.alpha", "0.01")
    assert (again["entry"], again["changed"]) == (None, [])
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.Draft202012Validator(schema("set")).validate({**answer, "entry": "two"})


def test_numbers_below_zero_are_values_and_the_next_step_is_told(empty: Path) -> None:
    done = call("--logbook", empty, "set", "signal.window_V", "-0.3", "0.1", "--reason", "another wave")
    assert done.exit_code == 0
    assert "signal.window_V: [0.4, 0.76] -> [-0.3, 0.1]." in done.stdout
    assert "needs a new calibration" in done.stdout
    assert done.stdout.rstrip().endswith("calibrate")
    with Logbook.open(empty) as book:
        assert book.settings.signal.model_dump()["window_V"] == (-0.3, 0.1)


def test_a_key_and_a_section_can_be_taken_out(empty: Path) -> None:
    call("--logbook", empty, "set", "stock.K1.level", "500", "--reason", "a bottle")
    assert call("--logbook", empty, "set", "stock.K1", "--default", "--reason", "empty").exit_code == 0
    assert call("--logbook", empty, "set", "decision.beta", "--default", "--reason", "the usual").exit_code == 0
    text = (empty / "logbook.toml").read_text("utf-8")
    assert "K1" not in text
    assert "beta" not in text


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("decision.alpha", "2", "--reason", "x"), "[decision] alpha = 2.0; expected a number below 1"),
        (("decision.alfa", "0.1", "--reason", "x"), "nearest known key, alpha"),
        (("decision.alpha", "0.01"), "give a reason"),
        (("decision alpha",), "names with dots"),
        (("windw",), "signal.window_V"),
    ],
)
def test_refusals_are_one_line_and_change_nothing(empty: Path, words: tuple[str, ...], said: str) -> None:
    before = (empty / "logbook.toml").read_bytes()
    done = call("--logbook", empty, "set", *words)
    assert done.exit_code == 1
    assert said in done.stderr
    assert len(done.stderr.splitlines()) == 1
    assert (empty / "logbook.toml").read_bytes() == before


def test_a_scale_is_written_as_pairs(empty: Path) -> None:
    refused = call("--logbook", empty, "set", "fish.scale", "2 = weak", "10 = moderate", "--reason", "ours")
    assert "a scale without scale_source" in refused.stderr
    call("--logbook", empty, "set", "fish.scale_source", "house rules, edition 2", "--reason", "ours")
    done = call("--logbook", empty, "set", "fish.scale", "2 = weak", "10,5 = moderate", "--reason", "ours")
    assert done.exit_code == 0, done.stderr
    found = tomllib.loads((empty / "logbook.toml").read_text(encoding="utf-8"))["fish"]["scale"]
    assert found == [[2, "weak"], [10.5, "moderate"]]


def test_to_take_out_needs_a_key(empty: Path) -> None:
    assert call("--logbook", empty, "set", "--default").exit_code == 2


def test_the_list_is_a_table_for_people(empty: Path) -> None:
    text = call("--logbook", empty, "set", "decision").stdout
    assert "decision.max_fold" in text
    assert "still counts as quantified" in " ".join(text.split())
