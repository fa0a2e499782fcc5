"""The verb controls on the small example: a table for people, data of a fixed shape for programs."""

from __future__ import annotations

import json
import math
from pathlib import Path

import jsonschema

from .conftest import call, schema


def test_every_run_is_shown_with_its_blanks_and_whether_it_counts(book: Path) -> None:
    result = call("--logbook", book, "controls")
    assert result.exit_code == 0, result.stderr
    told = result.stdout.partition("\nNext: ")[0]
    assert told.startswith("Run of ")
    assert "blank" in told
    assert max(len(line) for line in told.splitlines()) <= 80
    assert told.isascii()


def test_the_data_of_controls_have_the_committed_shape(book: Path) -> None:
    result = call("--logbook", book, "controls", "--json")
    assert result.exit_code == 0, result.stderr
    answer = json.loads(result.stdout)
    jsonschema.Draft202012Validator.check_schema(schema("controls"))
    jsonschema.Draft202012Validator(schema("controls")).validate(answer)
    assert answer
    for run in answer:
        for one in run["findings"]:
            assert all(math.isfinite(one[name]) for name in ("value", "least") if one[name] is not None)
        controls = [one for one in run["findings"] if one["kind"] != "blank"]
        assert controls or run["accepted"] is not True


def test_readings_are_stated_in_another_unit(book: Path) -> None:
    plain = json.loads(call("--logbook", book, "read", "W-1", "--json").stdout)[0]
    moved = json.loads(call("--logbook", book, "read", "W-1", "--unit", "nmol/L", "--json").stdout)[0]
    jsonschema.Draft202012Validator(schema("read")).validate([moved])
    assert moved["unit"] == "nmol/L"
    assert math.isclose(moved["estimate"]["upper"], plain["estimate"]["upper"] * 1e3 / 58.078, rel_tol=1e-12)
    refused = call("--logbook", book, "read", "W-1", "--unit", "drops")
    assert (refused.exit_code, refused.stdout) == (1, "")
    assert "the unit 'drops'" in refused.stderr
