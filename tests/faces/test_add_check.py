"""add --check tells every fault and stores nothing."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import jsonschema

from brinemark.logbook import Logbook

from .conftest import SHEET, SMALL, call, schema


def test_a_sound_sheet_is_told_and_not_stored(empty: Path) -> None:
    shutil.copy(SMALL / "logbook.toml", empty / "logbook.toml")
    told = call("--logbook", empty, "add", SHEET, "--check")
    assert told.exit_code == 0
    assert "14 rows, 28 files; nothing is wrong." in told.stdout
    answer = json.loads(call("--logbook", empty, "add", SHEET, "--check", "--json").stdout)
    jsonschema.Draft202012Validator(schema("add-check")).validate(answer)
    assert (answer["sound"], answer["new"], answer["findings"]) == (True, True, [])


def test_every_fault_is_told_and_ends_with_status_1(empty: Path, tmp_path: Path) -> None:
    text = SHEET.read_text(encoding="utf-8").replace(",blank,", ",blnak,")
    bad = tmp_path / "bad.csv"
    bad.write_text(text, encoding="utf-8")
    told = call("--logbook", empty, "add", bad, "--check")
    assert (told.exit_code, told.stderr) == (1, "")
    assert "blnak" in told.stdout
    result = call("--logbook", empty, "add", bad, "--check", "--json")
    answer = json.loads(result.stdout)
    jsonschema.Draft202012Validator(schema("add-check")).validate(answer)
    assert result.exit_code == 1
    assert len(answer["findings"]) > text.count("blnak")
    assert all(max(map(len, line.split("\n"))) <= 80 for line in told.stdout.splitlines())
    with Logbook.open(empty) as book:
        assert book.rows() == ()
