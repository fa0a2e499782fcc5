"""Surveys, holds and other methods by the pages: what is told, what is refused, and that looking stores nothing."""

from __future__ import annotations

import re
from typing import Any

import pytest

from brinemark.faces.web.guard import TOKEN
from brinemark.terms.markers import COLUMNS
from web.fish_records import OTHERS, happening, known_fish, many_tanks, quay, take_in
from web.test_jobs import wait
from web.web_bench import HOST, Bench

JSON = {"accept": "application/json"}


def send_table(bench: Bench, body: bytes, **fields: str) -> Any:
    data = {TOKEN: bench.token(), **fields}
    origin = {"origin": f"http://{HOST}"}
    return bench.client.post("/other-methods", data=data, files=[("table", ("others.csv", body))], headers=origin)


def test_a_survey_without_tests_says_why_there_is_no_prevalence(bench: Bench) -> None:
    page = bench.client.get("/survey")
    assert page.status_code == 200
    assert "No prevalence: no tank of fish of unknown history" in page.text


def test_a_survey_tells_each_world_apart_and_stores_nothing(bench: Bench) -> None:
    take_in(bench, quay())
    before = bench.desk.book.audit_head()
    page = bench.client.get("/survey").text
    assert page.count('class="world"') == 2
    assert "never averaged" in page
    assert "found in 2 of 2 tested tanks of 1 consignment" in page
    assert "No prevalence can be stated" in page  # two tanks of one consignment say nothing of a prevalence
    data = bench.client.get("/survey", headers=JSON).json()
    assert (data["survey"]["positive"], data["survey"]["tested"]) == (2, 2)
    for world in ("released", "not released"):
        for name in ("funnel", "seasons"):
            assert bench.client.get(f"/pictures/{name}.svg?world={world}").status_code == 200
    assert bench.client.get("/pictures/funnel.svg?world=third").status_code == 404
    assert bench.desk.book.audit_head() == before


def test_a_survey_over_many_tanks_is_a_job(bench: Bench) -> None:
    take_in(bench, many_tanks(42))
    assert "Work it out" in bench.client.get("/survey").text
    assert bench.client.get("/pictures/funnel.svg?world=released").status_code == 404
    done: Any = bench.send("/survey")
    job = wait(bench.desk.jobs.get(done.headers["location"].rpartition("/")[2]))
    assert (job.state, job.see) == ("done", "/survey"), job.said
    assert "1 of 1 tested tank" in bench.client.get("/survey").text


def test_holds_are_worked_out_from_the_address(bench: Bench) -> None:
    assert "Chances" not in bench.client.get("/holds").text
    asked = "/holds?fish=2&mass_g=7,5&days=1+3&volumes=1;2&hours=12+24"
    data = bench.client.get(asked, headers=JSON).json()
    assert (data["answer"]["fish"], data["answer"]["mass_g"], data["hours"]) == (2, 7.5, [12.0, 24.0])
    released, silent = data["worlds"]
    assert len(released["rows"]) == 4
    assert all(len(row["chances"]) == 2 for row in released["rows"])
    assert silent["reason"]
    page = bench.client.get(asked).text
    assert 'value="7,5"' in page
    drawn = re.search(r'src="(/pictures/holds\.svg[^"]*)"', page)
    assert drawn is not None
    assert bench.client.get(drawn[1].replace("&amp;", "&")).status_code == 200


@pytest.mark.parametrize(
    ("asked", "field"),
    [
        ("fish=0", ""),
        ("fish=2.5", "fish"),
        ("fish=many", "fish"),
        ("mass_g=-3", ""),
        ("mass_g=1+2", "mass_g"),
        ("volumes=0", ""),
        ("hours=long", "hours"),
        ("days=-1", ""),
        ("days=nan", "days"),
    ],
)
def test_holds_that_cannot_be_are_refused_with_what_was_typed(bench: Bench, asked: str, field: str) -> None:
    answer = bench.client.get(f"/holds?{asked}")
    assert answer.status_code == 422
    assert 'role="alert"' in answer.text
    assert "Chances</h2>" not in answer.text
    if field:
        assert re.search(rf'name="{field}"[^>]*aria-invalid="true"', answer.text)


