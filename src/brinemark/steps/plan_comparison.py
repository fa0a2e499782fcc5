"""A run plan beside what was measured: which of its rows are filled, and where the sheets depart from it."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import islice

from brinemark.science.making.codes import is_code, looks_coded
from brinemark.terms.run_plans import Departure, PlannedRow
from brinemark.terms.runs import SheetRow, StoredRow

SAME_WITHIN = 0.1
"""Levels and dilutions as reached may differ by this part from those planned and still be the same reading [1]."""


@dataclass(frozen=True, slots=True, eq=False)
class SheetRows:
    """Rows of current sheets, by electrode in order of time, and by sheet."""

    lives: Mapping[str, list[StoredRow]]
    sheets: Mapping[str, list[StoredRow]]

    @classmethod
    def of(cls, rows: Iterable[StoredRow]) -> SheetRows:
        lives: dict[str, list[StoredRow]] = {}
        sheets: dict[str, list[StoredRow]] = {}
        for row in rows:
            lives.setdefault(row.row.electrode, []).append(row)
            sheets.setdefault(row.sheet_id, []).append(row)
        return cls({name: sorted(life, key=_moment) for name, life in lives.items()}, sheets)


def _moment(stored: StoredRow) -> tuple[float, int]:
    return stored.row.measured_at.timestamp(), stored.row.number


@dataclass(frozen=True, slots=True)
class Comparison:
    """filled : planned rows that a sheet has; taken_in : whether half of the electrodes or more were read; sheets : ids
    of the sheets that hold them."""

    filled: int
    taken_in: bool
    departures: tuple[Departure, ...]
    sheets: tuple[str, ...]


def compare(planned: Sequence[PlannedRow], rows: SheetRows) -> Comparison:
    """What was measured of a plan. Electrodes that were not read are departures once the plan counts as taken in."""
    lives: dict[str, list[PlannedRow]] = {}
    for row in planned:
        lives.setdefault(row.electrode, []).append(row)
    read = {name: rows.lives[name] for name in lives if name in rows.lives}
    taken_in = bool(read) and 2 * len(read) >= len(lives)
    filled, departures = 0, list[Departure]()
    for name, life in read.items():
        missing = list(_life(lives[name], life, departures))
        filled += len(lives[name]) - len(missing)
    sheets = tuple(dict.fromkeys(row.sheet_id for life in read.values() for row in life))
    if taken_in:
        departures += _unread(lives, read, [row for sheet in sheets for row in rows.sheets[sheet]])
        departures += _order([name for name in lives if name in read], read)
    return Comparison(filled, taken_in, tuple(departures), sheets)


def _life(planned: Sequence[PlannedRow], found: Sequence[StoredRow], into: list[Departure]) -> Iterator[PlannedRow]:
    """Departures within one electrode's life; gives out the planned rows that no sheet has."""
    name, open_rows, missing = planned[0].electrode, [one.row for one in found], list[PlannedRow]()
    for row in planned:
        hit = next((one for one in open_rows if _same(row, one)), None)
        if hit is None:
            missing.append(row)
        else:
            open_rows.remove(hit)
    for row, one in zip(missing, open_rows, strict=False):
        into.append(Departure("other reading", name, f"{name}: {_planned(row)} was planned, {_found(one)} was read"))
    for row in islice(missing, len(open_rows), None):
        into.append(Departure("row missing", name, f"{name}: {_planned(row)} was planned and not read"))
        yield row
    for one in islice(open_rows, len(missing), None):
        into.append(Departure("row added", name, f"{name}: {_found(one)} was read and not planned"))
    into += _once(planned[0], found[0].row)


def _once(planned: PlannedRow, first: SheetRow) -> Iterator[Departure]:
    """What holds for the whole of a life: its instrument and its pre-scan."""
    name = planned.electrode
    if first.instrument != planned.instrument:
        came = f"{name}: instrument {planned.instrument} was planned, {first.instrument} was used"
        yield Departure("other instrument", name, came)
    before = (first.prescan, first.prescan_signal, first.covariate)
    if planned.prescan is not None and all(one is None for one in before):
        yield Departure("row missing", name, f"{name}: a pre-scan was planned and not read")


def _same(planned: PlannedRow, row: SheetRow) -> bool:
    if planned.role != row.role:
        return False
    if row.role == "standard":
        return _near(planned.level, row.level)
    if row.role in ("sample", "control"):
        return planned.sample == row.sample and _near(planned.dilution or 1.0, row.dilution)
    return row.role == "blank" or planned.stock is None or row.stock in (None, planned.stock)


def _near(one: float | None, other: float | None) -> bool:
    if one is None or other is None:
        return one is other
    return abs(one - other) <= SAME_WITHIN * max(one, other)


def _planned(row: PlannedRow) -> str:
    return _words(row.role, row.level, row.sample, row.dilution or 1.0)


def _found(row: SheetRow) -> str:
    words = _words(row.role, row.level, row.sample, row.dilution)
    slip = row.sample is not None and looks_coded(row.sample) and not is_code(row.sample)
    return f"{words} (its check character is wrong: mistyped?)" if slip else words


def _words(role: str, level: float | None, sample: str | None, dilution: float) -> str:
    if role == "standard":
        return f"standard {level or 0.0:g}"
    if role in ("sample", "control"):
        return f"{role} {sample}" + (f" diluted {dilution:g}" if dilution != 1.0 else "")
    return role


def _unread(
    lives: Mapping[str, Sequence[PlannedRow]], read: Mapping[str, object], rows: Sequence[StoredRow]
) -> Iterator[Departure]:
    """Electrodes that were not read; one that stands in the sheet for it is named."""
    strange: dict[str, SheetRow] = {}
    for stored in rows:
        if stored.row.electrode not in lives:
            strange.setdefault(stored.row.electrode, stored.row)
    for name, life in lives.items():
        if name in read:
            continue
        other = next((one for one in strange.values() if _same(life[0], one)), None)
        if other is None:
            yield Departure("row missing", name, f"{name}: {_planned(life[0])} was planned and not read")
            continue
        del strange[other.electrode]
        came = f"{other.electrode} was read as {_found(other)}, where {name} was planned"
        yield Departure("other electrode", name, came)


def _order(planned: Sequence[str], read: Mapping[str, Sequence[StoredRow]]) -> Iterator[Departure]:
    """Electrodes that were read at another place than planned, the fewest that explain the order."""
    place = {name: number for number, name in enumerate(planned)}
    as_read = sorted(planned, key=lambda name: (_moment(read[name][0]), place[name]))
    kept = _longest_rising([place[name] for name in as_read])
    moved = [name for name in as_read if place[name] not in kept]
    if moved:
        verb = "was" if len(moved) == 1 else "were"
        yield Departure("order", moved[0], f"{', '.join(moved)} {verb} read at another place than planned")


def _longest_rising(values: Sequence[int]) -> frozenset[int]:
    """A longest rising part of different numbers (patience sorting)."""
    tops: list[int] = []
    before: dict[int, int | None] = {}
    for value in values:
        pile = bisect_left(tops, value)
        before[value] = tops[pile - 1] if pile else None
        tops[pile : pile + 1] = [value]
    found: list[int] = []
    last: int | None = tops[-1] if tops else None
    while last is not None:
        found.append(last)
        last = before[last]
    return frozenset(found)
