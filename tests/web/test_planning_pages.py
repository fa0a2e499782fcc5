"""The pages of plans: what they say, what they refuse, and that looking stores nothing."""

from __future__ import annotations

import math
import re
from dataclasses import replace
from html import unescape
from typing import Any

import jsonschema
import pytest

from brinemark.faces.web.filters import sentence
from brinemark.faces.web.looks import calibration_of
from brinemark.faces.web.pages.planned import Asked
from brinemark.science.amount.simulate import SINGLE, Protocol
from brinemark.science.planning.plans import BatchPlan, Burned, Use
from brinemark.steps.plan_batch_answers import PlannedBatch
from faces.conftest import schema
from web.test_jobs import wait
from web.web_bench import Bench

JSON = {"accept": "application/json"}
BATCH = "/plan/batch?electrodes=4&levels=1"


def done(bench: Bench, address: str, **fields: str) -> Any:
    """The job that a form begins, when it has ended."""
    answer: Any = bench.send(address, **fields)
    assert answer.status_code == 303, answer.text
    return wait(bench.desk.jobs.get(answer.headers["location"].rpartition("/")[2]))


def test_the_first_page_names_what_can_be_planned(bench: Bench) -> None:
    page = bench.client.get("/plan").text
    for address in ("/plan/batch", "/plan/sample", "/plan/fish", "/plan/what-helps"):
        assert f'href="{address}"' in page


def test_a_batch_is_planned_from_the_address_and_nothing_is_stored(bench: Bench) -> None:
    assert "The plan</h2>" not in bench.client.get("/plan/batch").text
    head = bench.desk.book.audit_head()
    data = bench.client.get(BATCH, headers=JSON).json()
    jsonschema.Draft202012Validator(schema("plan-batch")).validate(data["answer"])
    assert data["rows"][0]["mark"] == "chosen"
    assert [one["mark"] for one in data["rows"]].count("tie") == sum(one["tie"] for one in data["rows"][1:])
    assert len(data["bench"]) == 4
    page = bench.client.get(BATCH).text
    assert sentence(data["answer"]["sentence"], "point")[1:] in unescape(page)
    picture = re.search(r'src="(/pictures/trade\.svg[^"]*)"', page)
    assert picture is not None
    drawn = bench.client.get(unescape(picture[1]))
    assert (drawn.status_code, drawn.headers["content-type"]) == (200, "image/svg+xml")
    assert bench.desk.book.audit_head() == head


def test_the_page_is_the_plan_of_the_logbook_itself(bench: Bench) -> None:
    data = bench.client.get(BATCH, headers=JSON).json()
    assert data["answer"] == bench.desk.book.plan_batch(4, levels=[1.0]).to_dict()


def test_the_plan_fills_in_the_run_to_lay_out(bench: Bench) -> None:
    data = bench.client.get(BATCH, headers=JSON).json()
    plan = data["answer"]["plans"][0]
    fields = bench.client.get(data["lay_out"], headers=JSON).json()["fields"]
    levels = [one["level"] for one in plan["burned"]]
    assert fields["blanks"] == str(levels.count(0.0))
    assert fields["standards"] == str(len(levels) - levels.count(0.0))
    assert [float(one) for one in fields.get("levels", "").split()] == sorted({one for one in levels if one > 0})
    rises = [float(one) for one in fields.get("addition", "").split()]
    rises += [float(fields["closing_spike"])] if "closing_spike" in fields else []
    assert rises == pytest.approx(plan["additions"], rel=5e-3)  # filled in to three digits
    assert fields["bracket"] == ("yes" if levels.count(0.0) > 1 else "no")
    page = bench.client.get(data["lay_out"]).text
    assert f'name="blanks" type="text" value="{fields["blanks"]}"' in page


