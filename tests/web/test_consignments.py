"""Consignments by the pages: what an inspector reads of each tank, world by world, and what is kept."""

from __future__ import annotations

import re
from typing import Any

import pytest

from web.fish_records import known_fish, many_tanks, quay, take_in
from web.test_jobs import wait
from web.web_bench import Bench

JSON = {"accept": "application/json"}


@pytest.fixture
def quayside(bench: Bench) -> Bench:
    take_in(bench, quay())
    return bench


def plain(text: str) -> str:
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", text))


def test_the_list_says_how_much_was_read_and_found(quayside: Bench) -> None:
    assert "No consignment yet" not in quayside.client.get("/consignments").text
    found = quayside.client.get("/consignments", headers=JSON).json()["consignments"]
    assert [one["name"] for one in found] == ["K1"]
    assert (found[0]["fish"], found[0]["tanks"], found[0]["samples"], found[0]["read"]) == (6, 3, 2, 2)
    assert (found[0]["found"], found[0]["blanks"], found[0]["blanks_read"]) == (2, 1, 1)
    assert "No consignment has this" in quayside.client.get("/consignments?find=nowhere").text


def test_an_empty_logbook_says_what_a_tank_record_is(bench: Bench) -> None:
    assert "No consignment yet" in bench.client.get("/consignments").text
    none = bench.client.get("/trials")
    assert none.status_code == 200
    assert "history" in none.text
    assert "Keep this trial" not in none.text


def test_each_tank_is_told_world_by_world_and_never_convicted(quayside: Bench) -> None:
    page = quayside.client.get("/consignments/K1")
    assert page.status_code == 200
    text = plain(page.text)
    assert page.text.count('class="world"') == 6  # three tanks, two worlds each
    assert text.count("World: released") == text.count("World: not released")
    assert "it never convicts" in text
    assert "never averaged" in text
    assert "harbour outflow" in text
    assert "no source water blank was taken" in text
    assert "no water of this tank was taken" in text.lower()
    for word in ("guilty", "cyanide found", "caught with cyanide", "not exposed,"):
        assert word not in text.lower()
    assert "one &lt;b&gt;pale&lt;/b&gt; fish" in page.text


def test_the_json_of_a_consignment_is_its_answer(quayside: Bench) -> None:
    data = quayside.client.get("/consignments/K1", headers=JSON).json()
    answer = quayside.desk.book.consider("K1").to_dict()
    assert data["answer"]["tanks"] == answer["tanks"]
    assert [one["tank"] for one in data["sections"]] == ["A", "B", "C"]
    assert data["kept"] is None


def test_an_interpretation_is_kept_by_the_button_and_then_known_as_kept(quayside: Bench) -> None:
    before = quayside.desk.book.audit_head()
    quayside.client.get("/consignments/K1")
    quayside.client.get("/consignments/K1/tanks/A")
    assert quayside.desk.book.audit_head() == before  # looking stores nothing
    done: Any = quayside.send("/consignments/K1", do="keep")
    assert done.status_code == 303
    page = quayside.client.get(done.headers["location"]).text
    assert "Keep this interpretation" not in page
    kept = quayside.client.get("/consignments/K1", headers=JSON).json()["kept"]
    assert quayside.client.get(f"/records/{kept}").status_code == 200
    assert quayside.client.get("/consignments", headers=JSON).json()["consignments"][0]["kept"] == kept
    assert 'href="/consignments/K1"' in quayside.client.get("/audit").text


def test_what_a_form_of_the_page_cannot_mean_is_refused(quayside: Bench) -> None:
    odd: Any = quayside.send("/consignments/K1", do="burn")
    assert odd.status_code == 422
    assert "nothing was stored" in odd.text
    nobody: Any = quayside.send("/consignments/K9", do="keep")
    assert nobody.status_code == 404
    for address in ("/consignments/K9", "/consignments/K1/tanks/Z", "/consignments/K9/tanks/A"):
        assert quayside.client.get(address).status_code == 404


def test_the_page_of_a_tank_tells_everything_in_order(quayside: Bench) -> None:
    page = quayside.client.get("/consignments/K1/tanks/A").text
    text = plain(page)
    headings = re.findall(r"<h2[^>]*>(.*?)</h2>", page)
    assert headings[0] == "What it weighs, in each world"
    assert "The evidence in full sentences" in headings
    assert "What happened" in headings
    assert "part of the water was replaced" in text
    assert "Share that was replaced: 0.25" in text
    assert 'href="/samples/S-mid"' in page
    assert "/pictures/tank.svg?consignment=K1&amp;tank=A" in page
    data = quayside.client.get("/consignments/K1/tanks/A", headers=JSON).json()
    assert data["answer"]["tank"] == "A"
    assert [one["world"] for one in data["worlds"]] == ["released", "not released"]


