"""The bench pages on a large logbook: seconds at the server for each page, and with many people at once.

    python benchmarks/pages.py [--batches 500] [--samples 1000] [--people 20] [--folder DIRECTORY]
    python benchmarks/uploads.py        what the pages take in, in a logbook of its own

An invented logbook of 500 batches with five electrodes each: blanks and standards, and 1,000 samples on fresh
electrodes, as signals without curves, since no page but Curves opens one. It is made once and kept in the folder when
one is named. Every page is asked for several times over one connection, first in a fresh server, then with 20 people at
once; a page is met at a median of 300 ms, 20 people at 500 ms without an error. Beside the median stands the first
request after a change of the logbook, when nothing is remembered.
"""

from __future__ import annotations

import argparse
import http.client
import json
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from pathlib import Path
from statistics import median

import numpy as np

from brinemark.logbook import Logbook

PAGES = (
    "/",
    "/next",
    "/batches",
    "/batches/B250",
    "/runs",
    "/curves",
    "/calibration",
    "/samples",
    "/samples?from=501",
    "/samples/S0500",
    "/electrodes/B250-2",
    "/reports",
    "/settings",
    "/audit",
    "/jobs",
    "/about",
)
PAGE_S, CROWD_S, FIRST_S = 0.3, 0.5, 2.0
LEVELS, PER_BATCH = (0.0, 2.0, 8.0), 5
COLUMNS = "electrode,batch,instrument,measured_at,role,level,sample,signal,signal_u,signal_unit,covariate"


def make(folder: Path, batches: int, samples: int) -> None:
    """A logbook of so many batches, calibrated and read."""
    rng = np.random.default_rng(1)
    lines, sample = [COLUMNS], 0
    for number in range(batches):
        gain = float(np.exp(rng.normal(0.0, 0.2)))
        for place in range(PER_BATCH):
            known = place < len(LEVELS)
            level = LEVELS[place] if known else float(np.exp(rng.normal(0.5, 1.0)))
            role = ("blank" if level == 0 else "standard") if known else "sample"
            name = "" if known or sample >= samples else f"S{sample:04d}"
            sample += bool(name)
            if not known and not name:
                continue
            film = float(np.exp(rng.normal(0.0, 0.1)))
            signal = 4e-6 * gain * film * (0.06 + level / (level + 2.0)) + rng.normal(0.0, 2e-8)
            day = f"20{30 + number // 336:02d}-{1 + number // 28 % 12:02d}-{1 + number % 28:02d}T09:{place:02d}:00Z"
            cells = (f"B{number}-{place + 1}", f"B{number}", "bench", day, role, f"{level:g}" if known else "", name)
            lines.append(",".join((*cells, f"{signal:.6g}", "2e-08", "A", f"{gain * film:.6g}")))
    sheet = folder.parent / "large.csv"
    sheet.write_text("\n".join(lines) + "\n", encoding="utf-8")
    with Logbook.create(folder, name="A large invented logbook") as book:
        print(book.add(sheet), flush=True)
        print(book.calibrate(), flush=True)
        book.read()


@contextmanager
def served(folder: Path) -> Iterator[tuple[str, int, float]]:
    """Host, port, and seconds from the command to the first page."""
    command = [sys.executable, "-m", "brinemark.faces.cli.main", "serve", str(folder), "--port", "0", "--quiet"]
    begun = time.perf_counter()
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as process:
        assert process.stdout is not None
        address = process.stdout.readline().strip().rpartition("http://")[2].rstrip("/")
        host, _, port = address.partition(":")
        try:
            ask(host, int(port), ["/batches"])
            yield host, int(port), time.perf_counter() - begun
        finally:
            process.terminate()
            process.wait(30)


def ask(host: str, port: int, addresses: Sequence[str]) -> list[tuple[str, int, float, int]]:
    """Address, status, seconds and bytes of each, over one connection; nothing is followed."""
    connection = http.client.HTTPConnection(host, port, timeout=120)
    found = []
    for address in addresses:
        begun = time.perf_counter()
        connection.request("GET", address, headers={"Accept": "text/html"})
        answer = connection.getresponse()
        body = answer.read()
        found.append((address, answer.status, time.perf_counter() - begun, len(body)))
    connection.close()
    return found


