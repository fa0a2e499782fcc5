"""The wide layout: a current column for each cycle gives the trace of the long layout, and each fault its place."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from brinemark.records.settings_file import parse_settings
from brinemark.records.traces import parse_trace
from brinemark.terms.curves import Trace
from brinemark.terms.errors import Refused
from brinemark.terms.settings import InstrumentSection

WIDE = InstrumentSection(layout="wide")
UP_DOWN = [round(0.01 * k, 2) for k in (*range(20), *range(20, -1, -1))]
KEPT = 33
"""Points of the second cycle, which is cut short."""


def current(cycle: int, point: int) -> float:
    return 10 * cycle + point / 8


def wide_rows(head: str = "potential_V,current_uA_1,current_uA_2") -> list[str]:
    second = [str(current(2, k)) if k < KEPT else "" for k in range(len(UP_DOWN))]
    return [head, *(f"{v},{current(1, k)},{second[k]}" for k, v in enumerate(UP_DOWN))]


def long_trace() -> Trace:
    rows = [(c, v, current(c, k)) for c, n in ((1, len(UP_DOWN)), (2, KEPT)) for k, v in enumerate(UP_DOWN[:n])]
    text = "\n".join(["cycle,potential_V,current_uA", *(",".join(map(str, row)) for row in rows)])
    return parse_trace(text.encode(), None, "long.csv")


def assert_same(one: Trace, other: Trace) -> None:
    assert one.cycle is not None
    assert other.cycle is not None
    assert np.array_equal(one.potential_V, other.potential_V)
    assert np.array_equal(one.current_A, other.current_A)
    assert np.array_equal(one.cycle, other.cycle)


def written(rows: list[str], writing: str) -> str:
    if writing == "decimal commas":
        rows = [row.replace(",", ";").replace(".", ",") for row in rows]
    elif writing == "tabs":
        rows = [row.replace(",", "\t") for row in rows]
    elif writing == "a delimiter behind every row":
        rows = [f"{row}," for row in rows]
    elif writing == "blank lines and comments":
        rows = ["# made by hand", *rows[:5], "", "# later", *rows[5:], ",,"]
    return "\n".join(rows)


@pytest.mark.parametrize(
    "writing", ["plain", "decimal commas", "tabs", "a delimiter behind every row", "blank lines and comments"]
)
def test_a_wide_file_is_the_long_file_in_every_writing(writing: str) -> None:
    assert_same(parse_trace(written(wide_rows(), writing).encode(), WIDE, "wide.csv"), long_trace())


def test_the_sign_turns_every_cycle_and_units_may_differ() -> None:
    turned = InstrumentSection(layout="wide", sign="cathodic positive")
    head = "E / mV,I / nA 1,I / uA 2"
    trace = parse_trace("\n".join(wide_rows(head)).encode(), turned, "wide.csv")
    plain = long_trace()
    assert plain.cycle is not None
    factor = np.where(plain.cycle == 1, -1e-3, -1.0)
    assert trace.current_A == pytest.approx(factor * plain.current_A, rel=1e-12)
    assert trace.potential_V == pytest.approx(1e-3 * plain.potential_V, rel=1e-12)


def test_a_time_column_is_the_time_within_each_cycle() -> None:
    rows = [f"{'time_s' if k == 0 else 0.5 * (k - 1)},{row}" for k, row in enumerate(wide_rows())]
    trace = parse_trace("\n".join(rows).encode(), WIDE, "wide.csv")
    times = 0.5 * np.arange(len(UP_DOWN))
    assert trace.time_s is not None
    assert np.array_equal(trace.time_s, np.concatenate([times, times[:KEPT]]))


def changed(place: int, text: str) -> list[str]:
    rows = wide_rows()
    rows[place] = text
    return rows


FAULTS = [
    (changed(5, "0.04,,20.5"), "an empty cell", 6, "current_uA_1"),
    (changed(10, "0.09,11.125,x"), "'x', which is not a number", 11, "current_uA_2"),
    (changed(40, "0.01,14.875,24.875"), "an empty cell", 35, "current_uA_2"),
    (changed(41, "0.0,,"), "a row without any current", 42, None),
    (changed(7, "0.06,10.75"), "2 fields", 8, None),
    (changed(7, "55,10.75,20.75"), "a potential of 55 V", 8, "potential_V"),
    (wide_rows("potential_V,current_uA_1,current_uA"), "current columns current_uA_1, current_uA", 1, None),
    (wide_rows("potential_V,current_uA_2,current_uA_1"), "current columns current_uA_2, current_uA_1", 1, None),
    (wide_rows("cycle,potential_V,current_uA_1"), "a cycle column", 1, None),
    (wide_rows("potential_V,current_1,current_2"), "without a unit", 1, "current_1"),
    (wide_rows()[:6], "10 points", None, None),
]


@pytest.mark.parametrize(("rows", "phrase", "row", "column"), FAULTS)
def test_each_fault_of_a_wide_file_is_named_with_its_place(
    rows: list[str], phrase: str, row: int | None, column: str | None
) -> None:
    with pytest.raises(Refused) as caught:
        parse_trace("\n".join(rows).encode(), WIDE, "wide.csv")
    assert phrase in str(caught.value)
    assert len(str(caught.value).splitlines()) == 1
    assert (caught.value.row, caught.value.column) == (row, column)


def test_a_cycle_without_any_current_is_refused() -> None:
    rows = [row + (",current_uA_3" if k == 0 else ",") for k, row in enumerate(wide_rows())]
    with pytest.raises(Refused, match="a cycle without any current"):
        parse_trace("\n".join(rows).encode(), WIDE, "wide.csv")


def test_a_wide_instrument_names_no_cycle_column() -> None:
    with pytest.raises(Refused, match=r"\[instrument.bench\]: layout \"wide\" takes the cycle from the numbers"):
        parse_settings('[instrument.bench]\nlayout = "wide"\ncycle = "scan"\n', "logbook.toml")


def test_a_name_in_the_settings_stands_for_its_numbered_columns() -> None:
    named = InstrumentSection(layout="wide", current="channel [uA]", potential="axis / V")
    trace = parse_trace("\n".join(wide_rows("axis / V,channel 1,channel 2")).encode(), named, "wide.csv")
    assert_same(trace, long_trace())
    with pytest.raises(Refused, match=r"no header|no current column"):
        parse_trace("\n".join(wide_rows("axis / V,tunnel 1,tunnel 2")).encode(), named, "wide.csv")


def paired_rows(head: str = "E1 / V;I1 / uA;E2 / V;I2 / uA") -> list[str]:
    """Every cycle with its own potentials, the second one 10 mV higher and cut short."""
    rows = [head]
    for k, v in enumerate(UP_DOWN):
        second = f"{round(v + 0.01, 2)};{current(2, k)}" if k < KEPT else ";"
        rows.append(f"{v};{current(1, k)};{second}")
    return rows


@pytest.mark.parametrize("commas", [False, True])
def test_every_cycle_may_have_its_own_potentials(commas: bool) -> None:
    text = "\n".join(paired_rows())
    trace, long = parse_trace((text.replace(".", ",") if commas else text).encode(), WIDE, "wide.csv"), long_trace()
    assert long.cycle is not None
    assert np.array_equal(trace.current_A, long.current_A)
    assert trace.potential_V == pytest.approx(long.potential_V + np.where(long.cycle == 2, 0.01, 0.0), abs=1e-12)


def test_potentials_that_do_not_match_the_currents_are_refused_in_one_line() -> None:
    with pytest.raises(Refused) as caught:
        parse_trace("\n".join(paired_rows("E1 / V;I1 / uA;E3 / V;I2 / uA")).encode(), WIDE, "wide.csv")
    assert "potential columns E1 / V, E3 / V" in str(caught.value)
    assert "one potential column for all cycles, or one for every current column" in str(caught.value)
    with pytest.raises(Refused, match=r"2 numbered potential columns.*layout = \"wide\""):
        parse_trace("\n".join(paired_rows()).encode(), None, "wide.csv")


def test_a_fault_in_the_potentials_of_one_cycle_is_named_with_its_column() -> None:
    rows = paired_rows()
    rows[5] = rows[5].replace(";0.05;", ";55;")
    with pytest.raises(Refused, match="a potential of 55 V") as caught:
        parse_trace("\n".join(rows).encode(), WIDE, "wide.csv")
    assert (caught.value.row, caught.value.column) == (6, "E2 / V")


@pytest.mark.real
def test_the_real_wide_table_is_the_real_long_table(real_curves: Path) -> None:
    folder = real_curves / "cv_ferrocene_cycles"
    wide = parse_trace((folder / "ferrocene_6cycles_wide.csv").read_bytes(), WIDE, "wide.csv")
    long = parse_trace((folder / "ferrocene_6cycles_long.csv").read_bytes(), None, "long.csv")
    assert_same(wide, long)
    assert long.cycle is not None
    assert int((long.cycle == 6).sum()) == 368  # its last cycle is cut short, as its README says
