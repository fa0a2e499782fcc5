"""Writes examples/small again: an invented 14-row run sheet with its curves. Run it from anywhere; needs brinemark."""

from __future__ import annotations

import shutil
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

from brinemark.demo import files, scenario
from brinemark.demo.curves import BENCH
from brinemark.demo.plan import SEASON_START, Plan, Tank, planned

FOLDER = Path(__file__).resolve().parent / "small"
SEED = 14
METER = replace(BENCH, step_V=0.005, cycles=1)
TANKS = {tank.name: tank for tank in (Tank("W-1", 0.8, 1.6), Tank("W-2", 4.0, 8.0))}
BATCHES = {
    "S1": ("B 0", "B 0.5", "B 2", "B 8", "B 20"),
    "S2": ("B 0", "B 1", "B 4", "B 20", "B W-1"),
    "S3": ("B 0", "B 2", "B W-2", "B W-2/4"),
}
SETTINGS = """\
# A small invented logbook: copy this file over the one that `brinemark new` wrote, then add runsheet.csv.

[logbook]
schema = 1
name = "small example (invented)"
timezone = "UTC"

[covariate]
quantity = "charge"
window_V = [-0.36, 0.00]

[instrument.bench]
scan_rate_V_per_s = 0.1
reference = "Ag/AgCl, 3 mol/L KCl"
"""


def small_plan() -> Plan:
    """Three batches, ten blanks and standards, one electrode on W-1 and two on W-2."""
    return Plan({"runsheet": planned(BATCHES, TANKS, SEASON_START - timedelta(days=40), 7)}, TANKS)


def write_small(folder: Path) -> None:
    """Write the sheet, its curves and the settings into folder, in place of earlier ones."""
    shutil.rmtree(folder / files.CURVES, ignore_errors=True)
    (folder / files.CURVES).mkdir(parents=True)
    plan = small_plan()
    world = scenario.draw_world(plan, SEED)
    readings = plan.sheets["runsheet"]
    for reading in readings:
        scenario.write_curves(folder, reading, world, METER, files.SMALL)
    files.write_sheet(folder / "runsheet.csv", readings, TANKS, files.SheetDialect())
    (folder / "logbook.toml").write_text(SETTINGS, encoding="utf-8", newline="\n")


if __name__ == "__main__":
    write_small(FOLDER)
