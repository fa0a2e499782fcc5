"""Seconds and memory of whole processes, each beside a baseline measured in the same run.

    python benchmarks/timing.py [--runs 7] [--curves 1000] [--points 2000] [--only read help calibrate add]

Four figures: reading one sample from cold against importing three libraries; help against the bare interpreter;
calibrating 60 electrodes with and without compiled loops, and 3,000 with them; adding a sheet with many curves against
reading the same files with numpy and hashing them.
Runs of program and baseline alternate, and medians are compared. Peak memory is from one further run, started by a
small process, because a child is charged with what its parent held when it was started (POSIX only).
"""

from __future__ import annotations

import argparse
import os
import resource
import shutil
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path
from statistics import median

import numpy as np
from worlds import HISTORY_LEVELS, LAB, WORLDS, electrodes

from brinemark.demo.run import new_logbook
from brinemark.demo.scenario import write_scenario
from brinemark.logbook import Logbook
from brinemark.science.amount.calibration import calibrate
from brinemark.science.amount.compiled import compiled_loops, loaded
from brinemark.science.amount.simulate import draw_batches
from brinemark.steps.calibrate import THREADS
from brinemark.terms.amounts import ElectrodeReadings
from brinemark.terms.settings import AnalyteSection, CalibrationSection, PriorSection

IMPORTS = ("-c", "import numpy, scipy.special, sqlalchemy")
PROGRAM = ("-c", "from brinemark.faces.cli.main import main; main()")
PLAIN = (
    "-c",
    "import sys, hashlib, pathlib, numpy\n"
    "for path in sorted(pathlib.Path(sys.argv[1]).glob('*.csv')):\n"
    "    hashlib.sha256(path.read_bytes()).hexdigest(); numpy.loadtxt(path, delimiter=',', skiprows=1)",
)
READ_RATIO, SLOWEST_RATIO, HELP_RATIO = 1.0, 1.5, 12.0
CALIBRATE_S, CALIBRATE_FAST_S, CALIBRATE_LARGE_S = 10.0, 1.0, 8.0
ADD_S = 10.0


MEASURER = (
    "import os, sys\n"
    "pid = os.posix_spawn(sys.executable, [sys.executable, *sys.argv[1:]], os.environ,"
    " file_actions=[(os.POSIX_SPAWN_OPEN, 1, os.devnull, os.O_WRONLY, 0)])\n"
    "print(os.wait4(pid, 0)[2].ru_maxrss)"
)


@dataclass(frozen=True, slots=True)
class Case:
    """One command of the interpreter, where it runs, and its wall seconds so far."""

    words: tuple[str, ...]
    folder: Path | None = None
    seconds: list[float] = field(default_factory=list)

    def run(self) -> None:
        """Once more. Raises CalledProcessError when it fails."""
        start = time.perf_counter()
        # As in a user's shell, where byte code is kept.
        usual = {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}
        words = [sys.executable, *self.words]
        subprocess.run(words, cwd=self.folder, env=usual, stdout=subprocess.DEVNULL, check=True)
        self.seconds.append(time.perf_counter() - start)

    def memory(self) -> float:
        """Peak resident memory of one more run [MB]."""
        words = [sys.executable, "-S", "-c", MEASURER, *self.words]
        said = subprocess.run(words, cwd=self.folder, stdout=subprocess.PIPE, check=True, text=True).stdout
        return int(said) / (1024.0 if sys.platform != "darwin" else 1024.0**2)


def told(name: str, case: Case, ratio_to: float | None = None) -> float:
    """Print one line: median, fastest, slowest, peak memory, ratio. Returns the median seconds."""
    middle = median(case.seconds)
    ratio = "" if ratio_to is None else f"  {middle / ratio_to:6.2f} x"
    spread = f"{min(case.seconds):.3f} to {max(case.seconds):.3f}"
    print(f"  {name:<44}{middle:8.3f} s  ({spread:>16})  {case.memory():5.0f} MB{ratio}", flush=True)
    return middle