def test_results_of_other_methods_come_in_and_stand_beside_the_readings(bench: Bench) -> None:
    assert "No results of other methods yet" in bench.client.get("/other-methods").text
    looked = send_table(bench, OTHERS, do="look")
    assert "4 results, 4 of them new; nothing wrong" in looked.text
    carried = re.search(r'name="carried" value="([^"]+)"', looked.text)
    assert carried is not None
    done: Any = bench.send("/other-methods", carried=carried[1], called="others.csv", do="take")
    assert done.status_code == 303
    page = bench.client.get(done.headers["location"]).text
    assert "4 results of others.csv recorded." in page
    assert "not found" in page
    assert "They report different quantities" in page
    drawn = re.findall(r'src="(/pictures/pairs\.svg[^"]*)"', page)
    assert len(drawn) == 1
    assert bench.client.get(drawn[0].replace("&amp;", "&")).status_code == 200
    again = send_table(bench, OTHERS, do="take")
    assert "nothing changed" in bench.client.get(again.headers["location"]).text
    data = bench.client.get("/other-methods?at=1", headers=JSON).json()
    assert [one["samples"] for one in data["methods"]] == [3, 1]


def test_every_fault_of_a_table_of_results_is_told_and_nothing_stored(bench: Bench) -> None:
    before = bench.desk.book.audit_head()
    bad = OTHERS.replace(b"1.4", b"much").replace(b"not found,0.6", b"not found,")
    answer = send_table(bench, bad, do="take")
    assert answer.status_code == 422
    assert set(re.findall(r'<tr><td class="n">(\d+)</td>', answer.text)) == {"2", "4"}
    for body in (b"", b"a,b\n1,2\n"):
        assert send_table(bench, body, do="take").status_code == 422
    none: Any = bench.send("/other-methods", do="take")
    assert none.status_code == 422
    assert "choose the table" in none.text
    assert bench.desk.book.audit_head() == before


def test_a_level_that_is_none_is_refused_and_an_empty_table_has_every_column(bench: Bench) -> None:
    assert bench.client.get("/other-methods?at=much").status_code == 404
    assert bench.client.get("/other-methods?at=-1").status_code == 404
    assert bench.client.get("/pictures/pairs.svg?first=a&second=b").status_code == 404
    assert bench.client.get("/other-methods/empty.csv").text.strip().split(",") == list(COLUMNS)


def test_exposures_that_agree_are_told_for_each_world_and_never_as_a_sign_of_one(bench: Bench) -> None:
    take_in(bench, quay())
    tank = bench.client.get("/consignments/K1/tanks/A").text
    assert 'href="/consignments/K1/tanks/A/exposures"' in tank
    page = bench.client.get("/consignments/K1/tanks/A/exposures").text
    assert page.count('class="world"') == 2
    assert "is no sign that there was one" in page
    assert "wrasse caught" in page
    data = bench.client.get("/consignments/K1/tanks/A/exposures", headers=JSON).json()
    assert [one["world"] for one in data["exposures"]["worlds"]] == ["released", "not released"]
    drawn = bench.client.get("/pictures/exposures.svg?consignment=K1&tank=A")
    assert drawn.status_code == 200
    assert b"</svg>" in drawn.content
    for address in ("/consignments/K1/tanks/C/exposures", "/consignments/K1/tanks/Z/exposures"):
        refused = bench.client.get(address, headers=JSON)
        assert refused.status_code == 404
        assert refused.json()["error"]
    assert 'href="/consignments/K1/tanks/C/exposures"' not in bench.client.get("/consignments/K1/tanks/C").text


def test_every_parameter_stands_with_its_source_and_own_experiments_are_named(bench: Bench) -> None:
    take_in(bench, known_fish())
    data = bench.client.get("/worlds", headers=JSON).json()
    assert [one["world"] for one in data["worlds"]] == ["released", "not released"]
    assert all(p["source"] and p["standing"] for one in data["worlds"] for p in one["parameters"])
    page = bench.client.get("/worlds").text
    assert "T1, X" in page
    assert "No world of own experiments" in page
    assert "Fit them</button>" not in page  # its water has no background
    done: Any = bench.send("/worlds")
    job = wait(bench.desk.jobs.get(done.headers["location"].rpartition("/")[2]))
    assert job.state == "refused"
    assert "no own experiment that can be used" in job.said


def test_a_spiked_tank_is_fitted_and_the_fit_kept(bench: Bench) -> None:
    spiked = [
        happening("E1", "filled", "01T07:00", tank="E", volume_L="20"),
        happening("E1", "spiked", "01T08:00", tank="E", amount_ug="60"),
        happening("E1", "sample", "02T08:00", tank="E", sample="S-mid"),
    ]
    take_in(bench, spiked)
    assert "Fit them</button>" in bench.client.get("/worlds").text
    done: Any = bench.send("/worlds")
    job = wait(bench.desk.jobs.get(done.headers["location"].rpartition("/")[2]))
    assert (job.state, job.see) == ("done", "/worlds"), job.said
    page = bench.client.get("/worlds").text
    assert "Fit them anew</button>" in page
    assert "What they say" in page
