"""The pages of curves in a logbook of spectra: absorbance, nanometres, a band in place of a wave."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from starlette.testclient import TestClient

from brinemark.faces.web.app import build_app
from brinemark.faces.web.desk import Desk
from brinemark.faces.web.places import PLACES
from brinemark.logbook import Logbook
from brinemark.science.curve.absorbance_theory import gaussian_band

HOST = "127.0.0.1:8700"
JSON = {"accept": "application/json"}
BAND = 'quantity = "band"\nwindow_nm = [420.0, 480.0]'
DIFFERENCE = 'quantity = "difference"\nwavelengths_nm = [450.0, 490.0]'
AT = np.arange(390.0, 521.0)
LEVELS = (0.0, 0.0, 1.0, 1.0, 4.0)


def spectrum(path: Path, height: float, rng: np.random.Generator) -> None:
    values = 0.1 + 0.6 * gaussian_band(AT, 430.0, 60.0) + height * gaussian_band(AT, 450.0, 18.0)
    values = values + 5e-4 * rng.standard_normal(AT.size)
    lines = [f"{at:.0f},{value:.5f}" for at, value in zip(AT, values, strict=True)]
    path.write_text("\n".join(["wavelength_nm,absorbance", *lines, ""]), encoding="utf-8")


def spectra(folder: Path, signal: str) -> Path:
    """A logbook of two batches of five films, each with its pre-scan."""
    rng = np.random.default_rng(20663)
    Logbook.create(folder / "book").close()
    settings = f'[signal]\n{signal}\nagainst = "prescan"\n\n[prescan]\nuse = "covariate"\n'
    (folder / "book" / "logbook.toml").write_text(settings, encoding="utf-8")
    rows = ["electrode,batch,instrument,measured_at,role,level,trace,prescan"]
    for batch in ("L1", "L2"):
        for place, level in enumerate(LEVELS, start=1):
            name = f"{batch}-{place}"
            spectrum(folder / f"{name}.csv", 0.12 * level / (2.0 + level), rng)
            spectrum(folder / f"{name}-pre.csv", 0.0, rng)
            role = "standard" if level else "blank"
            rows.append(
                f"{name},{batch},uv,2031-05-0{batch[1]}T10:{place:02d}Z,{role},{level},{name}.csv,{name}-pre.csv"
            )
    sheet = folder / "run.csv"
    sheet.write_text("\n".join([*rows, ""]), encoding="utf-8")
    with Logbook.open(folder / "book") as book:
        book.add(sheet)
    return folder / "book"


@pytest.fixture(params=[BAND, DIFFERENCE], ids=["band", "difference"])
def pages(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[TestClient]:
    desk = Desk(spectra(tmp_path, request.param))
    with TestClient(build_app(desk, [HOST], PLACES), base_url=f"http://{HOST}") as client:
        yield client
    desk.close()


def data(pages: TestClient, address: str) -> Any:
    answer = pages.get(address, headers=JSON)
    assert answer.status_code == 200, answer.text
    return answer.json()


def test_spectra_are_laid_over_one_another_and_shown_one_by_one(pages: TestClient) -> None:
    shown = data(pages, "/curves?batch=L2&role=known&prescans=with")
    assert len(shown["curves"]) == 10
    drawn = pages.get(shown["picture"]).text
    assert drawn.count('aria-roledescription="line mark"') == 10
    assert "wavelength, nm" in drawn
    assert "absorbance" in drawn
    name = shown["curves"][1]["row_id"]
    one = data(pages, f"/curves/{name}")
    assert one["signals"][0]["unit"] == "1"
    assert pages.get(one["picture"]).status_code == 200
    before = data(pages, f"/curves/{name}?prescan=1")
    assert "[covariate]" in before["unreadable"]
    assert pages.get(before["picture"]).status_code == 200
    assert "the settings ask for no quantity of it" in pages.get(f"/curves/{name}?prescan=1").text


def test_a_band_is_tried_in_nanometres(pages: TestClient) -> None:
    page = data(pages, "/curves/window")
    assert (page["definition"]["unit"], page["definition"]["sweeps"]) == ("nm", [])
    assert page["view"]["unit"] == "1"
    assert page["view"]["x"] == [390.0, 520.0]
    found = re.search(r'name="token" value="([^"]+)"', pages.get("/about").text)
    assert found is not None
    fields = {"token": found[1], "low": "425", "high": "475", "quantity": "band", "baseline": "chord"}
    told = pages.post("/curves/window", data=fields)
    assert told.status_code == 200
    assert "What it does: band above a chord, 425 to 475 nm, against the pre-scan" in told.text
    trial = data(pages, "/curves/window?low=425&high=475&quantity=band&baseline=chord")["trial"]
    assert trial["tried"]["read"] == 10
    assert trial["tried"]["scatter_share"]["share"] < 0.2
    assert pages.get(trial["picture"]).status_code == 200
    assert len(data(pages, "/curves/definitions")["definitions"]) == 2
    refused = pages.post("/curves/window", data=fields | {"quantity": "height"})
    assert refused.status_code == 422


def test_a_definition_without_a_window_leaves_the_ends_open(tmp_path: Path) -> None:
    desk = Desk(spectra(tmp_path, DIFFERENCE))
    client = TestClient(build_app(desk, [HOST], PLACES), base_url=f"http://{HOST}")
    page = data(client, "/curves/window")
    assert (page["definition"]["low"], page["definition"]["high"]) == ("", "")
    assert "difference of 450 and 490 nm" in client.get("/curves/window").text
    assert client.get("/curves/window?quantity=band").status_code == 404  # no end of a window is named
    desk.close()
