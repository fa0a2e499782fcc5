"""How long the logbook takes: adding a thousand curves, calibrating, and a cold reading of one sample.

Run: python benchmarks/logbook_times.py
Prints seconds, and beside the cold reading its ratio to the imports that it cannot do without.
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

from brinemark.logbook import Logbook
from brinemark.science.curve.electrode_theory import surface_confined_shape

CURVES, POINTS = 1000, 2000
BATCHES = 15
REPEATS = 7
SAMPLE = "S1"
COLUMNS = "electrode,batch,instrument,measured_at,role,level,sample,trace"
IMPORTS = "import numpy, scipy.special, sqlalchemy"
READ = (
    f"import sys; from brinemark.logbook import Logbook\nwith Logbook.open(sys.argv[1]) as book: book.read('{SAMPLE}')"
)


def write_curve(path: Path, level: float, random: np.random.Generator) -> None:
    """One triangle sweep of POINTS points with a wave that grows with the level."""
    up = np.linspace(-0.4, 0.9, POINTS // 2)
    potential = np.concatenate([up, up[::-1]])
    anodic = np.arange(POINTS) < POINTS // 2
    height = 6e-7 * float(np.exp(random.normal(0.0, 0.15))) * (0.03 + level / (2.0 + level))
    current = np.where(anodic, 3e-7 + height * surface_confined_shape(potential, 0.58, n=0.6), -3e-7)
    current += random.normal(0.0, 2e-9, POINTS)
    table = np.column_stack([potential, current, 0.013 * np.arange(POINTS)])
    np.savetxt(path, table, "%.7e", ",", header="potential_V,current_A,time_s", comments="")


def write_sheet(folder: Path, rows: list[tuple[str, str, str, float]], random: np.random.Generator) -> Path:
    """A sheet of (electrode, batch, role, level) with its curves; there is one sample."""
    lines = [COLUMNS]
    for electrode, batch, role, level in rows:
        write_curve(folder / f"{electrode}.csv", level, random)
        sample = SAMPLE if role == "sample" else ""
        written = "" if role == "sample" else f"{level:g}"
        lines.append(f"{electrode},{batch},bench,2031-05-01T09:00:00Z,{role},{written},{sample},{electrode}.csv")
    path = folder / "sheet.csv"
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


def time_adding(folder: Path, random: np.random.Generator) -> None:
    rows = [(f"E{n}", f"B{n // 6}", "standard", 1.0 + n % 4) for n in range(CURVES)]
    sheet = write_sheet(folder, rows, random)
    with Logbook.create(folder / "book") as book:
        start = time.perf_counter()
        book.add(sheet)
        print(f"add {CURVES} curves of {POINTS} points: {time.perf_counter() - start:.1f} s (limit 10 s)")


def time_calibrating(folder: Path, random: np.random.Generator) -> Path:
    levels = (0.0, 0.5, 2.0, 8.0)
    rows = [
        (f"B{b}-{n}", f"B{b}", "standard" if level else "blank", level)
        for b in range(BATCHES)
        for n, level in enumerate(levels)
    ]
    rows.append(("B0-9", "B0", "sample", 1.5))
    sheet = write_sheet(folder, rows, random)
    with Logbook.create(folder / "book") as book:
        book.add(sheet)
        start = time.perf_counter()
        report = book.calibrate()
        spent = time.perf_counter() - start
        electrodes = len(report.calibration.readings.electrode)
        print(f"calibrate {electrodes} electrodes, {report.calibration.rounds} rounds: {spent:.1f} s (limit 10 s)")
        book.read(SAMPLE)
    return folder / "book"


def best_of(program: str, *arguments: str) -> float:
    """Shortest of REPEATS cold starts [s]."""
    spent = []
    for _ in range(REPEATS):
        start = time.perf_counter()
        subprocess.run([sys.executable, "-c", program, *arguments], check=True)
        spent.append(time.perf_counter() - start)
    return min(spent)


def time_reading(book: Path) -> None:
    base, read = best_of(IMPORTS), best_of(READ, str(book))
    print(f"cold reading of one sample: {read:.2f} s, imports alone {base:.2f} s, ratio {read / base:.2f} (limit 2.5)")


def main() -> None:
    random = np.random.default_rng(20260)
    with tempfile.TemporaryDirectory() as name:
        folders = [Path(name) / part for part in ("adding", "calibrating")]
        for folder in folders:
            folder.mkdir()
        time_adding(folders[0], random)
        time_reading(time_calibrating(folders[1], random))


if __name__ == "__main__":
    main()
