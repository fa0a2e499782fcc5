"""Two browser tabs and the command line at once on one logbook; and a server that is told to end while it works."""

from __future__ import annotations

import os
import re
import signal
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from http.client import HTTPConnection
from json import loads
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from starlette.testclient import TestClient
from uploads import curves, form, sheet

from brinemark.faces.web.app import build_app
from brinemark.faces.web.desk import Desk
from brinemark.faces.web.guard import TOKEN
from brinemark.faces.web.places import PLACES
from brinemark.logbook import Logbook
from season import BLANK, Season, standard
from web.test_jobs import wait
from web.web_bench import HOST, Bench

SEED = 5
TURNS = 4  # batches that each tab records, and sets an electrode of aside
ENDS_S = 15.0
PATIENCE_S = 60.0
MANY = 300  # curves of a job that is still at work when the server is told to end


@contextmanager
def two_tabs(folder: Path) -> Iterator[tuple[Bench, Bench]]:
    """Two browsers, each with cookies of its own, at one desk."""
    desk = Desk(folder)
    app = build_app(desk, [HOST], PLACES)
    how: dict[str, Any] = {"base_url": f"http://{HOST}", "follow_redirects": False}
    with TestClient(app, **how) as one, TestClient(app, **how) as other:
        yield Bench(desk, one), Bench(desk, other)
    desk.close()


def run_of(root: Path, batch: str, day: int) -> Path:
    """A sheet of two blanks and a standard with curves and pre-scans, in a folder of its own."""
    folder = root / batch
    folder.mkdir(parents=True)
    return Season(folder, np.random.default_rng(SEED + day)).batch(batch, [BLANK, BLANK, standard(2.0)], day=day)


def recorded(tab: Bench, stem: str) -> list[int]:
    """Statuses of recording batches and setting the second electrode of each aside."""
    found = []
    for turn in range(TURNS):
        name = f"{stem}{turn}"
        made: Any = tab.send("/batch-making", batch=name, made_on="2031-06-01", electrode_count="3", maker=stem)
        aside: Any = tab.send(f"/batches/{name}", electrode=f"{name}-2", reason="a scratch")
        shown = tab.client.get("/batches")
        found += [made.status_code, aside.status_code, shown.status_code]
    return found


def sent(tab: Bench, run: Path) -> int:
    """A sheet with its curves as a form; the job that takes it in."""
    files = [path for path in sorted(run.parent.iterdir()) if path != run]
    parts = [("sheet", (run.name, run.read_bytes())), *(("curves", (one.name, one.read_bytes())) for one in files)]
    data, origin = {TOKEN: tab.token()}, {"origin": f"http://{HOST}"}
    answer = tab.client.post("/take-in", data=data, files=parts, headers=origin)
    assert answer.status_code == 303, answer.text
    return int(answer.headers["location"].rpartition("/")[2])


def commanded(*words: str | Path) -> tuple[int, str]:
    """Status and what it said of `brinemark ...` in a process of its own."""
    command = [sys.executable, "-m", "brinemark.faces.cli.main", *map(str, words)]
    done = subprocess.run(command, capture_output=True, text=True, timeout=300, check=False)
    return done.returncode, done.stdout + done.stderr


