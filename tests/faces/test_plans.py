"""lay-out and plans by the command."""

from __future__ import annotations

from pathlib import Path

import pytest

from .conftest import call
from .test_data import data

RUN = """
title = "run 14"
instrument = "bench"
batches = ["H16"]
blanks = 2
levels = [0.5, 8]
standards = 2
volume_mL = 20
[[sample]]
name = "Tank 1"
electrodes = 2
[closing_spike]
stock = "KSCN-2"
stock_level = 2000
volume_mL = 1.05
"""


@pytest.fixture
def bench(empty: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> tuple[Path, Path]:
    """A logbook with a batch of six, and a request; the current directory is a new one."""
    (tmp_path / "H16.toml").write_text('batch = "H16"\nmade_on = 2026-08-03\nelectrode_count = 6\n')
    assert call("--logbook", empty, "make", tmp_path / "H16.toml").exit_code == 0
    request = tmp_path / "run.toml"
    request.write_text(RUN)
    here = tmp_path / "here"
    here.mkdir()
    monkeypatch.chdir(here)
    return empty, request


def test_a_run_is_laid_out_shown_and_withdrawn_as_data(bench: tuple[Path, Path]) -> None:
    book, request = bench
    made = data("lay-out", "--logbook", book, "lay-out", request, "--seed", "3")
    assert (made["seed"], made["state"], made["key"]) == (3, "open", None)
    assert Path(made["sheet_file"]).read_bytes().startswith(b"electrode,batch,instrument,measured_at,role,level,")
    (shown,) = data("plans", "--logbook", book, "plans", "run 14", "--key")
    assert list(shown["key"].values()) == ["Tank 1"]
    assert shown["rows"] == made["rows"]
    assert [one["plan"] for one in data("plans", "--logbook", book, "plans")] == [made["plan"]]
    (gone,) = data("plans", "--logbook", book, "plans", made["plan"][:8], "--withdraw", "out of order")
    assert (gone["state"], gone["reason"]) == ("withdrawn", "out of order")


def test_the_text_shows_the_order_but_no_name_unless_asked(bench: tuple[Path, Path]) -> None:
    book, request = bench
    told = call("--logbook", book, "lay-out", request, "--seed", "3", "--to", "one.csv").stdout
    assert "Laid out 'run 14'" in told
    assert "Tank 1" not in told
    assert "add one.csv" in told
    assert "Tank 1" in call("--logbook", book, "plans", "run 14", "--key").stdout
    assert "0 of 12 rows" in " ".join(call("--logbook", book, "plans").stdout.split())


def test_a_sheet_is_written_once_more_and_never_over_another_file(bench: tuple[Path, Path]) -> None:
    book, request = bench
    call("--logbook", book, "lay-out", request, "--to", "one.csv")
    words = ("--logbook", book, "plans", "run 14", "--to", "one.csv")
    refused = call(*words)
    assert (refused.exit_code, "already there" in refused.stderr) == (1, True)
    assert call(*words, "--replace", "--decimal-comma").exit_code == 0
    assert Path("one.csv").read_text().startswith("electrode;batch;")
    assert "0,5" in Path("one.csv").read_text()


def test_what_is_there_is_seen_before_a_plan_is_kept(bench: tuple[Path, Path]) -> None:
    book, request = bench
    Path("one.csv").write_text("mine")
    assert call("--logbook", book, "lay-out", request, "--to", "one.csv").exit_code == 1
    assert "No run laid out" in call("--logbook", book, "plans").stdout
    assert Path("one.csv").read_text() == "mine"


def test_a_faulty_request_names_its_file_and_withdrawing_needs_a_plan(bench: tuple[Path, Path]) -> None:
    book, request = bench
    request.write_text(RUN.replace("blanks", "blancs"))
    refused = call("--logbook", book, "lay-out", request)
    assert refused.stderr.startswith("brinemark: run.toml, column blancs: ")
    assert "nearest known one, blanks" in refused.stderr
    assert call("--logbook", book, "plans", "--withdraw", "why").exit_code == 2
