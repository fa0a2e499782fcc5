"""The invented harbour laboratory: Ilsundry Quay Laboratory in Quorvenna, a country that does not exist.

Everything here is made up: places, instruments, tanks, electrodes and every number. The files it writes are ordinary
run sheets and voltammogram files; the true levels go into truth.json, which lies outside the logbook and which no
step reads.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from pathlib import Path

import numpy as np

from brinemark.demo import files
from brinemark.demo.curves import BENCH, PORTABLE, Film, Meter, next_dip, voltammogram
from brinemark.demo.making import Population, draw_batch, draw_film, lifted, shorted
from brinemark.demo.plan import CELL_mL, Part, Plan, Planned, Tank, season
from brinemark.terms.errors import Refused

DEFAULT_SEED = 2026
METERS = {"bench": BENCH, "portable": PORTABLE}
FAULTS = {"": lambda film: film, "lifted": lifted, "shorted": shorted}
STANDARD_ERROR = 0.01
"""Relative error of each standard as it was really made up (standard deviation). Invented."""
STOCK_ERROR = 0.01
"""Relative error of the stock of all additions as it was really made up (standard deviation). Invented."""
VOLUME_ERROR = 0.008
"""Relative error of every added volume (standard deviation). Invented."""
DILUTION_ERROR = 0.005
"""Relative error of each dilution as it was really made (standard deviation). Invented."""

Dialects = tuple[files.SheetDialect, files.CurveDialect]
"""How a sheet is written, and the curves of its bench instrument."""
DIALECTS: dict[str, Dialects] = {
    "spring": (files.SheetDialect(), files.BENCH_BEFORE),
    "summer": (files.SheetDialect(";", ",", "\r\n"), files.BENCH_AFTER),
    "consignment": (files.SheetDialect("\t"), files.BENCH_AFTER),
}

SETTINGS = """\
# Ilsundry Quay Laboratory, Quorvenna: an invented place.

[logbook]
schema = 1
name = "Ilsundry Quay Laboratory (invented)"
timezone = "UTC"

[analyte]
name = "thiocyanate"
level_unit = "ug/L"

[signal]
quantity = "height"
sweep = "anodic"
cycle = "last"
window_V = [0.40, 0.76]

[covariate]
quantity = "charge"
sweep = "anodic"
cycle = "last"
window_V = [-0.36, 0.00]

[prescan]
max_ratio = 2.5

[stock.KSCN-2]
level = 2000.0
rel_u = 0.01

[instrument.bench]
scan_rate_V_per_s = 0.1
reference = "Ag/AgCl, 3 mol/L KCl"

[instrument.portable]
sign = "cathodic positive"
scan_rate_V_per_s = 0.1
reference = "Ag/AgCl, 3 mol/L KCl"

[prior]
# Standard additions into many waters of this coast have shown that a water moves K by less than 5 %.
matrix_K_sd = 0.05

[decision]
alpha = 0.05
interval = 0.95
max_fold = 3.0
"""


@dataclass(frozen=True, slots=True)
class Scenario:
    """What write_scenario left in folder: sheets in the order to add them, and what each logbook step may know.

    settings : text for logbook.toml; samples, controls : names in sheet order; truth_file : for the comparison
    afterwards, outside any logbook; tank_files : tank records, to be added after the sheets; beside : those of the
    samples that were taken beside the season's own, which tables and charts leave out.
    """

    folder: Path
    seed: int
    settings: str
    sheets: tuple[Path, ...]
    samples: tuple[str, ...]
    controls: tuple[str, ...]
    truth_file: Path
    tank_files: tuple[Path, ...] = ()
    beside: tuple[str, ...] = ()


def write_scenario(folder: Path, seed: int = DEFAULT_SEED) -> Scenario:
    """Write the season's sheets and curves under folder/sheets and the truth to folder/truth.json.

    The same seed gives the same bytes. Raises Refused when folder/sheets is already there.
    """
    return write_plan(folder, seed, season(), DIALECTS)


def write_plan(
    folder: Path, seed: int, plan: Plan, dialects: dict[str, Dialects], more: Mapping[str, object] | None = None
) -> Scenario:
    """Write any plan so. dialects : by the titles of its sheets; more : what else truth.json tells."""
    sheets = fresh_folder(folder / "sheets")
    world = draw_world(plan, seed)
    written: list[Path] = []
    for title, readings in plan.sheets.items():
        sheet_dialect, bench = dialects[title]
        by_instrument = {"bench": bench, "portable": files.PORTABLE}
        for reading in readings:
            write_curves(sheets, reading, world, METERS[reading.instrument], by_instrument[reading.instrument])
        written.append(sheets / f"{len(written) + 1}-{title}.csv")
        columns = files.COLUMNS + (files.VOLUMES if any(reading.added for reading in readings) else ())
        files.write_sheet(written[-1], readings, plan.tanks, sheet_dialect, columns)
    truth = json.dumps({**world.as_json(), **(more or {})}, indent=1, sort_keys=True)
    truth_file = folder / "truth.json"
    truth_file.write_text(truth + "\n", encoding="utf-8")
    names = names_by_role(plan)
    return Scenario(folder, seed, SETTINGS, tuple(written), names["sample"], names["control"], truth_file)


@dataclass(frozen=True, slots=True)
class World:
    """The truth: films by electrode, true cell levels by electrode and true levels by tank [ug/L].

    later : true cell levels after each addition, by electrode.
    """

    seed: int
    films: dict[str, Film]
    cells: dict[str, float]
    tanks: dict[str, float]
    later: dict[str, tuple[float, ...]]

    def as_json(self) -> dict[str, object]:
        """For truth.json."""
        films = {electrode: asdict(film) for electrode, film in self.films.items()}
        return {"seed": self.seed, "tanks": self.tanks, "cells": self.cells, "later": self.later, "films": films}


def draw_world(plan: Plan, seed: int) -> World:
    """The truth behind a plan; each batch and electrode has its own stream, so a longer plan changes no film."""
    population = Population()
    readings = [reading for sheet in plan.sheets.values() for reading in sheet]
    batches = {name: draw_batch(population, stream(seed, "batch", name)) for name in {r.batch for r in readings}}
    tanks = {name: _tank_level(tank, seed) for name, tank in plan.tanks.items()}
    films_, cells, later = {}, {}, {}
    for reading in readings:
        random = stream(seed, "film", reading.electrode)
        film = draw_film(batches[reading.batch], population, random)
        films_[reading.electrode] = FAULTS[reading.fault](film)
        cells[reading.electrode] = _cell_level(reading, tanks, random)
        later[reading.electrode] = _later_levels(reading, cells[reading.electrode], seed)
    return World(seed, films_, cells, tanks, later)


def names_by_role(plan: Plan) -> dict[str, tuple[str, ...]]:
    """Names of samples and of controls, in the order of the plan's tanks."""
    read = {(r.role, r.tank) for sheet in plan.sheets.values() for r in sheet}
    return {role: tuple(tank for tank in plan.tanks if (role, tank) in read) for role in ("sample", "control")}


