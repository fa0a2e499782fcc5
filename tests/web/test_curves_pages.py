"""The page Curves, its picture, and one curve in detail: the same choice in all of them, and the way back."""

from __future__ import annotations

import html
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from starlette.testclient import TestClient

from brinemark.faces.web.app import build_app
from brinemark.faces.web.desk import Desk
from brinemark.faces.web.pages.curve_choice import MOST
from brinemark.faces.web.places import PLACES
from brinemark.logbook import Logbook
from build import sheet_row, write_run
from season import BLANK, COVARIATE, Season, sample, standard

SEED = 20661
HOST = "127.0.0.1:8700"
PLAN = [BLANK, BLANK, standard(0.5), standard(2.0), standard(8.0)]
JSON = {"accept": "application/json"}


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Three batches, the last with a sample and a control, and a sheet whose batch has one row without a curve."""
    root = tmp_path_factory.mktemp("curves")
    (root / "sheets").mkdir()
    season = Season(root / "sheets", np.random.default_rng(SEED))
    Logbook.create(root / "book").close()
    with (root / "book" / "logbook.toml").open("a", encoding="utf-8") as settings:
        settings.write(COVARIATE)
    with Logbook.open(root / "book") as book:
        for day in range(1, 4):
            extra = [sample("S-mid", 1.5), ("control", 2.0, "C1")] if day == 3 else []
            book.add(season.batch(f"B{day}", [*PLAN, *extra], day=day))
        written = {"trace": "", "prescan": "", "signal": "2.1e-7", "signal_u": "4e-9", "signal_unit": "A"}
        book.add(write_run(root / "written", [sheet_row("W1-1", "standard", level="2", note="read <off>", **written)]))
    return root / "book"


@pytest.fixture(scope="module")
def pages(folder: Path) -> Iterator[TestClient]:
    desk = Desk(folder)
    with TestClient(build_app(desk, [HOST], PLACES), base_url=f"http://{HOST}") as client:
        yield client
    desk.close()


def data(pages: TestClient, address: str) -> Any:
    answer = pages.get(address, headers=JSON)
    assert answer.status_code == 200, answer.text
    return answer.json()


def electrodes(pages: TestClient, address: str) -> list[str]:
    return [one["electrode"] for one in data(pages, address)["curves"]]


def test_at_first_it_shows_blanks_and_standards_of_the_newest_batch(pages: TestClient) -> None:
    shown = data(pages, "/curves")
    assert [one["electrode"] for one in shown["curves"]] == [f"B3-{place}" for place in range(1, 6)]
    assert {one["role"] for one in shown["curves"]} == {"blank", "standard"}
    assert (shown["choice"]["batch"], shown["choice"]["role"]) == ("B3", "known")


def test_every_choice_narrows_what_is_shown(pages: TestClient) -> None:
    assert len(electrodes(pages, "/curves?batch=all")) == 17
    assert electrodes(pages, "/curves?batch=B3&role=sample") == ["B3-6"]
    assert electrodes(pages, "/curves?find=b2-4") == ["B2-4"]
    assert electrodes(pages, "/curves?instrument=field") == []
    options = data(pages, "/curves")["options"]
    sheet = next(value for value, words in options["sheet"] if words == "B1.csv")
    assert electrodes(pages, f"/curves?sheet={sheet}") == [f"B1-{place}" for place in range(1, 6)]
    assert [value for value, _ in options["role"]] == ["all", "known", "blank", "standard", "sample", "control"]


def test_a_choice_that_nothing_fits_and_one_that_is_none_are_told_apart(pages: TestClient) -> None:
    assert "No curve fits this choice." in pages.get("/curves?find=zzz").text
    assert pages.get("/curves?prescans=maybe").status_code == 404
    assert pages.get("/curves?from=900").status_code == 404


def test_the_picture_has_the_curves_of_the_table(pages: TestClient) -> None:
    for choice in ("batch=B2&role=known", "batch=B3&role=all&prescans=with", "batch=B1&role=known&shape=above"):
        shown = data(pages, f"/curves?{choice}")
        drawn = pages.get(shown["picture"])
        assert drawn.headers["content-type"].startswith("image/svg+xml")
        assert drawn.text.count('aria-roledescription="line mark"') == len(shown["curves"])


def test_pre_scans_stand_in_the_table_with_what_is_read_from_them(pages: TestClient) -> None:
    shown = data(pages, "/curves?batch=B1&role=blank&prescans=with")["curves"]
    assert [(one["electrode"], one["prescan"]) for one in shown] == [
        ("B1-1", True), ("B1-1", False), ("B1-2", True), ("B1-2", False),
    ]  # fmt: skip
    assert [one["role"] for one in shown[0]["signals"]] == ["prescan", "zero"]
    assert [one["role"] for one in shown[1]["signals"]] == ["main"]
    text = pages.get("/curves?batch=B1&role=blank&prescans=with").text
    assert "clean seawater" in text
    assert "pre-scan at the wave&#39;s place" in text


def test_the_table_is_the_same_as_the_logbook(pages: TestClient, folder: Path) -> None:
    shown = data(pages, "/curves?batch=B1&role=known")["curves"]
    with Logbook.open(folder) as book:
        rows = [row for row in book.rows() if row.row.batch == "B1"]
        for one, read in zip(shown, book.signals_of(rows), strict=True):
            main = read.of("main")
            assert main is not None
            assert (one["signals"][0]["signal"], one["signals"][0]["u"]) == (main.signal.value, main.signal.u)
            assert one["signals"][0]["record"] == main.record != ""


def test_above_sixty_curves_it_says_which_are_shown(tmp_path: Path) -> None:
    rows = [
        sheet_row(f"M1-{place}", level="0", measured_at=f"2026-03-01T{place // 60:02d}:{place % 60:02d}+00:00")
        for place in range(1, 72)
    ]
    sheet = write_run(tmp_path / "sheets", rows)
    with Logbook.create(tmp_path / "book") as book:
        book.add(sheet)
    desk = Desk(tmp_path / "book")
    many = TestClient(build_app(desk, [HOST], PLACES), base_url=f"http://{HOST}")
    first = many.get("/curves?batch=M1").text
    assert f"At most {MOST} curves are drawn at once: those of rows 1 to 60 of 71, in order of time." in first
    shown = data(many, "/curves?batch=M1&from=61")
    assert [one["electrode"] for one in shown["curves"]] == [f"M1-{place}" for place in range(61, 72)]
    drawn = many.get(shown["picture"])
    assert drawn.text.count('aria-roledescription="line mark"') == 11
    with_prescans = data(many, "/curves?batch=M1&prescans=with")
    assert len(with_prescans["curves"]) == MOST
    assert with_prescans["shown"]["last"] == MOST // 2
    desk.close()


def test_an_empty_logbook_says_what_comes_first(tmp_path: Path) -> None:
    Logbook.create(tmp_path / "book").close()
    desk = Desk(tmp_path / "book")
    empty = TestClient(build_app(desk, [HOST], PLACES), base_url=f"http://{HOST}")
    assert "No curve yet." in empty.get("/curves").text
    assert "No blank, standard or control with a curve yet" in empty.get("/curves/window").text
    desk.close()


def row_id(folder: Path, electrode: str) -> str:
    with Logbook.open(folder) as book:
        return next(row.id for row in book.rows() if row.row.electrode == electrode)


def test_one_curve_leads_back_to_everything_it_came_from(pages: TestClient, folder: Path) -> None:
    name = row_id(folder, "B2-4")
    shown, text = data(pages, f"/curves/{name}"), pages.get(f"/curves/{name}").text
    assert shown["words"] == "standard of 2 µg/L"
    assert shown["has_curve"] is True
    assert shown["unreadable"] == ""
    (main,) = shown["signals"]
    assert main["parts"]["noise"] ** 2 + main["parts"]["baseline"] ** 2 == pytest.approx((main["u"] * 1e9) ** 2)
    addresses = [html.unescape(one) for one in re.findall(r'(?:href|src)="(/[^"]+)"', text)]
    wanted = (
        "/electrodes/B2-4",
        f"/records/{main['record']}",
        f"/originals/{shown['file']['sha256']}",
        f"/originals/{shown['sheet']['sha256']}",
        f"/pictures/trace.svg?row={name}",
        f"/curves/{name}?prescan=1",
    )
    for address in wanted:
        assert address in addresses
        assert pages.get(address).status_code == 200
    assert shown["conditions"] == [
        {"name": "salinity", "value": 35.0}, {"name": "scan rate, V/s", "value": 0.1},
    ]  # fmt: skip
    assert "the wave of theory" in main["read_by"]["words"]


def test_its_neighbours_are_those_of_the_same_batch_in_order_of_time(pages: TestClient, folder: Path) -> None:
    shown = data(pages, f"/curves/{row_id(folder, 'B2-1')}")
    assert shown["before"] is None
    assert (shown["after"]["electrode"], shown["after"]["words"]) == ("B2-2", "blank")
    onward = data(pages, f"/curves/{row_id(folder, 'B2-5')}?prescan=1")
    assert onward["after"] is None
    assert onward["before"]["address"] == f"/curves/{row_id(folder, 'B2-4')}?prescan=1"


def test_a_pre_scan_is_shown_with_its_covariate_and_its_reading_at_the_wave_s_place(
    pages: TestClient, folder: Path
) -> None:
    name = row_id(folder, "B1-1")
    shown = data(pages, f"/curves/{name}?prescan=1")
    assert [one["role"] for one in shown["signals"]] == ["prescan", "zero"]
    assert shown["signals"][0]["unit"] == "C"
    assert pages.get(shown["picture"]).status_code == 200
    assert pages.get(f"/curves/{name}?prescan=1").text.count("<h1>Pre-scan of electrode B1-1</h1>") == 1
    missing = data(pages, f"/curves/{name}?prescan=1&covariate=dye")
    assert "[further_covariate.dye]" in missing["unreadable"]
    assert pages.get(missing["picture"]).status_code == 200


def test_a_row_without_a_curve_says_so_and_shows_what_was_written(pages: TestClient, folder: Path) -> None:
    name = row_id(folder, "W1-1")
    text = pages.get(f"/curves/{name}").text
    assert "No curve was kept for this row" in text
    assert "210.0 ± 4.0 nA" in text
    assert "no curve kept" in text
    assert "read &lt;off&gt;" in text
    assert "<img" not in text
    assert "This row has no pre-scan." in pages.get(f"/curves/{name}?prescan=1").text


def test_numbers_follow_the_decimal_style(pages: TestClient, folder: Path) -> None:
    name = row_id(folder, "W1-1")
    german = {"accept-language": "de-DE"}
    assert "210,0 ± 4,0 nA" in pages.get(f"/curves/{name}", headers=german).text
    assert "standard of 0,5 µg/L" in pages.get("/curves?batch=B1&role=known", headers=german).text


def test_a_row_that_is_none_is_not_there(pages: TestClient) -> None:
    assert pages.get("/curves/0123").status_code == 404
    assert pages.get("/pictures/overlay.svg?row=0123").status_code == 404
