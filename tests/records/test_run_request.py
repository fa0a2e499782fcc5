"""What is asked of a run is checked value by value; its sheet is text that reads back."""

from __future__ import annotations

import csv
import io
from dataclasses import replace

import pytest

from brinemark.records.run_request import (
    checked_request,
    read_request,
    request_and_faults,
    request_from_json,
    request_to_json,
)
from brinemark.records.sheet_table import read_table
from brinemark.records.sheet_text import safe_part, sheet_text
from brinemark.terms.errors import Refused
from brinemark.terms.run_plans import PlannedRow, WantedAddition, WantedPortion

VALUES: dict[str, object] = {"instrument": "bench", "batches": ["H16"]}
TOML = b"""
instrument = "bench"
electrodes = ["H16-1", "H16-2"]
levels = [8, 0.5]
standards = 1
volume_mL = 20
start = 2026-08-03T10:00:00+02:00
[[sample]]
name = "Tank 1"
dilution = 4
electrodes = 2
[[control]]
name = "QC-one"
expected_level = 1
[[addition]]
rise = 2
[closing_spike]
stock = "KSCN-2"
volume_mL = 1.05
"""


def test_a_file_gives_the_request_that_it_says() -> None:
    request = checked_request(read_request(TOML, "run.toml"), "run.toml")
    assert request.levels == (0.5, 8.0)
    assert request.portions == (
        WantedPortion("Tank 1", "sample", 2, 4.0),
        WantedPortion("QC-one", "control", 1, 1.0, 1.0),
    )
    assert request.additions == (
        WantedAddition(rise=2.0),
        WantedAddition("KSCN-2", volume_mL=1.05, spike=True),
    )
    assert request.add_to == ("blank", "standard", "sample", "control")
    assert request.start == "2026-08-03T10:00+02:00"
    assert request_from_json(request_to_json(request)) == request


def test_a_form_says_the_same_in_text() -> None:
    form = {
        "instrument": "bench",
        "electrodes": "H16-1\nH16-2",
        "levels": "0,5 8",
        "standards": "1",
        "volume_mL": "20",
        "start": "2026-08-03T10:00+02:00",
        "prescan": "yes",
        "sample": [{"name": "Tank 1", "dilution": "4", "electrodes": "2"}],
        "control": [{"name": "QC-one", "expected_level": "1", "dilution": ""}],
        "addition": [{"rise": "2"}],
        "closing_spike": {"stock": "KSCN-2", "volume_mL": "1,05"},
    }
    assert checked_request(form) == checked_request(read_request(TOML, "run.toml"))


@pytest.mark.parametrize(
    ("change", "column", "words"),
    [
        ({"instrument": ""}, "instrument", "nothing"),
        ({"batches": []}, "electrodes", "no electrode and no batch"),
        ({"blanks": -1}, "blanks", "from 0"),
        ({"blanks": "two"}, "blanks", "not a number"),
        ({"levels": [0, 1]}, "levels", "levels above 0"),
        ({"levels": "high"}, "levels", "not a number"),
        ({"levels": [True]}, "levels", "not a number"),
        ({"sample": [{"electrodes": 2}]}, "sample 1.name", "nothing"),
        ({"sample": [{"name": "T", "dilution": 0.5}]}, "sample 1.dilution", "from 1"),
        ({"sample": [{"name": "T", "expected_level": 2}]}, "sample 1.expected_level", "unknown name"),
        ({"sample": "Tank 1"}, "sample", "a list of tables"),
        ({"control": [{"name": "Q"}]}, "control 1.expected_level", "known to hold"),
        ({"addition": [{"stock": "K"}]}, "addition 1.rise", "one of them"),
        ({"addition": [{"rise": 1, "volume_mL": 1}], "volume_mL": 20}, "addition 1.rise", "one of them"),
        ({"addition": [{"volume_mL": 1}], "volume_mL": 20}, "addition 1.stock", "without its stock"),
        ({"closing_spike": {"stock": "K", "volume_mL": 1}}, "volume_mL", "before the first addition"),
        ({"add_to": ["everything"]}, "add_to", "some of blank"),
        ({"start": "2026-08-03T10:00"}, "start", "with zone"),
        ({"start": "soon"}, "start", "with zone"),
        ({"coded": "perhaps"}, "coded", "one of yes, no"),
        ({"minutes": 0}, "minutes", "from 0.1"),
        ({"blank_evry": 3}, "blank_evry", "blank_every"),
    ],
)
def test_nonsense_is_refused_with_its_place(change: dict[str, object], column: str, words: str) -> None:
    with pytest.raises(Refused) as caught:
        checked_request(VALUES | change)
    assert caught.value.column == column
    assert words in str(caught.value)


def test_every_fault_is_told() -> None:
    values = VALUES | {"blanks": -1, "levels": ["x"], "sample": [{"name": ""}, {"name": "T", "electrodes": 0}]}
    columns = [fault.column for fault in request_and_faults(values)[1]]
    assert sorted(filter(None, columns)) == ["blanks", "levels", "sample 1.name", "sample 2.electrodes"]


ROW = PlannedRow(1, "Hä, 1", 'B"1', "bench", "standard", level=0.1 + 0.2, trace="curves/001-Ha-1.csv")


@pytest.mark.parametrize("comma", [False, True])
def test_a_sheet_reads_back_whatever_stands_in_its_cells(comma: bool) -> None:
    rows = [ROW, replace(ROW, place=2, electrode="x", role="blank", level=0.0, position="door; left")]
    data = sheet_text(rows, comma=comma).encode()
    table = read_table(data, "run.csv")
    assert [cells.texts["electrode"] for cells in table.rows] == ["Hä, 1", "x"]
    assert [cells.texts["batch"] for cells in table.rows] == ['B"1', 'B"1']
    assert [cells.number("level") for cells in table.rows] == [0.3, 0.0]
    assert [cells.texts["position"] for cells in table.rows] == ["", "door; left"]
    assert {"measured_at", "salinity", "note"} <= set(table.rows[0].texts)


def test_columns_that_no_row_needs_are_left_out() -> None:
    header = next(csv.reader(io.StringIO(sheet_text([ROW]))))
    assert "expected_level" not in header
    assert "prescan" not in header


@pytest.mark.parametrize(
    ("text", "part"),
    [
        ("H16-3", "H16-3"),
        ("../../etc", "etc"),
        ("Hä 1/2", "Ha-1-2"),
        ("電極", "x"),
        ("a" * 90, "a" * 40),
        ("CON", "CON"),
        ("..", "x"),
    ],
)
def test_file_names_are_made_of_safe_parts(text: str, part: str) -> None:
    assert safe_part(text) == part
