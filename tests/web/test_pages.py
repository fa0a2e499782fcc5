"""What the pages answer: to people, to programs, and when something is wrong."""

from __future__ import annotations

import json
import re
from html import unescape

import pytest

from web.web_bench import Bench

LINK = re.compile(r'(?:href|src)="([^"#]+)')
JSON = {"accept": "application/json"}


def links(text: str) -> set[str]:
    return {unescape(one) for one in LINK.findall(text) if one.startswith("/")}


def test_every_link_of_every_page_leads_somewhere(bench: Bench) -> None:
    waiting, seen = ["/"], {"/"}
    while waiting:
        address = waiting.pop()
        answer = bench.client.get(address)
        assert answer.status_code in (200, 303), f"{address}: {answer.status_code}"
        found = links(answer.text) if answer.headers.get("content-type", "").startswith("text/html") else set()
        found |= {answer.headers["location"]} if answer.status_code == 303 else set()
        waiting += sorted(found - seen)
        seen |= found
    assert {"/samples/S-mid", "/electrodes/B5-3", "/audit", "/calibration"} <= seen
    assert any(one.startswith("/originals/") for one in seen)
    assert len(seen) > 60


@pytest.mark.parametrize(
    "address", ["/samples", "/samples/S-mid", "/calibration", "/audit", "/electrodes/B5-3", "/jobs"]
)
def test_a_program_gets_the_data_of_a_page_at_the_same_address(bench: Bench, address: str) -> None:
    answer = bench.client.get(address, headers=JSON)
    assert answer.headers["content-type"] == "application/json"
    data = json.loads(answer.text, parse_constant=lambda name: pytest.fail(f"{name} in JSON"))
    assert data["schema"] == 1
    assert data["title"]
    assert "<" not in data["title"]


def test_the_data_of_a_sample_is_what_read_answers(bench: Bench) -> None:
    data = bench.client.get("/samples/S-mid", headers=JSON).json()
    stored = next(head for head in bench.desk.book.reading_heads() if head.sample == "S-mid")
    plain = bench.desk.book.reading(stored.id).to_dict()
    found = data["reading"]
    for use in found["electrodes"]:
        for line in use["readings"]:
            assert line.pop("words")
            assert line.pop("row_id")
    assert found == json.loads(json.dumps(plain))
    assert data["sentence"] == stored.sentence


def test_looking_at_pages_changes_nothing(bench: Bench) -> None:
    before = bench.desk.book.audit_head()
    for address in ("/samples", "/samples/S-mid", "/calibration", "/audit", "/electrodes/B5-3", "/pictures/fit.svg"):
        bench.client.get(address)
    assert bench.desk.book.audit_head() == before


@pytest.mark.parametrize(
    "address",
    ["/samples/nobody", "/electrodes/%2e%2e%2f", "/records/00", "/originals/..%2f..%2fetc", "/jobs/77", "/no"],
)
def test_what_is_not_there_has_one_page_and_one_form_as_data(bench: Bench, address: str) -> None:
    page, data = bench.client.get(address), bench.client.get(address, headers=JSON)
    assert page.status_code == data.status_code == 404
    assert set(data.json()) == {"schema", "status", "error"}
    assert "Traceback" not in page.text
    assert "<h1>Not here</h1>" in page.text


def test_a_fault_of_the_program_shows_no_inside(bench: Bench, monkeypatch: pytest.MonkeyPatch) -> None:
    def broken() -> None:
        raise RuntimeError("secret inside")

    monkeypatch.setattr(bench.desk, "kept", lambda *_: broken())
    bench.client._transport.raise_server_exceptions = False  # type: ignore[attr-defined]
    answer = bench.client.get("/samples")
    assert answer.status_code == 500
    assert "secret inside" not in answer.text
    assert "A fault of the program" in answer.text


def test_a_file_comes_back_byte_for_byte_under_the_name_it_came_with(bench: Bench) -> None:
    row = next(row for row in bench.desk.book.rows() if row.trace_sha256)
    answer = bench.client.get(f"/originals/{row.trace_sha256}")
    original, body = bench.desk.book.original(row.trace_sha256 or "")
    assert answer.content == body
    assert answer.headers["content-disposition"].startswith("attachment; filename=")
    assert answer.headers["content-type"] == "application/octet-stream"
    assert original.name.rpartition("/")[2] in answer.headers["content-disposition"]


def test_numbers_follow_the_language_and_then_the_choice_of_the_reader(bench: Bench) -> None:
    german = {"accept-language": "de-DE,de;q=0.9"}
    point, comma = bench.client.get("/calibration").text, bench.client.get("/calibration", headers=german).text
    assert re.search(r"\d\.\d", re.sub(r"<[^>]*>", "", point))
    cells = re.findall(r'<td class="n">([^<]*)</td>', comma)
    assert any("," in cell for cell in cells)
    assert not any("." in cell for cell in cells)
    bench.send("/about", decimal="point")
    assert re.findall(
        r'<td class="n">([^<]*)</td>', bench.client.get("/calibration", headers=german).text
    ) == re.findall(r'<td class="n">([^<]*)</td>', point)


def test_tables_are_searched_and_turned(bench: Bench) -> None:
    data = bench.client.get("/samples?find=FULL", headers=JSON).json()
    assert [one["sample"] for one in data["samples"]] == ["S-full"]
    assert bench.client.get("/samples?from=0", headers=JSON).status_code == 404
    assert bench.client.get("/audit?find=calibration", headers=JSON).json()["shown"]["total"] >= 1


def test_settings_that_are_not_sound_are_said_on_every_page_and_the_pages_come_back(bench: Bench) -> None:
    path = bench.desk.folder / "logbook.toml"
    good = path.read_text(encoding="utf-8")
    path.write_text(good + "\n[nonsense]\n", encoding="utf-8")
    answer = bench.client.get("/samples")
    assert answer.status_code == 404
    assert "nonsense" in answer.text
    path.write_text(good, encoding="utf-8")
    assert bench.client.get("/samples").status_code == 200


def test_residuals_of_the_calibration_are_a_picture_of_the_batches_chosen(bench: Bench) -> None:
    data = bench.client.get("/calibration", headers=JSON).json()
    assert data["judged"] == 5
    assert data["residuals"].startswith("/pictures/residuals.svg?calibration=")
    one = bench.client.get("/calibration?batch=B4", headers=JSON).json()
    assert one["residuals"].endswith("&batch=B4")
    drawn = bench.client.get(one["residuals"]).text
    assert "4 electrodes of 1 batch against level" in drawn
    assert bench.client.get("/pictures/residuals.svg?batch=nowhere").status_code == 404


def test_what_an_earlier_version_answered_is_still_shown(bench: Bench, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("brinemark.steps.chosen.ENGINE", "9.9.9/1")
    page = bench.client.get("/samples/S-mid")
    assert "Not read yet" not in page.text
    assert "calibrate first" in bench.client.get("/samples").text
    for address in (one for one in links(page.text) if one.startswith("/pictures/")):
        assert bench.client.get(address).status_code == 200, address
    assert "Calibrate</button>" in bench.client.get("/next").text
