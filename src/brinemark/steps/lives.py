"""From rows to the life of each electrode: what its cell held at every reading, in order."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from brinemark.science.amount.volumes import (
    Addition,
    CellContent,
    Lot,
    Parts,
    after_additions,
    check_addition,
    known_cell,
    sample_cell,
)
from brinemark.steps.measure import PRESCAN
from brinemark.terms.arrays import FloatArray
from brinemark.terms.canonical import JsonValue
from brinemark.terms.errors import Refused
from brinemark.terms.runs import StoredRow
from brinemark.terms.settings import Settings

ADDITION, PORTION_ROLES = "addition", ("sample", "control")


@dataclass(frozen=True, slots=True)
class Dip:
    """One reading of an electrode: c_cell = share * c_sample + added.

    row : the sheet's row, for the pre-scan the one that names it; number : place in the life, -1 pre-scan, 0 main
    reading, 1, 2, ... later; role : prescan, blank, standard, sample, control or addition; share : 0 where the level
    is known; added, added_u : level that is known to be there, and its own standard uncertainty [level unit];
    stock_parts : part of added from each stock ("stock ID") and lot of seawater ("lot ID") [level unit]; kept : volume
    before the first addition over the volume now [1].
    """

    row: StoredRow
    number: int
    role: str
    share: float
    added: float
    added_u: float
    stock_parts: Parts
    kept: float = 1.0

    @property
    def level(self) -> float | None:
        """The cell level when it is known."""
        return self.added if self.share == 0.0 else None


@dataclass(frozen=True, slots=True)
class Life:
    """All readings of one electrode, by dip number. known : every cell level is known, so that it can calibrate."""

    electrode: str
    batch: str
    instrument: str
    known: bool
    sample: str | None
    dips: tuple[Dip, ...]

    @property
    def main(self) -> Dip:
        """The first reading after the pre-scan."""
        return next(dip for dip in self.dips if dip.number == 0)

    @property
    def prescan(self) -> Dip | None:
        return self.dips[0] if self.dips[0].number < 0 else None

    @property
    def later(self) -> tuple[Dip, ...]:
        """What follows the main reading."""
        return tuple(dip for dip in self.dips if dip.number > 0)

    @property
    def rows(self) -> tuple[StoredRow, ...]:
        return tuple(dip.row for dip in self.dips if dip.number >= 0)


@dataclass(frozen=True, slots=True, eq=False)
class SharedStocks:
    """Stocks and lots that the readings share, with their relative errors.

    names : S; part : (S, R) part of each reading's level [level unit]; rel_u : (S,) relative standard uncertainty, 0
    where none is stated.
    """

    names: tuple[str, ...]
    part: FloatArray
    rel_u: FloatArray


def lives_of(rows: Sequence[StoredRow], settings: Settings) -> tuple[Life, ...]:
    """The lives of the electrodes of rows, in the order in which they first appear.

    All rows of an electrode must be there. Raises Refused with row and column when a level cannot be worked out: a
    stock without a level, more added than the cell held, an addition that lowers the level.
    """
    lives: dict[str, list[StoredRow]] = {}
    for row in rows:
        lives.setdefault(row.row.electrode, []).append(row)
    return tuple(_life(sorted(life, key=_moment), settings) for life in lives.values())


def _moment(stored: StoredRow) -> tuple[float, int]:
    return stored.row.measured_at.timestamp(), stored.row.number


def _life(rows: Sequence[StoredRow], settings: Settings) -> Life:
    first = rows[0].row
    lot = _lot(first.matrix_lot, settings)
    contents = _contents(rows, lot, settings)
    dips = [_dip(row, place, row.row.role, one) for place, (row, one) in enumerate(zip(rows, contents, strict=True))]
    if rows[0].prescan_sha256 is not None or first.prescan_signal is not None:
        dips.insert(0, _dip(rows[0], -1, PRESCAN, known_cell(0.0, lot=lot)))
    known = not any(row.row.role in PORTION_ROLES for row in rows)
    return Life(first.electrode, first.batch, first.instrument, known, first.sample, tuple(dips))


def _dip(row: StoredRow, number: int, role: str, content: CellContent) -> Dip:
    return Dip(row, number, role, content.share, content.added, content.added_u, content.stock_parts, content.kept)


def _contents(rows: Sequence[StoredRow], lot: Lot | None, settings: Settings) -> list[CellContent]:
    """What the cell held at each row: first those without addition, then the additions into the last of them. A
    portion of a sample may have been added to before its first reading."""
    contents = [_start(row, lot) for row in rows if row.row.role != ADDITION]
    spiked = [row for row in rows if row.row.role in PORTION_ROLES and _has_addition(row)]
    added = spiked + [row for row in rows if row.row.role == ADDITION]
    volume = next((row.row.volume_mL for row in rows if row.row.volume_mL is not None), None)
    additions = [_addition(row, volume, settings) for row in added]
    after = after_additions(contents[-1], volume, additions, settings.run.volume_rel_u)
    levels = [contents[-1], *after]
    contents = [*(contents[:-1] if spiked else contents), *after]
    for row, before, now in zip(added, levels, after, strict=False):
        if now.added < before.added:
            came = f"an addition that lowers the level of the cell from {before.added:.4g} to {now.added:.4g}"
            raise _refused(row, came, "a stock stronger than the cell", "correct the level of the stock", "stock_level")
    return contents


def _has_addition(stored: StoredRow) -> bool:
    return stored.row.level is not None or stored.row.added_volume_mL is not None


def _start(stored: StoredRow, lot: Lot | None) -> CellContent:
    row = stored.row
    if row.role in PORTION_ROLES:
        return sample_cell(row.dilution, lot)
    return known_cell(row.level or 0.0, row.level_rel_u or 0.0, _stock_name(row.stock), lot)


def _addition(stored: StoredRow, volume: float | None, settings: Settings) -> Addition:
    row = stored.row
    level = row.level if row.added_volume_mL is None else _stock_level(stored, settings)
    made = Addition(level or 0.0, row.added_volume_mL, _stock_name(row.stock), row.level_rel_u or 0.0)
    try:
        check_addition(made, volume)
    except Refused as fault:
        column = "level" if row.added_volume_mL is None else "added_volume_mL"
        raise _refused(stored, fault.came, fault.expected, fault.remedy, column) from fault
    return made


def _stock_level(stored: StoredRow, settings: Settings) -> float:
    row = stored.row
    section = settings.stock.get(row.stock or "")
    level = row.stock_level or (None if section is None else section.level)
    if level is None:
        came, remedy = f"an added volume of stock {row.stock!r}, whose level is not known", "write it into logbook.toml"
        raise _refused(stored, came, f"[stock.{row.stock}] level", remedy, "stock_level")
    return level


def _refused(stored: StoredRow, came: str, expected: str, remedy: str, column: str) -> Refused:
    came = f"electrode {stored.row.electrode}: {came}"
    return Refused(came, expected, remedy, row=stored.row.number, column=column)


def _stock_name(stock: str | None) -> str | None:
    return None if stock is None else f"stock {stock}"


def _lot(name: str | None, settings: Settings) -> Lot | None:
    section = settings.lot.get(name or "")
    return None if section is None else Lot(f"lot {name}", section.content)


def stock_rel_u(rows: Iterable[StoredRow], settings: Settings) -> dict[str, float]:
    """Relative standard uncertainty of every stock and lot with an error, named as in `Dip.stock_parts`.

    The settings decide; for a stock they say nothing of, the largest that its rows say.
    """
    found: dict[str, float] = {}
    for stored in rows:
        name, said = _stock_name(stored.row.stock), stored.row.level_rel_u
        if name is not None and said is not None:
            found[name] = max(said, found.get(name, 0.0))
    found |= {f"stock {name}": one.rel_u for name, one in settings.stock.items() if one.rel_u is not None}
    found |= {f"lot {name}": one.u / one.content for name, one in settings.lot.items() if one.content > 0}
    return {name: u for name, u in found.items() if u > 0}


def shared_stocks(dips: Sequence[Dip], settings: Settings) -> SharedStocks:
    """The stocks and lots of R readings as the amount functions take them; what brought nothing is left out."""
    errors = stock_rel_u([dip.row for dip in dips], settings)
    parts = [dict(dip.stock_parts) for dip in dips]
    names = tuple(sorted({name for one in parts for name in one}))
    part = np.array([[one.get(name, 0.0) for one in parts] for name in names], dtype=np.float64)
    rel_u = np.array([errors.get(name, 0.0) for name in names], dtype=np.float64)
    return SharedStocks(names, part.reshape(len(names), len(dips)), rel_u)


def levels_identity(lives: Iterable[Life], settings: Settings) -> JsonValue:
    """What the settings and the volumes make of the levels, for the recipe of what is made from these readings."""
    lives = tuple(lives)
    errors = stock_rel_u([dip.row for life in lives for dip in life.dips], settings)
    used = {name for life in lives for dip in life.dips for name, _ in dip.stock_parts}
    dips: list[JsonValue] = [
        [dip.row.id, dip.number, dip.role, dip.share, dip.added, dip.added_u, dict(dip.stock_parts), dip.kept]
        for life in lives
        for dip in life.dips
    ]
    return {"dips": dips, "stocks": {name: u for name, u in errors.items() if name in used}}
