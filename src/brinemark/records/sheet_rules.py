"""The rules of a run sheet: what one row may say, and what rows of different electrodes may say together."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from datetime import tzinfo
from functools import partial
from typing import TYPE_CHECKING, Any

from brinemark.records.sheet_table import Cells, Tries
from brinemark.records.text import nearest, shown
from brinemark.terms.errors import Refused
from brinemark.terms.runs import CONDITIONS, ROLES, SheetRow

if TYPE_CHECKING:
    from brinemark.terms.settings import Settings

_IDS = ("electrode", "batch", "instrument", "sample")


def row_and_faults(cells: Cells, zone: tzinfo, level_unit: str) -> tuple[SheetRow | None, bool, list[Refused]]:
    """One row by the rules, or None with every fault of its cells; and whether its time named a zone.

    What a role asks of other cells is not looked at while the role itself is not known.
    """
    tries = Tries()
    needed = ("electrode", "batch", "instrument")
    ids: dict[str, Any] = {column: tries(partial(cells.needed_id, column)) for column in needed}
    moment = tries(lambda: cells.moment("measured_at", zone))
    said: dict[str, Any] = {"role": tries(lambda: cells.one_of("role", ROLES))}
    role = said["role"]
    if role is not None:
        said["level"] = tries(lambda: _level(cells, role, level_unit))
        tries(lambda: _check_volumes(cells, role))
        portion = tries(lambda: _portion(cells, role)) or (None, 1.0, None)
        said |= dict(zip(("sample", "dilution", "expected_level"), portion, strict=True))
    tries(lambda: _check_answer(cells))
    if role is not None:
        said["level_rel_u"] = tries(lambda: _level_u(cells, role))
    said |= {column: tries(partial(read, cells, column)) for read, columns in _READ for column in columns}
    conditions = tries(lambda: _conditions(cells)) or ()
    if tries.faults or moment is None:
        return None, False, list({(one.column, one.came): one for one in tries.faults}.values())
    return SheetRow(number=cells.row, **ids, measured_at=moment[0], conditions=conditions, **said), moment[1], []


_READ: tuple[tuple[Callable[[Cells, str], object], tuple[str, ...]], ...] = (
    (Cells.id, ("stock", "matrix_lot")),
    (Cells.number, ("stock_level", "added_volume_mL", "volume_mL")),
    (Cells.line, ("trace", "prescan")),
    (Cells.number, ("signal", "signal_u")),
    (Cells.id, ("signal_unit",)),
    (Cells.number, ("prescan_signal", "covariate")),
    (Cells.id, ("position", "operator")),
    (Cells.line, ("note",)),
)
"""Cells that stand for themselves: how they are read, and their columns, in the order of faults."""


def _refuse_filled(cells: Cells, column: str, role: str, meant: str) -> None:
    if cells.has(column):
        came = f"{shown(cells.texts[column])} for a {role}"
        raise cells.refused(column, came, f"an empty cell: {meant}", "empty the cell or correct the role")


def _level(cells: Cells, role: str, unit: str) -> float | None:
    """Blanks are 0, standards have a level above 0, additions a rise or a volume, controls none; a sample has one
    where a stock was added to its portion before the electrode was dipped into it."""
    if role == "addition" or (role == "sample" and _was_spiked(cells)):
        return _rise(cells, role, unit)
    if role in ("sample", "control"):
        meant = "its level is what is read (a control has expected_level; what was added to a sample has its stock)"
        _refuse_filled(cells, "level", role, meant)
        return None
    level = cells.number("level")
    if role == "blank":
        if level:
            raise cells.refused("level", f"{shown(cells.texts['level'])} for a blank", "0", "is it a standard?")
        return 0.0
    if level is None:
        raise cells.refused("level", "an empty cell for a standard", f"its level [{unit}]", "fill in the level")
    if level == 0:
        raise cells.refused("level", "0 for a standard", f"a level above 0 [{unit}]", "give it the role blank")
    return level


def _rise(cells: Cells, role: str, unit: str) -> float | None:
    """The rise of the level in the cell, or None when the addition gives its volume instead."""
    rise = cells.number("level")
    if cells.has("added_volume_mL"):
        meant = "the rise follows from the volumes, or leave added_volume_mL out"
        _refuse_filled(cells, "level", f"{role} with added_volume_mL", meant)
        return None
    if rise is None:
        expected = f"the rise of the level in the cell [{unit}], or added_volume_mL with its stock"
        raise cells.refused("level", "an empty cell for an addition", expected, "fill in one of them")
    if rise == 0:
        remedy = "leave the row out" if role == "addition" else "empty the cell: it is what was added to the portion"
        raise cells.refused("level", f"0 for {_one(role)}", f"a rise above 0 [{unit}]", remedy)
    return rise


def _was_spiked(cells: Cells) -> bool:
    """A level alone may as well be somebody's expectation; with a stock it was added."""
    return cells.has("stock") and (cells.has("level") or cells.has("added_volume_mL"))


