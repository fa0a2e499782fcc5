"""Draw the pictures of the docs anew: `python docs/make_pictures.py [--only-pages FOLDER]`.

It makes the demo, its calibration and a life, then serves its pages and takes them with an installed Chromium
(BRINEMARK_BROWSER may name one; the environment of the tests has the driver), and sets the first page of a report.
"""

from __future__ import annotations

import argparse
import os
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

from brinemark import Logbook
from brinemark.demo.fish import write_with_fish
from brinemark.demo.run import run_demo

LIFE, SAMPLE = "H15-6", "K1-tank-4"
"""A tank's electrode with a rise and a closing spike; a tank that two batches read."""
PICTURES = Path(__file__).resolve().parent / "pictures"
PAGES = {
    "next": ("/next", 620),
    "sample": (f"/samples/{SAMPLE}", 1050),
    "calibration": ("/calibration", 1000),
    "curves": ("/curves/window", 1000),
    "lay-out": ("/lay-out", 1000),
    "plan": ("/plan/batch?electrodes=6", 1500),
    "consignment": ("/consignments/K1", 1180),
    "plan-sample": ("/plan/sample?sample=K1-tank-7&water_mL=60", 1050),
}
"""Name of a picture, address, and height [pixel] that is shown of it."""
PROGRAMS = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable")
WIDTH, QUALITY = 1100, 60


def draw(logbook: Logbook) -> None:
    """The calibration and an electrode's life as SVG, and the first page of a report."""
    pictures = {"calibration": logbook.draw_calibration("svg"), "life": logbook.draw_life(LIFE)}
    for name, picture in pictures.items():
        (PICTURES / f"demo-{name}.svg").write_bytes(picture)
    report(logbook)


def report(logbook: Logbook) -> None:
    """The first page of a report."""
    (PICTURES / "report.png").write_bytes(logbook.report_preview("samples", SAMPLE, dots_per_inch=75.0)[0])


def take(folder: Path) -> None:
    """The pages as a browser shows them."""
    from playwright.sync_api import sync_playwright

    program = os.environ.get("BRINEMARK_BROWSER") or next(filter(None, map(shutil.which, PROGRAMS)), None)
    command = [sys.executable, "-m", "brinemark.faces.cli.main", "serve", str(folder), "--port", "0", "--quiet"]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as process, sync_playwright() as playwright:
        assert process.stdout is not None
        home = "http://" + process.stdout.readline().strip().rpartition("http://")[2].rstrip("/")
        browser = playwright.chromium.launch(executable_path=program, args=["--no-sandbox", "--disable-gpu"])
        page = browser.new_page(viewport={"width": WIDTH, "height": 800}, color_scheme="light")
        for name, (address, height) in PAGES.items():
            page.set_viewport_size({"width": WIDTH, "height": height})
            page.goto(home + address)
            page.wait_for_load_state("networkidle")
            page.screenshot(path=PICTURES / f"page-{name}.jpg", type="jpeg", quality=QUALITY)
        browser.close()
        process.terminate()


def main() -> None:
    """All pictures, from the demo of the default seed in a folder that is thrown away."""
    parser = argparse.ArgumentParser(description="Draw the pictures of the docs anew.")
    parser.add_argument("--only-pages", type=Path, metavar="FOLDER", help="of a demo's logbook that is there already")
    given = parser.parse_args()
    PICTURES.mkdir(exist_ok=True)
    if given.only_pages:
        with Logbook.open(given.only_pages) as logbook:
            report(logbook)
        take(given.only_pages)
        return
    with tempfile.TemporaryDirectory() as folder:
        result = run_demo(Path(folder) / "demo", charts=False, write=write_with_fish)
        with Logbook.open(result.logbook) as logbook:
            draw(logbook)
        take(result.logbook)


if __name__ == "__main__":
    main()
