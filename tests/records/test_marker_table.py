"""Tables of other methods: read as laboratories write them, and refused with one clear line for each fault."""

from __future__ import annotations

import csv
import io
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from brinemark.records.marker_table import (
    marker_row_from_json,
    marker_row_to_json,
    marker_table_and_faults,
    same_result,
)
from brinemark.science.fish.other_markers import check_result
from brinemark.terms.errors import Refused
from brinemark.terms.markers import COLUMNS, MarkerRow, MarkerTable
from brinemark.terms.surveillance import MarkerResult

HEAD = "sample,fish,marker,method,unit,value,limit_of_detection,u,measured_at,laboratory,split_seal,note"
FOUND = "W1,,thiocyanate,LC-MS/MS,ug/L,4.2,0.6,0.4,2031-05-04,north hall,W1-x,"
MISSED = "W2,,thiocyanate,LC-MS/MS,ug/L,Not Found,0.6,,2031-05-04T10:30,,,"
TISSUE = "W1,F1,cyanide in tissue,distillation,mg/kg,0.12,0.05,,,,,gutted"


def table(*lines: str, head: str = HEAD, recorded: tuple[MarkerRow, ...] = ()) -> tuple[MarkerTable, list[Refused]]:
    data = "\n".join([head, *lines, ""]).encode()
    return marker_table_and_faults(data, "other.csv", "Etc/GMT-2", recorded)


def rows(*lines: str) -> tuple[MarkerRow, ...]:
    found, faults = table(*lines)
    assert faults == []
    return found.rows


def test_values_limits_and_what_was_not_found_are_kept_as_reported() -> None:
    found, missed, tissue = rows(FOUND, MISSED, TISSUE)
    assert (found.value, found.limit_of_detection, found.u, found.unit) == (4.2, 0.6, 0.4, "ug/L")
    assert (missed.value, missed.limit_of_detection) == (None, 0.6)
    assert (tissue.fish, tissue.marker, tissue.note) == ("F1", "cyanide in tissue", "gutted")
    assert (found.measured_at, missed.measured_at) == ("2031-05-04", "2031-05-04T08:30:00+00:00")
    assert (found.laboratory, found.split_seal) == ("north hall", "W1-x")


def test_a_value_below_its_own_limit_and_a_negative_one_stay_what_they_are() -> None:
    low, negative = rows("W1,,thiocyanate,LC-MS/MS,ug/L,0.3,0.6,,,,,", "W2,,thiocyanate,LC-MS/MS,ug/L,-0.02,0.6,,,,,")
    assert (low.value, negative.value) == (0.3, -0.02)


def test_semicolons_and_a_decimal_comma_say_the_same() -> None:
    data = "sample;marker;method;unit;value;limit_of_detection\nW1;thiocyanate;HPLC;ug/L;4,2;0,65\n".encode("utf-16")
    found, faults = marker_table_and_faults(data, "other.csv", "UTC")
    assert faults == []
    assert (found.rows[0].value, found.rows[0].limit_of_detection) == (4.2, 0.65)


def test_a_row_comes_back_from_json_as_it_was() -> None:
    for row in rows(FOUND, MISSED, TISSUE):
        again = marker_row_from_json(marker_row_to_json(row), row.number)
        assert again == row
        assert same_result(again, row)
    assert set(COLUMNS) | {"number"} == set(MarkerRow.__dataclass_fields__)


@pytest.mark.parametrize(
    ("line", "column", "came"),
    [
        ("W1,,thiocyanate,HPLC,ug/L,,,,,,,", "value", "neither a value nor a limit of detection"),
        ("W1,,thiocyanate,HPLC,ug/L,,0.6,,,,,", "value", "no value"),
        ("W1,,thiocyanate,HPLC,ug/L,not found,,,,,,", "limit_of_detection", "'not found' without a limit"),
        ("W1,,thiocyanate,HPLC,ug/L,trace,0.6,,,,,", "value", "'trace', which is not a number"),
        ("W1,,thiocyanate,HPLC,ug/L,nan,0.6,,,,,", "value", "not a number"),
        ("W1,,thiocyanate,HPLC,ug/L,4,0,,,,,", "limit_of_detection", "'0'"),
        ("W1,,thiocyanate,HPLC,ug/L,4,0.6,-1,,,,", "u", "'-1'"),
        (",,thiocyanate,HPLC,ug/L,4,0.6,,,,,", "sample", "an empty cell"),
        ("W1,,,HPLC,ug/L,4,0.6,,,,,", "marker", "an empty cell"),
        ("W1,,thiocyanate,,ug/L,4,0.6,,,,,", "method", "an empty cell"),
        ("W1,,thiocyanate,HPLC,,4,0.6,,,,,", "unit", "an empty cell"),
        ("W1,,thiocyanate,HPLC,ug/L,4,0.6,,2031-02-30,,,", "measured_at", "2031-02-30"),
        ("W1,,thiocyanate,HPLC,ug/L,4,0.6,,May,,,", "measured_at", "'May'"),
    ],
)
def test_each_fault_is_one_line_with_row_and_column(line: str, column: str, came: str) -> None:
    _, faults = table(FOUND, line)
    (fault,) = faults
    assert (fault.row, fault.column) == (3, column)
    assert came in fault.came
    assert "\n" not in str(fault)


