"""The season with its fish: the sheets of both, a tank record for every consignment, and the truth apart."""

from __future__ import annotations

import csv
from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime
from pathlib import Path

from brinemark.demo import files
from brinemark.demo.fish_plan import FISH_WATERS, fish_season, true_fish
from brinemark.demo.scenario import DEFAULT_SEED, DIALECTS, Dialects, Scenario, write_plan
from brinemark.demo.tank_records import tank_records
from brinemark.terms.errors import Refused
from brinemark.terms.tanks import COLUMNS, TankRow

FOLDER = "tanks"
"""Folder of the tank records, beside that of the sheets."""
_LATER: Dialects = (files.SheetDialect(), files.BENCH_AFTER)


def write_with_fish(folder: Path, seed: int = DEFAULT_SEED) -> Scenario:
    """Write what write_scenario writes, the sheets that belong to the fish after it, and folder/tanks.

    Its first three sheets and their curves are the same bytes as without fish. The tank records tell what somebody at
    the quay could know and are the same for every seed. Raises Refused when a folder is already there.
    """
    if (folder / FOLDER).exists():
        raise Refused(f"{folder / FOLDER} is already there", "a folder without it", "give another folder or remove it")
    plan = fish_season()
    dialects = {title: DIALECTS.get(title, _LATER) for title in plan.sheets}
    scenario = write_plan(folder, seed, plan, dialects, {"fish": true_fish()})
    waters = {tank.name for tank in FISH_WATERS}
    beside = tuple(name for name in scenario.samples if name in waters)
    return replace(scenario, tank_files=write_tanks(folder / FOLDER), beside=beside)


def write_tanks(folder: Path) -> tuple[Path, ...]:
    """One tank record for every consignment, in the order to add them."""
    folder.mkdir(parents=True)
    written = []
    for name, rows in tank_records().items():
        written.append(folder / f"{name}.csv")
        write_tank_record(written[-1], rows)
    return tuple(written)


def write_tank_record(file: Path, rows: Sequence[TankRow]) -> None:
    """One tank record as a table, with the columns that it uses."""
    used = [name for name in COLUMNS if any(getattr(one, name) is not None for one in rows)]
    with file.open("w", encoding="utf-8", newline="") as opened:
        writer = csv.writer(opened, lineterminator="\n")
        writer.writerow(used)
        writer.writerows([_cell(getattr(one, name)) for name in used] for one in rows)


def _cell(value: str | float | datetime | None) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, datetime):
        return value.isoformat()
    return value if isinstance(value, str) else f"{value:g}"
