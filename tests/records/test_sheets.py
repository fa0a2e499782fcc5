"""Run sheets: what a row becomes, ids that do not depend on the writing, remarks, and many faults in one message."""

from __future__ import annotations

import hashlib
import json
from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from brinemark.records.sheet_table import COLUMNS
from brinemark.records.sheets import canonical_row, read_sheet, row_id, sheet_id
from brinemark.terms.errors import Refused
from brinemark.terms.runs import CONDITIONS, RunSheet, SheetRow
from brinemark.terms.settings import (
    AnalyteSection,
    InstrumentSection,
    LogbookSection,
    LotSection,
    RunSection,
    Settings,
    StockSection,
)
from build import Row, sheet_csv, sheet_row, small_run

HASH_A, HASH_B = "a" * 64, "b" * 64
DESCRIBED = Settings(stock={"K1": StockSection(level=1000.0)}, lot={"L7": LotSection()})


def read(rows: list[Row], settings: Settings | None = None) -> RunSheet:
    return read_sheet(sheet_csv(rows).encode(), "run.csv", settings or Settings())


def one(**cells: str) -> SheetRow:
    return read([sheet_row(**cells)], DESCRIBED).rows[0]


def refused(rows: list[Row], settings: Settings | None = None) -> Refused:
    with pytest.raises(Refused) as caught:
        read(rows, settings)
    return caught.value


def ids(sheet: RunSheet) -> list[str]:
    return [row_id(row, HASH_A, None) for row in sheet.rows]


def test_every_cell_of_a_row_arrives() -> None:
    row = one(
        role="standard", level="2", level_rel_u="0.02", stock=" K1 ", matrix_lot="L7", position="3", pH="8.1",
        stirring="slow", contact_s="300", scan_rate_V_per_s="0.1", reference="Ag/AgCl", operator="Q", note="first",
    )  # fmt: skip
    assert row == SheetRow(
        number=2, electrode="B1-1", batch="B1", instrument="bench", role="standard",
        measured_at=datetime(2026, 3, 1, 10, tzinfo=UTC), level=2.0, level_rel_u=0.02, stock="K1", matrix_lot="L7",
        trace="curves/B1-1.csv", prescan="curves/B1-1-before.csv", position="3", operator="Q", note="first",
        conditions=(
            ("salinity", 33.5), ("pH", 8.1), ("temperature_C", 20.5), ("contact_s", 300.0), ("stirring", "slow"),
            ("scan_rate_V_per_s", 0.1), ("reference", "Ag/AgCl"),
        ),
    )  # fmt: skip


def test_roles_decide_what_a_row_holds() -> None:
    blank, *_, sample, control, by_signal, diluted = read(small_run()).rows
    assert (blank.level, blank.sample, blank.dilution) == (0.0, None, 1.0)
    assert (sample.level, sample.sample, sample.expected_level) == (None, "S1", None)
    assert (control.sample, control.dilution, control.expected_level) == ("C1", 2.0, 2.0)
    assert (by_signal.trace, by_signal.signal, by_signal.signal_u, by_signal.signal_unit) == (None, 2.1e-7, 4e-9, "A")
    assert diluted.dilution == 10.0


def test_a_blank_may_leave_its_level_out() -> None:
    assert one(role="blank", level="").level == 0.0


def test_the_columns_are_those_of_the_rows() -> None:
    fields = set(SheetRow.__dataclass_fields__) - {"number", "conditions"}
    assert set(COLUMNS) == fields | set(CONDITIONS)


@pytest.mark.parametrize(("delimiter", "decimal"), [(",", "."), (";", "."), (";", ","), ("\t", "."), ("\t", ",")])
@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16"])
def test_ids_do_not_depend_on_how_the_sheet_is_written(delimiter: str, decimal: str, encoding: str) -> None:
    text = sheet_csv(small_run(), delimiter=delimiter, decimal=decimal).replace("\n", "\r\n")
    assert ids(read_sheet(text.encode(encoding), "other.txt", Settings())) == ids(read(small_run()))


