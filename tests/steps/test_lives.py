"""Lives of electrodes: places, roles and levels of their readings, shared errors, and what cannot be worked out."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from brinemark.steps.lives import Life, levels_identity, lives_of, shared_stocks, stock_rel_u
from brinemark.terms.canonical import canonical_bytes, sha256_hex
from brinemark.terms.errors import Refused
from brinemark.terms.runs import SheetRow, StoredRow
from brinemark.terms.settings import LotSection, RunSection, Settings, StockSection

START = datetime(2031, 5, 4, 9, 0, tzinfo=UTC)
ROUNDING = 1e-12
SETTINGS = Settings(stock={"K1": StockSection(level=1000.0, rel_u=0.02)}, lot={"L7": LotSection(content=0.2, u=0.05)})


def row(minute: int, role: str, **cells: object) -> StoredRow:
    """Row `minute` + 2 of a sheet: electrode E1 unless said otherwise, its signal read off a curve elsewhere."""
    base = SheetRow(
        number=minute + 2,
        electrode="E1",
        batch="B1",
        instrument="bench",
        measured_at=START + timedelta(minutes=minute),
        role=role,
        level=0.0 if role == "blank" else None,
        signal=1e-7,
        signal_unit="A",
    )
    made = replace(base, **cells)  # type: ignore[arg-type]
    return StoredRow(sha256_hex(repr(made).encode()), "sheet", made)


def life(*rows: StoredRow, settings: Settings = SETTINGS) -> Life:
    (found,) = lives_of(rows, settings)
    return found


def levels(found: Life) -> list[float]:
    return [dip.added for dip in found.dips]


def test_a_lone_blank_is_a_life_of_one_reading() -> None:
    found = life(row(0, "blank"))
    assert (found.electrode, found.batch, found.instrument) == ("E1", "B1", "bench")
    assert (found.known, found.sample, found.prescan, found.later) == (True, None, None, ())
    assert (found.main.number, found.main.role, found.main.level) == (0, "blank", 0.0)


def test_a_blank_then_standards_then_additions_calibrate_at_rising_levels() -> None:
    found = life(
        row(0, "blank", prescan_signal=1e-9),
        row(1, "standard", level=2.0),
        row(2, "standard", level=8.0),
        row(3, "addition", level=4.0),
        row(4, "addition", level=100.0),
    )
    assert found.known
    assert [dip.number for dip in found.dips] == [-1, 0, 1, 2, 3, 4]
    assert [dip.role for dip in found.dips] == ["prescan", "blank", "standard", "standard", "addition", "addition"]
    assert [dip.level for dip in found.dips] == [0.0, 0.0, 2.0, 8.0, 12.0, 112.0]
    assert [one.row.number for one in found.rows] == [2, 3, 4, 5, 6]


def test_a_blank_with_additions_only_is_a_calibration_electrode() -> None:
    found = life(row(0, "blank"), row(1, "addition", level=2.0), row(2, "addition", level=3.0))
    assert (found.known, levels(found)) == (True, [0.0, 2.0, 5.0])


@pytest.mark.parametrize("role", ["sample", "control"])
def test_an_electrode_that_held_a_sample_or_control_never_calibrates(role: str) -> None:
    found = life(
        row(0, role, sample="S1", dilution=4.0, prescan_signal=1e-9),
        row(1, "addition", level=2.0),
        row(2, "addition", level=50.0),
    )
    assert (found.known, found.sample) == (False, "S1")
    assert found.prescan is not None
    assert (found.prescan.share, found.prescan.level) == (0.0, 0.0)
    assert [(dip.role, dip.share, dip.added) for dip in found.dips[1:]] == [
        (role, 0.25, 0.0), ("addition", 0.25, 2.0), ("addition", 0.25, 52.0),
    ]  # fmt: skip
    assert [dip.level for dip in found.dips[1:]] == [None, None, None]


def test_the_pre_scan_counts_with_a_file_too() -> None:
    stored = replace(row(0, "blank", prescan="a.csv"), prescan_sha256="a" * 64)
    found = life(stored)
    assert found.prescan is not None
    assert found.prescan.row is stored


def test_time_orders_a_life_and_the_sheet_orders_one_moment() -> None:
    rows = [row(5, "addition", level=1.0), row(0, "blank"), row(6, "addition", level=2.0, measured_at=START)]
    assert [one.row.number for one in life(*rows).rows] == [2, 8, 7]


def test_electrodes_come_in_the_order_of_their_first_row() -> None:
    rows = [row(0, "blank", electrode="E2"), row(1, "blank"), row(2, "addition", electrode="E2", level=1.0)]
    assert [(one.electrode, len(one.dips)) for one in lives_of(rows, SETTINGS)] == [("E2", 2), ("E1", 1)]


def test_levels_follow_from_volumes_with_shares_and_shared_parts() -> None:
    found = life(
        row(0, "sample", sample="S1", dilution=2.0, volume_mL=20.0),
        row(1, "addition", added_volume_mL=0.05, stock="K1"),
        row(2, "addition", added_volume_mL=1.0, stock="K2", stock_level=5000.0),
    )
    _, first, last = found.dips
    assert (first.share, first.added) == pytest.approx((0.5 * 20 / 20.05, 50 / 20.05), rel=ROUNDING)
    assert (last.share, last.added) == pytest.approx((0.5 * 20 / 21.05, 5050 / 21.05), rel=ROUNDING)
    assert dict(last.stock_parts) == pytest.approx({"stock K1": 50 / 21.05, "stock K2": 5000 / 21.05}, rel=ROUNDING)
    parts = (50 / 20.05) * np.array([20 / 20.05, 20 / 20.05])  # sensitivities of ln v and ln V
    assert first.added_u == pytest.approx(0.01 * np.hypot(*parts), rel=1e-9)


def test_volumes_are_as_uncertain_as_the_settings_say() -> None:
    rows = [row(0, "blank", volume_mL=20.0), row(1, "addition", added_volume_mL=0.05, stock="K1")]
    uncertainties = [
        life(*rows, settings=SETTINGS.model_copy(update={"run": RunSection(volume_rel_u=rel_u)})).dips[1].added_u
        for rel_u in (0.0, 0.01, 0.03)
    ]
    assert uncertainties[0] == 0.0
    assert uncertainties[2] == pytest.approx(3 * uncertainties[1], rel=ROUNDING)


def test_an_error_is_the_readings_own_without_a_stock_and_shared_with_one() -> None:
    found = life(row(0, "standard", level=2.0, level_rel_u=0.05), row(1, "addition", level=8.0, level_rel_u=0.1))
    assert [dip.added_u for dip in found.dips] == pytest.approx([0.1, np.hypot(0.1, 0.8)], rel=ROUNDING)
    assert [dip.stock_parts for dip in found.dips] == [(), ()]
    shared = life(row(0, "standard", level=2.0, stock="K9", level_rel_u=0.05))
    assert (shared.main.added_u, shared.main.stock_parts) == (0.0, (("stock K9", 2.0),))
    assert stock_rel_u([shared.main.row], SETTINGS)["stock K9"] == 0.05


def test_what_the_seawater_holds_is_in_every_reading_made_with_it() -> None:
    found = life(
        row(0, "blank", matrix_lot="L7", prescan_signal=1e-9),
        row(1, "standard", level=2.0, matrix_lot="L7"),
        row(2, "addition", level=4.0),
    )
    assert levels(found) == pytest.approx([0.2, 0.2, 2.2, 6.2])
    assert [dict(dip.stock_parts) for dip in found.dips] == [{"lot L7": 0.2}] * 4
    diluted = life(row(0, "sample", sample="S1", dilution=10.0, matrix_lot="L7"))
    assert diluted.main.added == pytest.approx(0.9 * 0.2)
    clean = life(row(0, "sample", sample="S1", dilution=10.0))
    assert clean.main.added == 0.0


def test_stocks_and_lots_come_as_arrays_with_their_shared_errors() -> None:
    rows = [
        row(0, "blank", matrix_lot="L7"),
        row(1, "standard", level=2.0, stock="K1", electrode="E2"),
        row(2, "standard", level=4.0, stock="K2", electrode="E3"),
    ]
    dips = [dip for one in lives_of(rows, SETTINGS) for dip in one.dips]
    shared = shared_stocks(dips, SETTINGS)
    assert shared.names == ("lot L7", "stock K1", "stock K2")
    assert shared.part.tolist() == [[0.2, 0.0, 0.0], [0.0, 2.0, 0.0], [0.0, 0.0, 4.0]]
    assert shared.rel_u.tolist() == [0.25, 0.02, 0.0]
    none = shared_stocks(dips[:0], Settings())
    assert (none.names, none.part.shape, none.rel_u.shape) == ((), (0, 0), (0,))


def test_rows_of_before_that_name_what_nothing_describes_are_still_read() -> None:
    old = life(row(0, "standard", level=2.0, stock="K0", matrix_lot="L0"), settings=Settings())
    assert (old.main.level, old.main.added_u) == (2.0, 0.0)


def test_the_identity_of_levels_changes_with_what_changes_them_and_with_nothing_else() -> None:
    rows = [row(0, "blank", volume_mL=20.0), row(1, "addition", added_volume_mL=0.05, stock="K1")]

    def identity(settings: Settings) -> str:
        return sha256_hex(canonical_bytes(levels_identity(lives_of(rows, settings), settings)))

    unused = SETTINGS.model_copy(update={"lot": {}, "stock": {**SETTINGS.stock, "K5": StockSection(rel_u=0.5)}})
    assert identity(unused) == identity(SETTINGS)
    for section in (StockSection(level=1001.0, rel_u=0.02), StockSection(level=1000.0, rel_u=0.03)):
        assert identity(SETTINGS.model_copy(update={"stock": {"K1": section}})) != identity(SETTINGS)
    assert identity(SETTINGS.model_copy(update={"run": RunSection(volume_rel_u=0.02)})) != identity(SETTINGS)


IMPOSSIBLE = {
    "a stock whose level is gone": (
        [row(0, "blank", volume_mL=20.0), row(1, "addition", added_volume_mL=1.0, stock="K3")],
        "row 3, column stock_level: electrode E1: an added volume of stock 'K3', whose level is not known",
    ),
    "more than the cell held": (
        [row(0, "blank", volume_mL=20.0), row(1, "addition", added_volume_mL=20.5, stock="K1")],
        "row 3, column added_volume_mL: electrode E1: an added volume of 20.5, more than the cell of 20 held",
    ),
    "a fall": (
        [
            row(0, "standard", level=8.0, volume_mL=20.0),
            row(1, "addition", level=1.0),
            row(2, "addition", added_volume_mL=1.0, stock_level=2.0),
        ],
        "row 4, column stock_level: electrode E1: an addition that lowers the level of the cell from 9 to 8.667",
    ),
}


@pytest.mark.parametrize("name", IMPOSSIBLE)
def test_a_level_that_cannot_be_worked_out_is_refused_with_its_row(name: str) -> None:
    rows, words = IMPOSSIBLE[name]
    with pytest.raises(Refused) as caught:
        life(*rows)
    assert words in str(caught.value)