def test_two_tabs_and_the_command_line_at_once_lose_nothing(folder: Path, tmp_path: Path) -> None:
    runs = {name: run_of(tmp_path / "runs", name, day) for day, name in enumerate(("N1", "N2", "N3", "N4"), start=10)}
    with Logbook.open(folder) as book:
        rows, entries = len(book.rows()), len(book.audit())
    with two_tabs(folder) as (one, other), ThreadPoolExecutor(4) as pool:
        calibrating: Any = one.send("/calibration")
        work: list[Callable[[], Any]] = [
            lambda: (sent(one, runs["N1"]), recorded(one, "P")),
            lambda: (sent(other, runs["N2"]), recorded(other, "Q")),
            lambda: commanded("--logbook", folder, "add", runs["N3"]),
            lambda: commanded("--logbook", folder, "add", runs["N4"]),
        ]
        first, second, *commands = [future.result() for future in [pool.submit(one) for one in work]]
        numbers = [str(first[0]), str(second[0]), calibrating.headers["location"].rpartition("/")[2]]
        jobs = [wait(one.desk.jobs.get(number)) for number in numbers]
        assert [(job.state, job.said) for job in jobs if job.state != "done"] == []
        assert set(first[1]) | set(second[1]) == {303, 200}
        assert [status for status, _ in commands] == [0, 0], commands
        assert one.client.get("/batches/Q3").status_code == other.client.get("/batches/P0").status_code == 200
    with Logbook.open(folder) as book:
        assert len(book.rows()) == rows + 4 * 3
        assert {row.row.batch for row in book.rows()} >= set(runs)
        for name in (f"{stem}{turn}" for stem in "PQ" for turn in range(TURNS)):
            assert [one.state for one in book.batch(name).electrodes] == ["ready", "set aside", "ready"]
        # The calibration may have begun before or after a sheet came in: it is one entry, or was there already.
        assert len(book.audit()) - entries - 4 - 2 * 2 * TURNS in (0, 1)
        assert book.verify().sound


def test_of_two_tabs_that_record_one_batch_one_is_taken_and_the_other_told_why(folder: Path) -> None:
    with two_tabs(folder) as tabs, ThreadPoolExecutor(2) as pool:
        for turn in range(TURNS):
            start = threading.Barrier(2)

            def record(tab: Bench, maker: str, name: str = f"T{turn}", at: threading.Barrier = start) -> Any:
                tab.token()
                at.wait()
                return tab.send("/batch-making", batch=name, made_on="2031-06-01", electrode_count="2", maker=maker)

            answers = list(pool.map(record, tabs, ("first", "second")))
            assert sorted(one.status_code for one in answers) == [303, 422]
            refused = next(one for one in answers if one.status_code == 422)
            assert refused.text.count('role="alert"') == 1
            assert f"T{turn}" in re.sub(r"<[^>]+>", "", refused.text[refused.text.index('role="alert"') :])[:400]
            winner = ("first", "second")[[one.status_code for one in answers].index(303)]
            making = tabs[0].desk.book.batch(f"T{turn}").making
            assert making is not None
            assert making.maker == winner
        assert tabs[0].desk.book.verify().sound


@dataclass
class Server:
    """`brinemark serve` in a process group of its own, whose temporary files lie in spool."""

    process: subprocess.Popen[str]
    address: str
    spool: Path

    def ask(self, method: str, where: str, body: bytes = b"", **headers: str) -> tuple[int, Any, str]:
        browser = HTTPConnection(self.address, timeout=PATIENCE_S)
        browser.request(method, where, body or None, headers)
        answer = browser.getresponse()
        found = answer.status, answer.headers, answer.read().decode()
        browser.close()
        return found


@pytest.fixture
def server(folder: Path, tmp_path: Path) -> Iterator[Server]:
    spool = tmp_path / "temporary"
    spool.mkdir()
    command = [sys.executable, "-m", "brinemark.faces.cli.main", "serve", str(folder), "--port", "0", "--quiet"]
    how: dict[str, Any] = {"stdout": subprocess.PIPE, "stderr": subprocess.PIPE, "text": True}
    with subprocess.Popen(command, env={**os.environ, "TMPDIR": str(spool)}, start_new_session=True, **how) as process:
        assert process.stdout is not None
        address = process.stdout.readline().strip().rpartition("http://")[2].rstrip("/")
        yield Server(process, address, spool)
        if process.poll() is None:
            process.kill()


def many_curves(server: Server) -> tuple[dict[str, str], bytes]:
    """Headers and body of a form with a sheet and its curves."""
    _, headers, page = server.ask("GET", "/take-in")
    cookie = headers["set-cookie"].partition(";")[0]
    token = re.findall(r'name="token" value="([^"]+)"', page)[0]
    files = list(curves(MANY, 1000, np.random.default_rng(SEED)))
    kind, body = form(token, sheet([name for name, _ in files], 7), files)
    return {"Content-Type": kind, "Cookie": cookie}, body


