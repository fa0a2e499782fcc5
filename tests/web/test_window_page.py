"""A window of the signal tried on the page: samples hidden, nothing in secret, and quick."""

from __future__ import annotations

import html
import re
import shutil
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from starlette.testclient import TestClient

from brinemark.faces.web import work
from brinemark.faces.web.app import build_app
from brinemark.faces.web.desk import Desk
from brinemark.faces.web.pages import window
from brinemark.faces.web.pages.window_view import BOTTOM, LEFT, RIGHT, TOP, ticks, view_of
from brinemark.faces.web.places import PLACES
from brinemark.logbook import Logbook
from brinemark.steps.measure import Traces
from brinemark.terms.pictures import OverlaidCurve
from season import BLANK, Season, sample, standard

SEED = 20662
HOST = "127.0.0.1:8700"
PLAN = [BLANK, BLANK, standard(0.5), standard(2.0), standard(8.0)]
JSON = {"accept": "application/json"}
TRIED = {"low": "0,44", "high": "0.74", "quantity": "height", "baseline": "chord", "sweep": "anodic"}
ADDRESS = "/curves/window?low=0.44&high=0.74&quantity=height&baseline=chord&sweep=anodic"


@pytest.fixture(scope="module")
def known_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    root = tmp_path_factory.mktemp("window")
    (root / "sheets").mkdir()
    season = Season(root / "sheets", np.random.default_rng(SEED))
    Logbook.create(root / "book").close()
    with (root / "book" / "logbook.toml").open("a", encoding="utf-8") as settings:
        settings.write("\n[calibration]\ndraws = 256\n")
    with Logbook.open(root / "book") as book:
        for day in range(1, 4):
            extra = [sample("S-mid", 1.5), ("control", 2.0, "C1")] if day == 3 else []
            book.add(season.batch(f"B{day}", [*PLAN, *extra], day=day))
    return root / "book"


@pytest.fixture
def desk(known_folder: Path, tmp_path: Path) -> Iterator[Desk]:
    shutil.copytree(known_folder, tmp_path / "book")
    made = Desk(tmp_path / "book")
    yield made
    made.close()


@pytest.fixture
def pages(desk: Desk) -> Iterator[TestClient]:
    with TestClient(build_app(desk, [HOST], PLACES), base_url=f"http://{HOST}") as client:
        yield client


def token(pages: TestClient) -> str:
    found = re.search(r'name="token" value="([^"]+)"', pages.get("/about").text)
    assert found is not None
    return found[1]


def send(
    pages: TestClient, fields: Mapping[str, str] = TRIED, address: str = "/curves/window", follow: bool = True
) -> Any:
    return pages.post(address, data={"token": token(pages), **fields}, follow_redirects=follow)


def entries(desk: Desk) -> int:
    return len(desk.book.audit())


def test_a_visit_tries_nothing_and_the_button_keeps_what_it_tries(pages: TestClient, desk: Desk) -> None:
    before = entries(desk)
    assert "not tried on the present curves" in pages.get(ADDRESS).text
    pages.get("/curves/window")
    pages.get("/curves/definitions")
    assert pages.get(f"/pictures/definition.svg?{ADDRESS.partition('?')[2]}").status_code == 404
    assert (entries(desk), desk.book.signals_tried()) == (before, ())
    answer = send(pages, follow=False)
    assert (answer.status_code, answer.headers["location"]) == (303, f"{ADDRESS}#effect")
    assert entries(desk) == before + 1
    assert desk.book.audit()[-1].action == "signal definitions tried"
    shown = pages.get(ADDRESS).text
    assert "What it does: height above a chord, 0.44 to 0.74 V, anodic, cycle last" in shown
    assert "2 definitions so far" in shown
    assert [one.words for one in desk.book.signals_tried()] == [
        "height above a chord, 0.40 to 0.76 V, anodic, cycle last",
        "height above a chord, 0.44 to 0.74 V, anodic, cycle last",
    ]
    send(pages)
    assert entries(desk) == before + 1


def test_no_curve_of_a_sample_is_read_by_any_of_its_addresses(
    pages: TestClient, desk: Desk, monkeypatch: pytest.MonkeyPatch
) -> None:
    read: list[str] = []
    get = Traces.get

    def spy(self: Traces, sha256: str, instrument: str) -> object:
        read.append(sha256)
        return get(self, sha256, instrument)

    monkeypatch.setattr(Traces, "get", spy)
    pages.get("/curves/window")
    send(pages)
    send(pages, TRIED | {"quantity": "charge", "sweep": "cathodic"})
    pages.get(f"/pictures/definition.svg?{ADDRESS.partition('?')[2]}")
    pages.get("/pictures/definition.svg")
    rows = desk.book.rows()
    hidden = {sha for row in rows if row.row.role == "sample" for sha in (row.trace_sha256, row.prescan_sha256)}
    assert len(hidden) == 2
    assert hidden.isdisjoint(read)
    assert {row.trace_sha256 for row in rows if row.row.role == "control"} <= set(read)


