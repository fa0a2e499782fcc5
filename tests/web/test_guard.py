"""Nobody but our own pages, asked by their own address, reads or changes a logbook."""

from __future__ import annotations

import pytest
from starlette.testclient import TestClient

from brinemark.faces.web.guard import COOKIE, HEADERS, MOST_BYTES, TOKEN, token_for
from brinemark.faces.web.places import PLACES
from web.web_bench import HOST, Bench

POSTS = sorted(place.address for place in PLACES if place.post)


def audit_entries(bench: Bench) -> int:
    return len(bench.desk.book.audit())


@pytest.mark.parametrize("host", ["evil.example:8731", "127.0.0.1", "127.0.0.1:80", "localhost.evil.example:8731", ""])
def test_another_name_of_this_machine_is_turned_away(bench: Bench, host: str) -> None:
    answer = bench.client.get("/samples", headers={"host": host})
    assert answer.status_code == 421
    assert "S-mid" not in answer.text


@pytest.mark.parametrize("origin", ["http://evil.example", "null", "https://127.0.0.1:8731", "http://127.0.0.1:80"])
def test_a_form_of_another_page_is_turned_away_even_with_the_token(bench: Bench, origin: str) -> None:
    token = bench.token()
    answer = bench.client.post("/calibration", data={TOKEN: token}, headers={"origin": origin})
    assert answer.status_code == 403
    assert bench.desk.jobs.all() == []


@pytest.mark.parametrize("site", ["cross-site", "same-site"])
def test_a_form_that_a_browser_calls_foreign_is_turned_away(bench: Bench, site: str) -> None:
    answer = bench.client.post("/calibration", data={TOKEN: bench.token()}, headers={"sec-fetch-site": site})
    assert answer.status_code == 403


@pytest.mark.parametrize("address", POSTS)
def test_no_form_works_without_its_token(bench: Bench, address: str) -> None:
    bench.token()
    before = audit_entries(bench)
    way = address.replace("{name:path}", "S-mid").replace("{id}", "1")
    for data in (
        {},
        {TOKEN: ""},
        {TOKEN: "0" * 64},
        {TOKEN: token_for(b"another start", bench.client.cookies[COOKIE])},
    ):
        answer = bench.client.post(way, data=data)
        assert answer.status_code == 403
        assert "load its page again" in answer.text
    assert bench.desk.jobs.all() == []
    assert audit_entries(bench) == before


def test_the_token_of_one_browser_does_not_serve_another(bench: Bench) -> None:
    stolen = bench.token()
    other = TestClient(bench.client.app, base_url=f"http://{HOST}", follow_redirects=False)
    other.get("/about")
    assert other.cookies[COOKIE] != bench.client.cookies[COOKIE]
    assert other.post("/calibration", data={TOKEN: stolen}).status_code == 403


def test_the_cookie_stays_with_our_own_pages(bench: Bench) -> None:
    written = bench.client.get("/about").headers["set-cookie"].lower()
    assert "httponly" in written
    assert "samesite=strict" in written


@pytest.mark.parametrize("method", ["PUT", "DELETE", "PATCH", "OPTIONS", "TRACE"])
def test_other_methods_are_turned_away(bench: Bench, method: str) -> None:
    assert bench.client.request(method, "/samples").status_code == 405


def test_too_much_at_once_is_refused_before_it_is_read(bench: Bench) -> None:
    headers = {"content-length": str(MOST_BYTES + 1), "content-type": "multipart/form-data; boundary=x"}
    answer = bench.client.post("/samples", content=b"", headers=headers)
    assert answer.status_code == 413
    assert "600 MB" in answer.text


@pytest.mark.parametrize(
    "address", ["/samples", "/static/pages.css", "/nothing", "/pictures/fit.svg", "/originals/none", "/static/none"]
)
def test_every_answer_says_what_a_browser_may_do_with_it(bench: Bench, address: str) -> None:
    answer = bench.client.get(address)
    for name, value in HEADERS.items():
        assert answer.headers[name] == value
    assert "unsafe" not in answer.headers["content-security-policy"]


def test_no_page_holds_style_or_script_of_its_own(bench: Bench) -> None:
    for address in ("/samples", "/samples/S-mid", "/calibration", "/audit", "/about", "/nothing"):
        text = bench.client.get(address).text
        assert " style=" not in text
        assert "<style" not in text
        assert " onclick=" not in text
        assert "<script>" not in text
