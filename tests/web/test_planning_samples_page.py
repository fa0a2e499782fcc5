"""The page that plans the next electrodes of a sample: what it says, what it refuses, and what it hands on."""

from __future__ import annotations

import re
from dataclasses import replace
from html import unescape
from pathlib import Path
from typing import Any
from urllib.parse import parse_qs

import jsonschema
import numpy as np
import pytest

from brinemark.faces.web.filters import sentence
from brinemark.faces.web.pages import planning_samples
from brinemark.faces.web.pages.planned import run_address
from brinemark.steps.plan_sample_bench import SampleBench
from brinemark.terms.sample_plans import SampleWish
from faces.conftest import schema
from season import Season, sample
from web.web_bench import Bench

JSON = {"accept": "application/json"}
READ, FRESH = "/plan/sample?sample=S-full", "/plan/sample?new=W+7&electrodes=2&water_mL=60&cell_mL=10"
WISHED = SampleWish(electrodes=2, unread=True, water_mL=60.0, cell_mL=10.0)


def data(bench: Bench, address: str) -> Any:
    return bench.client.get(address, headers=JSON).json()


def test_the_form_offers_what_there_is_and_a_visit_plans_nothing(bench: Bench) -> None:
    bench.desk.book.withdraw_plan(bench.desk.book.run_plans()[0].id, "to plan it first")
    page = bench.client.get("/plan/sample").text
    assert "The plan</h2>" not in page
    assert '<option value="S-mid">' in page
    assert '<option value="C1">' not in page  # a control is no sample to plan for
    assert '<option value="B6">B6' in page  # made, with ready electrodes, and not in the calibration yet
    assert "Without a limit when empty" in page


@pytest.mark.parametrize(("address", "name", "wish"), [(READ, "S-full", SampleWish()), (FRESH, "W 7", WISHED)])
def test_the_page_is_the_plan_of_the_logbook_itself_and_nothing_is_stored(
    bench: Bench, address: str, name: str, wish: SampleWish
) -> None:
    head = bench.desk.book.audit_head()
    found = data(bench, address)
    jsonschema.Draft202012Validator(schema("plan-sample")).validate(found["answer"])
    answer = bench.desk.book.plan_sample(name, wish)
    assert found["answer"] == answer.to_dict()
    assert found["bench"] == SampleBench.of(answer).to_dict()
    assert sum(row["electrodes"] for row in found["rows"]) == wish.electrodes
    page = unescape(bench.client.get(address).text)
    assert sentence(answer.sentence, "point")[1:] in page
    assert page.count("<strong>chosen") == len(set(answer.chosen))
    for solution in (step for one in answer.prepare for step in one.steps):
        assert f"<td>{solution.pipette.name.removeprefix('pipette ')}</td>" in page
        assert f"<td>{solution.flask.name.removeprefix('flask ')}</td>" in page
    drawn = bench.client.get(found["picture"])
    assert (drawn.status_code, drawn.headers["content-type"]) == (200, "image/svg+xml")
    assert bench.desk.book.audit_head() == head


def test_what_is_wished_reaches_the_plan(bench: Bench) -> None:
    asked = f"{READ}&read=once&highest=50&batch=B4&water_mL=1,5&cell_mL=5"
    answer = data(bench, asked)["answer"]
    assert {row["way"] for row in answer["rows"]} == {"read once"}
    assert (answer["highest"], answer["batch"], answer["water_mL"], answer["cell_mL"]) == (50.0, "B4", 1.5, 5.0)
    assert all(row["sample_mL"] <= 1.5 for row in answer["rows"])
    page = bench.client.get(asked).text
    assert 'value="1,5"' in page
    assert '<option value="once" selected>' in page
    assert "Not possible undiluted: takes 5 mL of the sample, 1.5 mL are left." in page


def test_the_run_to_lay_out_has_the_dilutions_and_the_additions_of_the_plan(bench: Bench) -> None:
    found = data(bench, FRESH)
    form = data(bench, found["lay_out"])
    answer = bench.desk.book.plan_sample("W 7", WISHED)
    assert sorted(form["samples"]) == sorted(f"W 7; {row.dilution:g}; 1" for row in answer.chosen)
    most = max((row.additions for row in answer.chosen), key=len)
    rises = [float(one) for one in form["fields"].get("addition", "").split()]
    rises += [float(form["fields"]["closing_spike"])] if "closing_spike" in form["fields"] else []
    assert rises == pytest.approx([one.rise for one in most], rel=5e-3)  # filled in to three digits
    assert len(rises) > 0
    assert (form["fields"]["volume_mL"], form["fields"]["prescan"]) == ("10", "yes")
    assert form["add_to"] == ["sample"]


def test_the_page_says_so_where_electrodes_get_different_additions(
    bench: Bench, monkeypatch: pytest.MonkeyPatch
) -> None:
    words = "A run gives every electrode of a sample the same additions"
    answer = bench.desk.book.plan_sample("W 7", WISHED)
    assert answer.together is not None
    ways = [("read once", "with a closing spike"), ("with a closing spike",) * 2]
    for first, said in zip(ways, (True, False), strict=True):
        together = replace(answer.together, dilutions=(1.0, 10.0), ways=first)
        changed = replace(answer, together=together)
        monkeypatch.setattr(planning_samples, "planned_of", lambda _visit, found=changed: found)
        assert (words in bench.client.get(FRESH).text) == said


