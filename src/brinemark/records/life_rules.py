"""The rules of one electrode's life: in which order its rows may stand, and what they may say of stocks and volumes."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import TYPE_CHECKING

from brinemark.records.text import nearest, shown
from brinemark.terms.errors import Refused
from brinemark.terms.runs import SheetRow

if TYPE_CHECKING:
    from brinemark.terms.settings import Settings

KNOWN, PORTION = ("blank", "standard"), ("sample", "control")
_BEFORE_ALL = ("prescan", "prescan_signal", "covariate")

_Fault = tuple[str, str, str, str]  # column, came, expected, remedy


def life_faults(rows: Sequence[SheetRow], sheet: str, max_gap_h: float) -> Iterator[Refused]:
    """The first fault in time of each electrode's life; what follows it could be a fault of that fault.

    A life is one run: blank and standards at levels that do not fall, or one sample or control; then additions. The
    pre-scan stands in its first row.
    """
    for life in by_electrode(rows):
        for place, row in enumerate(life):
            fault = _order_fault(row, life[:place], max_gap_h) or _volume_fault(row, life)
            if fault is not None:
                column, came, expected, remedy = fault
                yield Refused(came, expected, remedy, file=sheet, row=row.number, column=column)
                break


def by_electrode(rows: Iterable[SheetRow]) -> list[list[SheetRow]]:
    """The rows of each electrode in the order of time; rows of one moment in the order of the sheet."""
    lives: dict[str, list[SheetRow]] = {}
    for row in rows:
        lives.setdefault(row.electrode, []).append(row)
    return [sorted(life, key=lambda row: (row.measured_at.timestamp(), row.number)) for life in lives.values()]


def _order_fault(row: SheetRow, before: Sequence[SheetRow], max_gap_h: float) -> _Fault | None:
    if not before:
        return _first_fault(row)
    return (
        _run_fault(row, before[0], max_gap_h)
        or _role_fault(row, before)
        or _fall_fault(row, before[-1])
        or _prescan_fault(row, before[0])
        or _cell_fault(row, before[0])
    )


def _first_fault(row: SheetRow) -> _Fault | None:
    if row.role != "addition":
        return None
    came = f"an addition as the first reading of electrode {shown(row.electrode)}"
    remedy = "add that row, or correct electrode or measured_at"
    return "role", came, "a blank, standard, sample or control before it", remedy


def _run_fault(row: SheetRow, first: SheetRow, max_gap_h: float) -> _Fault | None:
    """One electrode, one batch, one run, one instrument."""
    # Not the difference of local times, which a change of the clocks makes an hour longer or shorter.
    name, gap = shown(row.electrode), (row.measured_at.timestamp() - first.measured_at.timestamp()) / 3600
    if row.batch != first.batch:
        came = f"electrode {name} in batch {row.batch}, in row {first.number} {first.batch}"
        return "batch", came, "one batch for an electrode", "correct the batch or the electrode"
    if gap > max_gap_h:
        came = f"a second run of electrode {name}, {gap:.1f} h from row {first.number}"
        expected = f"one run for an electrode, within [run] max_gap_h = {max_gap_h:g}"
        return "electrode", came, expected, "give every electrode its own id"
    if row.instrument != first.instrument:
        came = f"electrode {name} on instrument {row.instrument}, in row {first.number} on {first.instrument}"
        return "instrument", came, "one instrument for an electrode", "correct the instrument or the electrode"
    return None


def _role_fault(row: SheetRow, before: Sequence[SheetRow]) -> _Fault | None:
    """After a sample, and after an addition, only additions; a sample only on an electrode that has read nothing."""
    if row.role == "addition":
        return None
    earlier = next((one for one in before if one.role in PORTION), None)
    earlier = earlier or next((one for one in before if one.role == "addition"), None)
    if earlier is None and row.role in KNOWN:
        return None
    earlier = earlier or before[0]
    second = row.role in PORTION and earlier.role in PORTION
    what = f"a second {row.role}" if second else f"{_one(row.role)} after the {earlier.role} of row {earlier.number}"
    came = f"{what} on electrode {shown(row.electrode)}"
    came += f", which read {earlier.role} {shown(earlier.sample)} in row {earlier.number}" if second else ""
    expected = "only additions after it" if earlier.role not in KNOWN else "a sample on an electrode of its own"
    return "role", came, expected, "give every electrode its own id, or correct measured_at"


def _one(role: str) -> str:
    return f"an {role}" if role == "addition" else f"a {role}"


def _fall_fault(row: SheetRow, last: SheetRow) -> _Fault | None:
    if row.role not in KNOWN or row.level is None or last.level is None or row.level >= last.level:
        return None
    came = f"level {row.level:g} after {last.level:g} in row {last.number} on electrode {shown(row.electrode)}"
    expected = "levels that do not fall along the life of an electrode"
    return "level", came, expected, "correct level or measured_at, or give every electrode its own id"


def _prescan_fault(row: SheetRow, first: SheetRow) -> _Fault | None:
    for column in _BEFORE_ALL:
        value = getattr(row, column)
        if value is not None:
            came = f"{shown(value)} in a later row of electrode {shown(row.electrode)}, first in row {first.number}"
            return column, came, "the pre-scan in the first row of an electrode", "move the cell or empty it"
    return None


def _cell_fault(row: SheetRow, first: SheetRow) -> _Fault | None:
    """What a later row repeats of the cell must be what its first row says; an empty cell repeats it."""
    where = f"in row {first.number}"
    if row.matrix_lot is not None and row.matrix_lot != first.matrix_lot:
        came = f"{shown(row.matrix_lot)}, {where} {shown(first.matrix_lot) if first.matrix_lot else 'none'}"
        return "matrix_lot", came, "one lot of seawater for an electrode", "correct the lot, or empty the later cell"
    if row.role != "addition":
        return None
    if row.sample is not None and row.sample != first.sample:
        came = f"{shown(row.sample)} for an addition, {where} {shown(first.sample) if first.sample else 'no sample'}"
        return "sample", came, "the sample that the electrode read", "empty the cell or correct the electrode"
    if row.dilution not in (1.0, first.dilution):
        came = f"{row.dilution:g} for an addition, {where} {first.dilution:g}"
        return "dilution", came, "one dilution for an electrode", "empty the cell: additions are levels in the cell"
    return None


def _volume_fault(row: SheetRow, life: Sequence[SheetRow]) -> _Fault | None:
    """One volume of the cell for an electrode, and one at all where a volume was added."""
    said = [one for one in life if one.volume_mL is not None]
    if row.volume_mL is not None and row.volume_mL != said[0].volume_mL:
        came = f"{row.volume_mL:g} mL, in row {said[0].number} {said[0].volume_mL:g} mL"
        return "volume_mL", came, "the volume of the cell before the first addition", "correct or empty the cell"
    if row.added_volume_mL is None:
        return None
    if not said:
        came, expected = "an added volume without volume_mL", "the volume of the cell before the first addition"
        return "volume_mL", came, expected, "fill it in, or give the rise of the level in column level"
    held = said[0].volume_mL or 0.0
    if row.added_volume_mL > held:
        came = f"{row.added_volume_mL:g} mL into a cell of {held:g} mL"
        return "added_volume_mL", came, f"at most {held:g} mL", "correct the volume or its unit"
    return None


def stock_faults(rows: Sequence[SheetRow], sheet: str, settings: Settings) -> Iterator[Refused]:
    """Stocks and lots that nothing describes, and stocks that two rows (or a row and the settings) describe apart."""
    stocks = {*settings.stock, *(row.stock for row in rows if row.stock is not None and row.stock_level is not None)}
    for row in rows:
        fault = (
            _unknown("stock", row.stock, stocks, "give stock_level or write [stock.ID] into logbook.toml")
            or _unknown("matrix_lot", row.matrix_lot, settings.lot, "write [lot.ID] into logbook.toml")
            or _unlevelled(row, settings)
        )
        if fault is not None:
            column, came, expected, remedy = fault
            yield Refused(came, expected, remedy, file=sheet, row=row.number, column=column)
    yield from stock_conflicts(rows, (), sheet, settings)


def _unknown(column: str, name: str | None, known: Iterable[str], remedy: str) -> _Fault | None:
    if name is None or name in known:
        return None
    alike = nearest(name, known)
    there = ", ".join(sorted(known)[:8])
    expected = f"the nearest known one, {alike}" if alike else f"one of {there}" if there else "one that is described"
    return column, f"{shown(name)}, which nothing describes", expected, f"correct the id, or {remedy}"


def _unlevelled(row: SheetRow, settings: Settings) -> _Fault | None:
    if row.added_volume_mL is None or row.stock_level is not None or row.stock is None:
        return None
    section = settings.stock.get(row.stock)
    if section is not None and section.level is not None:
        return None
    came = f"an added volume of stock {shown(row.stock)}, whose level is not known"
    return "stock_level", came, "the level of the stock", f"fill in the cell, or write [stock.{row.stock}] level"


def stock_conflicts(
    rows: Sequence[SheetRow], earlier: Sequence[SheetRow], sheet: str, settings: Settings
) -> Iterator[Refused]:
    """Rows that give another level or error to a stock than the settings or a row before; earlier : of other sheets."""
    for column, key in (("stock_level", "level"), ("level_rel_u", "rel_u")):
        said = _said_by_settings(settings, key)
        for name, value in _said(earlier, column):
            said.setdefault(name, (value, "an earlier sheet"))
        for row in rows:
            for name, value in _said([row], column):
                held, where = said.setdefault(name, (value, f"row {row.number}"))
                if held == value:
                    continue
                came = f"{value:g} for stock {shown(name)}, in {where} {held:g}"
                expected = "one level for a stock" if key == "level" else "one error for a stock, shared by its levels"
                yield Refused(came, expected, "correct one of them", file=sheet, row=row.number, column=column)


def _said(rows: Iterable[SheetRow], column: str) -> Iterator[tuple[str, float]]:
    for row in rows:
        value = getattr(row, column)
        if row.stock is not None and value is not None:
            yield row.stock, value


def _said_by_settings(settings: Settings, key: str) -> dict[str, tuple[float, str]]:
    sections: Mapping[str, object] = settings.stock
    said = {name: getattr(section, key) for name, section in sections.items()}
    return {name: (value, f"[stock.{name}] {key}") for name, value in said.items() if value is not None}
