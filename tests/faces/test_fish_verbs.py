"""The verbs holds, survey and markers: sentences within the terminal, data of the committed shape, refusals."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from jsonschema import Draft202012Validator

from brinemark.logbook import Logbook
from surveyed import consignment
from tank_build import tank_csv

from .conftest import call, schema
from .test_data import data

RESULTS = """sample,fish,marker,method,unit,value,limit_of_detection,u
W-1,,thiocyanate,LC-MS/MS,ug/L,2.2,0.6,0.1
W-2,,thiocyanate,LC-MS/MS,ug/L,not found,0.6,
W-1,,thiocyanate,HPLC,nmol/L,35,10,2
W-2,F1,cyanide in tissue,distillation,mg/kg,0.2,0.05,
"""


@pytest.fixture
def results(tmp_path: Path) -> Path:
    file = tmp_path / "other.csv"
    file.write_text(RESULTS, encoding="utf-8")
    return file


@pytest.fixture
def tested(book: Path) -> Path:
    """The small example with a consignment whose two tanks gave its samples."""
    rows = list(consignment("K1", "2026-02-20", 2, origin="north bank", history="unknown"))
    for place, row in enumerate(row for row in rows if row["what"] == "sample"):
        row["sample"] = f"W-{place + 1}"
    with Logbook.open(book) as made:
        made.add_tanks(("tanks.csv", tank_csv(rows).encode()))
    return book


def told(*words: str | Path) -> str:
    result = call(*words)
    assert result.exit_code == 0, result.stderr
    assert max(map(len, result.stdout.partition("\nNext: ")[0].splitlines())) <= 80
    assert result.stdout.isascii()
    return " ".join(result.stdout.split())


def test_holds_tells_both_worlds_and_never_one_number_for_both(book: Path) -> None:
    text = told("--logbook", book, "holds", "--fish", "3", "--mass-g", "8")
    assert text.startswith("A tank of 3 exposed fish of 8 g, one electrode of batch ")
    assert text.index('World "released"') < text.index('World "not released"')
    assert "Every hold has the chance of a false alarm, 0.01" in text
    words = ("--days", "2", "--litres", "0.5", "--litres", "2", "--hours", "12")
    answer = data("holds", "--logbook", book, "holds", *words)
    places = answer["worlds"][0]["holds"]
    assert [(one["days"], one["volume_L"], one["hours"]) for one in places] == [(2.0, 0.5, 12.0), (2.0, 2.0, 12.0)]


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (("--fish", "0"), "0 fish; expected at least 1"),
        (("--mass-g", "0"), "a fish of 0 g"),
        (("--litres", "-1"), "a volume of -1 L"),
        (("--hours", "0"), "a hold of 0 h"),
        (("--days", "nan"), "days of nan d"),
    ],
)
def test_holds_refuses_what_cannot_be_in_one_line(book: Path, words: tuple[str, ...], message: str) -> None:
    result = call("--logbook", book, "holds", *words)
    assert (result.exit_code, result.stdout) == (1, "")
    assert message in result.stderr
    assert result.stderr.count("\n") == 1


def test_survey_tells_its_tanks_and_why_there_is_no_prevalence(tested: Path, empty: Path) -> None:
    text = told("--logbook", tested, "survey")
    assert "of 2 tested tanks of 1 consignments" not in text
    assert "of 2 tested tanks of 1 consignment " in text
    assert text.count("no prevalence can be stated: the false-positive rate is not known") == 2
    answer = data("survey", "--logbook", tested, "survey")
    assert [one["name"] for one in answer["consignments"]] == ["K1"]
    assert answer["false_findings"] is None
    nothing = data("survey", "--logbook", empty, "survey")
    assert (nothing["tested"], nothing["worlds"]) == (0, [])
    assert "No prevalence: no tank of fish of unknown history" in told("--logbook", empty, "survey")


def test_markers_takes_in_once_and_then_compares(tested: Path, results: Path) -> None:
    where = ("--logbook", tested, "markers")
    assert "No results of other methods" in told(*where)
    assert data("markers-check", *where, results, "--check")["new"] == 4
    taken = data("markers-add", *where, results)
    assert (taken["new"], taken["rows"], taken["warnings"]) == (True, 4, [])
    assert data("markers-add", *where, results)["new"] is False
    answer = data("markers", *where, "--at", "1")
    assert [one["samples"] for one in answer["methods"]] == [2, 1, 1]
    assert [one["same_quantity"] for one in answer["comparisons"]] == [True, True, True, False, False]
    text = told(*where)
    assert "this logbook's electrodes, thiocyanate beside LC-MS/MS, thiocyanate" in text
    assert "they report different quantities" in text
    assert "(ASTM D4193" in text


def test_markers_lists_every_fault_and_ends_with_status_1(book: Path, results: Path) -> None:
    results.write_text(RESULTS.replace("2.2", "").replace("not found", "none"), encoding="utf-8")
    result = call("--logbook", book, "markers", results, "--check")
    assert result.exit_code == 1
    assert "other.csv: 2 faults; nothing was stored." in result.stdout
    answer = call("--logbook", book, "markers", results, "--check", "--json")
    Draft202012Validator(schema("markers-check")).validate(json.loads(answer.stdout))
    stored = call("--logbook", book, "markers", results)
    assert (stored.exit_code, stored.stdout) == (1, "")
    assert "other.csv, row 2, column value" in stored.stderr and "1 more faulty row: 3" in stored.stderr


def test_markers_corrects_a_file_with_a_reason(book: Path, results: Path) -> None:
    where = ("--logbook", book, "markers", results)
    told(*where)
    results.write_text(RESULTS.replace("2.2", "2.4"), encoding="utf-8")
    text = told(*where, "--corrects", "other.csv", "--reason", "misread")
    assert "They take the place of results" in text


@pytest.mark.parametrize("words", [("--check",), ("--corrects", "x", "--reason", "y"), ("FILE", "--at", "1")])
def test_options_that_do_not_go_together_are_a_wrong_use(book: Path, words: tuple[str, ...]) -> None:
    assert call("--logbook", book, "markers", *words).exit_code == 2
