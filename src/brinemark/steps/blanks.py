"""Which blanks the waters of a tank need beside them, and those of source water that a system has."""

from __future__ import annotations

from collections.abc import Iterable

from brinemark.terms.tanks import (
    BLANK,
    FED,
    FEED_LEACH,
    FIELD,
    FILTER,
    SOURCE_WATER,
    Consignment,
    TankRow,
)


def wanted_blanks(consignment: Consignment, tank: str) -> tuple[str, ...]:
    """Kinds of blanks that a tank's result needs: of feed only where fish were fed, of filters where one was used."""
    wanted = [SOURCE_WATER, FIELD]
    wanted += [FEED_LEACH] if any(row.tank == tank for row in consignment.of(FED)) else []
    wanted += [FILTER] if any(row.filtration_um for row in consignment.samples_of(tank)) else []
    return tuple(wanted)


def source_blanks(consignments: Iterable[Consignment], system: str) -> tuple[TankRow, ...]:
    """Blanks of a system's source water, in all consignments."""
    return tuple(
        row
        for one in consignments
        for row in one.of(BLANK)
        if row.blank == SOURCE_WATER and (row.system or _of_tank(one, row)) == system
    )


def _of_tank(consignment: Consignment, row: TankRow) -> str:
    return consignment.name if row.tank is None else consignment.system_of(row.tank)