def test_a_line_that_names_the_delimiter_is_passed_over() -> None:
    text = "sep=;\n" + sheet_csv(small_run(), delimiter=";")
    sheet = read_sheet(text.encode(), "run.csv", Settings())
    assert ids(sheet) == ids(read(small_run()))
    assert sheet.rows[0].number == 3


def test_the_id_of_a_sheet_does_not_depend_on_the_order_of_its_rows() -> None:
    rows = small_run()
    assert sheet_id(ids(read(rows))) == sheet_id(ids(read(rows[::-1])))
    assert sheet_id(ids(read(rows))) != sheet_id(ids(read(rows[1:])))


def test_the_id_of_a_row_is_the_sha256_of_what_it_says() -> None:
    row = one(role="sample", sample="S1", dilution="10", salinity="", temperature_C="20.5")
    said = {
        "electrode": "B1-1", "batch": "B1", "instrument": "bench", "role": "sample", "sample": "S1", "dilution": 10,
        "measured_at": "2026-03-01T10:00:00.000000+00:00", "conditions": {"temperature_C": 20.5},
        "trace": HASH_A, "prescan": HASH_B,
    }  # fmt: skip
    assert canonical_row(row, HASH_A, HASH_B) == said
    plain = json.dumps({"kind": "row", "schema": 1, "row": said}, sort_keys=True, separators=(",", ":"))
    assert row_id(row, HASH_A, HASH_B) == hashlib.sha256(plain.encode()).hexdigest()


def test_names_of_files_zones_and_row_numbers_are_not_content() -> None:
    rows = small_run()
    before = ids(read(rows))[1]
    rows[1] |= {"trace": "elsewhere.csv", "measured_at": "2026-03-01T11:00:00.0+01:00", "level": "5E-1"}
    assert ids(read(rows[1:]))[0] == before


@pytest.mark.parametrize(
    "change",
    [{"level": "0.51"}, {"note": "x"}, {"salinity": "33.6"}, {"measured_at": "2026-03-01T10:01Z"}, {"batch": "B2"}],
)
def test_a_change_of_content_changes_the_id(change: Row) -> None:
    rows = small_run()
    before = ids(read(rows))
    rows[1] |= change
    after = ids(read(rows))
    assert after[1] != before[1]
    assert after[2:] == before[2:]
    assert row_id(read(rows).rows[1], HASH_B, None) != after[1]


def test_a_time_without_a_zone_is_the_logbooks_with_one_warning() -> None:
    settings = Settings(logbook=LogbookSection(timezone="Asia/Kathmandu"))
    rows = [sheet_row("B1-1", measured_at="2026-03-01 10:00"), sheet_row("B1-2", measured_at="2026-03-01T10:00")]
    sheet = read(rows, settings)
    assert sheet.rows[0].measured_at.utcoffset() == timedelta(hours=5, minutes=45)
    assert sheet.warnings == ("2 times without a zone, first in row 2, are read in Asia/Kathmandu",)


@pytest.mark.parametrize("local", ["2026-10-25T01:30", "2026-03-29T01:30"])
def test_a_time_that_the_clocks_showed_twice_or_never_needs_its_zone(local: str) -> None:
    settings = Settings(logbook=LogbookSection(timezone="Europe/Lisbon"))
    fault = refused([sheet_row(measured_at=local)], settings)
    assert "showed twice or never" in str(fault)
    assert fault.column == "measured_at"
    assert read([sheet_row(measured_at=f"{local}+00:00")], settings).warnings == ()


def test_ids_that_differ_by_capitals_are_remarked() -> None:
    rows = [sheet_row("B1-1"), sheet_row("b1-1", batch="B1"), sheet_row("B1-3", batch="b1")]
    assert read(rows).warnings == (
        "column electrode has 'B1-1' and 'b1-1', which are taken as different ids",
        "column batch has 'B1' and 'b1', which are taken as different ids",
    )