def judged(name: str, value: float, limit: float, unit: str) -> bool:
    """Print whether a figure meets its limit."""
    print(f"  {'met' if value <= limit else 'MISSED'}: {name}: {value:.3g} {unit}, at most {limit:g} {unit}\n")
    return value <= limit


def read_from_cold(runs: int) -> bool:
    """Every sample of the invented season by a process of its own, against the imports."""
    print("reading one sample from cold")
    with tempfile.TemporaryDirectory() as scratch:
        scenario = write_scenario(Path(scratch) / "demo")
        folder = Path(scratch) / "logbook"
        with new_logbook(folder, scenario) as logbook:
            for sheet in scenario.sheets:
                logbook.add(sheet)
            logbook.calibrate()
            electrodes = [row.row.sample for row in logbook.rows() if row.row.role == "sample"]
        base, first = Case(IMPORTS), Case((*PROGRAM, "read", scenario.samples[0]), folder)
        first.run()
        reads = {name: Case((*PROGRAM, "read", name), folder) for name in scenario.samples}
        for _ in range(runs):
            for case in reads.values():
                base.run()
                case.run()
        reference = told("import numpy, scipy.special, sqlalchemy", base)
        middles = [told(f"read {name} ({electrodes.count(name)} el.)", case, reference) for name, case in reads.items()]
    met = judged("reading the median sample, over the imports", median(middles) / reference, READ_RATIO, "x")
    return judged("reading the slowest sample, over the imports", max(middles) / reference, SLOWEST_RATIO, "x") and met


def help_text(runs: int) -> bool:
    """The help text against an interpreter that does nothing."""
    print("help")
    bare, text = Case(("-c", "pass")), Case((*PROGRAM, "--help"))
    text.run()
    text.seconds.clear()
    for _ in range(3 * runs):
        bare.run()
        text.run()
    reference = told("bare interpreter", bare)
    return judged(
        "help, over the bare interpreter", told("brinemark --help", text, reference) / reference, HELP_RATIO, "x"
    )


def history(batches: int, rng: np.random.Generator) -> ElectrodeReadings:
    """Electrodes of the model's own world, six of every batch, each read once."""
    names = [f"B{number}" for number in range(batches)]
    level = np.array(HISTORY_LEVELS)
    parts = [electrodes(WORLDS["model"], batch, level, rng) for batch in draw_batches(LAB, names, rng)]
    owner = tuple(np.repeat(names, level.size).tolist())
    count = len(owner)
    return ElectrodeReadings(
        electrode=tuple(f"{name}-{i}" for i, name in enumerate(owner)),
        batch=owner,
        instrument=("bench",) * count,
        covariate=np.exp(np.concatenate([x for x, _ in parts])),
        unit=np.arange(count),
        signal=np.concatenate([y for _, y in parts]),
        u=np.zeros(count),
        level=np.tile(level, batches),
    )


def calibrated(batches: int, runs: int, reference: float) -> tuple[float, float]:
    """Every history is another one; median and longest seconds of the runs after the first, which also loads."""
    found = []
    for number in range(runs + 1):
        readings = history(batches, np.random.default_rng([3, number]))
        start, cpu = time.perf_counter(), time.process_time()
        made = calibrate(readings, AnalyteSection(), PriorSection(), CalibrationSection())
        seconds, cpu = time.perf_counter() - start, time.process_time() - cpu
        peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / (1024.0 if sys.platform != "darwin" else 1024.0**2)
        print(
            f"  {made.total_draws:6d} draws  {seconds:7.2f} s  {cpu:7.2f} s of processors"
            f"  {seconds / reference:5.1f} x imports  peak so far {peak:5.0f} MB{'' if number else '  (loading)'}",
            flush=True,
        )
        if number:
            found.append(seconds)
    return median(found), max(found)