def crowd(host: str, port: int, addresses: Sequence[str], people: int) -> tuple[float, int]:
    """Median seconds and number of errors when so many people click through all pages, each beginning elsewhere."""
    turns = [[*addresses[n % len(addresses) :], *addresses[: n % len(addresses)]] for n in range(people)]
    with ThreadPoolExecutor(people) as pool:
        parts = list(pool.map(lambda turn: ask(host, port, turn), turns))
    found = [one for part in parts for one in part]
    return median(one[2] for one in found), sum(one[1] >= 400 for one in found)


def changed(folder: Path) -> None:
    """Record one more batch, so that the server remembers nothing of before."""
    with Logbook.open(folder) as book:
        name = f"Z{len(book.audit())}"
        book.record_making({"batch": name, "made_on": "2033-01-01", "electrode_count": 1})


def pictures(host: str, port: int) -> list[tuple[str, float, int]]:
    """Name, seconds and bytes of the pictures of the page Calibration."""
    data = json.loads(body_of(host, port, "/calibration"))
    found = []
    for name in ("fan", "residuals", "fit"):
        if data[name]:
            _, _, seconds, size = ask(host, port, [data[name]])[0]
            found.append((f"picture {name}", seconds, size))
    return found


def body_of(host: str, port: int, address: str) -> bytes:
    """The data of a page as JSON."""
    connection = http.client.HTTPConnection(host, port, timeout=120)
    connection.request("GET", address, headers={"Accept": "application/json"})
    body = connection.getresponse().read()
    connection.close()
    return body


def judged(name: str, value: float, limit: float) -> bool:
    met = value <= limit
    print(f"{'met' if met else 'MISSED'}: {name} {value:.3f} s, wanted {limit:g} s")
    return met


def looked_at(folder: Path, people: int) -> bool:
    """Every page five times, then the crowd."""
    with served(folder) as (host, port, first):
        met = judged("from the command to the first page", first, FIRST_S)
        there = [one[0] for one in ask(host, port, PAGES) if one[1] < 400]
        print(f"not served: {', '.join(one for one in PAGES if one not in there) or 'none'}")
        for address in there:
            changed(folder)
            cold = ask(host, port, [address])[0]
            seen = [ask(host, port, [address])[0] for _ in range(5)]
            middle = median(one[2] for one in seen)
            first_s = f"first after a change {1e3 * cold[2]:7.1f} ms"
            print(f"  {address:22} {1e3 * middle:7.1f} ms  {seen[0][3] / 1e3:7.1f} kB  {first_s}")
            met = judged(address, middle, PAGE_S) and met
        for name, seconds, size in pictures(host, port):
            print(f"  {name:22} {1e3 * seconds:7.1f} ms  {size / 1e3:7.1f} kB  drawn for the first time")
        middle, errors = crowd(host, port, there, people)
        print(f"{people} people at once: {errors} errors")
        return judged(f"{people} people, median", middle, CROWD_S) and met and not errors


def main() -> int:
    """Exit status 0 when all is met."""
    parser = argparse.ArgumentParser(description="Seconds of the bench pages on a large logbook.")
    parser.add_argument("--batches", type=int, default=500)
    parser.add_argument("--samples", type=int, default=1000)
    parser.add_argument("--people", type=int, default=20)
    parser.add_argument("--folder", type=Path, help="keep the logbook here, or use the one that is there")
    parser.add_argument("--uploads", action="store_true", help="only what is taken in, without the large logbook")
    given = parser.parse_args()
    if given.uploads:
        import uploads

        return 0 if uploads.run() else 1
    with tempfile.TemporaryDirectory() as short:
        folder = given.folder or Path(short) / "large"
        if not folder.exists():
            folder.parent.mkdir(parents=True, exist_ok=True)
            make(folder, given.batches, given.samples)
        return 0 if looked_at(folder, given.people) else 1


if __name__ == "__main__":
    sys.exit(main())
