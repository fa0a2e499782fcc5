"""One row of a tank record: which cells its kind needs and may have, and how each is read."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import tzinfo
from functools import partial
from typing import Any

from brinemark.records.sheet_table import Cells, Tries
from brinemark.records.text import shown
from brinemark.terms.errors import Refused
from brinemark.terms.tanks import (
    ALLOWED_BY,
    BLANK,
    BLANKS,
    CATCH,
    COLUMNS,
    FIELD,
    FILLED,
    HAPPENINGS,
    HISTORIES,
    NEEDED_BY,
    SOURCE_WATER,
    TankRow,
)

_EVERYWHERE = ("consignment", "at", "what", "place", "note")
_WHAT = {
    CATCH: "catch",
    FILLED: "filling",
    "in": "row of fish going in",
    "out": "row of fish taken out",
    "renewed": "renewal",
    "volume": "change of volume",
    "fed": "feeding",
    "treated": "treatment",
    "spiked": "spike",
    "sample": "water sample",
    BLANK: "blank",
    "note": "note",
}
_MEANT = {
    "fish": "a name for fish of one history",
    "count": "how many fish",
    "mass_g": "the mass of one fish [g]",
    "tank": "the name of the tank",
    "volume_L": "its volume of water [L]",
    "share": "the share of the water that was replaced, from 0 to 1",
    "substance": "what was given",
    "amount_ug": "thiocyanate put in [ug]",
    "sample": "its id, as on the run sheet",
    "blank": f"one of {', '.join(BLANKS)}",
    "note": "the note itself",
}


def tank_row_and_faults(cells: Cells, zone: tzinfo) -> tuple[TankRow | None, bool, list[Refused]]:
    """One row by the rules of its kind, or None with every fault of its cells; and whether its time named a zone.

    Cells that belong to another kind must be empty; they are not looked at while the kind itself is not known.
    """
    tries = Tries()
    said: dict[str, Any] = {"consignment": tries(partial(cells.needed_id, "consignment"))}
    moment = tries(partial(cells.moment, "at", zone))
    what = tries(partial(cells.one_of, "what", HAPPENINGS))
    said["what"] = what
    taken = COLUMNS if what is None else (*NEEDED_BY[what], *ALLOWED_BY[what], *_EVERYWHERE)
    for column in COLUMNS:
        if column not in _EVERYWHERE[:3]:
            read = _READ.get(column, Cells.line) if column in taken else partial(_refuse, what=str(what))
            said[column] = tries(partial(read, cells, column))
    for column in () if what is None else NEEDED_BY[what]:
        tries(partial(_needed, cells, column, str(what)))
    if what == BLANK:
        tries(partial(_check_blank, cells))
    if tries.faults or moment is None:
        return None, False, list({(one.column, one.came): one for one in tries.faults}.values())
    return TankRow(number=cells.row, at=moment[0], **said), moment[1], []


def one(what: str) -> str:
    """A kind of row with its article, for sentences."""
    return f"a {_WHAT[what]}"


def _refuse(cells: Cells, column: str, what: str) -> None:
    if cells.has(column):
        came = f"{shown(cells.texts[column])} for {one(what)}"
        known = [kind for kind in HAPPENINGS if column in (*NEEDED_BY[kind], *ALLOWED_BY[kind])]
        expected = f"an empty cell: {column} is of {', '.join(known)}"
        raise cells.refused(column, came, expected, "empty the cell or correct what")


def _needed(cells: Cells, column: str, what: str) -> None:
    if not cells.has(column):
        raise cells.refused(column, f"an empty cell for {one(what)}", _MEANT[column], "fill in the cell")


def _check_blank(cells: Cells) -> None:
    """A source-water blank names its water system or a tank of it; no other blank has a system."""
    blank, system = cells.texts.get("blank", ""), cells.has("system")
    if blank == SOURCE_WATER and not system and not cells.has("tank"):
        came, expected = "a source-water blank without its water", "the water system, or a tank that is filled from it"
        raise cells.refused("system", came, expected, "fill in system or tank")
    if system and blank in BLANKS and blank != SOURCE_WATER:
        came = f"{shown(cells.texts['system'])} for a {blank} blank"
        expected = "an empty cell: only a source-water blank is of a system"
        raise cells.refused("system", came, expected, f"empty the cell{', or name the tank' if blank == FIELD else ''}")


def _count(cells: Cells, column: str) -> int | None:
    value = cells.number(column)
    if value is not None and value != int(value):
        raise cells.refused(column, shown(cells.texts[column]), "a whole number", "count the fish")
    return None if value is None else int(value)


def _share(cells: Cells, column: str) -> float | None:
    return cells.number(column, "correct the number; if it is in percent, divide by 100")


def _yes(cells: Cells, column: str) -> bool | None:
    return None if not cells.has(column) else cells.one_of(column, ("yes", "no")) == "yes"


def _word(known: tuple[str, ...], cells: Cells, column: str) -> str | None:
    return None if not cells.has(column) else cells.one_of(column, known)


_IDS = ("tank", "fish", "species", "origin", "system", "sample", "duplicate", "taker", "stock", "seal", "split_seal")
_READ: Mapping[str, Callable[[Cells, str], object]] = {
    **dict.fromkeys(_IDS, Cells.id),
    **dict.fromkeys(("mass_g", "at_u_d", "volume_L", "renewal_L_per_d", "carried_L"), Cells.number),
    **dict.fromkeys(("amount_g", "amount_ug", "filtration_um", "retained_mL"), Cells.number),
    "count": _count,
    "share": _share,
    "dead": _yes,
    "smoker": _yes,
    "history": partial(_word, HISTORIES),
    "blank": partial(_word, BLANKS),
}
"""How cells are read; the others are lines of text."""
