"""Runs by the pages: taken in with their curves, refused with every finding, corrected, judged."""

from __future__ import annotations

import io
import tempfile
import zipfile
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from brinemark.faces.web.guard import TOKEN
from calibrated import SEED
from season import BLANK, COVARIATE, Season, sample, standard
from web.test_jobs import wait
from web.web_bench import HOST, Bench

assert COVARIATE  # the logbook of these tests reads the pre-scan; its sheets come with one


@pytest.fixture
def run(tmp_path: Path) -> Path:
    folder = tmp_path / "new"
    folder.mkdir()
    season = Season(folder, np.random.default_rng(SEED + 1))
    return season.batch("B8", [BLANK, standard(2.0), sample("S-new", 1.0)], day=9)


def curves(run: Path) -> list[Path]:
    return [path for path in sorted(run.parent.rglob("*")) if path.is_file() and path != run]


def sent(bench: Bench, run: Path, files: list[tuple[str, tuple[str, bytes]]], **fields: str) -> Any:
    parts = [("sheet", (run.name, run.read_bytes())), *files]
    data = {TOKEN: bench.token(), **fields}
    answer = bench.client.post("/take-in", data=data, files=parts, headers={"origin": f"http://{HOST}"})
    assert answer.status_code == 303, answer.text
    return wait(bench.desk.jobs.get(answer.headers["location"].rpartition("/")[2]))


def as_curves(paths: list[Path], root: Path) -> list[tuple[str, tuple[str, bytes]]]:
    return [("curves", (path.relative_to(root).as_posix(), path.read_bytes())) for path in paths]


def test_a_run_comes_in_by_files_and_its_page_shows_every_row(bench: Bench, run: Path) -> None:
    job = sent(bench, run, as_curves(curves(run), run.parent))
    assert job.state == "done"
    bench.desk.jobs.close()  # waits until what it left is swept
    assert job.spool is not None
    assert not job.spool.exists()
    page = bench.client.get(job.see).text
    assert "B8-1" in page
    assert "S-new" in page
    assert bench.client.get("/samples/S-new").status_code == 200


def test_files_that_come_while_the_pages_are_being_closed_leave_nothing(
    bench: Bench, run: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    bench.desk.jobs.close()
    parts = [("sheet", (run.name, run.read_bytes())), *as_curves(curves(run), run.parent)]
    answer = bench.client.post("/take-in", data={TOKEN: bench.token()}, files=parts)
    assert answer.status_code == 422
    assert list(tmp_path.glob("brinemark-*")) == []


def test_a_run_comes_in_by_an_archive(bench: Bench, run: Path) -> None:
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w") as archive:
        for path in curves(run):
            archive.writestr(path.relative_to(run.parent).as_posix(), path.read_bytes())
    job = sent(bench, run, [("archive", ("curves.zip", packed.getvalue()))])
    assert job.state == "done"


def test_an_archive_that_leads_out_of_its_folder_is_refused_and_nothing_is_left(bench: Bench, run: Path) -> None:
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w") as archive:
        archive.writestr("../../outside.csv", b"1,2\n")
    parts = [("sheet", (run.name, run.read_bytes())), ("archive", ("curves.zip", packed.getvalue()))]
    answer = bench.client.post("/take-in", data={TOKEN: bench.token()}, files=parts)
    assert answer.status_code == 422
    assert bench.desk.jobs.all() == []


def test_every_finding_is_told_by_row_and_nothing_is_stored(bench: Bench, run: Path) -> None:
    before = bench.desk.book.audit_head()
    text = run.read_text(encoding="utf-8").replace("standard", "standart", 1)
    run.write_text(text, encoding="utf-8")
    job = sent(bench, run, as_curves(curves(run)[:-1], run.parent))
    assert job.state == "refused"
    assert {one["where"] for one in job.findings} >= {"row 3, role"}
    assert len(job.findings) >= 2
    assert bench.desk.book.audit_head() == before
    shown = bench.client.get(f"/jobs/{job.id}").text
    assert "standart" in shown


def test_a_name_that_is_a_path_of_this_machine_reaches_no_file(bench: Bench, run: Path, tmp_path: Path) -> None:
    outside = tmp_path / "outside.csv"
    outside.write_bytes(b"E_V,I_A\n0,1\n")
    text = run.read_text(encoding="utf-8")
    name = curves(run)[0].relative_to(run.parent).as_posix()
    run.write_text(text.replace(name, str(outside)), encoding="utf-8")
    job = sent(bench, run, [*as_curves(curves(run)[1:], run.parent), ("curves", ("/etc/hostname", b"x"))])
    assert job.state == "refused"


def test_the_same_again_changes_nothing_and_a_correction_needs_its_reason(bench: Bench, run: Path) -> None:
    files = as_curves(curves(run), run.parent)
    first = sent(bench, run, files)
    again = sent(bench, run, files)
    assert "nothing new" in again.said
    old = first.see.rpartition("/")[2]
    run.write_text(run.read_text(encoding="utf-8").replace("S-new", "S-newer"), encoding="utf-8")
    data = {TOKEN: bench.token(), "corrects": old}
    refused = bench.client.post("/take-in", data=data, files=[("sheet", (run.name, run.read_bytes()))])
    assert refused.status_code == 422
    done = sent(bench, run, files, corrects=old, reason="the label was misread")
    assert done.state == "done"
    assert "takes its place" in bench.client.get(f"/runs/{old}").text
    assert "the label was misread" in bench.client.get(done.see).text


def test_runs_are_judged_by_a_job_whose_answer_the_page_shows(bench: Bench) -> None:
    bench.send("/run-controls")
    job = wait(bench.desk.jobs.all()[0])
    assert job.state == "done"
    page = bench.client.get("/run-controls").text
    assert "C1" in page
