"""Plans that the pages keep, list and open again, and the run that is laid out from one with named samples."""

from __future__ import annotations

import re
from html import unescape
from typing import Any

from tank_build import tank_csv
from web.fish_records import quay
from web.web_bench import Bench

JSON = {"accept": "application/json"}
BATCH = "/plan/batch?electrodes=5&levels=1"


def kept(bench: Bench, title: str = "six of June") -> str:
    """The address of a plan that the button keeps."""
    answer: Any = bench.send(BATCH, do="keep", title=title)
    assert answer.status_code == 303, answer.text
    return str(answer.headers["location"]).partition("?")[0]


def test_the_button_keeps_a_plan_that_opens_again_as_it_was(bench: Bench) -> None:
    assert "Keep this plan" in bench.client.get(BATCH).text
    assert "None was kept yet" in bench.client.get("/plan/kept").text
    before = bench.client.get(BATCH, headers=JSON).json()
    address = kept(bench)
    data = bench.client.get(address, headers=JSON).json()
    assert (data["called"], data["answer"], data["rows"]) == ("six of June", before["answer"], before["rows"])
    page, paper = (bench.client.get(one).text for one in (address, f"{address}/print"))
    assert "what was expected then" in page
    assert f'href="{address}/print"' in page
    assert f'href="{address}"' in paper
    assert paper.count('class="tick-box"') == data["answer"]["plans"][0]["readings"]
    assert bench.client.get(data["picture"]).headers["content-type"] == "image/svg+xml"
    head = bench.desk.book.audit_head()
    assert kept(bench, "another title") == address
    assert bench.desk.book.audit_head() == head


def test_earlier_plans_are_listed_newest_first(bench: Bench) -> None:
    address = kept(bench)
    fish: Any = bench.send("/plan/fish", title="boat 3", fish="100", prevalence="5", seed="7")
    page = bench.client.get("/plan/kept").text
    assert f'<a href="{address}">six of June</a>' in page
    assert f'<a href="{fish.headers["location"]}">boat 3</a>' in page
    bench.send("/plan/fish", title="boat 4", fish="100", prevalence="5", seed="8")
    data = bench.client.get("/plan/kept", headers=JSON).json()
    assert [one["title"] for one in data["fish_plans"]] == ["boat 4", "boat 3"]
    assert [one["title"] for one in data["batch_plans"]] == ["six of June"]
    for address in ("/plan", "/plan/batch", "/plan/fish", fish.headers["location"]):
        assert 'href="/plan/kept"' in bench.client.get(address).text


def test_what_cannot_be_kept_is_refused_beside_its_plan_and_unknown_plans_are_not_there(bench: Bench) -> None:
    head = bench.desk.book.audit_head()
    answer: Any = bench.send(BATCH, do="keep", title="x" * 99)
    assert answer.status_code == 422
    assert "99 letters" in answer.text
    assert "The plan</h2>" in answer.text
    nothing: Any = bench.send("/plan/batch?electrodes=0", do="keep")
    assert nothing.status_code == 422
    assert bench.desk.book.audit_head() == head
    for address in ("/plan/batch/nothing", "/plan/batch/nothing/print", "/pictures/trade.svg?plan=nothing"):
        assert bench.client.get(address).status_code == 404


def test_a_run_is_laid_out_from_a_plan_by_typing_the_names_of_its_samples(bench: Bench) -> None:
    bench.desk.book.withdraw_plan(bench.desk.book.run_plans()[0].id, "to plan it first")
    address = kept(bench)
    page = bench.client.get(address).text
    link = unescape(re.findall(r'href="(/lay-out[^"]*)"', page)[0])
    form = bench.client.get(link, headers=JSON).json()
    plan = bench.client.get(address, headers=JSON).json()["answer"]["plans"][0]
    names = {field: f"tank {number}" for number, field in enumerate(form["planned"]["fields"])}
    assert len(names) == plan["samples"]
    assert all(f'name="{field}"' in bench.client.get(link).text for field in names)
    more = {"electrodes": form["chosen"], "add_to": form["add_to"], "coded": "yes", "title": "as planned"}
    answer: Any = bench.send(link, **{**form["fields"], **more, **names})
    assert answer.status_code == 303, answer.text
    laid = bench.desk.book.run_plan("as planned")
    read = sorted((laid.key[row.sample or ""], row.dilution) for row in laid.rows if row.role == "sample")
    assert read == sorted((name, dilution) for name in names.values() for dilution in plan["dilutions"])
    assert f"/plan/batch/{laid.request.plan}" == address
    assert f'href="{address}"' in bench.client.get(f"/plans/{laid.id}").text
    assert f'href="/plans/{laid.id}"' in bench.client.get(address).text


def test_a_name_twice_is_refused_with_what_was_typed_and_one_left_empty_leaves_its_electrodes(bench: Bench) -> None:
    bench.desk.book.withdraw_plan(bench.desk.book.run_plans()[0].id, "to plan it first")
    data = bench.client.get("/plan/batch?electrodes=5&levels=1", headers=JSON).json()
    form = bench.client.get(data["lay_out"], headers=JSON).json()
    assert "plan" not in form["fields"]  # it is not kept
    first, second = form["planned"]["fields"][:2]
    fields = {
        **form["fields"],
        "electrodes": form["chosen"],
        "add_to": form["add_to"],
        "coded": "yes",
        "title": "as planned",
    }
    twice: Any = bench.send(data["lay_out"], **{**fields, first: "tank 5", second: "tank 5"})
    assert twice.status_code == 422
    assert "the sample &#39;tank 5&#39; twice" in twice.text
    assert twice.text.count('value="tank 5"') == 2
    once: Any = bench.send(data["lay_out"], **{**fields, first: "tank 5"})
    assert once.status_code == 303, once.text
    laid = bench.desk.book.run_plan("as planned")
    plan = data["answer"]["plans"][0]
    assert set(laid.key.values()) == {"tank 5"}
    assert len(laid.left) == 5 - len(plan["burned"]) - len(plan["dilutions"])


def test_waters_that_stand_in_no_run_sheet_are_offered_as_names(bench: Bench) -> None:
    rows = quay()
    bench.desk.book.add_tanks(("quay.csv", tank_csv(rows).encode()))
    waters = {row["sample"] for row in rows if row.get("sample")}
    read = {row.row.sample for row in bench.desk.book.rows()}
    data = bench.client.get("/plan/batch?electrodes=5&levels=1", headers=JSON).json()
    form = bench.client.get(data["lay_out"], headers=JSON).json()
    assert waters & read
    assert set(form["waters"]) == waters - read
    page = bench.client.get(data["lay_out"]).text
    assert all(f'<option value="{name}"></option>' in page for name in form["waters"])


def test_an_address_that_no_plan_wrote_is_not_there(bench: Bench) -> None:
    for asked in ("samples=x&dilutions=1", "samples=99&dilutions=1", "samples=2", "samples=2&dilutions=x"):
        assert bench.client.get(f"/lay-out?{asked}").status_code == 404, asked
