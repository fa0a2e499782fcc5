"""Records of consignments and tanks: one row of a tank record is one thing that happened at one time."""

from __future__ import annotations

import re
from dataclasses import dataclass, fields
from datetime import datetime

CATCH, FILLED, IN, OUT, RENEWED, VOLUME = "catch", "filled", "in", "out", "renewed", "volume"
FED, TREATED, SPIKED, SAMPLE, BLANK, NOTE = "fed", "treated", "spiked", "sample", "blank", "note"
HAPPENINGS = (CATCH, FILLED, IN, OUT, RENEWED, VOLUME, FED, TREATED, SPIKED, SAMPLE, BLANK, NOTE)

UNKNOWN, CAPTIVE_BRED, WILD_UNEXPOSED = "unknown", "captive-bred", "wild unexposed"
LIGHT, HEAVY = "light exposure", "heavy exposure"
HISTORIES = (UNKNOWN, CAPTIVE_BRED, WILD_UNEXPOSED, LIGHT, HEAVY)
"""What is known of how fish were caught or kept, before anything is read."""
UNEXPOSED, EXPOSED = (CAPTIVE_BRED, WILD_UNEXPOSED), (LIGHT, HEAVY)

SOURCE_WATER, FIELD, FEED_LEACH, FILTER = "source water", "field", "feed leach", "filter"
BLANKS = (SOURCE_WATER, FIELD, FEED_LEACH, FILTER)


@dataclass(frozen=True, slots=True)
class TankRow:
    """One checked row of a tank record.

    number : row in the file (1 is the header); consignment : whose; at : when, with zone; what : one of HAPPENINGS.

    catch : fish (a name for fish of one history), species, count, mass_g of one fish [g], origin (where they were
    caught or bred), history (one of HISTORIES), at_u_d : standard uncertainty of the moment [d], near : other sources
    of thiocyanate near the place, in words. For fish of known exposure `at` is the exposure, for bred ones any moment
    before they came into a tank.
    filled : tank, volume_L [L], renewal_L_per_d : clean water in and tank water out [L/d], system : name of the water
    system whose source water it shares, filter, near.
    in : fish go into a tank (from the sea or from another tank) with carried_L of their old water [L]; out : count of
    them are taken out, dead or not; renewed : share of a tank's water that is replaced (0 to 1); volume : a tank is
    drained or filled up to volume_L [L]; fed : substance, amount_g [g]; treated : substance (medicine, ozone, ...);
    spiked : amount_ug of thiocyanate put in on purpose [ug], stock.
    sample, blank : sample (its id, as on run sheets), taker, smoker, container, filtration_um [um], seal, storage,
    retained_mL [mL], split_seal (of the part for another laboratory); sample : from which tank, duplicate : of which
    sample it was taken beside; blank : which kind (one of BLANKS), of which system or, for a field blank, tank.
    """

    number: int
    consignment: str
    at: datetime
    what: str
    tank: str | None = None
    fish: str | None = None
    species: str | None = None
    count: int | None = None
    mass_g: float | None = None
    origin: str | None = None
    history: str | None = None
    at_u_d: float | None = None
    near: str | None = None
    volume_L: float | None = None
    renewal_L_per_d: float | None = None
    system: str | None = None
    filter: str | None = None
    carried_L: float | None = None
    dead: bool | None = None
    share: float | None = None
    substance: str | None = None
    amount_g: float | None = None
    amount_ug: float | None = None
    stock: str | None = None
    sample: str | None = None
    blank: str | None = None
    duplicate: str | None = None
    taker: str | None = None
    smoker: bool | None = None
    container: str | None = None
    filtration_um: float | None = None
    seal: str | None = None
    storage: str | None = None
    retained_mL: float | None = None
    split_seal: str | None = None
    place: str | None = None
    note: str | None = None


COLUMNS = tuple(field.name for field in fields(TankRow) if field.name != "number")
"""Columns of a tank record, in the order of the table."""

_WATER = (*("sample", "taker", "smoker", "container", "filtration_um", "seal", "storage", "retained_mL", "split_seal"),)
NEEDED_BY = {
    CATCH: ("fish", "count", "mass_g"),
    FILLED: ("tank", "volume_L"),
    IN: ("tank", "fish"),
    OUT: ("fish", "count"),
    RENEWED: ("tank", "share"),
    VOLUME: ("tank", "volume_L"),
    FED: ("tank", "substance"),
    TREATED: ("tank", "substance"),
    SPIKED: ("tank", "amount_ug"),
    SAMPLE: ("tank", "sample"),
    BLANK: ("sample", "blank"),
    NOTE: ("note",),
}
"""Cells that each kind of row needs, beside consignment, at and what."""
ALLOWED_BY = {
    CATCH: ("species", "origin", "history", "at_u_d", "near"),
    FILLED: ("renewal_L_per_d", "system", "filter", "near"),
    IN: ("carried_L",),
    OUT: ("tank", "dead"),
    RENEWED: ("substance",),
    VOLUME: (),
    FED: ("amount_g",),
    TREATED: ("amount_g",),
    SPIKED: ("stock", "substance"),
    SAMPLE: (*_WATER[1:], "duplicate"),
    BLANK: (*_WATER[1:], "tank", "system"),
    NOTE: ("tank", "fish"),
}
"""Further cells that each kind of row may have; place and note may stand in every row."""


@dataclass(frozen=True, slots=True)
class TankRecord:
    """A checked tank record: rows in file order, remarks that do not refuse it, and its title."""

    title: str
    rows: tuple[TankRow, ...]
    warnings: tuple[str, ...] = ()


def _counting(name: str) -> tuple[tuple[int, int, str], ...]:
    """A name by which those with numbers sort as people count."""
    parts = re.findall(r"[0-9]+|[^0-9]+", name)
    return tuple((0, int(part), part) if part.isdecimal() else (1, 0, part) for part in parts)


@dataclass(frozen=True, slots=True)
class Consignment:
    """All that tank records say of one consignment, in order of time (ties in file order).

    id : of the newest record of it; recorded_at : ISO 8601 UTC; earlier : how many records came before it; titles : of
    the files they came in.
    """

    name: str
    id: str
    rows: tuple[TankRow, ...]
    recorded_at: str = ""
    earlier: int = 0
    titles: tuple[str, ...] = ()

    def of(self, *whats: str) -> tuple[TankRow, ...]:
        """Its rows of these kinds."""
        return tuple(row for row in self.rows if row.what in whats)

    @property
    def tanks(self) -> tuple[str, ...]:
        """Names of its tanks in the order of filling, those of one moment by name, T2 before T10."""
        filled = sorted(self.of(FILLED), key=lambda row: (row.at, _counting(row.tank or "")))
        return tuple(dict.fromkeys(row.tank for row in filled if row.tank is not None))

    @property
    def spiked(self) -> frozenset[str | None]:
        """Names of its tanks into which thiocyanate was put on purpose."""
        return frozenset(row.tank for row in self.of(SPIKED))

    def samples_of(self, tank: str) -> tuple[TankRow, ...]:
        """Water samples of a tank in order of time."""
        return tuple(row for row in self.of(SAMPLE) if row.tank == tank)

    def system_of(self, tank: str) -> str:
        """The water system of a tank; the consignment's own where none was named."""
        named = (row.system for row in self.of(FILLED) if row.tank == tank)
        return next(named, None) or self.name
