"""The whole job in a browser, by mouse and keyboard: from an empty logbook to a PDF to hand over."""

from __future__ import annotations

import io
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from playwright.sync_api import Browser, Page, expect
from pypdf import PdfReader

from brinemark.logbook import Logbook
from season import FULL_A, HALF_LEVEL, curve
from web.test_browser import PATIENCE_MS, Watched
from web.web_bench import Served, served

SEED = 20311
BATCHES = ("N1", "N2", "N3", "N4")
WATERS = {"Harbour water": 1.5, "Tank water": 0.0, "Source water": 4.0, "Return water": 0.7}


@pytest.fixture
def empty(tmp_path: Path) -> Iterator[Served]:
    Logbook.create(tmp_path / "book", name="An invented bench").close()
    yield from served(tmp_path / "book")


def write_curves(folder: Path, plan: dict[str, Any]) -> list[Path]:
    """The curves that the bench would save under the names of the plan."""
    random = np.random.default_rng(SEED)
    gains = {one: float(np.exp(random.normal(0.0, 0.15))) for one in BATCHES}
    made = []
    for row in plan["rows"]:
        level = row["level"] if row["sample"] is None else WATERS[plan["key"][row["sample"]]]
        gain = gains[row["batch"]] * float(np.exp(random.normal(0.0, 0.08)))
        for name, held in ((row["trace"], level or 0.0), (row["prescan"], 0.0)):
            path = folder / Path(name).name
            curve(path, FULL_A * gain * (0.03 + held / (HALF_LEVEL + held)), random)
            made.append(path)
    return made


def record_batch(page: Page, name: str) -> None:
    page.get_by_role("link", name="Batches").click()
    page.get_by_role("link", name="Record a new batch").click()
    page.get_by_label("Batch", exact=True).fill(name)
    page.get_by_label("How many electrodes").fill("6")
    page.get_by_label("Highest temperature of the oven, °C").fill("450")
    page.get_by_label("Highest temperature of the oven, °C").press("Enter")
    expect(page.get_by_role("heading", name=f"Batch {name}")).to_be_visible()


def lay_out(page: Page) -> None:
    page.get_by_role("link", name="Runs", exact=True).click()
    page.get_by_role("link", name="Lay out a run").click()
    for batch in BATCHES:
        for n in range(1, 7):
            page.get_by_label(f"{batch}-{n}", exact=True).check()
    page.get_by_label("What it is called").fill("first run")
    page.get_by_label("Instrument").fill("bench")
    page.get_by_label("Planned beginning").fill("2031-06-01T09:00+00:00")
    page.get_by_label("Electrodes for standards").fill("4")
    page.get_by_label("Levels, µg/L").fill("0.5 1 2 8")
    page.get_by_label("Samples", exact=True).fill("\n".join(WATERS))
    page.get_by_role("button", name="Draw it").click()
    expect(page.get_by_role("heading", name="Run first run")).to_be_visible()


def done(page: Page) -> None:
    """Wait for the end of long work, and look at what came of it."""
    page.get_by_text("See what came of it").wait_for()
    page.get_by_text("See what came of it").click()


def test_from_an_empty_logbook_to_a_pdf(browser: Browser, empty: Served, tmp_path: Path) -> None:
    context = browser.new_context(accept_downloads=True)
    context.set_default_timeout(PATIENCE_MS)
    tab = Watched(context, empty.address)
    page = tab.page
    tab.go("/")
    expect(page.get_by_text("An empty logbook.")).to_be_visible()
    for name in BATCHES:
        record_batch(page, name)
    lay_out(page)
    plan = page.request.get(f"{page.url.split('?')[0]}?key=shown", headers={"accept": "application/json"}).json()
    page.get_by_role("link", name="Fill it in here").click()
    page.get_by_label("Curves and pre-scans").set_input_files(write_curves(tmp_path, plan))
    page.get_by_role("button", name="Look it through and take it in").click()
    done(page)
    expect(page.get_by_role("heading", name="Sheet first run.csv")).to_be_visible()
    page.get_by_role("link", name="Next").click()
    page.get_by_role("button", name="Calibrate").click()
    done(page)
    expect(page.get_by_role("heading", name="Limits per batch and protocol")).to_be_visible()
    page.get_by_role("link", name="Samples", exact=True).click()
    page.get_by_role("button", name="Read the 4 samples without a reading").click()
    done(page)
    page.get_by_role("link", name="Reports").click()
    page.get_by_role("button", name="Make it and keep it").click()
    done(page)
    with page.expect_download() as saved:
        page.get_by_role("link", name="Save it").click()
    text = "\n".join(one.extract_text() for one in PdfReader(io.BytesIO(Path(saved.value.path()).read_bytes())).pages)
    assert "accredited laboratory" in text
    assert all(code in text for code in plan["key"])
    assert [one for one in tab.messages if "favicon" not in one] == []
    assert tab.foreign == []
    context.close()
    with Logbook.open(empty.folder) as book:
        assert book.verify().sound
        assert {one.state for one in book.run_plans()} == {"taken in"}
        assert book.run_plans()[0].departures == ()
        truth = {code: WATERS[name] for code, name in plan["key"].items()}
        held = [one.reading.estimate for one in map(book.reading, [head.id for head in book.reading_heads()])]
        assert len(held) == len(truth)
