"""Every short life is judged as a regular expression judges it; gaps are real hours; ids of stocks."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta
from itertools import product
from zoneinfo import ZoneInfo

import pytest

from brinemark.records.life_rules import by_electrode, life_faults, stock_faults
from brinemark.terms.runs import SheetRow
from brinemark.terms.settings import LotSection, Settings, StockSection

START = datetime(2031, 5, 4, 9, 0, tzinfo=UTC)
KINDS: dict[str, tuple[str, float | None, str | None]] = {
    "0": ("blank", 0.0, None),
    "1": ("standard", 1.0, None),
    "2": ("standard", 2.0, None),
    "3": ("standard", 3.0, None),
    "s": ("sample", None, "S1"),
    "c": ("control", None, "C1"),
    "a": ("addition", 1.0, None),
}
LIFE = re.compile("(0*1*2*3*|s|c)a*")
LONGEST = 4


def row(minute: float, kind: str, electrode: str = "E1") -> SheetRow:
    role, level, sample = KINDS[kind]
    moment = START + timedelta(minutes=minute)
    return SheetRow(2 + round(minute), electrode, "B1", "bench", moment, role, level, sample=sample)


def is_life(word: str) -> bool:
    return LIFE.fullmatch(word) is not None and not word.startswith("a")


def first_fault(word: str) -> int | None:
    """Place of the first reading that cannot follow, by the regular expression."""
    return next((place for place in range(len(word)) if not is_life(word[: place + 1])), None)


@pytest.mark.parametrize("length", range(1, LONGEST + 1))
def test_every_order_of_readings_is_judged_as_the_expression_of_a_life_judges_it(length: int) -> None:
    taken = 0
    for letters in product(KINDS, repeat=length):
        word = "".join(letters)
        rows = [row(place, kind) for place, kind in enumerate(word)]
        faults = list(life_faults(rows[::-1], "run.csv", 12.0))  # the order of the sheet does not matter
        expected = first_fault(word)
        assert [fault.row for fault in faults] == ([] if expected is None else [2 + expected]), word
        taken += not faults
    assert 0 < taken < len(KINDS) ** length


def test_electrodes_are_judged_one_by_one() -> None:
    rows = [row(0, "s"), row(1, "0", "E2"), row(2, "a"), row(3, "3", "E2"), row(4, "1", "E3"), row(5, "1", "E2")]
    assert [[one.number for one in life] for life in by_electrode(rows)] == [[2, 4], [3, 5, 7], [6]]
    (fault,) = life_faults(rows, "run.csv", 12.0)
    assert (fault.row, fault.column, fault.file) == (7, "level", "run.csv")


@pytest.mark.parametrize(("hours", "faults"), [(11.9, 0), (12.1, 1)])
def test_a_gap_is_counted_in_hours_that_passed_and_not_by_the_clock(hours: float, faults: int) -> None:
    lisbon = ZoneInfo("Europe/Lisbon")
    evening = datetime(2026, 10, 24, 20, 0, tzinfo=lisbon)  # the clocks go back at 02:00 of the next day
    morning = (evening.astimezone(UTC) + timedelta(hours=hours)).astimezone(lisbon)
    rows = [
        SheetRow(2, "E1", "B1", "bench", evening, "blank", 0.0),
        SheetRow(3, "E1", "B1", "bench", morning, "standard", 1.0),
    ]
    assert len(list(life_faults(rows, "run.csv", 12.0))) == faults


def stock_row(number: int, **cells: object) -> SheetRow:
    return SheetRow(number, f"E{number}", "B1", "bench", START, "standard", 1.0, **cells)  # type: ignore[arg-type]


SETTINGS = Settings(
    stock={"KSCN-1": StockSection(level=1000.0, rel_u=0.01), "KSCN-2": StockSection()}, lot={"spring": LotSection()}
)
UNDESCRIBED: dict[str, tuple[dict[str, object], str, str]] = {
    "a stock that is almost known": ({"stock": "KSNC-1"}, "stock", "expected the nearest known one, KSCN-1"),
    "a stock that is like no other": ({"stock": "zzz"}, "stock", "expected one of KSCN-1, KSCN-2; correct the id, or"),
    "a lot that is almost known": ({"matrix_lot": "sprnig"}, "matrix_lot", "the nearest known one, spring"),
    "another level than the settings": (
        {"stock": "KSCN-1", "stock_level": 900.0},
        "stock_level",
        "900 for stock 'KSCN-1', in [stock.KSCN-1] level 1000; expected one level",
    ),
    "another error than the settings": (
        {"stock": "KSCN-1", "level_rel_u": 0.02},
        "level_rel_u",
        "0.02 for stock 'KSCN-1', in [stock.KSCN-1] rel_u 0.01; expected one error",
    ),
    "a volume of a stock without level": (
        {"stock": "KSCN-2", "added_volume_mL": 0.1},
        "stock_level",
        "whose level is not known; expected the level of the stock",
    ),
}


@pytest.mark.parametrize("name", UNDESCRIBED)
def test_an_id_that_is_not_described_or_described_twice_is_refused(name: str) -> None:
    cells, column, words = UNDESCRIBED[name]
    (fault,) = stock_faults([stock_row(2), stock_row(3, **cells)], "run.csv", SETTINGS)
    assert (fault.row, fault.column) == (3, column)
    assert words in str(fault)


def test_without_any_section_the_remedy_is_to_write_one() -> None:
    (fault,) = stock_faults([stock_row(2, matrix_lot="L7")], "run.csv", Settings())
    assert "'L7', which nothing describes; expected one that is described" in str(fault)
    assert "write [lot.ID] into logbook.toml" in str(fault)


def test_a_stock_that_one_row_gives_a_level_is_known_in_the_whole_sheet() -> None:
    rows = [stock_row(2, stock="K9"), stock_row(3, stock="K9", stock_level=10.0), stock_row(4, stock="KSCN-1")]
    assert list(stock_faults(rows, "run.csv", SETTINGS)) == []