def test_the_run_of_a_plan_can_be_laid_out(bench: Bench) -> None:
    bench.desk.book.withdraw_plan(bench.desk.book.run_plans()[0].id, "to plan it first")
    data = bench.client.get("/plan/batch?electrodes=5&levels=1", headers=JSON).json()
    form = bench.client.get(data["lay_out"], headers=JSON).json()
    assert len(form["chosen"]) == 5  # the newest batch, of which as many are ready
    plan = data["answer"]["plans"][0]
    parts = dict.fromkeys(plan["dilutions"])
    lines = [f"New {k}; {x:g}; {plan['dilutions'].count(x)}" for k in range(plan["samples"]) for x in parts]
    more = {"electrodes": form["chosen"], "add_to": form["add_to"], "sample": "\n".join(lines), "volume_mL": "10"}
    fields = {**form["fields"], **more, "instrument": "bench", "title": "as planned"}
    answer: Any = bench.send("/lay-out", **fields)
    assert answer.status_code == 303, answer.text
    laid = next(one for one in bench.desk.book.run_plans() if one.title == "as planned")
    rows = laid.rows
    burned = [row for row in rows if row.role in ("blank", "standard")]
    assert sorted(row.level or 0.0 for row in burned) == sorted(one["level"] for one in plan["burned"])
    blank = any(one["level"] == 0.0 for one in plan["burned"])
    assert any("no blank" in text for text in laid.remarks) != blank
    assert len({row.electrode for row in rows}) == len(plan["burned"]) + plan["samples"] * len(plan["dilutions"])


def test_a_run_to_lay_out_without_a_plan_has_its_usual_fields(bench: Bench) -> None:
    page = bench.client.get("/lay-out").text
    assert 'name="blanks" type="text" value="1"' in page
    assert page.count('name="add_to"') == len(re.findall(r'name="add_to" value="\w+" checked', page)) == 4


def test_the_list_for_the_bench_has_a_line_for_each_electrode(bench: Bench) -> None:
    address = BATCH.replace("/plan/batch", "/plan/batch/print")
    rows = bench.client.get(address, headers=JSON).json()["rows"]
    plan = bench.client.get(BATCH, headers=JSON).json()["answer"]["plans"][0]
    assert [one["number"] for one in rows] == [1, 2, 3, 4]
    assert sum(one["role"] in ("blank", "standard") for one in rows) == len(plan["burned"])
    assert {one["sample"] for one in rows if one["role"] == "sample"} == set(range(1, plan["samples"] + 1))
    page = bench.client.get(address).text
    assert page.count('class="tick-box"') == plan["readings"]


def test_electrodes_that_are_read_otherwise_than_samples_are_told_apart(
    bench: Bench, monkeypatch: pytest.MonkeyPatch
) -> None:
    spiked = Protocol(prescan=True, additions=(100.0,), spiked=True)
    plan = BatchPlan(4, (Burned(0.0, SINGLE), Burned(2.0, spiked)), Use(spiked))
    answer = bench.desk.book.plan_batch(4, levels=[1.0])
    figures = replace(answer.plans[0].figures, plan=plan)
    first = PlannedBatch(figures, "pre-scan and spike", ("single", "pre-scan and spike"), True, True)
    monkeypatch.setattr(Asked, "plan", lambda asked, book: replace(answer, plans=(first, *answer.plans[1:])))
    words = "blank once; 2 with pre-scan and spike"
    page = unescape(bench.client.get(BATCH).text)
    assert f"Burned electrodes are not read as samples are: {words}." in page
    assert f'<th scope="row">{words}</th>' in page
    form = bench.client.get(bench.client.get(BATCH, headers=JSON).json()["lay_out"], headers=JSON).json()
    assert form["add_to"] == ["standard", "sample", "control"]
    assert (form["fields"]["prescan"], form["fields"]["closing_spike"]) == ("yes", "100")
    rows = bench.client.get(BATCH.replace("/plan/batch", "/plan/batch/print"), headers=JSON).json()["rows"]
    assert [(one["role"], one["prescan"], one["spike"]) for one in rows[:2]] == [
        ("blank", False, None),
        ("standard", True, 100.0),
    ]


