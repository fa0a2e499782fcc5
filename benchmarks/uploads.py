"""Taking in by the pages: many curves with their sheet as one form, until the job has stored them.

    python benchmarks/pages.py --uploads        1,000 files of 2,000 points, then 5,000 of 200
    python benchmarks/uploads.py [--files 1000] [--points 2000] [--times 1]

A fresh logbook is served; the form is put together beforehand, as a browser has it when files are dropped. Printed is
where the time goes: sending with spooling, the job's start, looking through, storing; and how large the
overlay of 60 of these curves is, wanted under 500 kB. 1,000 files of 2,000 points are
met in 15 s.
"""

from __future__ import annotations

import argparse
import http.client
import json
import re
import secrets
import sys
import tempfile
import time
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

import numpy as np

from brinemark.logbook import Logbook
from brinemark.science.curve.electrode_theory import surface_confined_shape

WANTED, WANTED_S = (1000, 2000), 15.0
LARGEST = (5000, 200)
PER_BATCH, LEVELS = 25, (0.0, 0.5, 2.0, 8.0)
HEADER = "electrode,batch,instrument,measured_at,role,level,trace"
OVERLAY = "/pictures/overlay.svg?role=known"  # the first 60 curves, as many as one picture has
LOOK_S = 0.02
PHASES = ("looking", "storing")


