"""The verb report: where its file goes, what it tells, its data, and what it refuses."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from .conftest import call, schema


def test_a_report_is_written_where_it_is_wanted_and_told(book: Path, tmp_path: Path) -> None:
    file = tmp_path / "W-1.pdf"
    answer = call("--logbook", book, "report", "samples", "W-1", "--to", file)
    assert answer.exit_code == 0
    assert answer.stderr == ""
    assert file.read_bytes().startswith(b"%PDF-1.7")
    told = " ".join(answer.stdout.split())
    assert re.search(r"Report [0-9a-f]{12} of W-1 into", told)
    assert "Next: open" in told
    assert "had been made before" not in told
    again = call("--logbook", book, "report", "samples", "W-1", "--to", file, "--replace")
    assert "had been made before" in " ".join(again.stdout.split())


def test_without_a_file_it_is_named_by_its_id_and_the_same_one_again_is_no_fault(
    book: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    first = call("--logbook", book, "report", "batch", "S1", "--json")
    again = call("--logbook", book, "report", "batch", "S1", "--json")
    one, two = json.loads(first.stdout), json.loads(again.stdout)
    assert one["file"] == f"report-batch-{one['report'][:12]}.pdf"
    assert (tmp_path / one["file"]).is_file()
    assert (one["new"], two["new"]) == (True, False)
    assert {**one, "new": False} == two


@pytest.mark.parametrize("words", [("samples",), ("samples", "W-1", "W-2"), ("batch", "S2"), ("calibration",)])
def test_the_data_of_every_kind_follow_the_schema(book: Path, tmp_path: Path, words: tuple[str, ...]) -> None:
    answer = call("--logbook", book, "report", *words, "--to", tmp_path / "one.pdf", "--decimal", "comma", "--json")
    assert answer.exit_code == 0
    found = json.loads(answer.stdout)
    jsonschema.Draft202012Validator(schema("report")).validate(found)
    assert found["kind"] == words[0]
    assert found["size"] == (tmp_path / "one.pdf").stat().st_size


def test_a_file_that_is_there_stays_unless_replace_is_said(book: Path, tmp_path: Path) -> None:
    file = tmp_path / "kept.pdf"
    file.write_bytes(b"mine")
    answer = call("--logbook", book, "report", "calibration", "--to", file)
    assert answer.exit_code == 1
    assert "already there" in answer.stderr
    assert file.read_bytes() == b"mine"
    assert call("--logbook", book, "report", "calibration", "--to", file, "--replace").exit_code == 0
    assert file.read_bytes().startswith(b"%PDF-")


def test_what_cannot_be_reported_ends_with_one_line(book: Path, empty: Path, tmp_path: Path) -> None:
    file = tmp_path / "none.pdf"
    cases = (
        (book, ("samples", "W-9"), "no sample 'W-9'"),
        (book, ("batch",), "0 batches; expected one batch"),
        (book, ("batch", "S1", "S2"), "2 batches; expected one batch"),
        (book, ("batch", "S7"), "did you mean"),
        (book, ("calibration", "0000"), "0 calibrations"),
        (book, ("consignment",), "0 consignments; expected one for one report"),
        (book, ("consignment", "K9"), "no consignment 'K9' in this logbook"),
        (book, ("trials",), "no tank of fish whose history is known"),
        (book, ("trials", "T1"), "expected no name: a report is of all tanks"),
        (empty, ("samples",), "no calibration in this logbook"),
        (empty, ("calibration",), "no calibration in this logbook"),
    )
    for folder, words, said in cases:
        answer = call("--logbook", folder, "report", *words, "--to", file)
        assert answer.exit_code == 1
        assert said in answer.stderr
        assert answer.stderr.count("\n") == 1
        assert answer.stdout == ""
    assert not file.exists()


@pytest.mark.parametrize("words", [("waters",), ("samples", "--to", "W-1.txt"), ("samples", "--decimal", "dot")])
def test_wrong_words_are_wrong_use(book: Path, words: tuple[str, ...]) -> None:
    assert call("--logbook", book, "report", *words).exit_code == 2


def test_an_older_calibration_is_reported_by_its_first_digits(book: Path, tmp_path: Path) -> None:
    older = json.loads(call("--logbook", book, "calibrate", "--json").stdout)["calibration"]
    answer = call("--logbook", book, "report", "calibration", older[:10], "--to", tmp_path / "old.pdf", "--json")
    assert json.loads(answer.stdout)["names"] == [older]


def renamed(part: Any, verb: str) -> Any:
    """A part of a verb's schema with its references as the schema of reports has them."""
    if isinstance(part, dict):
        return {
            key: f"#/$defs/{verb}.{value.removeprefix('#/$defs/')}" if key == "$ref" else renamed(value, verb)
            for key, value in part.items()
        }
    return [renamed(one, verb) for one in part] if isinstance(part, list) else part


def test_what_is_attached_has_the_parts_of_the_answers_of_other_verbs_word_for_word() -> None:
    found = schema("report-results")["$defs"]
    of_fish = ("consignment", "kinetics", "trials")
    for verb in ("read", "controls", "calibrate", "show", "signals-tried", "batches", *of_fish):
        for name, part in schema(verb).get("$defs", {}).items():
            assert found[f"{verb}.{name}"] == renamed(part, verb)
    shown, tried = schema("show")["properties"], schema("signals-tried")["properties"]
    assert found["show.row"] == renamed(shown["rows"]["items"], "show")
    assert found["show.said"] == renamed(shown["readings"]["items"], "show")
    assert found["signals-tried.tried"] == renamed(tried["tried"]["items"], "signals-tried")
    assert found["departure"] == schema("plans")["$defs"]["departure"]
    whole = {key: part for key, part in schema("calibrate").items() if key not in ("$schema", "title", "$defs")}
    assert found["calibrate.calibration"] == renamed(whole, "calibrate")
    for verb in of_fish:
        whole = {key: part for key, part in schema(verb).items() if key not in ("$schema", "title", "$defs")}
        assert found[f"{verb}.answer"] == renamed(whole, verb)