def test_a_unit_that_changes_within_a_method_and_marker_is_a_fault() -> None:
    _, faults = table(FOUND, MISSED.replace("ug/L", "nmol/L"), "W3,,thiocyanate,HPLC,nmol/L,80,10,,,,,")
    (fault,) = faults
    assert (fault.row, fault.column) == (3, "unit")
    assert "'ug/L', as in row 2" in fault.expected


def test_a_sample_twice_by_one_method_and_marker_is_a_fault() -> None:
    other = FOUND.replace("LC-MS/MS", "HPLC")
    _, faults = table(FOUND, other, FOUND)
    (fault,) = faults
    assert (fault.row, fault.column) == (4, "sample")
    assert "twice with thiocyanate by LC-MS/MS, first in row 2" in fault.came


def test_every_fault_is_told_at_once() -> None:
    _, faults = table("W1,,thiocyanate,HPLC,ug/L,,,,,,,", "W2,,,HPLC,,x,0,,,,,", FOUND, FOUND)
    told = sorted({(fault.row, fault.column) for fault in faults})
    assert told == [(2, "value"), (3, "limit_of_detection"), (3, "marker"), (3, "unit"), (3, "value"), (5, "sample")]


def test_recorded_results_stand_beside_new_ones() -> None:
    known = rows(FOUND)
    assert table(FOUND, MISSED, recorded=known)[1] == []
    _, faults = table(FOUND.replace("4.2", "4.3"), MISSED.replace("ug/L", "nM"), recorded=known)
    assert [fault.column for fault in faults] == ["sample", "unit"]
    assert "recorded already with other content" in faults[0].came
    assert "--corrects FILE" in faults[0].remedy
    assert "as in the logbook" in faults[1].expected


def test_a_sample_that_a_run_had_a_code_for_goes_by_its_own_name() -> None:
    data = "\n".join([HEAD, FOUND, MISSED.replace("W2", "Q7"), ""]).encode()
    found, faults = marker_table_and_faults(data, "other.csv", "UTC", (), {"Q7": "W2"})
    assert ([row.sample for row in found.rows], faults) == (["W1", "W2"], [])
    _, faults = marker_table_and_faults(data, "other.csv", "UTC", (), {"Q7": "W1"})
    assert "'W1' twice" in faults[0].came


@pytest.mark.parametrize(
    ("head", "words"),
    [
        ("sample,marker,method,unit", "no column value"),
        ("sample,marker,method,unit,value,colour", "unknown column 'colour'"),
        ("sample,marker,method,unit,value,value", "2 columns named value"),
        ("electrode,batch,instrument,measured_at,role", "a run sheet"),
        ("consignment,at,what,tank", "a tank record"),
    ],
)
def test_a_header_that_is_none_is_refused(head: str, words: str) -> None:
    with pytest.raises(Refused, match=words):
        table(",".join("1" for _ in head.split(",")), head=head)


def test_a_header_alone_is_refused() -> None:
    with pytest.raises(Refused, match="one row for each result of a method"):
        table()


def test_the_example_of_the_docs_is_a_sound_table() -> None:
    page = Path(__file__).parents[2] / "docs" / "how-to" / "other-methods-and-surveys.md"
    example = page.read_text(encoding="utf-8").partition("```csv\n")[2].partition("```")[0]
    found, faults = marker_table_and_faults(example.encode(), "split-samples.csv", "UTC")
    assert faults == []
    assert [row.value for row in found.rows] == [3.4, None, 0.12]


CELL = st.sampled_from(
    ["", "W1", "thiocyanate", "not found", "4,2", "4.2", "-1", "1e400", "0", "2031-05-04", "\u200b", "ug/L"]
)


@given(st.lists(st.lists(CELL | st.text(max_size=8), min_size=12, max_size=12), min_size=1, max_size=4))
def test_any_table_is_taken_or_refused_in_one_line_each(rows_of_cells: list[list[str]]) -> None:
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(HEAD.split(","))
    writer.writerows(rows_of_cells)
    try:
        found, faults = marker_table_and_faults(text.getvalue().encode("utf-8", "replace"), "other.csv", "UTC")
    except Refused as refused:
        faults, found = [refused], MarkerTable("other.csv", ())
    assert all("\n" not in str(fault) for fault in faults)
    for row in found.rows:
        assert row.value is not None or row.limit_of_detection is not None
        check_result(
            MarkerResult(row.sample, row.marker, row.method, row.unit, row.value, row.limit_of_detection, row.u)
        )