def test_an_instrument_that_the_settings_do_not_know_is_remarked() -> None:
    settings = Settings(instrument={"bench": InstrumentSection(), "field": InstrumentSection()})
    assert read([sheet_row()], settings).warnings == ()
    (remark,) = read([sheet_row(instrument="bnch")], settings).warnings
    assert "no section for instrument 'bnch'" in remark
    assert "the nearest one is 'bench'" in remark


def test_signals_without_their_uncertainty_are_remarked() -> None:
    rows = small_run()
    rows[6]["signal_u"] = ""
    sheet = read(rows)
    assert sheet.rows[6].signal_u is None
    assert sheet.warnings == ("1 signals without signal_u, first in row 8, are taken as exact values",)


def test_a_sheet_that_is_not_utf8_is_remarked() -> None:
    text = sheet_csv([sheet_row("Körner-1")])
    sheet = read_sheet(text.encode("latin-1"), "run.csv", Settings())
    assert sheet.rows[0].electrode == "Körner-1"
    assert "read as Latin-1" in sheet.warnings[0]


def test_accents_are_composed_so_that_an_id_is_one_id() -> None:
    assert one(electrode="E\u0301-1").electrode == "É-1"


def test_the_first_fault_is_told_in_full_and_the_other_rows_are_named() -> None:
    rows = small_run()
    rows[6]["level"] = "-1"
    rows[3]["level"] = ""
    rows[2]["electrode"] = "B1-1"
    rows[5]["role"] = "x"
    fault = refused(rows)
    assert (fault.row, fault.column) == (4, "prescan")
    assert str(fault).endswith("(and 3 more faulty rows: 5, 7, 8)")


def test_the_message_tells_the_level_unit_of_the_logbook() -> None:
    settings = Settings(analyte=AnalyteSection(level_unit="nmol/L"))
    assert "its level [nmol/L]" in str(refused([sheet_row(role="standard")], settings))


def test_how_far_rows_of_one_electrode_may_be_apart_is_a_setting() -> None:
    rows = [
        sheet_row(measured_at="2026-03-01T10:00Z"),
        sheet_row(trace="b", prescan="", measured_at="2026-03-01T15:00Z"),
    ]
    assert len(read(rows).rows) == 2
    assert "a second run of electrode 'B1-1', 5.0 h" in str(refused(rows, Settings(run=RunSection(max_gap_h=4))))


def test_a_comma_before_three_digits_is_decimal_when_another_cell_shows_it() -> None:
    rows = [sheet_row(role="standard", level="1,234", salinity="33,5", temperature_C="")]
    assert read(rows).rows[0].level == 1.234
    rows[0]["salinity"] = "33"
    assert "could part thousands" in str(refused(rows))


@given(st.binary(max_size=400))
def test_any_bytes_are_refused_in_one_line(data: bytes) -> None:
    with pytest.raises(Refused) as caught:
        read_sheet(data, "run.csv", Settings())
    assert len(str(caught.value).splitlines()) == 1


@given(st.sampled_from(COLUMNS), st.text(max_size=30))
def test_any_cell_is_read_or_refused_in_one_line(column: str, text: str) -> None:
    rows = small_run()
    rows[1][column] = text
    try:
        sheet = read_sheet(sheet_csv(rows).encode(errors="replace"), "run.csv", Settings())
    except Refused as fault:
        assert len(str(fault).splitlines()) == 1
    else:
        assert len(sheet.rows) == 8
        assert len(set(ids(sheet))) == 8


@given(st.floats(0, 1e12, exclude_min=True), st.floats(1, 1e6))
def test_levels_and_dilutions_arrive_bit_by_bit(level: float, dilution: float) -> None:
    rows = [
        sheet_row("B1-1", "standard", level=repr(level)),
        sheet_row("B1-2", "sample", sample="S", dilution=repr(dilution)),
    ]
    standard, sample = read(rows).rows
    assert (standard.level, sample.dilution) == (level, dilution)
