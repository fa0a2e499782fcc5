"""Somebody at the bench: reads a run as it was laid out, with invented films, and fills in its sheet."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np

from brinemark.demo.curves import BENCH, Film, voltammogram
from brinemark.steps.run_plans import RunPlan

BEGIN = datetime(2031, 6, 2, 9, 0, tzinfo=UTC)
Cells = dict[str, str]
Change = Callable[[list[Cells]], list[Cells]]


@dataclass
class Bench:
    """Writes filled sheets with their curves below folder. truth : level of samples and controls by their own names."""

    folder: Path
    truth: Mapping[str, float]
    random: np.random.Generator = field(default_factory=lambda: np.random.default_rng(7))
    begin: datetime = BEGIN
    gains: dict[str, float] = field(default_factory=dict)

    def read(self, plan: RunPlan, change: Change | None = None, name: str = "run.csv") -> Path:
        """The filled sheet of a plan, its rows changed first; curves are those of the rows as changed."""
        rows = list(csv.DictReader(io.StringIO(plan.sheet())))
        for number, row in enumerate(rows):
            row["measured_at"] = (self.begin + timedelta(minutes=9 * number)).isoformat()
        rows = change(rows) if change else rows
        levels = self._levels(rows, plan.key)
        for row, level in zip(rows, levels, strict=True):
            film = self._film(row["electrode"], row["batch"])
            for column, held in (("trace", level), ("prescan", 0.0)):
                if row.get(column):
                    self._curve(self.folder / row[column], film, held)
        sheet = self.folder / name
        with sheet.open("w", encoding="utf-8", newline="") as file:
            writer = csv.DictWriter(file, rows[0].keys())
            writer.writeheader()
            writer.writerows(rows)
        return sheet

    def _levels(self, rows: list[Cells], key: Mapping[str, str]) -> list[float]:
        """What each cell really holds."""
        found: list[float] = []
        volume = 0.0
        for row in rows:
            if row["role"] == "addition":
                added = float(row["added_volume_mL"])
                found.append((volume * found[-1] + added * float(row["stock_level"])) / (volume + added))
                volume += added
                continue
            volume = float(row.get("volume_mL") or 0.0)
            name = row.get("sample", "")
            held = self.truth[key.get(name, name)] if name else float(row["level"] or 0.0)
            found.append(held / float(row.get("dilution") or 1.0))
        return found

    def _film(self, electrode: str, batch: str) -> Film:
        for name, scatter in ((batch, 0.15), (electrode, 0.10)):
            self.gains.setdefault(name, float(np.exp(self.random.normal(0.0, scatter))))
        return Film(self.gains[batch] * self.gains[electrode], 1.0, 0.04, 3.0)

    def _curve(self, path: Path, film: Film, level: float) -> None:
        trace = voltammogram(film, level, BENCH, self.random)
        path.parent.mkdir(parents=True, exist_ok=True)
        columns = (trace.potential_V, trace.current_A, trace.time_s, trace.cycle)
        table = np.column_stack([column for column in columns if column is not None])
        head = "potential_V,current_A,time_s,cycle"
        np.savetxt(path, table, delimiter=",", header=head, comments="", fmt=("%.5f", "%.6e", "%.4f", "%d"))
