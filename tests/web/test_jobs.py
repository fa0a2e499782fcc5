"""Long work: it goes on by itself, can be stopped, and leaves nothing half done."""

from __future__ import annotations

import time
from pathlib import Path
from typing import Any

import pytest

from brinemark.faces.web.jobs import Job, Jobs
from brinemark.faces.web.work import WORK
from brinemark.logbook import Logbook
from web.web_bench import Bench

PATIENCE_S = 120.0


def wait(job: Job | None) -> Job:
    assert job is not None
    end = time.monotonic() + PATIENCE_S
    while not job.ended:
        assert time.monotonic() < end, job.to_dict()
        time.sleep(0.02)
    return job


@pytest.fixture
def jobs(folder: Path) -> Jobs:
    return Jobs(folder)


def test_a_sample_is_read_by_a_form_and_shown_afterwards(bench: Bench) -> None:
    before = len(bench.desk.book.reading_heads())
    bench.desk.book.settings  # noqa: B018 - opened before
    path = bench.desk.folder / "logbook.toml"
    path.write_text(path.read_text(encoding="utf-8").replace("max_fold = 3.0", "max_fold = 4.0"), encoding="utf-8")
    answer = bench.send("/samples/S-mid")
    where = answer.headers["location"]  # type: ignore[attr-defined]
    job = wait(bench.desk.jobs.get(where.rpartition("/")[2]))
    assert (job.state, job.see) == ("done", "/samples/S-mid")
    assert len(bench.desk.book.reading_heads()) == before + 1
    assert "1 sample read" in bench.client.get(where).text


def test_what_a_calibration_answers_is_known_already(jobs: Jobs) -> None:
    job = wait(jobs.begin("calibrate", "Calibrate"))
    assert job.state == "done"
    assert "was there already" in job.said
    assert job.see == "/calibration"


def test_a_refusal_is_told_in_its_own_words(jobs: Jobs) -> None:
    job = wait(jobs.begin("read", "Read", samples=["nobody"]))
    assert job.state == "refused"
    assert "nobody" in job.said


def test_a_stopped_calibration_stores_nothing(folder: Path) -> None:
    path = folder / "logbook.toml"
    path.write_text(path.read_text(encoding="utf-8").replace("seed = 1", "seed = 2"), encoding="utf-8")
    with Logbook.open(folder) as book:
        before = book.audit_head()
    jobs = Jobs(folder)
    job = jobs.begin("calibrate", "Calibrate")
    while not job.total and not job.ended:
        time.sleep(0.01)
    jobs.stop(job.id)
    assert wait(job).state == "stopped"
    with Logbook.open(folder) as book:
        assert book.audit_head() == before
        assert book.verify().sound


def test_the_second_waits_for_the_first_and_may_be_stopped_before_it_begins(jobs: Jobs) -> None:
    first, second = jobs.begin("verify", "Check"), jobs.begin("verify", "Check again")
    jobs.stop(second.id)
    assert wait(first).state == "done"
    assert wait(second).said == "stopped before it began; nothing was stored"


def test_closing_ends_what_runs(folder: Path) -> None:
    jobs = Jobs(folder)
    job = jobs.begin("verify", "Check")
    jobs.close()
    assert job.ended


def test_nothing_begins_once_the_pages_are_being_closed(bench: Bench) -> None:
    bench.desk.jobs.close()
    answer: Any = bench.send("/calibration")
    assert answer.status_code == 422
    assert "being closed" in answer.text
    assert bench.desk.jobs.all() == []


def test_a_process_that_dies_is_told_of(jobs: Jobs) -> None:
    job = wait(jobs.begin("no such work", "Nothing"))
    assert job.state == "failed"
    assert "KeyError" in job.said
    assert "no such work" not in WORK
