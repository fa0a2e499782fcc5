"""The pages of studies: one is asked for, goes on after a stop, is shown with its figures, and is never done twice."""

from __future__ import annotations

import tomllib
from html import unescape
from typing import Any

import jsonschema
import pytest

from brinemark.faces.web.guard import TOKEN
from brinemark.faces.web.jobs import Job
from faces.conftest import schema
from web.test_jobs import wait
from web.web_bench import HOST, Bench

JSON = {"accept": "application/json"}
STUDIES = "/plan/studies"
ASKED = {
    "title": "two burned",
    "batches": "4",
    "batch.electrodes": "4",
    "batch.burned": "0 2",
    "samples.levels": "0 2",
    "samples.dilutions": "1",
    "read": "single",
    "workers": "1",
}
INVENTED = b"""title = "invented"
batches = 2
batches_per_history = 1
[population]
noise = 0.03
[history]
batches = 3
levels = [0, 1, 8]
"""


def asked(bench: Bench, **fields: str) -> Job:
    """The job that the form begins."""
    answer: Any = bench.send(STUDIES, **{**ASKED, **fields})
    assert answer.status_code == 303, answer.text
    job = bench.desk.jobs.get(answer.headers["location"].rpartition("/")[2])
    assert job is not None
    return job


def lines(bench: Bench) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = bench.client.get(STUDIES, headers=JSON).json()["studies"]
    return found


def test_a_study_is_simulated_as_a_job_listed_and_shown(bench: Bench) -> None:
    assert 'href="/plan/studies"' in bench.client.get("/plan").text
    job = wait(asked(bench))
    assert (job.state, job.done, job.total) == ("done", 4, 4), job.said
    assert "4 batches, 8 samples simulated" in job.said
    (line,) = lines(bench)
    assert (line["title"], job.see) == ("two burned", f"{STUDIES}/{line['id']}")
    assert line["asked"][1] == "2 burned (blank, 2 ug/L), read once"
    data = bench.client.get(job.see, headers=JSON).json()
    jsonschema.Draft202012Validator(schema("study")).validate(data["answer"])
    assert data["answer"]["figures"] == bench.desk.book.studies()[0].figures
    for shares in data["statements"]:
        assert sum(one["value"] for one in shares) == pytest.approx(1.0)
    page = unescape(bench.client.get(job.see).text)
    assert "Fewer than 500 simulated batches" in page
    assert page.count("<tr>") == 1 + 5 + 2 * (1 + 2)
    drawn = bench.client.get(data["picture"])
    assert (drawn.status_code, drawn.headers["content-type"]) == (200, "image/svg+xml")
    assert 'class="go" href="/plan/studies?title=two+burned' in page


def test_the_files_of_a_study_are_those_of_the_command(bench: Bench) -> None:
    see = wait(asked(bench)).see
    found = bench.client.get(f"{see}/study.json").json()
    jsonschema.Draft202012Validator(schema("study")).validate(found)
    text = bench.client.get(f"{see}/plan.toml").content
    assert tomllib.loads(text.decode())["batch"] == {"electrodes": 4, "burned": [0, 2]}
    again = bench.desk.book.study(("plan.toml", text), workers=0)
    assert (again.new, again.id) == (False, found["study"])
    assert bench.client.get(f"{see}/study.csv").status_code == 404
    for address in (f"{STUDIES}/0123456789ab", "/pictures/study.svg?study=0123456789ab"):
        assert bench.client.get(address).status_code == 404


def test_a_study_that_is_there_or_under_way_is_not_begun_again(bench: Bench) -> None:
    first = asked(bench)
    again: Any = bench.send(STUDIES, **ASKED)
    assert again.headers["location"].rpartition("/")[2] == first.id or wait(first).state == "done"
    wait(first)
    there: Any = bench.send(STUDIES, **{**ASKED, "samples.levels": "0; 2,0", "batch.burned": "0 2.0"})
    assert there.headers["location"].startswith(first.see)
    assert "This study was there already" in bench.client.get(there.headers["location"]).text
    assert len(bench.desk.jobs.all()) == 1


def test_a_study_that_was_stopped_is_listed_and_goes_on(bench: Bench) -> None:
    job = asked(bench, batches="100000")
    while not job.total and not job.ended:
        pass
    bench.client.post(f"/jobs/{job.id}/stop", data={TOKEN: bench.token()}, headers={"origin": f"http://{HOST}"})
    assert wait(job).state == "stopped"
    assert "what is finished is kept, and the same study goes on from there" in job.said
    (one,) = bench.client.get(STUDIES, headers=JSON).json()["open"]
    assert (one["id"], one["state"]) == (job.id, "stopped")
    assert "Go on from what is finished" in bench.client.get(STUDIES).text
    answer: Any = bench.send(STUDIES, carried=one["plan"])
    on = bench.desk.jobs.get(answer.headers["location"].rpartition("/")[2])
    assert on is not None
    assert on.arguments["study"] == job.arguments["study"]
    bench.desk.jobs.stop(on.id)
    wait(on)
    assert [one["id"] for one in bench.client.get(STUDIES, headers=JSON).json()["open"]] == [on.id]


def test_finished_chunks_are_not_done_again(bench: Bench) -> None:
    plan = bench.desk.book.ask_study(("plan", {"batches": 90, "batches_per_history": 1, "batch": {"electrodes": 3}}))
    with pytest.raises(Exception, match="stopped"):
        bench.desk.book.study(("plan.toml", plan.text.encode()), 0, None, lambda done, _total: done == 0)
    answer: Any = bench.send(STUDIES, carried=plan.text, workers="1")
    job = wait(bench.desk.jobs.get(answer.headers["location"].rpartition("/")[2]))
    assert job.said.endswith("; 84 of the batches were finished before")


