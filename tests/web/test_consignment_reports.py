"""Reports of consignments by the pages: the choice, a choice left out, and the list of reports with their names."""

from __future__ import annotations

from typing import Any

from web.fish_records import quay, take_in
from web.test_jobs import wait
from web.web_bench import Bench

JSON = {"accept": "application/json"}


def test_without_a_consignment_there_is_no_report_of_one_to_choose(bench: Bench) -> None:
    assert 'value="consignment"' not in bench.client.get("/reports").text
    take_in(bench, quay())
    page = bench.client.get("/reports?kind=consignment&name=K1").text
    assert 'value="consignment" checked' in page
    assert "<option selected>K1</option>" in page


def test_a_consignment_is_reported_by_the_form_and_listed_by_its_name(bench: Bench) -> None:
    take_in(bench, quay())
    refused: Any = bench.send("/reports", kind="consignment", consignment="", decimal="", do="make")
    assert refused.status_code == 422
    assert "choose the consignment" in refused.text
    begun: Any = bench.send("/reports", kind="consignment", consignment="K1", decimal="comma", do="make")
    assert begun.status_code == 303
    job = wait(bench.desk.jobs.get(begun.headers["location"].rpartition("/")[2]))
    assert job.state == "done", job.to_dict()
    made = bench.client.get("/reports", headers=JSON).json()["made"]
    assert (made[0]["kind"], made[0]["names"]) == ("a consignment", ["K1"])
    file = bench.client.get(f"/reports/{made[0]['id']}/pdf")
    assert file.content.startswith(b"%PDF-1.7")


def test_a_report_of_the_trial_is_asked_for_by_the_form_and_says_what_it_lacks(bench: Bench) -> None:
    assert 'value="trials"' not in bench.client.get("/reports").text
    take_in(bench, quay())
    assert 'value="trials"' in bench.client.get("/reports").text
    begun: Any = bench.send("/reports", kind="trials", consignment="K1", decimal="", do="make")
    job = wait(bench.desk.jobs.get(begun.headers["location"].rpartition("/")[2]))
    assert job.state == "refused", job.to_dict()
    assert "no tank of fish whose history is known" in job.said