def _one(role: str) -> str:
    return f"an {role}" if role == "addition" else f"a {role}"


def _check_volumes(cells: Cells, role: str) -> None:
    """A volume and its stock belong to an addition, or to a sample with one; the level of a stock to its id."""
    added = cells.has("added_volume_mL")
    if added and role != "addition" and not (role == "sample" and _was_spiked(cells)):
        meant = "only additions have one, and samples with the stock that was added"
        _refuse_filled(cells, "added_volume_mL", role, meant)
    if added and not (cells.has("stock") or cells.has("stock_level")):
        expected, remedy = "the stock that was added, or its level", "fill in stock or stock_level"
        raise cells.refused("stock_level", "an added volume without its stock", expected, remedy)
    if cells.has("stock_level") and not (cells.has("stock") or added):
        came = f"{shown(cells.texts['stock_level'])} without a stock"
        raise cells.refused("stock", came, "the id of the stock that has this level", "fill in stock")


def _level_u(cells: Cells, role: str) -> float | None:
    if role not in ("standard", "addition") and not (role == "sample" and _was_spiked(cells)):
        _refuse_filled(cells, "level_rel_u", role, "only standards and additions have a nominal level")
    return cells.number("level_rel_u")


def _portion(cells: Cells, role: str) -> tuple[str | None, float, float | None]:
    """Sample id, dilution and expected level of a sample or control; none of them for others.

    An addition may repeat id and dilution of the sample it was put into.
    """
    if role == "addition":
        _refuse_filled(cells, "expected_level", role, "only controls have one")
        return cells.id("sample"), cells.number("dilution") or 1.0, None
    if role not in ("sample", "control"):
        for column in ("sample", "expected_level"):
            _refuse_filled(cells, column, role, "only samples and controls have one")
        if (cells.number("dilution") or 1.0) != 1.0:
            _refuse_filled(cells, "dilution", role, "its level is the level in the cell")
        return None, 1.0, None
    sample = cells.needed_id("sample")
    if role == "sample":
        _refuse_filled(cells, "expected_level", role, "only controls have one")
    elif not cells.has("expected_level"):
        came = "an empty cell for a control"
        raise cells.refused("expected_level", came, "what the control is known to hold", "fill in the level")
    dilution = cells.number("dilution")
    return sample, 1.0 if dilution is None else dilution, cells.number("expected_level")


def _check_answer(cells: Cells) -> None:
    """A trace or a signal, not both; and what goes with each."""
    if cells.has("trace") == cells.has("signal"):
        came = "both a trace and a signal" if cells.has("trace") else "neither a trace nor a signal"
        raise cells.refused("trace", came, "one of them", "give the file, or the value that was read off a curve")
    if cells.has("signal") and not cells.has("signal_unit"):
        raise cells.refused("signal_unit", "a signal without a unit", "its unit such as A", "fill in the unit")
    for column in ("signal_u", "signal_unit"):
        if cells.has(column) and not cells.has("signal"):
            came = f"{shown(cells.texts[column])} without a signal"
            raise cells.refused(column, came, "an empty cell beside a trace", "empty the cell")
    for column in ("prescan_signal", "covariate"):
        if cells.has(column) and cells.has("prescan"):
            came = f"{shown(cells.texts[column])} beside a prescan file"
            raise cells.refused(column, came, "one of them", "the file is enough: empty the cell")