@pytest.mark.parametrize(
    ("asked", "came"),
    [
        ("electrodes=six", "'six'; expected a number"),
        ("electrodes=1,5", "1.5 electrodes"),
        ("levels=1", "no electrodes"),
        ("electrodes=99", "99 electrodes"),
        ("electrodes=4&levels=1+x", "'1 x'"),
        ("electrodes=4&levels=-1", "levels -1"),
        ("electrodes=4&wish=best", "wish best"),
        ("electrodes=4&samples=0", "0 samples"),
        ("electrodes=4&instrument=nobody", "nobody"),
        ("electrodes=4&wish=narrow&detectable=1", "a minimum detectable value and narrow"),
        ("electrodes=1e300", "1e+300 electrodes"),
    ],
)
def test_a_batch_that_cannot_be_asked_for_is_refused_on_the_page_with_what_was_filled_in(
    bench: Bench, asked: str, came: str
) -> None:
    answer = bench.client.get(f"/plan/batch?{asked}")
    assert answer.status_code == 422
    assert came in unescape(answer.text).lower()
    name, _, value = asked.split("&", maxsplit=1)[0].partition("=")
    assert f'name="{name}"' in answer.text and f'value="{value.replace("+", " ")}"' in answer.text
    assert bench.client.get(f"/plan/batch/print?{asked}").status_code == 404


def test_an_impossible_wish_says_what_it_would_need(bench: Bench) -> None:
    answer = bench.client.get("/plan/batch?electrodes=0")
    assert answer.status_code == 200
    assert "nothing is read without an electrode" in answer.text
    assert "/pictures/trade" not in answer.text
    for address in ("/plan/batch/print?electrodes=0", "/pictures/trade.svg?electrodes=0"):
        assert bench.client.get(address).status_code == 404


def test_a_plan_of_least_cost_is_a_job(bench: Bench) -> None:
    asked = "/plan/batch?electrodes=3&wish=cost&detectable=2"
    assert "Work it out" in bench.client.get(asked).text
    assert bench.client.get(asked.replace("/plan/batch", "/pictures/trade.svg")).status_code == 404
    job = done(bench, "/plan/batch", electrodes="3", wish="cost", detectable="2")
    assert (job.state, job.see) == ("done", asked), job.said
    assert bench.client.get(asked, headers=JSON).json()["answer"]["sentence"] == job.said


def test_what_would_help_is_a_job_whose_answer_stands_at_its_address(bench: Bench) -> None:
    asked = "/plan/what-helps?electrodes=3&factor=2&wish=narrow&levels=1"
    assert "This is not worked out" in bench.client.get(asked).text
    head = bench.desk.book.audit_head()
    job = done(bench, "/plan/what-helps", electrodes="3", factor="2", wish="narrow", levels="1")
    assert (job.state, job.see) == ("done", asked), job.said
    data = bench.client.get(asked, headers=JSON).json()
    jsonschema.Draft202012Validator(schema("what-helps")).validate(data["answer"])
    assert data["answer"]["sentence"] == job.said
    assert [one["part"] for one in data["gains"]] == [one["part"] for one in data["answer"]["parts"][1:]]
    for one, part in zip(data["gains"], data["answer"]["parts"][1:], strict=True):
        assert math.log(one["value"]) == pytest.approx(part["gain"]["value"], abs=1e-12)
        assert one["sure"] == (not one["lower"] <= 1.0 <= one["upper"])
    page = bench.client.get(asked).text
    assert page.count("<tr>") == 1 + len(data["answer"]["parts"])
    assert bench.client.get(data["picture"]).status_code == 200
    assert bench.desk.book.audit_head() == head


def test_what_would_help_refuses_what_is_no_number(bench: Bench) -> None:
    answer: Any = bench.send("/plan/what-helps", electrodes="4", factor="twice")
    assert answer.status_code == 422
    assert "&#39;twice&#39;" in answer.text
    assert 'value="twice"' in answer.text
    assert bench.client.get("/plan/what-helps?electrodes=4&factor=twice").status_code == 404
    assert bench.client.get("/pictures/helps.svg?electrodes=4").status_code == 404


