"""Seconds of a new report, once its charts have been drawn before, beside those of reading the same sample.

    python benchmarks/reports.py [--runs 7]

The small example, calibrated and read. Every run works on a copy of the logbook in which the report was never made, in
this process: it gathers the records, works out the charts' specifications, words, sets and stores the report. Drawing
the charts is left out, since a process keeps what it has drawn; the first run, which draws them, is told apart.
"""

from __future__ import annotations

import argparse
import io
import shutil
import tempfile
import time
from itertools import pairwise
from pathlib import Path
from statistics import median

import pypdf

from brinemark.logbook import Logbook

SMALL = Path(__file__).resolve().parents[1] / "examples" / "small"
SAMPLE = "W-1"
REPORT_S = 1.0


def prepared(folder: Path) -> Path:
    """The small example in a logbook of its own, calibrated and read."""
    Logbook.create(folder).close()
    shutil.copy(SMALL / "logbook.toml", folder / "logbook.toml")
    with Logbook.open(folder) as logbook:
        logbook.add(SMALL / "runsheet.csv")
        logbook.calibrate()
        logbook.read()
    return folder


def timed(source: Path, folder: Path) -> tuple[float, float, float, int]:
    """Seconds of a read, of a new report and of the same report again, on a copy; pages of the report."""
    shutil.copytree(source, folder)
    with Logbook.open(folder) as logbook:
        moments = [time.perf_counter()]
        logbook.read(SAMPLE)
        moments.append(time.perf_counter())
        made = logbook.report("samples", SAMPLE)
        moments.append(time.perf_counter())
        logbook.report("samples", SAMPLE)
        moments.append(time.perf_counter())
    read, new, again = (after - before for before, after in pairwise(moments))
    return read, new, again, len(pypdf.PdfReader(io.BytesIO(made.pdf)).pages)


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--runs", type=int, default=7, help="copies of the logbook after the first")
    runs = parser.parse_args().runs
    with tempfile.TemporaryDirectory() as folder:
        source = prepared(Path(folder) / "source")
        found = [timed(source, Path(folder) / str(number)) for number in range(runs + 1)]
    read, new, again = (median(one[place] for one in found[1:]) for place in range(3))
    pages = found[0][3]
    print(f"first report of the process, libraries loaded and charts drawn: {found[0][1]:.2f} s")
    print(f"read of {SAMPLE}: {read:.3f} s")
    print(f"new report of {pages} pages: {new:.3f} s, {new / read:.1f} x the read")
    print(f"the same report again: {again:.3f} s, {again / read:.1f} x the read")
    met = new < REPORT_S
    print(f"wanted: a new report under {REPORT_S:g} s: {'met' if met else 'MISSED'}")
    return 0 if met else 1


if __name__ == "__main__":
    raise SystemExit(main())