def test_the_effect_is_what_the_logbook_says(pages: TestClient, desk: Desk) -> None:
    send(pages)
    shown = pages.get(ADDRESS, headers=JSON).json()["trial"]
    trial = desk.book.definition_tried((0.44, 0.74))
    assert trial is not None
    plain = trial.to_dict()
    assert shown["sentences"] == plain["sentences"]
    assert [one["signal"] for one in shown["readings"]] == [one["signal"] for one in plain["tried"]["readings"]]
    assert [one["present"]["signal"] for one in shown["readings"]] == [
        one["signal"] for one in plain["present"]["readings"]
    ]
    assert shown["samples_looked_at"] == 0
    drawn = pages.get(shown["picture"]).text
    assert "present: height above a chord" in drawn
    assert "tried: height above a chord" in drawn


def test_only_the_changing_part_is_sent_when_that_is_asked(pages: TestClient) -> None:
    fields = {"token": token(pages), **TRIED}
    part = pages.post("/curves/window", data=fields, headers={"hx-request": "true"}).text
    assert part.lstrip().startswith('<section id="effect"')
    assert "<html" not in part


def test_what_is_wrong_is_said_beside_what_was_filled_in_and_nothing_is_stored(pages: TestClient, desk: Desk) -> None:
    before = entries(desk)
    for fields, words in (
        ({"low": "0.8", "high": "0.7"}, "low below high"),
        ({"low": "0.4", "high": ""}, "a window with one end"),
        ({"low": "wide", "high": "0.7"}, "a number"),
        ({"low": "0.4", "high": "0.7", "quantity": "area"}, "height or charge"),
        ({"low": "0.4", "high": "0.7", "sweep": "up"}, "anodic or cathodic"),
        ({"low": "0.4", "high": "0.7", "baseline": "none"}, "one of chord, polynomial, whittaker"),
    ):
        answer = send(pages, fields)
        assert answer.status_code == 422
        assert words in html.unescape(answer.text)
        assert f'value="{fields["low"]}"' in answer.text
    assert pages.post("/curves/window", data=TRIED).status_code == 403
    assert entries(desk) == before


def test_the_link_to_the_settings_fills_the_definition_in(pages: TestClient) -> None:
    send(pages)
    settings = pages.get(ADDRESS, headers=JSON).json()["trial"]["settings"]
    address, _, anchor = settings.partition("#")
    text = pages.get(address).text
    assert f'id="{anchor}"' in text
    assert re.findall(r'name="signal\.window_V" value="([^"]*)"', text) == ["0.44", "0.74"]


def test_it_says_when_samples_were_read_already(known_folder: Path, tmp_path: Path) -> None:
    shutil.copytree(known_folder, tmp_path / "read")
    with Logbook.open(tmp_path / "read") as book:
        book.calibrate()
        book.read("S-mid")
    desk = Desk(tmp_path / "read")
    pages = TestClient(build_app(desk, [HOST], PLACES), base_url=f"http://{HOST}")
    text = pages.get("/curves/window").text
    assert "<strong>Locked:</strong> a sample was read by the present definition." in text
    assert "Samples were read already (1 reading): a definition that is chosen now is not chosen blind." in text
    tried = send(pages).text
    assert "a change now is not blind, and every later reading says so" in tried
    desk.close()


def test_before_any_reading_nothing_is_called_locked(pages: TestClient) -> None:
    text = pages.get("/curves/window").text
    assert "Locked" not in text
    assert "What the present definition does" in text


class Heard:
    """Stands for the line from a job to the pages."""

    def __init__(self) -> None:
        self.said: list[str] = []

    def now(self, text: str) -> None:
        self.said.append(text)