def test_the_fish_of_a_consignment_are_planned_drawn_and_kept(bench: Bench) -> None:
    fields = {"title": "boat 3.5", "fish": "100", "prevalence": "5", "confidence": "95", "seed": "7"}
    answer: Any = bench.send("/plan/fish", **fields)
    address = answer.headers["location"]
    data = bench.client.get(address, headers=JSON).json()
    # Exact number without replacement, 45 of 100 at 5 % and 95 % (hypergeometric; see tests of the sampling).
    assert (data["plan"]["tested"], data["called"]) == (45, "boat 3.5")
    drawn = data["plan"]["picks"][0]["fish"]
    assert len(set(drawn)) == 45
    page, paper = (bench.client.get(one).text for one in (address, f"{address}/print"))
    assert "no finding is no proof that fish were not exposed" in page
    assert page.count("<li>") >= 45
    assert paper.count('class="tick-box"') == 45
    again: Any = bench.send("/plan/fish", **fields)
    assert again.headers["location"].startswith(address)


def test_holds_of_a_plan_stand_side_by_side_in_both_worlds(bench: Bench) -> None:
    more = {"hold.minimum": "0,5", "hold.volumes_L": "0,5 2", "hold.holds_d": "0 1", "bags.count": "4"}
    answer: Any = bench.send("/plan/fish", fish="40", prevalence="10", **more)
    page = bench.client.get(answer.headers["location"]).text
    assert page.count('class="world"') == 2
    assert "never averaged" in page
    assert "Bag " in page


@pytest.mark.parametrize(
    ("fields", "came"),
    [
        ({"fish": "100"}, "no prevalence"),
        ({"prevalence": "500"}, "500 %"),
        ({"prevalence": "5", "fish": "-3"}, "fish"),
        ({"prevalence": "5", "fish": "2.5"}, "whole number"),
        ({"prevalence": "5", "test.sensitivity": "high"}, "'high' as test.sensitivity"),
        ({"prevalence": "5", "hold.mass_g": "20"}, "hold.minimum"),
        ({"prevalence": "5", "hold.minimum": "1", "hold.holds_d": "one"}, "'one'"),
        ({"prevalence": "5", "names": "A\nA"}, "2 times"),
        ({"prevalence": "5", "title": "x" * 100}, "100 letters"),
    ],
)
def test_fish_that_cannot_be_planned_are_refused_and_nothing_is_kept(
    bench: Bench, fields: dict[str, str], came: str
) -> None:
    head = bench.desk.book.audit_head()
    answer: Any = bench.send("/plan/fish", **fields)
    assert answer.status_code == 422
    assert came in unescape(answer.text)
    assert bench.desk.book.audit_head() == head


def test_an_impossible_wish_for_fish_is_answered_with_what_it_would_need(bench: Bench) -> None:
    answer: Any = bench.send("/plan/fish", fish="50", prevalence="0")
    page = bench.client.get(answer.headers["location"]).text
    assert "Not as wished:" in page


def test_a_record_of_another_kind_is_no_plan_of_fish(bench: Bench) -> None:
    report, _ = calibration_of(bench.desk)
    assert bench.client.get(f"/plan/fish/{report.id}").status_code == 404
    assert bench.client.get("/plan/fish/nothing/print").status_code == 404


def test_next_runs_and_samples_lead_to_plans(bench: Bench) -> None:
    before = bench.client.get("/next").text
    assert "Plan the next batch" in before
    plan = bench.desk.book.run_plans()[0]
    bench.desk.book.withdraw_plan(plan.id, "to plan it first")
    page = bench.client.get("/next").text
    assert "Plan first which to burn" in page
    assert 'href="/plan/batch?electrodes=' in page
    assert 'href="/plan"' in bench.client.get("/runs").text
    for address in ("/plan/batch", "/plan/sample"):
        assert f'href="{address}"' in bench.client.get("/samples").text
    assert 'href="/plan/sample"' in page