def half_sent(server: Server) -> socket.socket:
    """A connection over which half of a form came."""
    told, body = many_curves(server)
    told |= {"Host": server.address, "Content-Length": str(len(body))}
    head = "".join(f"{name}: {value}\r\n" for name, value in told.items())
    host, _, port = server.address.partition(":")
    connection = socket.create_connection((host, int(port)))
    connection.sendall(f"POST /take-in HTTP/1.1\r\n{head}\r\n".encode() + body[: len(body) // 2])
    return connection


def taking_in(server: Server, at: str) -> None:
    """Send many curves, and return once the job that looks them through is "begun", or is "at work"."""
    told, body = many_curves(server)
    status, headers, said = server.ask("POST", "/take-in", body, **told)
    assert status == 303, said
    where = str(headers["location"])
    end = time.monotonic() + PATIENCE_S
    while True:
        job = loads(server.ask("GET", where, Accept="application/json")[2])["job"]
        if job["done"] or (at == "begun" and job["state"] == "running"):
            return
        assert not job["ended"], job
        assert time.monotonic() < end, job
        time.sleep(0.02)


def alive(group: int) -> list[str]:
    """What still runs of a process group, where the system shows it under /proc; what ended unburied does not count."""
    found = []
    for place in Path("/proc").glob("[0-9]*/stat"):
        with suppress(OSError):
            text = place.read_text(encoding="utf-8", errors="replace")
            state, _, of_group = text.rpartition(")")[2].split()[:3]
            if int(of_group) == group and state != "Z":
                found.append(text)
    return found


@pytest.mark.parametrize("at", ["begun", "at work"])
@pytest.mark.parametrize("how", ["terminated", "interrupted", "interrupted with its group"])
def test_a_server_told_to_end_while_it_works_ends_in_order(server: Server, folder: Path, how: str, at: str) -> None:
    with Logbook.open(folder) as book:
        head, rows = book.audit_head(), len(book.rows())
    taking_in(server, at)
    assert list(server.spool.glob("brinemark-*"))
    begun = time.monotonic()
    if how == "interrupted with its group":  # as Ctrl-C of a terminal does
        os.killpg(server.process.pid, signal.SIGINT)
    else:
        server.process.send_signal(signal.SIGTERM if how == "terminated" else signal.SIGINT)
    said, wrong = server.process.communicate(timeout=PATIENCE_S)
    assert time.monotonic() - begun < ENDS_S
    assert (server.process.returncode, wrong) == (0, ""), said
    assert list(server.spool.glob("brinemark-*")) == []
    with Logbook.open(folder) as book:
        assert book.audit_head() == head
        assert len(book.rows()) == rows
        assert book.verify().sound
    end = time.monotonic() + ENDS_S
    while left := alive(server.process.pid):
        assert time.monotonic() < end, left
        time.sleep(0.05)


@pytest.mark.parametrize("closed", [True, False], ids=["a tab closed", "the server ended"])
def test_a_form_cut_off_in_the_middle_leaves_nothing_and_no_word(server: Server, folder: Path, closed: bool) -> None:
    with Logbook.open(folder) as book:
        head = book.audit_head()
    connection = half_sent(server)
    if closed:
        connection.close()
        assert server.ask("GET", "/jobs", Accept="application/json")[0] == 200
    begun = time.monotonic()
    server.process.send_signal(signal.SIGTERM)
    said, wrong = server.process.communicate(timeout=PATIENCE_S)
    connection.close()
    assert time.monotonic() - begun < ENDS_S
    assert (server.process.returncode, wrong) == (0, ""), said
    assert list(server.spool.iterdir()) == []
    with Logbook.open(folder) as book:
        assert book.audit_head() == head