def test_many_electrodes_are_tried_by_a_job_that_keeps_the_same_record(
    pages: TestClient, desk: Desk, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(window, "MOST_AT_ONCE", 3)
    begun: list[tuple[str, dict[str, Any]]] = []

    def begin(kind: str, _title: str, **arguments: Any) -> Any:
        begun.append((kind, arguments))
        return type("Job", (), {"id": "1"})()

    monkeypatch.setattr(desk.jobs, "begin", begin)
    answer = send(pages, follow=False)
    assert answer.headers["location"] == "/jobs/1"
    ((kind, arguments),) = begun
    heard = Heard()
    found = work.WORK[kind](desk.book, arguments, heard)  # type: ignore[arg-type]
    assert found["see"] == f"{ADDRESS}#effect"
    assert found["said"].startswith("It reads 16 (16 by the present one) of 16 curves.")
    assert heard.said == ["reading blanks, standards and controls"]
    assert "What it does" in pages.get(ADDRESS).text


def test_a_ranking_is_a_job_and_its_result_stands_in_the_list(
    pages: TestClient, desk: Desk, monkeypatch: pytest.MonkeyPatch
) -> None:
    begun: list[tuple[str, dict[str, Any]]] = []

    def begin(kind: str, _title: str, **arguments: Any) -> Any:
        begun.append((kind, arguments))
        return type("Job", (), {"id": "7"})()

    monkeypatch.setattr(desk.jobs, "begin", begin)
    answer = send(pages, {"low": "0.44", "high": "0.74"}, "/curves/definitions", follow=False)
    assert answer.headers["location"] == "/jobs/7"
    assert begun == [("rank", {"windows": [(0.44, 0.74)]})]
    heard = Heard()
    found = work.WORK["rank"](desk.book, begun[0][1], heard)  # type: ignore[arg-type]
    assert found["see"] == "/curves/definitions"
    assert "definition" in found["said"]
    assert "looking for the wave" in heard.said
    listed = pages.get("/curves/definitions", headers=JSON).json()["definitions"]
    assert len(listed) == 7
    assert {one["of"] for one in listed} == {7}
    first = pages.get(listed[1]["address"], headers=JSON).json()
    assert first["asked"]["low"] == "0.44"


def test_curves_stand_where_their_values_say_on_the_surface() -> None:
    x = np.linspace(-0.4, 0.9, 651)
    curves = [OverlaidCurve("B1-1", "blank", 0.0, x, 1e-7 + 0.0 * x), OverlaidCurve("B1-2", "2 ug/L", 2.0, x, 1e-7 * x)]
    view = view_of(curves, "")
    a, _, _, d, e, f = view["matrix"]
    assert (a * -0.4 + e, a * 0.9 + e) == (pytest.approx(LEFT, abs=0.01), pytest.approx(RIGHT, abs=0.01))
    low, high = view["y"]
    assert (d * low + f, d * high + f) == (pytest.approx(BOTTOM, abs=0.01), pytest.approx(TOP, abs=0.01))
    assert view["unit"] == "nA"
    assert [one["words"] for one in view["kinds"]] == ["blank", "2 µg/L"]
    assert [len(one["points"]) <= 160 for one in view["curves"]] == [True, True]
    assert view_of([], "the curves share no anodic sweep")["reason"] == "the curves share no anodic sweep"


def test_the_window_is_seen_from_close_where_that_is_wished_and_stays_so(pages: TestClient) -> None:
    whole, close = (pages.get(f"/curves/window{ask}", headers=JSON).json() for ask in ("", "?close=1"))
    assert whole["view"]["x"] == pytest.approx([-0.4, 0.9], abs=0.01)
    assert close["view"]["x"] == pytest.approx([0.40 - 0.18, 0.76 + 0.14], abs=0.01)  # the sweep ends at 0.9 V
    assert (whole["other_view"], close["other_view"]) == ("/curves/window?close=1", "/curves/window")
    answer = send(pages, TRIED | {"close": "1"}, follow=False)
    assert answer.headers["location"] == ADDRESS + "&close=1#effect"
    assert pages.get(f"{ADDRESS}&close=1", headers=JSON).json()["trial"]["differs"]


@pytest.mark.parametrize(
    ("low", "high", "about", "expected"),
    [
        (-0.5, 0.8, 8, [-0.4, -0.2, 0.0, 0.2, 0.4, 0.6, 0.8]),
        (0.0, 1.0, 5, [0.0, 0.2, 0.4, 0.6, 0.8, 1.0]),
        (431.0, 569.0, 5, [450.0, 500.0, 550.0]),
        (-3.2, 21.0, 5, [0.0, 5.0, 10.0, 15.0, 20.0]),
    ],
)
def test_ticks_are_round(low: float, high: float, about: int, expected: list[float]) -> None:
    assert ticks(low, high, about) == pytest.approx(expected)