def test_the_run_of_a_plan_can_be_laid_out(bench: Bench) -> None:
    bench.desk.book.withdraw_plan(bench.desk.book.run_plans()[0].id, "to plan it first")
    found = data(bench, f"{FRESH}&batch=B6")
    form = data(bench, found["lay_out"])
    assert len(form["chosen"]) == 5  # those of the batch that are ready
    more = {"electrodes": form["chosen"], "add_to": form["add_to"], "sample": "\n".join(form["samples"])}
    fields = {**form["fields"], **more, "blanks": "2", "standards": "1", "levels": "2", "title": "W 7 next"}
    answer: Any = bench.send("/lay-out", **fields)
    assert answer.status_code == 303, answer.text
    laid = next(one for one in bench.desk.book.run_plans() if one.title == "W 7 next")
    read = [row for row in laid.rows if row.role == "sample"]
    named = bench.desk.book.plan_sample("W 7", SampleWish(2, True, 60.0, 10.0, batch="B6")).chosen
    assert sorted(row.dilution or 0.0 for row in read) == sorted(row.dilution for row in named)
    added = [row for row in laid.rows if row.role in ("addition", "spike")]
    assert {row.electrode for row in added} <= {row.electrode for row in read}
    assert len(added) == 2 * max(len(row.additions) for row in named)


def test_the_list_for_the_bench_has_a_box_for_each_step(bench: Bench) -> None:
    address = FRESH.replace("/plan/sample", "/plan/sample/print")
    found = data(bench, address)["bench"]
    page = bench.client.get(address).text
    steps = len(found["prepare"]) + sum(len(one["steps"]) for one in found["electrodes"])
    assert page.count('class="tick-box"') == steps
    assert "never together" in page
    assert f'href="{FRESH}"' in unescape(page)
    assert bench.client.get("/plan/sample/print?sample=nobody").status_code == 404
    assert bench.client.get("/pictures/dilutions.svg?sample=nobody").status_code == 404


def test_too_little_water_is_an_answer_with_what_would_be_enough(bench: Bench) -> None:
    answer = bench.client.get(f"{READ}&water_mL=0.01")
    assert answer.status_code == 200
    assert "Not as wished: 0.01 mL of S-full" in answer.text
    assert "at least 0.125 mL (200 times diluted)" in answer.text
    assert "/pictures/dilutions" not in answer.text


@pytest.mark.parametrize(
    ("asked", "came"),
    [
        ("electrodes=2", "no sample"),
        ("sample=nobody", "no sample 'nobody'"),
        ("sample=S-mid&new=W", "'S-mid' and 'W'"),
        ("new=S-mid", "'S-mid', of which something was read"),
        ("new=W&electrodes=five", "'five'"),
        ("new=W&electrodes=1.5", "1.5 electrodes"),
        ("new=W&electrodes=9", "9 electrodes"),
        ("new=W&electrodes=0", "0 electrodes"),
        ("new=W&water_mL=0", "0 ml"),
        ("new=W&cell_mL=-2", "-2 ml"),
        ("new=W&highest=0", "highest level of 0"),
        ("new=W&read=twice", "'twice'"),
        ("new=W&lot=nowhere", "no lot 'nowhere'"),
        ("new=W&batch=B99", "'B99'"),
    ],
)
def test_what_cannot_be_asked_brings_the_form_back_with_what_was_filled_in(bench: Bench, asked: str, came: str) -> None:
    answer = bench.client.get(f"/plan/sample?{asked}")
    assert answer.status_code == 422
    refused = re.search(r'role="alert"><p>(.*?)</p>', answer.text)
    assert refused is not None
    assert came in unescape(refused[1]).lower().replace("'s-mid", "'S-mid").replace("'w'", "'W'").replace("b99", "B99")
    assert bench.client.get(f"/plan/sample/print?{asked}").status_code == 404


def test_a_sample_without_a_present_reading_is_read_first(bench: Bench, tmp_path: Path) -> None:
    bench.desk.book.add(Season(tmp_path, np.random.default_rng(11)).batch("B9", [sample("S-new", 1.0)], day=9))
    answer = bench.client.get("/plan/sample?sample=S-new")
    assert answer.status_code == 422
    assert "read the sample first" in answer.text
    assert '<a href="/samples/S-new">The page of the sample</a>' in answer.text


def test_numbers_of_the_page_follow_the_reader(bench: Bench) -> None:
    text = bench.client.get(READ, headers={"accept-language": "de-DE"}).text
    cells = re.findall(r'<td class="n">([^<]*)</td>', text)
    assert any("," in cell for cell in cells)
    assert not any("." in cell for cell in cells)


@pytest.mark.parametrize(("second", "shown"), [("K1", ["K1"]), ("K2", None), (None, None)])
def test_the_form_of_a_run_names_a_stock_where_all_that_is_added_comes_from_it(
    second: str | None, shown: list[str] | None
) -> None:
    spike = {"rise": 40.0} | ({} if second is None else {"stock": second})
    address = run_address({"addition": [{"rise": 2.05, "stock": "K1"}], "closing_spike": spike, "matrix_lot": "L1"})
    fields = parse_qs(address.partition("?")[2])
    assert fields.get("addition_stock") == shown
    assert (fields["addition"], fields["closing_spike"], fields["matrix_lot"]) == (["2.05"], ["40"], ["L1"])


def test_stock_and_lot_of_a_plan_stand_in_the_form_of_a_run(bench: Bench) -> None:
    page = bench.client.get("/lay-out?matrix_lot=L1&addition_stock=K1&addition=2.05").text
    assert re.search(r'name="matrix_lot" type="text" value="L1"', page)
    assert re.search(r'name="addition_stock" type="text" value="K1"', page)
