"""Reading a tank record: every way of writing it, every faulty cell in one line at its place, all faults at once."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from brinemark.records.sheets import read_sheet
from brinemark.records.tank_json import in_order, tank_row_from_json, tank_row_key, tank_row_to_json
from brinemark.records.tank_record import read_tank_record, tank_form_and_faults, tank_record_and_faults
from brinemark.terms.canonical import JsonValue
from brinemark.terms.errors import Refused
from brinemark.terms.settings import LogbookSection, Settings
from brinemark.terms.tanks import ALLOWED_BY, COLUMNS, HAPPENINGS, NEEDED_BY
from build import sheet_csv, small_run
from tank_build import Cells, catch, happening, sample, small_consignment, tank_csv

PLAIN = tank_csv(small_consignment())


def said(data: bytes) -> list[dict[str, JsonValue]]:
    return [tank_row_to_json(row) for row in read_tank_record(data, "t.csv", Settings()).rows]


def findings(rows: list[Cells]) -> list[Refused]:
    return tank_record_and_faults(tank_csv(rows).encode(), "t.csv", Settings())[1]


@pytest.mark.parametrize(
    "data",
    [
        tank_csv(small_consignment(), delimiter=";", decimal=",").encode(),
        tank_csv(small_consignment(), delimiter="\t", decimal=",").encode(),
        PLAIN.encode("utf-8-sig"),
        PLAIN.encode("utf-16"),
        PLAIN.replace("\n", "\r\n").encode("cp1252"),
        ("sep=,\n" + PLAIN).encode(),
    ],
)
def test_a_record_says_the_same_however_it_is_written(data: bytes) -> None:
    assert said(data) == said(PLAIN.encode())


@given(st.permutations(small_consignment()))
def test_the_order_of_rows_in_the_file_plays_no_part(rows: list[Cells]) -> None:
    record = read_tank_record(tank_csv(rows).encode(), "t.csv", Settings())
    plain = read_tank_record(PLAIN.encode(), "t.csv", Settings())
    assert [tank_row_to_json(row) for row in in_order(record.rows)] == [
        tank_row_to_json(row) for row in in_order(plain.rows)
    ]


def test_a_row_comes_back_from_its_json() -> None:
    for row in read_tank_record(PLAIN.encode(), "t.csv", Settings()).rows:
        again = tank_row_from_json(tank_row_to_json(row), row.number)
        assert tank_row_key(again) == tank_row_key(row)
        assert again.at == row.at


def test_every_column_is_of_some_kind_of_row_and_every_kind_reads_all_of_its_cells() -> None:
    """One of each cell that a kind may have, all at once: none is lost."""
    words = {"history": "light exposure", "dead": "yes", "smoker": "no", "blank": "source water"}
    cells = dict.fromkeys(COLUMNS, "1") | words
    seen = {"consignment", "at", "what", "place", "note"}
    for what in HAPPENINGS:
        mine = {*NEEDED_BY[what], *ALLOWED_BY[what], "place", "note"}
        row = happening(what, "01T10:00", **{name: cells[name] for name in mine})
        record, faults = tank_record_and_faults(tank_csv([row]).encode(), "t.csv", Settings())
        assert len(record.rows) == 1, [str(fault) for fault in faults]
        assert set(tank_row_to_json(record.rows[0])) == {*mine, "consignment", "at", "what"}
        seen |= mine
    assert seen == set(COLUMNS)


BAD_CELLS: list[tuple[Cells, str, str]] = [
    (catch(consignment=""), "consignment", "an empty cell; expected the id of the consignment"),
    ({**catch(), "at": "2031-04-01"}, "at", "expected date and time by ISO 8601"),
    (happening("catsh", "01T10:00"), "what", "'catsh'; expected one of catch, .*did you mean catch"),
    (happening("", "01T10:00"), "what", "an empty cell; expected one of catch"),
    (catch(fish=""), "fish", "an empty cell for a catch; expected a name for fish of one history"),
    (catch(count=""), "count", "an empty cell for a catch; expected how many fish"),
    (catch(count="0"), "count", "expected a number from 1"),
    (catch(count="2.5"), "count", "'2.5'; expected a whole number"),
    (catch(mass_g="0"), "mass_g", "'0'; expected a number above 0"),
    (catch(mass_g="-4"), "mass_g", "'-4'; expected a number above 0"),
    (catch(mass_g="big"), "mass_g", "'big', which is not a number"),
    (catch(at_u_d="-1"), "at_u_d", "expected a number from 0"),
    (catch(history="light exposur"), "history", "expected one of unknown, captive-bred, .*did you mean light exposure"),
    (catch(volume_L="40"), "volume_L", "'40' for a catch; expected an empty cell: volume_L is of filled, volume"),
    (happening("filled", "01T10:00", tank="T1", volume_L="-40"), "volume_L", "'-40'; expected a number above 0"),
    (happening("filled", "01T10:00", tank="T1", volume_L="0"), "volume_L", "'0'; expected a number above 0"),
    (
        happening("filled", "01T10:00", tank="T1", volume_L="4", renewal_L_per_d="-1"),
        "renewal_L_per_d",
        "expected a number from 0",
    ),
    (happening("renewed", "01T10:00", tank="T1", share="25"), "share", "if it is in percent, divide by 100"),
    (happening("renewed", "01T10:00", tank="T1"), "share", "expected the share of the water"),
    (happening("spiked", "01T10:00", tank="T1", amount_ug="-3"), "amount_ug", "expected a number from 0"),
    (happening("fed", "01T10:00", tank="T1", substance="krill", amount_g="-3"), "amount_g", "expected a number from 0"),
    (happening("in", "01T10:00", tank="T1", fish="F1", carried_L="-1"), "carried_L", "expected a number from 0"),
    (happening("out", "01T10:00", fish="F1", count="1", dead="perhaps"), "dead", "expected one of yes, no"),
    (sample(filtration_um="0"), "filtration_um", "expected a number above 0"),
    (sample(retained_mL="0"), "retained_mL", "expected a number above 0"),
    (sample(smoker="1"), "smoker", "expected one of yes, no"),
    (sample(blank="field"), "blank", "'field' for a water sample; expected an empty cell: blank is of blank"),
    (happening("blank", "01T10:00", sample="B", blank="feld"), "blank", "did you mean field"),
    (happening("blank", "01T10:00", sample="B", blank="source water"), "system", "a source-water blank without"),
    (happening("blank", "01T10:00", sample="B", blank="field", system="S"), "system", "only a source-water blank"),
    (happening("note", "01T10:00"), "note", "expected the note itself"),
    (sample(taker="a\u200bb"), "taker", "a control or invisible character"),
]


@pytest.mark.parametrize(("cells", "column", "words"), BAD_CELLS)
def test_a_faulty_cell_is_one_line_at_its_place(cells: Cells, column: str, words: str) -> None:
    found = [one for one in findings([cells]) if one.column == column]
    assert len(found) == 1
    assert found[0].row == 2
    assert re.search(words, str(found[0])), str(found[0])
    assert "\n" not in str(found[0])


def test_all_faults_are_told_at_once_and_none_follows_from_another() -> None:
    rows = small_consignment()
    rows[2] = {**rows[2], "volume_L": "-40", "tank": "T1"}
    rows[10] = {**rows[10], "smoker": "often"}
    rows[11] = {**rows[11], "tank": "T22"}
    found = findings(rows)
    assert [(one.row, one.column) for one in found] == [(4, "volume_L"), (12, "smoker"), (13, "tank")]
    with pytest.raises(Refused, match=r"row 4, column volume_L: .*and 2 more faulty rows: 12, 13"):
        read_tank_record(tank_csv(rows).encode(), "t.csv", Settings())


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("consignment,at,what,tnk\nC1,x,y,z\n", "the unknown column 'tnk'; expected the nearest known column, tank"),
        ("consignment,at,what,qqqqqq\nC1,x,y,z\n", "expected a column of the tank record"),
        ("consignment,at,tank\nC1,x,y\n", "no column what; expected the columns consignment, at, what"),
        ("consignment,at,what\n", "a header without rows; expected one row for each thing that happened"),
        ("a,b,c\n1,2,3\n", "no known column in .*such as consignment, at, what"),
        ("consignment,at,what,tank,tank\nC1,x,y,z,z\n", "2 columns named tank"),
        (sheet_csv(small_run()), "a run sheet, with the columns electrode, .*; expected a tank record; use 'add FILE'"),
    ],
)
def test_what_is_no_tank_record_is_refused(text: str, words: str) -> None:
    with pytest.raises(Refused, match=words):
        read_tank_record(text.encode(), "t.csv", Settings())


def test_a_tank_record_is_no_run_sheet_and_the_refusal_says_what_to_use() -> None:
    with pytest.raises(Refused, match=r"a tank record, .*; expected a run sheet; use 'tanks FILE' for it"):
        read_sheet(PLAIN.encode(), "t.csv", Settings())


def test_times_without_a_zone_are_read_in_that_of_the_logbook_and_told() -> None:
    lisbon = Settings(logbook=LogbookSection(timezone="Europe/Lisbon"))
    record = read_tank_record(PLAIN.replace("+00:00", "").encode(), "t.csv", lisbon)
    assert record.warnings == ("12 times without a zone, first in row 2, read in Europe/Lisbon",)
    assert tank_row_to_json(record.rows[0])["at"] == "2031-04-01T05:00:00.000000+00:00"


CELL = st.one_of(
    st.sampled_from(["", "T1", "T2", "F1", "F2", "W1", "1", "0", "-1", "0.5", "3,5", "yes", "field", "hall line"]),
    st.text(max_size=6),
)


@given(st.lists(st.tuples(st.integers(0, 11), st.sampled_from(COLUMNS), CELL), max_size=6))
def test_whatever_stands_in_the_cells_faults_are_told_and_accepted_rows_make_sense(
    spoilt: list[tuple[int, str, str]],
) -> None:
    rows = small_consignment()
    for place, column, cell in spoilt:
        rows[place] = {**rows[place], column: cell}
    try:
        record, faults = tank_form_and_faults(rows, Settings())
    except Refused:  # no decimal sign that could be told
        return
    assert all("\n" not in str(fault) for fault in faults)
    if faults:
        return
    assert len(record.rows) == len([row for row in rows if any(cell.strip() for cell in row.values())])
    for name in {row.consignment for row in record.rows}:
        mine = in_order([row for row in record.rows if row.consignment == name])
        caught = {row.fish: row.count or 0 for row in mine if row.what == "catch"}
        for row in mine:
            if row.what == "out":
                caught[row.fish] -= row.count or 0
                assert caught[row.fish] >= 0
            if row.what == "sample":
                before = [one for one in mine if one.at <= row.at]
                assert any(one.what == "filled" and one.tank == row.tank for one in before)
                assert any(one.what == "in" and one.tank == row.tank for one in before)


def test_the_example_of_the_docs_is_a_record_without_a_fault() -> None:
    page = (Path(__file__).resolve().parents[2] / "docs" / "how-to" / "record-tanks.md").read_text(encoding="utf-8")
    example = page.partition("```csv\n")[2].partition("```")[0]
    record = read_tank_record(example.encode(), "april.csv", Settings())
    assert {row.what for row in record.rows} == {*HAPPENINGS} - {"spiked"}
    assert record.warnings == ()
    for what in HAPPENINGS:
        needed = ", ".join(f"`{name}`" for name in NEEDED_BY[what])
        assert f"| `{what}` | {needed} |" in page


def test_names_that_differ_only_in_capital_letters_are_told() -> None:
    rows = [*small_consignment(), happening("filled", "02T08:00", tank="t1", volume_L="40")]
    record = read_tank_record(tank_csv(rows).encode(), "t.csv", Settings())
    assert record.warnings == ("column tank has 'T1' and 't1', which are taken as different ids",)


def test_rows_of_a_form_follow_the_same_rules() -> None:
    rows = [*small_consignment(), {}]
    record, faults = tank_form_and_faults(rows, Settings())
    assert (record.title, len(record.rows), faults) == ("form", 12, [])
    assert record.rows[0].number == 1
    _, faults = tank_form_and_faults([{**rows[0], "mass_g": "4,5", "count": "0"}], Settings())
    assert [(one.row, one.column) for one in faults] == [(1, "count")]
    with pytest.raises(Refused, match="the unknown column 'weight'"):
        tank_form_and_faults([{**rows[0], "weight": "3"}], Settings())
    with pytest.raises(Refused, match="a form without rows"):
        tank_form_and_faults([{"consignment": " "}], Settings())
