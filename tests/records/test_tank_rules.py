"""What rows of a tank record may say together: every contradiction is refused, in one clear line at its place."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest

from brinemark.records.tank_record import read_tank_record, tank_record_and_faults
from brinemark.terms.errors import Refused
from brinemark.terms.settings import Settings
from brinemark.terms.tanks import TankRow
from tank_build import Cells, catch, happening, sample, small_consignment, tank_csv

CHANGE = dict[int, Cells]
"""Row of the file to the cells that are changed."""


def faults(rows: list[Cells], recorded: dict[str, tuple[TankRow, ...]] | None = None) -> list[Refused]:
    return tank_record_and_faults(tank_csv(rows).encode(), "t.csv", Settings(), recorded)[1]


def changed(changes: CHANGE) -> list[Cells]:
    rows = small_consignment()
    for number, cells in changes.items():
        rows[number - 2] = {**rows[number - 2], **cells}
    return rows


def test_the_small_consignment_has_no_fault() -> None:
    record = read_tank_record(tank_csv(small_consignment()).encode(), "t.csv", Settings())
    assert (len(record.rows), record.warnings) == (12, ())
    assert [row.number for row in record.rows] == list(range(2, 14))
    assert record.rows[2].renewal_L_per_d == 2.5
    assert (record.rows[7].count, record.rows[7].dead) == (2, True)


CONTRADICTIONS: list[tuple[CHANGE, int, str, str]] = [
    ({7: {"tank": "T9"}}, 7, "tank", r"the unknown tank 'T9'; expected one of 'T1', 'T2'; did you mean"),
    ({11: {"tank": "pond"}}, 11, "tank", "the unknown tank 'pond'; expected one of 'T1', 'T2'; correct the name"),
    ({5: {"tank": "T1"}, 8: {"tank": "T1"}, 13: {"tank": "T1"}}, 5, "tank", "tank 'T1' filled twice.*row 4.*new name"),
    ({7: {"fish": "F3"}}, 7, "fish", "the unknown fish 'F3'; expected one of 'F1', 'F2'"),
    ({3: {"fish": "F1"}, 8: {"fish": "F1"}}, 3, "fish", "fish 'F1' named twice.*row 2"),
    ({2: {"at": "2031-04-02T09:30Z"}}, 2, "at", r"the catch of fish 'F1' .*, after they went into tank 'T1'"),
    ({2: {"at": "2031-04-04T09:30Z"}}, 2, "at", r"after they went into tank 'T1' and after sample 'W1' was taken"),
    ({11: {"at": "2031-04-02T07:00Z"}}, 11, "at", "a water sample .* in tank 'T1', before it was filled"),
    ({11: {"at": "2031-04-02T08:50Z"}}, 11, "at", "before any fish went into tank 'T1'.*call it a blank of"),
    (
        {7: {"at": "2031-04-09T09:00Z"}, 2: {"at": "2031-04-08T09:00Z"}, 9: {"at": "2031-04-10T09:00Z"}},
        11,
        "at",
        "before any fish went into tank 'T1', and before fish 'F1' were caught",
    ),
    ({8: {"fish": "F1", "tank": "T1"}}, 8, "tank", "fish 'F1' into tank 'T1', where they are since .*row 7"),
    ({9: {"count": "13"}}, 9, "count", "13 of fish 'F1', of which 12 are left; expected at most 12.*dead ones too"),
    ({9: {"tank": "T2"}}, 9, "tank", "fish 'F1' out of tank 'T2' at .*, when they are in tank 'T1'"),
    ({9: {"at": "2031-04-02T08:30Z"}}, 9, "tank", "out of tank 'T1' at .*, when they are in no tank"),
    ({10: {"at": "2031-04-02T07:59Z"}}, 10, "at", "a renewal at .* in tank 'T1', before it was filled"),
    (
        {10: {"what": "volume", "share": "", "volume_L": "3", "at": "2031-04-01T07:59Z"}},
        10,
        "at",
        "a change of volume at .* in tank 'T1', before it was filled",
    ),
    ({12: {"sample": "W1", "duplicate": ""}}, 12, "sample", "sample 'W1' named twice.*row 11.*its own id"),
    ({6: {"sample": "W3"}}, 13, "sample", "sample 'W3' named twice.*row 6"),
    ({12: {"duplicate": "W8"}}, 12, "duplicate", "a duplicate of the unknown sample 'W8'; expected one of"),
    ({12: {"duplicate": "BW"}}, 12, "duplicate", "a duplicate of the unknown sample 'BW'"),
    ({12: {"duplicate": "W2"}}, 12, "duplicate", "a duplicate of itself"),
    ({12: {"duplicate": "W3"}}, 12, "duplicate", "a duplicate of sample 'W3' of tank 'T2'"),
    ({6: {"system": "hal line"}}, 6, "system", "the unknown system 'hal line'.*did you mean 'hall line'"),
    ({6: {"system": "", "tank": "T7"}}, 6, "tank", "the unknown tank 'T7'"),
    ({7: {"carried_L": "41"}}, 7, "carried_L", "41 L carried into tank 'T1' of 40 L"),
]


@pytest.mark.parametrize(("changes", "row", "column", "words"), CONTRADICTIONS)
def test_a_contradiction_is_one_line_at_its_place(changes: CHANGE, row: int, column: str, words: str) -> None:
    found = faults(changed(changes))
    assert [(one.row, one.column) for one in found] == [(row, column)], [str(one) for one in found]
    assert re.search(words, str(found[0])), str(found[0])
    assert str(found[0]).startswith(f"t.csv, row {row}, column {column}: ")
    assert "\n" not in str(found[0])


@pytest.mark.parametrize(
    ("cells", "words"),
    [
        (happening("renewed", "02T21:00", tank="T1", share="0.5"), "a renewal that is told twice, and.*row 10"),
        (happening("out", "02T20:00", tank="T1", fish="F1", count="1", dead="yes"), "told twice.*row 9"),
        (happening("renewed", "02T21:00", tank="T1", share="0.25"), "a row that says the same as one before.*row 10"),
        (happening("in", "02T09:00", tank="T2", fish="F1"), "a row of fish going in that is told twice"),
        (happening("note", "02T09:00", tank="T4", note="x"), "the unknown tank 'T4'"),
        (happening("note", "02T09:00", fish="F4", note="x"), "the unknown fish 'F4'"),
        (happening("in", "05T09:00", tank="T2", fish="F1", consignment="C2"), "the unknown tank 'T2'; expected a row"),
    ],
)
def test_one_more_row_that_does_not_fit_is_refused(cells: Cells, words: str) -> None:
    found = faults([*small_consignment(), cells])
    assert [one.row for one in found] == [14], [str(one) for one in found]
    assert re.search(words, str(found[0])), str(found[0])


def test_fish_of_which_none_are_left_go_nowhere() -> None:
    gone = [
        happening("out", "04T09:00", fish="F2", count="3"),
        happening("in", "05T09:00", tank="T1", fish="F2"),
    ]
    (fault,) = faults([*small_consignment(), *gone])
    assert "fish 'F2', of which none are left" in fault.came


def test_dead_and_sold_fish_of_one_moment_are_two_rows_and_both_count() -> None:
    more = [
        happening("out", "04T09:00", fish="F2", tank="T2", count="1", dead="yes"),
        happening("out", "04T09:00", fish="F2", tank="T2", count="2", dead="no"),
    ]
    assert faults([*small_consignment(), *more]) == []
    more[1]["count"] = "3"
    assert len(faults([*small_consignment(), *more])) == 1


def test_fish_that_die_when_the_rest_moves_are_taken_out_of_the_old_tank() -> None:
    more = [
        happening("in", "04T09:00", tank="T2", fish="F1"),
        happening("out", "04T09:00", fish="F1", tank="T1", count="1", dead="yes"),
    ]
    assert faults([*small_consignment(), *more]) == []


def test_a_blank_may_come_before_its_tank_is_filled() -> None:
    early = happening("blank", "01T08:00", sample="BX", blank="source water", tank="T2")
    assert faults([*small_consignment(), early, happening("blank", "09T08:00", sample="BF", blank="field")]) == []


def test_a_sample_id_is_one_of_the_whole_logbook() -> None:
    other = [{**row, "consignment": "C2"} for row in small_consignment()]
    found = faults([*small_consignment(), *other])
    assert {one.column for one in found} == {"sample"}
    assert "sample 'W1', which is of consignment 'C2' too" in str(next(one for one in found if one.row == 11))
    recorded = {"C2": read_tank_record(tank_csv(other).encode(), "t.csv", Settings()).rows}
    assert [one.row for one in faults(small_consignment(), recorded)] == [6, 11, 12, 13]


def test_new_rows_are_judged_beside_recorded_ones() -> None:
    rows = small_consignment()
    record = read_tank_record(tank_csv(rows).encode(), "t.csv", Settings())
    recorded = {"C1": tuple(recorded_row(row) for row in record.rows)}
    assert faults([sample("W7", "05T10:00")], recorded) == []
    assert faults([sample("W7", "05T10:00")]) != []
    (fault,) = faults([{**rows[2], "volume_L": "50"}], recorded)
    assert "tank 'T1' filled twice" in fault.came
    assert "(in the logbook)" in fault.came
    assert "--corrects 'C1' --reason TEXT" in fault.remedy
    (late,) = faults([catch("F3", "06T10:00"), happening("in", "05T10:00", tank="T1", fish="F3")], recorded)
    assert (late.row, late.column) == (2, "at")
    (known,) = faults([happening("out", "02T12:00", tank="T1", fish="F1", count="11")], recorded)
    assert known.row is None
    assert known.came.startswith("a row of fish taken out of 2031-04-02T20:00+00:00 in the logbook: 2 of fish 'F1'")


def recorded_row(row: TankRow) -> TankRow:
    return replace(row, number=0)