def curves(count: int, points: int, rng: np.random.Generator) -> Iterator[tuple[str, bytes]]:
    """Names and bytes of so many files: one sweep up and back, each with its own wave and noise."""
    up = np.linspace(-0.4, 0.9, points // 2)
    potential = np.concatenate([up, up[::-1]])
    sign = np.repeat([1.0, -1.0], up.size)
    background = sign * (3e-7 + 2e-7 * np.exp((np.abs(potential) - 0.9) / 0.2))
    background += sign * 2e-6 * surface_confined_shape(potential, -0.2)
    wave = np.where(sign > 0, surface_confined_shape(potential, 0.58, n=0.6), 0.0)
    places = [f"{value:.6f}," for value in potential]
    for number in range(count):
        level = LEVELS[number % len(LEVELS)]
        height = 6e-7 * (0.03 + level / (2.0 + level)) * float(np.exp(rng.normal(0.0, 0.1)))
        current = (background + height * wave + rng.normal(0.0, 2e-9, potential.size)).tolist()
        lines = [place + f"{value:.6e}" for place, value in zip(places, current, strict=True)]
        yield f"curve-{number:05d}.csv", ("potential_V,current_A\n" + "\n".join(lines) + "\n").encode()


def sheet(names: Sequence[str], day: int) -> bytes:
    """A run sheet that names every file."""
    lines = [HEADER]
    for number, name in enumerate(names):
        level, batch = LEVELS[number % len(LEVELS)], f"U{day}-{number // PER_BATCH}"
        role = "standard" if level else "blank"
        moment = f"2031-{day:02d}-{1 + number // 1440:02d}T{number // 60 % 24:02d}:{number % 60:02d}:00Z"
        lines.append(f"{batch}-{number % PER_BATCH},{batch},bench,{moment},{role},{level:g},{name}")
    return ("\n".join(lines) + "\n").encode()


def form(token: str, table: bytes, files: Sequence[tuple[str, bytes]]) -> tuple[str, bytes]:
    """Content type and body of the form, as RFC 7578 has it."""
    edge = secrets.token_hex(16)
    parts = [f'--{edge}\r\nContent-Disposition: form-data; name="token"\r\n\r\n{token}\r\n'.encode()]
    for field, name, data in (("sheet", "run.csv", table), *(("curves", *file) for file in files)):
        head = f'Content-Disposition: form-data; name="{field}"; filename="{name}"\r\nContent-Type: text/csv'
        parts += [f"--{edge}\r\n{head}\r\n\r\n".encode(), data, b"\r\n"]
    return f"multipart/form-data; boundary={edge}", b"".join([*parts, f"--{edge}--\r\n".encode()])


def taken_in(host: str, port: int, table: bytes, files: Sequence[tuple[str, bytes]]) -> dict[str, float]:
    """Seconds of each phase, and "all"; raises RuntimeError when it was not stored."""
    browser = http.client.HTTPConnection(host, port, timeout=600)
    browser.request("GET", "/take-in")
    page = browser.getresponse()
    cookie = page.headers["set-cookie"].partition(";")[0]
    token = re.findall(r'name="token" value="([^"]+)"', page.read().decode())[0]
    kind, body = form(token, table, files)
    begun = time.perf_counter()
    browser.request("POST", "/take-in", body, {"Content-Type": kind, "Cookie": cookie})
    answer = browser.getresponse()
    said = answer.read().decode()
    if answer.status != 303:
        raise RuntimeError(f"{answer.status}: {re.sub('<[^>]+>', ' ', said)[:2000]}")
    where, sent = answer.headers["location"], time.perf_counter()
    at: dict[str, float] = {}
    state: dict[str, Any] = {"state": "", "said": "", "findings": [], "ended": False}
    while not state["ended"]:
        browser.request("GET", where, headers={"Accept": "application/json", "Cookie": cookie})
        state = json.loads(browser.getresponse().read())["job"]
        for phase in PHASES:
            if state["said"].startswith(phase):
                at.setdefault(phase, time.perf_counter())
        time.sleep(LOOK_S)
    ended = time.perf_counter()
    browser.close()
    if state["state"] != "done":
        raise RuntimeError(f"{state['state']}: {state['said']}; {state['findings'][:1]}")
    looked, stored = at.get("looking", sent), at.get("storing", ended)
    return {
        "sending": sent - begun,
        "the job's start": looked - sent,
        "looking through": stored - looked,
        "storing": ended - stored,
        "all": ended - begun,
    }


def measured(count: int, points: int, times: int) -> float:
    """Least seconds of all, each time into a fresh logbook; prints where they go."""
    from pages import ask, served

    files = list(curves(count, points, np.random.default_rng(1)))
    table = sheet([name for name, _ in files], 1)
    size = sum(len(data) for _, data in files) / 1e6
    print(f"{count} files of {points} points, {size:.0f} MB", flush=True)
    least = float("inf")
    for _ in range(times):
        with tempfile.TemporaryDirectory() as short:
            folder = Path(short) / "logbook"
            Logbook.create(folder).close()
            with served(folder) as (host, port, _first):
                spent = taken_in(host, port, table, files)
                drawn = ask(host, port, [OVERLAY])[0]
            print("  " + ", ".join(f"{name} {seconds:.2f} s" for name, seconds in spent.items()), flush=True)
            print(f"  overlay of {min(count, 60)} curves: {drawn[3] / 1e3:.0f} kB in {drawn[2]:.2f} s", flush=True)
            with Logbook.open(folder) as book:
                if len(book.rows()) != count:
                    raise RuntimeError(f"{len(book.rows())} rows stored, not {count}")
            least = min(least, spent["all"])
    return least


def run(times: int = 1) -> bool:
    """The wanted size against its limit, and the largest that the page takes."""
    from pages import judged

    met = judged(f"{WANTED[0]} files of {WANTED[1]} points taken in", measured(*WANTED, times), WANTED_S)
    measured(*LARGEST, 1)
    return met


def main() -> int:
    """Exit status 0 when the wanted size is met, or another one stored."""
    parser = argparse.ArgumentParser(description="Seconds of taking in by the pages.")
    parser.add_argument("--files", type=int)
    parser.add_argument("--points", type=int, default=WANTED[1])
    parser.add_argument("--times", type=int, default=1)
    given = parser.parse_args()
    if given.files is None:
        return 0 if run(given.times) else 1
    measured(given.files, given.points, given.times)
    return 0


if __name__ == "__main__":
    sys.exit(main())