def _conditions(cells: Cells) -> tuple[tuple[str, float | str], ...]:
    found: dict[str, float | str | None] = {
        "stirring": cells.number_or_word("stirring"),
        "reference": cells.id("reference"),
    }
    found |= {name: cells.number(name) for name in CONDITIONS if name not in found}
    return tuple((name, value) for name in CONDITIONS if (value := found[name]) is not None)


def faults_between(rows: Sequence[SheetRow], sheet: str) -> list[Refused]:
    """Every fault that shows only when rows of different electrodes are seen together."""
    return [*_file_faults(rows, sheet), *_unit_faults(rows, sheet), *_sample_faults(rows, sheet)]


def _same_file(name: str) -> str:
    """A file name in one spelling: slashes, no '.' parts."""
    return "/".join(part for part in name.replace("\\", "/").split("/") if part not in ("", "."))


def _file_faults(rows: Sequence[SheetRow], sheet: str) -> Iterable[Refused]:
    named: dict[str, tuple[int, str]] = {}
    for row in rows:
        for column, name in (("trace", row.trace), ("prescan", row.prescan)):
            if name is None:
                continue
            before = named.setdefault(_same_file(name), (row.number, column))
            if before != (row.number, column):
                came = f"the file {shown(name)}, which is already the {before[1]} of row {before[0]}"
                remedy = "name the file of this electrode"
                yield Refused(came, "a file of its own", remedy, file=sheet, row=row.number, column=column)


def _unit_faults(rows: Sequence[SheetRow], sheet: str) -> Iterable[Refused]:
    signals = [row for row in rows if row.signal_unit is not None]
    for row in signals:
        if row.signal_unit != signals[0].signal_unit:
            came = f"{shown(row.signal_unit)}, in row {signals[0].number} {shown(signals[0].signal_unit)}"
            remedy = "write all signals in one unit"
            yield Refused(came, "one unit in a sheet", remedy, file=sheet, row=row.number, column="signal_unit")


def _sample_faults(rows: Sequence[SheetRow], sheet: str) -> Iterable[Refused]:
    first: dict[str, SheetRow] = {}
    for row in rows:
        if row.sample is None or row.role == "addition":
            continue
        before = first.setdefault(row.sample, row)
        if row.role != before.role:
            came = f"{shown(row.sample)} as a {row.role}, in row {before.number} as a {before.role}"
            expected, remedy = "one role for an id", "give the control an id of its own"
            yield Refused(came, expected, remedy, file=sheet, row=row.number, column="sample")
        elif row.expected_level != before.expected_level:
            came = f"{row.expected_level:g} for {shown(row.sample)}, in row {before.number} {before.expected_level:g}"
            expected, remedy = "one expected level for a control", "correct the level or the id"
            yield Refused(came, expected, remedy, file=sheet, row=row.number, column="expected_level")


def remarks(rows: Sequence[SheetRow], settings: Settings, zoneless: Sequence[int]) -> list[str]:
    """Sentences on what is odd but not refused."""
    found = []
    if zoneless:
        zone = settings.logbook.timezone
        found.append(f"{len(zoneless)} times without a zone, first in row {zoneless[0]}, are read in {zone}")
    exact = [row.number for row in rows if row.signal is not None and row.signal_u is None]
    if exact:
        found.append(f"{len(exact)} signals without signal_u, first in row {exact[0]}, are taken as exact values")
    found += [line for column in _IDS for line in collisions(rows, column)]
    found += _unknown_instruments(rows, settings.instrument)
    return found


def collisions(rows: Sequence[object], column: str) -> Iterable[str]:
    """Names in a column that differ only in capital letters."""
    spellings: defaultdict[str, list[str]] = defaultdict(list)
    for row in rows:
        name = getattr(row, column)
        if name is not None and name not in spellings[name.casefold()]:
            spellings[name.casefold()].append(name)
    for names in spellings.values():
        if len(names) > 1:
            yield f"column {column} has {' and '.join(map(shown, names))}, which are taken as different ids"


def _unknown_instruments(rows: Sequence[SheetRow], known: Mapping[str, object]) -> Iterable[str]:
    if not known:
        return
    for name in dict.fromkeys(row.instrument for row in rows):
        if name not in known:
            alike = nearest(name, known)
            hint = f"; the nearest one is {shown(alike)}" if alike else ""
            yield f"the settings have no section for instrument {shown(name)}, so defaults are used{hint}"