def calibrate_histories(runs: int) -> bool:
    """60 electrodes with and without the compiled loops, 3,000 with them, in this process."""
    imports = Case(IMPORTS)
    for _ in range(5):
        imports.run()
    reference = told("import numpy, scipy.special, sqlalchemy", imports)
    print("calibrating 60 electrodes, loops of numpy")
    _, longest = calibrated(10, runs, reference)
    met = judged("slowest", longest, CALIBRATE_S, "s")
    with compiled_loops(THREADS):
        if loaded() is None:
            print("  the extra 'fast' is not installed: nothing more to measure\n")
            return met
        print(f"calibrating 60 electrodes, compiled loops, {THREADS} threads")
        middle, _ = calibrated(10, runs, reference)
        met = judged("median", middle, CALIBRATE_FAST_S, "s") and met
        print(f"calibrating 3,000 electrodes, compiled loops, {THREADS} threads")
        middle, _ = calibrated(500, 1, reference)
        return judged("3,000 electrodes, warm", middle, CALIBRATE_LARGE_S, "s") and met


def write_curves(folder: Path, curves: int, points: int) -> Path:
    """A run sheet of standards, each with a cyclic voltammogram of its own: -0.4 -> 0.9 -> -0.4 V."""
    folder.mkdir(parents=True)
    potential = 0.65 * np.abs((np.arange(points) / (points / 2) + 1) % 2 - 1) * 2 - 0.4
    anodic = np.arange(points) < points / 2
    rng = np.random.default_rng(1)
    lines = ["electrode,batch,instrument,measured_at,role,level,trace"]
    for number in range(curves):
        wave = 1e-7 * rng.uniform(0.5, 4) / np.cosh((potential - 0.58) / 0.05) ** 2
        current = np.where(anodic, 1e-7 + wave, -1e-7) + 2e-8 * potential + 1e-9 * rng.normal(size=points)
        table = "\n".join(f"{e:.4f},{i:.6e}" for e, i in zip(potential, current, strict=True))
        (folder / f"curve-{number:05d}.csv").write_text(f"potential_V,current_A\n{table}\n", encoding="utf-8")
        level = (0, 0.5, 1, 2, 8)[number % 5]
        role = "standard" if level else "blank"
        name = f"T{number // 6:03d}-{number % 6}"
        lines.append(f"{name},T{number // 6:03d},bench,2026-03-01T10:00+00:00,{role},{level},curve-{number:05d}.csv")
    sheet = folder / "sheet.txt"
    sheet.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return sheet


def add_curves(runs: int, curves: int, points: int) -> bool:
    """One sheet with many curves: everything checked, originals on disk, signals stored, one transaction."""
    print(f"adding {curves} curves of {points} points")
    with tempfile.TemporaryDirectory() as scratch:
        folder = Path(scratch) / "sheet"
        sheet = write_curves(folder, curves, points)
        plain, added = Case((*PLAIN, str(folder))), Case((*PROGRAM, "add", str(sheet)), Path(scratch) / "logbook")
        for _ in range(runs):
            fresh(added.folder)
            plain.run()
            added.run()
        fresh(added.folder)
        reference = told("numpy.loadtxt and sha256 of the files", plain)
        seconds = told("brinemark add", added, reference)
    return judged("adding", seconds, ADD_S, "s")


def fresh(folder: Path | None) -> None:
    """An empty logbook in place of what is there."""
    if folder is not None:
        remove(folder)
        Logbook.create(folder).close()


def remove(folder: Path) -> None:
    """Take away a logbook, whose originals are write-protected."""
    if folder.exists():
        shutil.rmtree(folder)


def main() -> int:
    """Exit status 0 when every limit is met."""
    parser = argparse.ArgumentParser(description="Seconds, memory and ratios of whole processes.")
    parser.add_argument("--runs", type=int, default=7)
    parser.add_argument("--curves", type=int, default=1000)
    parser.add_argument("--points", type=int, default=2000)
    parser.add_argument("--only", nargs="+", choices=["read", "help", "calibrate", "add"], default=None)
    given = parser.parse_args()
    parts = {
        "help": partial(help_text, given.runs),
        "read": partial(read_from_cold, given.runs),
        "calibrate": partial(calibrate_histories, given.runs),
        "add": partial(add_curves, max(1, given.runs // 2), given.curves, given.points),
    }
    met = [part() for name, part in parts.items() if given.only is None or name in given.only]
    return 0 if all(met) else 1


if __name__ == "__main__":
    sys.exit(main())
