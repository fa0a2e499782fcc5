"""A calibrated logbook with invented consignments whose tanks were sampled and read, for surveys and other methods."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import numpy as np

from brinemark.logbook import Logbook
from season import BLANK, Season, sample, standard
from tank_build import Cells, tank_csv

SEED = 40311
HIGH, NONE = 8.0, 0.0
CONSIGNMENTS = {
    "K1": ("north bank", "2031-04-01", [HIGH, HIGH, HIGH, NONE]),
    "K2": ("north bank", "2031-05-02", [HIGH, NONE, NONE, HIGH]),
    "K3": ("north bank", "2031-06-30", [HIGH, HIGH, HIGH, HIGH]),
    "K4": ("south cay", "2031-07-01", [NONE, NONE, NONE]),
}
"""Origin, day of capture and true level of each tank; the first three were caught in one quarter."""
BRED = 12


def bank_of(name: str, tank: int) -> str:
    return f"{name}-W{tank}"


def at(day: str, hours: float) -> str:
    moment = np.datetime64(f"{day}T06:00") + np.timedelta64(round(60 * hours), "m")
    return f"{moment}+00:00"


def consignment(name: str, day: str, tanks: int, **lot: str) -> Iterator[Cells]:
    """Each tank holds fish of one lot: in 24 h after capture, sampled after 48 h, drained from 2 to 1 L in between."""
    for tank in range(1, tanks + 1):
        own = {"consignment": name}
        fish = {"fish": f"F{tank}", "species": "blue reef damsel", "count": "3", "mass_g": "8", **lot}
        yield {**own, "what": "catch", "at": at(day, 0), **fish}
        yield {**own, "what": "filled", "at": at(day, 23), "tank": f"T{tank}", "volume_L": "2"}
        yield {**own, "what": "in", "at": at(day, 24), "tank": f"T{tank}", "fish": f"F{tank}"}
        yield {**own, "what": "volume", "at": at(day, 25), "tank": f"T{tank}", "volume_L": "1"}
        yield {**own, "what": "sample", "at": at(day, 48), "tank": f"T{tank}", "sample": bank_of(name, tank)}


def records() -> dict[str, list[Cells]]:
    made = {
        name: list(consignment(name, day, len(levels), origin=origin, history="unknown"))
        for name, (origin, day, levels) in CONSIGNMENTS.items()
    }
    made["BRED"] = list(consignment("BRED", "2031-04-02", BRED, origin="hatchery", history="captive-bred"))
    return made


def levels() -> dict[str, float]:
    """True level of each sample."""
    found = {bank_of(name, n): level for name, one in CONSIGNMENTS.items() for n, level in enumerate(one[2], start=1)}
    return found | {bank_of("BRED", n): NONE for n in range(1, BRED + 1)}


def make_surveyed(book: Path, sheets: Path) -> None:
    """Put the consignments, one batch that read their samples, and the readings into a calibrated logbook."""
    sheets.mkdir()
    season = Season(sheets, np.random.default_rng(SEED))
    plan = [BLANK, BLANK, BLANK, standard(1.0), standard(4.0)]
    with Logbook.open(book) as made:
        for name, rows in records().items():
            made.add_tanks((f"{name}.csv", tank_csv(rows).encode()))
        made.add(season.batch("B6", [*plan, *(sample(name, level) for name, level in levels().items())], day=20))
        made.read(*levels())
