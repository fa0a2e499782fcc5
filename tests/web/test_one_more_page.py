"""The section of a sample's page that says what one more electrode would change."""

from __future__ import annotations

import re
import time
from html import unescape
from typing import Any

import jsonschema
import pytest

from faces.conftest import schema
from web.web_bench import Bench

JSON = {"accept": "application/json"}
PATIENCE_S = 120.0


def supposed(bench: Bench, sample: str, **fields: str) -> Any:
    """The job that the button begins, when it has ended."""
    answer: Any = bench.send(f"/samples/{sample}", do="one more", **fields)
    assert answer.status_code == 303
    job = bench.desk.jobs.get(answer.headers["location"].rpartition("/")[2])
    assert job is not None
    end = time.monotonic() + PATIENCE_S
    while not job.ended:
        assert time.monotonic() < end, job.to_dict()
        time.sleep(0.05)
    return job


def section(text: str) -> str:
    """The section of the page, as text with its tags."""
    return text[text.index('<section aria-labelledby="one-more">') :].partition("</section>")[0]


def test_the_button_begins_a_job_whose_answer_stands_on_the_page_and_nothing_is_stored(bench: Bench) -> None:
    before, head = bench.client.get("/samples/S-full").text, bench.desk.book.audit_head()
    assert "Suppose one more electrode" in section(before)
    assert "<table>" not in section(before)
    job = supposed(bench, "S-full")
    assert (job.state, job.see) == ("done", "/samples/S-full#one-more")
    assert bench.desk.book.audit_head() == head
    page = section(bench.client.get("/samples/S-full").text)
    assert page.count("<tr>") == 2 + len(job.answer["rows"])
    assert "as it is now" in page
    assert "<strong>narrowest</strong>" in page
    assert "nothing is promised" in page
    data = bench.client.get("/samples/S-full", headers=JSON).json()["supposed"]
    data.pop("lay_out")
    jsonschema.Draft202012Validator(schema("one-more")).validate(data)
    assert data["sentence"] == job.said
    planned = bench.client.get("/samples/S-full", headers=JSON).json()["planned"]
    jsonschema.Draft202012Validator(schema("plan-sample")).validate(planned)
    assert "What is expected of it" in page
    assert "diluted" in planned["sentence"]


def test_the_link_fills_the_sample_and_its_dilution_into_the_run_to_lay_out(bench: Bench) -> None:
    job = supposed(bench, "S-full", batch="B4")
    assert job.answer["batch"] == "B4"
    link = unescape(re.findall(r'href="(/lay-out[^"]*)"', section(bench.client.get("/samples/S-full").text))[0])
    page = bench.client.get(link).text
    (best,) = (row for row in job.answer["plan"]["rows"] if row["best"])
    assert f"S-full; {best['dilution']:g}; 1</textarea>" in page
    fields = bench.client.get(link, headers=JSON).json()["fields"]
    rises = [float(fields[name]) for name in ("addition", "closing_spike") if name in fields]
    assert rises == pytest.approx([one["rise"] for one in best["additions"]], rel=5e-3)
    assert len(rises) > 0


def test_the_section_leads_to_the_very_plan_that_it_shows_and_to_its_list_for_the_bench(bench: Bench) -> None:
    assert 'href="/plan/sample?sample=S-full"' in section(bench.client.get("/samples/S-full").text)
    job = supposed(bench, "S-full", batch="B4")
    page = section(bench.client.get("/samples/S-full").text)
    assert 'href="/plan/sample/print?sample=S-full&amp;batch=B4"' in page
    assert 'href="/plan/sample?sample=S-full&amp;batch=B4"' in page
    found = bench.client.get("/plan/sample?sample=S-full&batch=B4", headers=JSON).json()["answer"]
    assert found == job.answer["plan"]


def test_an_answer_is_not_shown_beside_a_later_reading(bench: Bench) -> None:
    job = supposed(bench, "S-mid")
    assert bench.client.get("/samples/S-mid", headers=JSON).json()["supposed"]["best"] == job.answer["best"]
    job.answer["reading"] = "another"
    assert bench.client.get("/samples/S-mid", headers=JSON).json()["supposed"] is None


def test_a_batch_that_is_not_there_is_refused_by_the_job_in_its_own_words(bench: Bench) -> None:
    job = supposed(bench, "S-mid", batch="B99")
    assert job.state == "refused"
    assert "B99" in job.said


def test_numbers_of_the_section_follow_the_reader(bench: Bench) -> None:
    supposed(bench, "S-full")
    text = section(bench.client.get("/samples/S-full", headers={"accept-language": "de-DE"}).text)
    cells = re.findall(r'<td class="n">([^<]*)</td>', text)
    assert any("," in cell for cell in cells)
    assert not any("." in cell for cell in cells)


@pytest.mark.parametrize("sample", ["S-mid", "S-absent"])
def test_every_row_says_where_the_cell_lies(bench: Bench, sample: str) -> None:
    job = supposed(bench, sample)
    page = section(bench.client.get(f"/samples/{sample}").text)
    assert all(row["place"] in page for row in job.answer["rows"])
