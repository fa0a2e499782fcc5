"""What a cell holds at each reading of an electrode: dilution, additions by volume or by rise, stocks, seawater.

Every level is one of two parts, c_cell = share * c_sample + added: what came with the sample, and what is known to be
there. An electrode whose every level is known has share 0.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import accumulate

from brinemark.terms.errors import Refused

Parts = tuple[tuple[str, float], ...]


@dataclass(frozen=True, slots=True)
class CellContent:
    """What a cell holds at one reading: c_cell = share * c_sample + added.

    share : [1]; added : [level unit]; added_u : standard uncertainty of added that is this reading's own [level
    unit]; stock_parts : (name, part of added [level unit]) of every stock and lot, whose relative errors are shared
    by all that was made with them; kept : volume before the first addition over the volume now [1].
    """

    share: float
    added: float
    added_u: float = 0.0
    stock_parts: Parts = ()
    kept: float = 1.0


@dataclass(frozen=True, slots=True)
class Lot:
    """A lot of seawater with its own content of the analyte [level unit]; its relative error is shared."""

    name: str
    content: float


@dataclass(frozen=True, slots=True)
class Addition:
    """A known amount put into the cell.

    volume : what was added [volume unit]; None : `level` is the rise of the level in the cell and the volume of
    the cell stays as it was. level : of the stock, or the rise [level unit]. stock : whose error it shares, None = its
    own; rel_u : relative standard uncertainty of the level when the error is its own [1].
    """

    level: float
    volume: float | None = None
    stock: str | None = None
    rel_u: float = 0.0


def known_cell(level: float, rel_u: float = 0.0, stock: str | None = None, lot: Lot | None = None) -> CellContent:
    """A blank (level 0) or a standard: its nominal level and the content of the seawater it was made in.

    rel_u : of the nominal level, when its error is its own (stock None). The volume that the stock takes from the
    seawater is neglected. Raises Refused for a negative or infinite number.
    """
    _check(level, level >= 0, "a level", "from 0")
    _check(rel_u, rel_u >= 0, "a relative uncertainty", "from 0")
    own = rel_u * level if stock is None else 0.0
    parts = [(stock, level)] if stock is not None else []
    content = _content_of(lot)
    parts += [(lot.name, content)] if lot is not None else []
    return CellContent(0.0, level + content, own, _merged(parts))


def sample_cell(dilution: float, diluent: Lot | None = None) -> CellContent:
    """A sample or control: c_cell = c / d + (1 - 1 / d) c_lot.

    dilution : volume after dilution over volume of sample, from 1. Raises Refused for a dilution below 1.
    """
    _check(dilution, dilution >= 1, "a dilution", "from 1")
    share = 1.0 / dilution
    content = (1.0 - share) * _content_of(diluent)
    return CellContent(share, content, 0.0, _merged([] if diluent is None else [(diluent.name, content)]))


def after_additions(
    start: CellContent, volume: float | None, additions: Sequence[Addition], volume_rel_u: float
) -> tuple[CellContent, ...]:
    """What the cell holds after each addition, in order.

    c_cell = (V c_start + sum s_i v_i) / (V + sum v_i), the balance of amounts with volumes that add up; an addition
    by its rise r brings the amount r W at the volume W of that moment, and leaves the share as it was.

    volume : V, of the cell before the first addition, in the unit of the added volumes; it may be None when no
    addition has a volume. volume_rel_u : relative standard uncertainty of V and of every v_i, independent [1].

    added_u^2 = (V u_start / W)^2 + sum (own errors)^2 + sum_j (volume_rel_u v_j d added / d v_j)^2, first order (JCGM
    100:2008, equation 10), v_0 = V. Deviations: the error of the share itself is left out, since it scales with the
    unknown level (at most volume_rel_u sqrt(2) sum v / W of it); errors of the same volumes in later readings are
    counted as each reading's own.

    Raises Refused as `check_addition`, and for a volume_rel_u that is no number from 0 to below 1.
    """
    _check(volume_rel_u, 0 <= volume_rel_u < 1, "a relative uncertainty of volumes", "from 0 to below 1")
    for one in additions:
        check_addition(one, volume)
    steps = range(1, len(additions) + 1)
    cell = 1.0 if volume is None else volume
    return tuple(_after(start, cell, additions[:count], volume_rel_u) for count in steps)


def check_addition(addition: Addition, volume: float | None) -> None:
    """Raises Refused for a level, volume or uncertainty that cannot be, and for more than the cell held."""
    what = "the rise of an addition" if addition.volume is None else "the level of a stock"
    _check(addition.level, addition.level > 0, what, "above 0")
    _check(addition.rel_u, addition.rel_u >= 0, "a relative uncertainty", "from 0")
    if volume is not None:
        _check(volume, volume > 0, "a volume of the cell", "above 0")
    if addition.volume is None:
        return
    _check(addition.volume, addition.volume > 0, "an added volume", "above 0")
    if volume is None:
        raise Refused(
            f"an added volume of {addition.volume:g} without the volume of the cell",
            "both volumes",
            "give the volume of the cell, or the rise of the level instead",
        )
    if addition.volume > volume:
        raise Refused(
            f"an added volume of {addition.volume:g}, more than the cell of {volume:g} held",
            f"at most {volume:g}",
            "correct the volume or its unit",
        )


def _after(start: CellContent, volume: float, additions: Sequence[Addition], volume_rel_u: float) -> CellContent:
    volumes = [volume, *(one.volume or 0.0 for one in additions)]
    totals = list(accumulate(volumes))
    total, kept = totals[-1], volume / totals[-1]
    weights = [
        (at if one.volume is None else one.volume) / total for one, at in zip(additions, totals[1:], strict=True)
    ]
    brought = [weight * one.level for weight, one in zip(weights, additions, strict=True)]
    added = kept * start.added + sum(brought)
    own = [kept * start.added_u]
    own += [part * one.rel_u for part, one in zip(brought, additions, strict=True) if one.stock is None]
    slopes = [(source - added) / total for source in _sources(start, additions)]
    own += [volume_rel_u * each * slope for each, slope in zip(volumes, slopes, strict=True)]
    parts = [(name, kept * part) for name, part in start.stock_parts]
    parts += [(one.stock, part) for one, part in zip(additions, brought, strict=True) if one.stock is not None]
    return CellContent(kept * start.share, added, math.hypot(*own), _merged(parts), kept * start.kept)


def _sources(start: CellContent, additions: Sequence[Addition]) -> list[float]:
    """Amount that a little more of each volume would have brought, for one unit of it [level unit].

    A rise that came later is a rise of that volume too.
    """
    levels = [start.added, *(0.0 if one.volume is None else one.level for one in additions)]
    rises = [0.0, *(one.level if one.volume is None else 0.0 for one in additions)]
    return [level + sum(rises[place:]) for place, level in enumerate(levels)]


def _content_of(lot: Lot | None) -> float:
    if lot is None:
        return 0.0
    _check(lot.content, lot.content >= 0, f"a content of {lot.name}", "from 0")
    return lot.content


def _merged(parts: Iterable[tuple[str, float]]) -> Parts:
    """One part for each stock, without those that brought nothing."""
    sums: dict[str, float] = {}
    for name, part in parts:
        sums[name] = sums.get(name, 0.0) + part
    return tuple((name, part) for name, part in sums.items() if part > 0)


def _check(value: float, holds: bool, what: str, expected: str) -> None:
    if not (holds and math.isfinite(value)):
        raise Refused(f"{what} of {value:g}", f"a number {expected}", "correct the number")
