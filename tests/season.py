"""A small invented season for the tests of the line: run sheets with curves, from a seed.

The curves are a surface-confined wave on a bent background with noise; the filling of the film follows
c / (K + c) with gains that differ between batches and electrodes.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from brinemark.science.curve.electrode_theory import surface_confined_shape

COLUMNS = (
    "electrode,batch,instrument,measured_at,role,level,sample,dilution,expected_level,trace,prescan,"
    "scan_rate_V_per_s,salinity"
)
PLACE_V = 0.58
FULL_A = 6e-7
HALF_LEVEL = 2.0
NOISE_A = 2e-9
POINTS = 240


@dataclass
class Season:
    """Writes sheets into folder; every number comes from random."""

    folder: Path
    random: np.random.Generator
    rows: list[str] = field(default_factory=list)

    def batch(self, batch: str, plan: list[tuple[str, float, str]], day: int = 1, instrument: str = "bench") -> Path:
        """One sheet with one electrode for each (role, level, sample) of plan; the level of samples is hidden."""
        gain = float(np.exp(self.random.normal(0.0, 0.15)))
        lines = [COLUMNS]
        for place, (role, level, sample) in enumerate(plan, start=1):
            lines.append(self._row(f"{batch}-{place}", batch, (role, level, sample), day, instrument, gain, place))
        path = self.folder / f"{batch}.csv"
        path.write_text("\n".join(lines) + "\n", encoding="utf-8")
        return path

    def _row(
        self,
        electrode: str,
        batch: str,
        plan: tuple[str, float, str],
        day: int,
        instrument: str,
        gain: float,
        place: int,
    ) -> str:
        role, level, sample = plan
        film = float(np.exp(self.random.normal(0.0, 0.10)))
        height = FULL_A * gain * film * (0.03 + level / (HALF_LEVEL + level))
        curve(self.folder / f"{electrode}.csv", height, self.random)
        seen = gain * film * float(np.exp(self.random.normal(0.0, 0.05)))
        curve(self.folder / f"{electrode}-pre.csv", 0.0, self.random, film_A=2e-6 * seen)
        known = f"{level:g}" if role in ("blank", "standard") else ""
        expected = f"{level:g}" if role == "control" else ""
        moment = f"2031-05-{day:02d}T09:{place:02d}:00Z"
        cells = (electrode, batch, instrument, moment, role, known, sample, "", expected)
        return ",".join((*cells, f"{electrode}.csv", f"{electrode}-pre.csv", "0.1", "35"))


def curve(path: Path, height_A: float, random: np.random.Generator, film_A: float = 2e-6) -> None:
    """One triangle sweep from -0.4 to 0.9 V and back, with a film wave at -0.2 V and the analyte's at PLACE_V."""
    up = np.linspace(-0.4, 0.9, POINTS)
    potential = np.concatenate([up, up[::-1][1:]])
    sign = np.concatenate([np.ones(POINTS), -np.ones(POINTS - 1)])
    current = sign * (3e-7 + 2e-7 * np.exp((np.abs(potential) - 0.9) / 0.2))
    current += sign * film_A * surface_confined_shape(potential, -0.2)
    current += np.where(sign > 0, height_A * surface_confined_shape(potential, PLACE_V, n=0.6), 0.0)
    current += random.normal(0.0, NOISE_A, potential.size)
    write_curve(path, potential, current)


def write_curve(path: Path, potential: NDArray[np.float64], current: NDArray[np.float64]) -> None:
    time = np.arange(potential.size) * 0.05
    table = np.column_stack([potential, current, time])
    header = "potential_V,current_A,time_s"
    np.savetxt(path, table, delimiter=",", header=header, comments="", fmt="%.9e")


BLANK = ("blank", 0.0, "")


def standard(level: float) -> tuple[str, float, str]:
    return ("standard", level, "")


def sample(name: str, level: float) -> tuple[str, float, str]:
    return ("sample", level, name)


COVARIATE = """
[covariate]
quantity = "charge"
sweep = "anodic"
window_V = [-0.36, 0.00]
"""