def write_curves(sheets: Path, reading: Planned, world: World, meter: Meter, dialect: files.CurveDialect) -> None:
    """Curve, pre-scan and curves after additions of one electrode, under the folder of its sheet."""
    film = world.films[reading.electrode]
    for name, level in zip(files.curve_names(reading), (world.cells[reading.electrode], 0.0), strict=True):
        trace = voltammogram(film, level, meter, stream(world.seed, "curve", name))
        files.write_curve(sheets / name, trace, dialect)
    for place, level in enumerate(world.later[reading.electrode], start=1):
        name = files.added_name(reading, place)
        film = next_dip(film, stream(world.seed, "drift", name))
        trace = voltammogram(film, level, meter, stream(world.seed, "curve", name))
        files.write_curve(sheets / name, trace, dialect)


def _tank_level(tank: Tank, seed: int) -> float:
    if tank.parts:
        return float(np.round(sum(_left(part, seed) for part in tank.parts), 3))
    if tank.low == tank.high:
        return tank.low
    random = stream(seed, "tank", tank.same_as or tank.name)
    return float(np.round(np.exp(random.uniform(np.log(tank.low), np.log(tank.high))), 3))


def _left(part: Part, seed: int) -> float:
    """What is left of a part at sampling [ug/L]."""
    random = stream(seed, "part", part.of)
    amount = part.median * np.exp(np.log(part.spread) * random.normal())
    rate = part.loss_per_d * np.exp(np.log(part.loss_spread) * random.normal())
    return float(amount * np.exp(-rate * part.days))


def _cell_level(reading: Planned, tanks: dict[str, float], random: np.random.Generator) -> float:
    if reading.tank is None:
        return float((reading.level or 0.0) * np.exp(random.normal(0.0, STANDARD_ERROR)))
    error = np.exp(random.normal(0.0, DILUTION_ERROR)) if reading.dilution > 1.0 else 1.0
    return float(tanks[reading.tank] / (reading.dilution * error))


def _later_levels(reading: Planned, level: float, seed: int) -> tuple[float, ...]:
    """What the cell really holds after each addition [ug/L]: the amounts that are in it over its volume."""
    random = stream(seed, "added", reading.electrode)
    amount, volume, levels = level * CELL_mL, CELL_mL, []
    for added in reading.added:
        truly = stream(seed, "stock", added.stock).normal(0.0, STOCK_ERROR)
        put_in = added.volume_mL * float(np.exp(random.normal(0.0, VOLUME_ERROR)))
        amount, volume = amount + put_in * added.stock_level * float(np.exp(truly)), volume + put_in
        levels.append(amount / volume)
    return tuple(levels)


def stream(seed: int, kind: str, name: str) -> np.random.Generator:
    """A random stream that depends on the seed and on what it is for, and on nothing else."""
    return np.random.default_rng([seed, *f"{kind} {name}".encode()])


def fresh_folder(sheets: Path) -> Path:
    """Make the folder of the sheets and its folder of curves; Refused when it is there."""
    if sheets.exists():
        raise Refused(f"{sheets} is already there", "a folder without it", "give another folder or remove it")
    (sheets / files.CURVES).mkdir(parents=True)
    return sheets
