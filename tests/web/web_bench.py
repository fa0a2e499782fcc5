"""Pages of a calibrated logbook: asked directly, and served to a real browser."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest
from playwright.sync_api import Browser, sync_playwright
from starlette.testclient import TestClient

from brinemark.faces.web.app import build_app
from brinemark.faces.web.desk import Desk
from brinemark.faces.web.guard import COOKIE, TOKEN, token_for
from brinemark.faces.web.places import PLACES
from brinemark.logbook import Logbook
from calibrated import make_calibrated

HOST = "127.0.0.1:8731"
PROGRAMS = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable")
QUIET = (
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)


WANTED: dict[str, object] = {
    "instrument": "bench",
    "title": "next run",
    "batches": ["B6"],
    "blanks": 2,
    "standards": 1,
    "levels": [2.0],
    "sample": [{"name": "A water", "dilution": 4.0}, {"name": "Another water"}],
}


@pytest.fixture(scope="session")
def read_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A calibrated logbook whose samples were read. Copy it before writing to it."""
    folder = make_calibrated(tmp_path_factory.mktemp("pages"))
    with Logbook.open(folder) as book:
        book.read()
        book.read("C1")
        book.record_making({"batch": "B6", "made_on": "2031-05-02", "electrode_count": 5, "maker": "Invented Maker"})
        book.lay_out(WANTED, 1)
        book.report("samples", "S-mid")
    return folder


@pytest.fixture
def folder(read_folder: Path, tmp_path: Path) -> Path:
    """A copy that a test may change."""
    return Path(shutil.copytree(read_folder, tmp_path / "book"))


@dataclass(frozen=True)
class Bench:
    """A desk with a client that speaks to its pages as a browser does."""

    desk: Desk
    client: TestClient

    def token(self) -> str:
        if COOKIE not in self.client.cookies:
            self.client.get("/about")
        return token_for(self.desk.secret, self.client.cookies[COOKIE])

    def send(self, address: str, **fields: str) -> object:
        """A form as our own page would send it."""
        return self.client.post(address, data={TOKEN: self.token(), **fields}, headers={"origin": f"http://{HOST}"})


@pytest.fixture
def bench(folder: Path) -> Iterator[Bench]:
    desk = Desk(folder)
    app = build_app(desk, [HOST], PLACES)
    with TestClient(app, base_url=f"http://{HOST}", follow_redirects=False) as client:
        yield Bench(desk, client)
    desk.close()


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    """An installed Chromium. A test that wants one is skipped where there is none; in CI that is a failure."""
    program = os.environ.get("BRINEMARK_BROWSER") or next(filter(None, map(shutil.which, PROGRAMS)), None)
    if program is None:
        pytest.skip("no Chromium is installed (BRINEMARK_BROWSER may name one): the pages were not looked at")
    with sync_playwright() as playwright:
        running = playwright.chromium.launch(executable_path=program, args=list(QUIET))
        yield running
        running.close()


@dataclass(frozen=True)
class Served:
    """Pages as the command serves them."""

    address: str
    folder: Path


def served(folder: Path) -> Iterator[Served]:
    """`brinemark serve` on a free port, until it is told to end; it must end cleanly."""
    command = [sys.executable, "-m", "brinemark.faces.cli.main", "serve", str(folder), "--port", "0", "--quiet"]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) as process:
        assert process.stdout is not None and process.stderr is not None
        line = process.stdout.readline()
        try:
            yield Served(line[line.index("http://") :].strip().rstrip("/"), folder)
        finally:
            process.terminate()
            process.wait(30)
            assert process.stderr.read() == ""
            assert process.returncode == 0


@pytest.fixture
def pages(folder: Path) -> Iterator[Served]:
    yield from served(folder)
