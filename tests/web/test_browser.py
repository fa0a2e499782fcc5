"""The pages in a real browser: widths, light and dark, barriers, the console, and the network."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, BrowserContext, Page

from brinemark.logbook import Logbook
from tank_build import tank_csv
from web.fish_records import OTHERS, known_fish, quay
from web.web_bench import Served

AXE = (Path(__file__).parent / "vendor" / "axe.min.js").read_text(encoding="utf-8")
RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
WIDTHS = {"desktop": 1280, "tablet": 800, "phone": 390}
ADDRESSES = (
    "/next",
    "/plan",
    "/plan/batch",
    "/plan/batch?electrodes=4&levels=1",
    "/plan/batch/print?electrodes=4&levels=1",
    "/plan/batch/{kept}",
    "/plan/batch/{kept}/print",
    "/plan/kept",
    "/plan/sample",
    "/plan/sample?sample=S-full",
    "/plan/sample/print?sample=S-full",
    "/plan/what-helps",
    "/plan/studies",
    "/plan/studies/{study}",
    "/plan/fish",
    "/plan/fish/{fish}",
    "/plan/fish/{fish}/print",
    "/batches",
    "/batches/B5",
    "/batches/B6",
    "/batch-making",
    "/labels/B6",
    "/runs",
    "/runs/{sheet}",
    "/lay-out?batch=B6",
    "/lay-out?batch=B6&samples=2&dilutions=1+10&plan={kept}",
    "/plans",
    "/plans/{plan}",
    "/plans/{plan}?key=shown",
    "/plans/{plan}/fill",
    "/take-in",
    "/run-controls",
    "/curves",
    "/curves?batch=all&role=all&prescans=with",
    "/curves/{row}",
    "/curves/window",
    "/curves/definitions",
    "/calibration",
    "/calibration?batch=B2",
    "/samples",
    "/samples/S-mid",
    "/samples/S-full",
    "/electrodes/B5-3",
    "/consignments",
    "/consignments/K1",
    "/consignments/K1/tanks/A",
    "/consignments/K1/tanks/A/exposures",
    "/consignments/K1/tanks/C",
    "/new-consignment",
    "/happening?consignment=K1&tank=A",
    "/happening?consignment=K1&tank=A&what=sample",
    "/tank-records?corrects=K1",
    "/survey",
    "/worlds",
    "/holds",
    "/holds?fish=2&days=1+3&volumes=1&hours=12+24",
    "/other-methods",
    "/trials",
    "/reports",
    "/reports/{report}",
    "/records/{report}",
    "/settings",
    "/audit",
    "/audit/1",
    "/jobs",
    "/about",
    "/nothing",
)
PATIENCE_MS = 60_000
FISH = {"fish": 60, "prevalence": 0.05, "seed": 1, "pool": {"level": 2, "minimum": 0.5}, "hold": {"minimum": 0.5}}


class Watched:
    """A tab whose console and network are written down."""

    def __init__(self, context: BrowserContext, home: str) -> None:
        self.page: Page = context.new_page()
        self.messages: list[str] = []
        self.foreign: list[str] = []
        self.home = home
        self.page.on("console", lambda message: self.messages.append(f"{message.type}: {message.text}"))
        self.page.on("pageerror", lambda error: self.messages.append(f"error: {error}"))
        self.page.on("request", self._asked)

    def _asked(self, request: Any) -> None:
        if not request.url.startswith((self.home, "data:")):
            self.foreign.append(request.url)

    def go(self, address: str) -> None:
        self.page.goto(self.home + address)
        self.page.wait_for_load_state("networkidle")


@pytest.fixture
def tab(browser: Browser, pages: Served) -> Iterator[Watched]:
    context = browser.new_context(color_scheme="light", viewport={"width": 1280, "height": 900})
    context.set_default_timeout(PATIENCE_MS)
    yield Watched(context, pages.address)
    context.close()


def barriers(page: Page) -> list[str]:
    """What axe-core finds, by the protocol of the browser's own tools: a page's policy lets no script in."""
    session = page.context.new_cdp_session(page)
    session.send("Runtime.evaluate", {"expression": AXE})
    run = f"axe.run(document, {{runOnly: {json.dumps(RULES)}}}).then(found => JSON.stringify(found.violations))"
    answer = session.send("Runtime.evaluate", {"expression": run, "awaitPromise": True, "returnByValue": True})
    return [
        f"{one['id']}: {node['html'][:160]}" for one in json.loads(answer["result"]["value"]) for node in one["nodes"]
    ]


def known(folder: Path) -> dict[str, str]:
    """Ids of things that the addresses name; tanks are recorded first, for pages about them."""
    tanks = [row for row in quay() if row["what"] != "blank"]
    tanks += [row for row in known_fish() if row.get("sample") != "S-mid"]
    with Logbook.open(folder) as book:
        book.add_tanks(("record.csv", tank_csv(tanks).encode()))
        book.add_markers(("others.csv", OTHERS))
        rows = {row.row.electrode: row.id for row in book.rows()}
        return {
            "kept": book.keep_batch_plan(book.plan_batch(4, levels=[1.0]), "four of June").id,
            "fish": book.plan_fish(("quay", FISH)).id,
            "plan": book.run_plans()[0].id,
            "report": book.reports()[0].id,
            "row": rows["B5-3"],
            "sheet": book.sheets()[0].id,
            "study": book.study(("two", {"batches": 4, "batch": {"electrodes": 4}}), workers=0).id,
        }


def test_every_page_fits_every_width_without_barriers_messages_or_foreign_requests(tab: Watched, pages: Served) -> None:
    ids = known(pages.folder)
    for address in (one.format(**ids) for one in ADDRESSES):
        tab.page.emulate_media(color_scheme="light")
        tab.page.set_viewport_size({"width": WIDTHS["desktop"], "height": 900})
        tab.go(address)
        assert barriers(tab.page) == [], address
        tab.page.emulate_media(color_scheme="dark")
        for name, width in WIDTHS.items():
            tab.page.set_viewport_size({"width": width, "height": 900})
            over = tab.page.evaluate("document.documentElement.scrollWidth - window.innerWidth")
            assert over <= 0, f"{address} on a {name}"
        assert barriers(tab.page) == [], f"{address} on a {name}, dark"
    not_here = [one for one in tab.messages if "404 (Not Found)" in one]
    assert len(not_here) == 1  # the page that is not there
    assert [one for one in tab.messages if one not in not_here] == []
    assert tab.foreign == []


def test_a_sample_is_read_by_keyboard_alone_and_its_progress_seen(tab: Watched) -> None:
    tab.go("/samples/S-mid")
    page = tab.page
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.className") == "skip"
    page.keyboard.press("Enter")
    for _ in range(12):
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement.textContent.trim()") == "Read it anew":
            break
    page.keyboard.press("Enter")
    page.get_by_text("See what came of it").wait_for()
    assert page.get_by_text("1 sample read").is_visible()
    page.get_by_text("See what came of it").click()
    assert page.get_by_role("heading", name="Sample S-mid").is_visible()
    assert tab.messages == []
    assert tab.foreign == []


def test_without_javascript_the_same_is_done_by_forms(browser: Browser, pages: Served) -> None:
    context = browser.new_context(java_script_enabled=False)
    context.set_default_timeout(PATIENCE_MS)
    page = context.new_page()
    page.goto(pages.address + "/calibration")
    page.get_by_role("button", name="Calibrate anew").click()
    page.get_by_text("See what came of it").wait_for()
    assert page.get_by_text("was there already").is_visible()
    context.close()