def test_a_plan_is_taken_in_from_a_file(bench: Bench) -> None:
    fields = {TOKEN: bench.token(), "do": "file"}
    sent = {"plan": ("invented.toml", INVENTED)}
    answer = bench.client.post(STUDIES, data=fields, files=sent, headers={"origin": f"http://{HOST}"})
    assert answer.status_code == 303, answer.text
    job = wait(bench.desk.jobs.get(answer.headers["location"].rpartition("/")[2]))
    assert job.state == "done", job.said
    data = bench.client.get(job.see, headers=JSON).json()
    assert (data["title"], data["calibration"], data["again"]) == ("invented", None, "")
    assert "of an invented making, after 3 batches" in data["asked"][0]
    wrong = {"plan": ("invented.toml", INVENTED.replace(b"noise", b"noises"))}
    refused = bench.client.post(STUDIES, data=fields, files=wrong, headers={"origin": f"http://{HOST}"})
    assert refused.status_code == 422
    assert "the nearest known one, noise" in unescape(refused.text)
    assert "no file" in unescape(bench.send(STUDIES, do="file").text)  # type: ignore[attr-defined]


@pytest.mark.parametrize(
    ("fields", "came"),
    [
        ({"batches": "many"}, "'many'"),
        ({"batches": ""}, "no batches"),
        ({"batches": "1"}, "a whole number from 2"),
        ({"batch.electrodes": "2"}, "burn fewer, or make more"),
        ({"batch.burned": "0 x"}, "'0 x'"),
        ({"samples.levels": ""}, "no levels of the samples"),
        ({"samples.levels": "0 -1"}, "-1"),
        ({"samples.dilutions": "0.5"}, "0.5"),
        ({"read": "twice"}, "'twice'"),
        ({"read": "pre-scan", "samples.closing_spike": "40"}, "a closing spike with electrodes read by"),
        ({"read": "pre-scan and spike", "samples.additions": "2"}, "additions with electrodes read by"),
        ({"title": "x" * 200}, "200 characters"),
        ({"workers": "0"}, "0 processes"),
        ({"seed": "1.5"}, "1.5 seed"),
    ],
)
def test_what_cannot_be_simulated_is_refused_with_what_was_filled_in(
    bench: Bench, fields: dict[str, str], came: str
) -> None:
    answer: Any = bench.send(STUDIES, **{**ASKED, **fields})
    assert answer.status_code == 422
    page = unescape(answer.text)
    assert came in page
    for name, value in fields.items():
        assert f'name="{name}"' in page
        assert f'value="{value}"' in page or name == "read"
    assert bench.desk.jobs.all() == []


def test_every_field_that_cannot_be_read_is_told_at_once(bench: Bench) -> None:
    answer: Any = bench.send(STUDIES, **{**ASKED, "batches": "many", "samples.levels": "none"})
    assert answer.text.count('class="fault"') == 2


def test_the_ways_of_reading_are_the_planners_with_this_logbooks_additions(bench: Bench) -> None:
    usual = bench.client.get(STUDIES, headers=JSON).json()["rises"]
    way = bench.desk.book.usual_ways()["rising additions"]
    assert [*usual["additions"], usual["closing_spike"]] == pytest.approx(way.additions, rel=5e-3)
    job = asked(bench, read="rising additions", burned_read="once", **{"samples.water_K_sd": "0,1"})
    bench.desk.jobs.stop(job.id)
    plan = tomllib.loads(job.arguments["plan"][1].decode())
    assert plan["batch"] == {"electrodes": 4, "burned": [0, 2]}
    assert plan["samples"]["prescan"] is True
    assert plan["samples"]["water_K_sd"] == 0.1
    assert [*plan["samples"]["additions"], plan["samples"]["closing_spike"]] == [
        *usual["additions"],
        usual["closing_spike"],
    ]
    wait(job)


def test_the_plan_of_a_batch_fills_in_its_study(bench: Bench) -> None:
    address = "/plan/batch?electrodes=4&levels=1"
    data = bench.client.get(address, headers=JSON).json()
    assert unescape(bench.client.get(address).text).count(f'href="{data["study"]}"') == 1
    given = bench.client.get(data["study"], headers=JSON).json()["given"]
    answer: Any = bench.send(STUDIES, **{**given, "batches": "4"})
    job = bench.desk.jobs.get(answer.headers["location"].rpartition("/")[2])
    assert job is not None
    bench.desk.jobs.stop(job.id)
    best, plan = data["answer"]["plans"][0], tomllib.loads(job.arguments["plan"][1].decode())
    assert plan["batch"]["electrodes"] == 4
    assert plan["batch"]["burned"] == [one["level"] for one in best["burned"]]
    assert plan["samples"]["levels"] == [0, 1]
    assert plan["samples"]["dilutions"] == best["dilutions"]
    rises = [*plan["samples"].get("additions", []), *([plan["samples"]["closing_spike"]] if best["additions"] else [])]
    assert rises == pytest.approx(best["additions"], rel=5e-3)
    wait(job)


def test_a_kept_study_fills_in_the_form_that_asks_for_it(bench: Bench) -> None:
    see = wait(asked(bench)).see
    again = bench.client.get(see, headers=JSON).json()["again"]
    given = bench.client.get(again, headers=JSON).json()["given"]
    answer: Any = bench.send(STUDIES, **given)
    assert answer.headers["location"].startswith(see)