def test_a_background_that_is_not_known_gives_a_table_and_no_ratio(quayside: Bench) -> None:
    data = quayside.client.get("/consignments/K1/tanks/A", headers=JSON).json()
    assert data["worlds"][0]["weight"] is None
    assert len(data["worlds"][0]["backgrounds"]["rows"]) > 3
    assert "Ratios over supposed backgrounds" in quayside.client.get("/consignments/K1/tanks/A").text


@pytest.mark.parametrize("name", ["consignment.svg?consignment=K1", "tank.svg?consignment=K1&tank=A"])
def test_pictures_are_drawn_when_they_are_asked_for(quayside: Bench, name: str) -> None:
    drawn = quayside.client.get(f"/pictures/{name}")
    assert drawn.status_code == 200
    assert drawn.headers["content-type"] == "image/svg+xml"
    assert b"</svg>" in drawn.content


@pytest.mark.parametrize(
    "name",
    [
        "consignment.svg?consignment=K9",
        "tank.svg?consignment=K1&tank=Z",
        "weights.svg?consignment=K1&tank=Z",
        "moves.svg?consignment=K1&tank=A",
        "calls.svg?world=released",
        "ratios.svg?world=nowhere",
    ],
)
def test_pictures_of_nothing_are_refused_in_words(quayside: Bench, name: str) -> None:
    answer = quayside.client.get(f"/pictures/{name}", headers=JSON)
    assert answer.status_code == 404
    assert answer.json()["error"]


def test_decimal_commas_reach_every_sentence(quayside: Bench) -> None:
    german = {"accept-language": "de-DE,de;q=0.9"}
    page = quayside.client.get("/consignments/K1", headers=german).text
    told = [
        plain(one) for one in re.findall(r'<p class="(?:statement|support)[^>]*>.*?</p>|<p><strong>What.*?</p>', page)
    ]
    assert len(told) > 6
    assert any(re.search(r"\d,\d+.* µg/L", one) for one in told)
    assert not any(re.search(r"\d\.\d", one) for one in told)


def test_many_tanks_are_worked_out_as_a_job_and_shown_in_parts(bench: Bench) -> None:
    take_in(bench, many_tanks(45))
    before = bench.client.get("/consignments/L1").text
    assert "Work it out" in before
    assert bench.client.get("/consignments/L1/tanks/T1").status_code == 200  # one alone needs no job
    done: Any = bench.send("/consignments/L1", do="consider")
    job = wait(bench.desk.jobs.get(done.headers["location"].rpartition("/")[2]))
    assert (job.state, job.see) == ("done", "/consignments/L1")
    page = bench.client.get("/consignments/L1")
    assert page.text.count('class="tank"') == 20
    assert "1 to 20 of 45 tanks" in page.text
    assert bench.client.get("/consignments/L1?from=41").text.count('class="tank"') == 5
    kept: Any = bench.send("/consignments/L1", do="keep")
    job = wait(bench.desk.jobs.get(kept.headers["location"].rpartition("/")[2]))
    assert job.state == "done", job.said
    assert bench.client.get("/consignments", headers=JSON).json()["consignments"][0]["kept"]


def test_trials_are_shown_and_kept(bench: Bench) -> None:
    take_in(bench, known_fish())
    data = bench.client.get("/trials", headers=JSON).json()
    assert [(one["tank"], one["found"]) for one in data["tanks"]] == [("U", False), ("X", True)]
    assert (data["specificity"]["count"], data["specificity"]["of"]) == (1, 1)
    page = plain(bench.client.get("/trials").text)
    assert "World: released" in page
    assert "1 of 1: 100 %" in page
    odd: Any = bench.send("/trials", do="burn")
    assert odd.status_code == 422
    done: Any = bench.send("/trials", do="keep")
    job = wait(bench.desk.jobs.get(done.headers["location"].rpartition("/")[2]))
    assert (job.state, job.see) == ("done", "/trials"), job.said
    assert "Keep this trial" not in bench.client.get("/trials").text
