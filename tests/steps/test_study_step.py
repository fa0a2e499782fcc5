"""Studies in a logbook: the same figures whoever does the work, also when a worker dies; kept, stopped and resumed."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from functools import partial
from pathlib import Path
from typing import Any

import pytest

from brinemark.logbook import Logbook
from brinemark.science.planning.study import Hire, Progress, Study, run_study
from brinemark.science.planning.study_laboratory import STATEMENTS, Chunk
from brinemark.steps import study as step
from brinemark.steps.crews import check_address, cluster, here, processes
from brinemark.steps.studied import asked_words
from brinemark.terms.errors import Refused, Stopped
from study_work import PLAN, WIDE, dies_always, dies_at_work, dies_once, quick

PATIENCE_S = 60.0
EMPLOYER = """
import os, time
from brinemark.steps.crews import processes
if __name__ == "__main__":
    with processes(1) as crew:
        print(crew.executor.submit(os.getpid).result(), flush=True)
        time.sleep(600)
"""
ASKED = b"""
title = "two burned"
batches = 6
batches_per_history = 1
[population]
noise = 0.03
[history]
batches = 3
levels = [0, 1, 8]
[samples]
levels = [0, 2]
"""


@pytest.fixture
def book(tmp_path: Path) -> Iterator[Logbook]:
    with Logbook.create(tmp_path / "book") as made:
        text = (made.path / "logbook.toml").read_text(encoding="utf-8")
        (made.path / "logbook.toml").write_text(f"{text}\n[calibration]\ndraws = 256\n", encoding="utf-8")
    with Logbook.open(tmp_path / "book") as opened:
        yield opened


@pytest.fixture(scope="module")
def plain() -> Study:
    """What this process alone finds."""
    return run_study(PLAN, here)


def same(one: Study, other: Study) -> bool:
    return one.found.rows.tobytes() == other.found.rows.tobytes() and one.figures == other.figures


@contextmanager
def dask_cluster(workers: int = 2) -> Iterator[Any]:
    """A scheduler on this computer with workers in processes of their own; skipped without the extra."""
    distributed = pytest.importorskip("distributed", reason='the extra "cluster" is not installed')
    with distributed.LocalCluster(
        n_workers=workers, threads_per_worker=1, dashboard_address=None, host="127.0.0.1", processes=True
    ) as made:
        yield made


def test_one_process_and_two_give_the_figures_of_this_one(plain: Study) -> None:
    for count in (1, 2):
        assert same(run_study(PLAN, partial(processes, count)), plain)


def test_a_process_killed_in_the_middle_changes_nothing(tmp_path: Path, plain: Study) -> None:
    mark = tmp_path / "died"
    found = run_study(PLAN, partial(processes, 2), progress=Progress(work=partial(dies_at_work, mark)))
    assert mark.exists()
    assert same(found, plain)


def test_processes_that_keep_dying_end_in_one_refusal() -> None:
    with pytest.raises(Refused, match="died one after the other"):
        run_study(WIDE, partial(processes, 1), progress=Progress(work=dies_always))


def test_processes_end_with_the_one_that_started_them_also_when_it_is_killed(tmp_path: Path) -> None:
    program = tmp_path / "employer.py"
    program.write_text(EMPLOYER, encoding="utf-8")
    with subprocess.Popen([sys.executable, str(program)], stdout=subprocess.PIPE, text=True) as employer:
        assert employer.stdout is not None
        assert int(employer.stdout.readline()) != employer.pid
        employer.kill()
        employer.communicate(timeout=PATIENCE_S)  # its output ends when the last process that holds it has ended


@pytest.mark.filterwarnings("default")  # a library's own warnings while its processes end
def test_a_cluster_gives_the_figures_of_this_process_also_when_a_worker_dies(tmp_path: Path, plain: Study) -> None:
    with dask_cluster() as made:
        hire: Hire = partial(cluster, made.scheduler_address)
        assert same(run_study(PLAN, hire), plain)
        mark = tmp_path / "died"
        found = run_study(WIDE, hire, progress=Progress(work=partial(dies_once, mark)))
        assert mark.exists()
    assert same(found, run_study(WIDE, here, progress=Progress(work=quick)))


@pytest.mark.parametrize(
    "address", ["tcp://10.0.0.7:8786", "192.168.1.4:8786", "tcp://cluster.example:8786", "ws://127.0.0.1:8786"]
)
def test_a_scheduler_that_anyone_could_reach_is_refused_in_one_line(address: str) -> None:
    with pytest.raises(Refused, match="behind TLS") as refusal:
        check_address(address)
    assert "\n" not in str(refusal.value)


@pytest.mark.parametrize(
    "address",
    ["127.0.0.1:8786", "tcp://localhost:8786", "tcp://[::1]:8786", "tcp://127.8.9.1:1", "tls://10.0.0.7:8786"],
)
def test_a_scheduler_here_or_behind_tls_is_spoken_to(address: str) -> None:
    check_address(address)


def test_tls_without_certificates_is_refused_in_one_line() -> None:
    pytest.importorskip("distributed", reason='the extra "cluster" is not installed')
    with pytest.raises(Refused, match="without certificates"), cluster("tls://127.0.0.1:8786"):
        pass


@pytest.mark.parametrize("address", ["", "8786", "http//x", "tcp://127.0.0.1", "tcp://127.0.0.1:8786/x y"])
def test_what_is_no_address_is_refused(address: str) -> None:
    with pytest.raises(Refused):
        check_address(address)


def test_a_study_is_kept_and_the_same_study_is_not_done_again(book: Logbook) -> None:
    made = book.study(("two.toml", ASKED), workers=0)
    assert made.new and made.figures["batches"] == 6
    again = book.study(("two.toml", ASKED), on_step=lambda _done, _total: pytest.fail("it was simulated again"))
    assert (again.new, again.id, again.figures) == (False, made.id, made.figures)
    assert [one.id for one in book.studies()] == [made.id]
    record = book.record(made.id)
    assert (record.kind, record.seed) == ("study", 1)
    assert book.verify().sound


def test_a_study_that_was_stopped_goes_on_from_its_finished_chunks(
    book: Logbook, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with pytest.raises(Stopped):
        book.study(("two.toml", ASKED), workers=0, on_step=lambda done, _total: done < 4)
    assert book.studies() == []
    asked: list[tuple[int, ...]] = []
    real = step.checked_chunk

    def counted(wanted: tuple[str, str], plan: Any, laboratories: tuple[int, ...]) -> Chunk:
        asked.append(laboratories)
        return real(wanted, plan, laboratories)

    monkeypatch.setattr(step, "checked_chunk", counted)
    resumed = book.study(("two.toml", ASKED), workers=0)
    assert resumed.resumed == 4
    assert asked == [(4, 5)]
    with Logbook.create(tmp_path / "other") as other:
        text = (book.path / "logbook.toml").read_text(encoding="utf-8")
        (other.path / "logbook.toml").write_text(text, encoding="utf-8")
    with Logbook.open(tmp_path / "other") as other:
        assert other.study(("two.toml", ASKED), workers=0).figures == resumed.figures


def test_the_file_of_a_study_asks_for_the_same_study(book: Logbook) -> None:
    made = book.study(("two.toml", ASKED), workers=0)
    kept = book.kept_study(made.id[:12])
    asked = book.ask_study(("again.toml", kept.text.encode()))
    assert (asked.id, asked.made, asked.text) == (made.id, True, kept.text)
    assert kept.text.startswith(
        'title = "two burned"\nbatches = 6\nbatches_per_history = 1\nseed = 1\n\n[population]\n'
    )
    other = book.ask_study(("other", {"batches": 6, "population": {}, "batch": {"burned": [], "prescan": True}}))
    assert not other.made and other.id != made.id
    assert book.ask_study(("other.toml", other.text.encode())).id == other.id


def test_a_kept_study_tells_the_shares_of_its_statements(book: Logbook) -> None:
    made = book.study(("two.toml", ASKED), workers=0)
    kept = book.kept_study(made.id)
    levels = made.figures["levels"]
    assert len(kept.statements) == len(levels) == 2
    for level, kinds in zip(levels, kept.statements, strict=True):
        assert sum(one.value or 0.0 for one in kinds) == pytest.approx(1.0)
        assert kinds[STATEMENTS.index("quantified")].value == level["quantified"]["value"]
        assert {one.of for one in kinds} == {level["samples"]}
    assert f"{made.figures['answered_per_batch']['value']:.3g}" in kept.sentence
    assert kept.interval == 0.95
    assert b"two burned" in book.draw_study(made.id)


@pytest.mark.parametrize("study", ["", "0123", "f" * 64])
def test_a_study_that_is_not_there_is_refused_in_one_line(book: Logbook, study: str) -> None:
    with pytest.raises(Refused, match="0 studies"):
        book.kept_study(study)


def test_what_was_asked_is_told_in_words(book: Logbook) -> None:
    asked = book.ask_study(("two.toml", ASKED)).request
    assert asked_words(asked, "ug/L") == (
        "6 batches of 6 electrodes of an invented making, after 3 batches",
        "2 burned (blank, 2 ug/L), read once",
        "samples of 0, 2 ug/L, one electrode for each, read once",
    )
    way = {"prescan": True, "additions": [2.0], "closing_spike": 100}
    ways = {"batches": 4, "population": {}, "batch": {"burned": []}, "samples": {"dilutions": [1, 10], **way}}
    more = asked_words(book.ask_study(("more", ways)).request, "ug/L")
    assert more[1] == "none burned"
    assert more[2].endswith(
        "2 electrodes at 1, 10x for each, read with a pre-scan, additions of 2 ug/L, a closing spike of 100 ug/L"
    )


def test_a_worker_with_another_program_is_refused() -> None:
    with pytest.raises(Refused, match="install the same on every worker"):
        step.checked_chunk(("0.0/0", "0.0"), PLAN, (0,))


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (b"batches = 0", "a whole number from 2"),
        (b"[population]", "how many batches to simulate"),
        (b"batches = 10\nbatch = 3", "a table"),
        (b"batches = 10\n[population]\nslopes = 1", "the nearest known one, slope"),
        (b"batches = 10\n[history]\nbatches = 3", "a history without a population"),
        (b"batches = 10\n[samples]\nlevels = [0, -1]", "a list of numbers"),
        (b"batches = 10\n[population]\nlow_share = 0.7\nhigh_share = 0.7", "above 1 together"),
        (b"batches = ", "TOML"),
    ],
)
def test_a_plan_with_a_fault_is_refused_by_name(book: Logbook, text: bytes, words: str) -> None:
    with pytest.raises(Refused, match=words):
        book.study(("plan.toml", text), workers=0)
    assert book.studies() == []


def test_no_electrode_left_for_samples_says_what_would_do(book: Logbook) -> None:
    text = b"batches = 10\n[population]\n[batch]\nelectrodes = 2\nburned = [0, 2]"
    with pytest.raises(Refused, match="burn fewer, or make more"):
        book.study(("plan.toml", text), workers=0)


def test_without_a_calibration_a_study_of_the_logbooks_own_electrodes_says_what_is_missing(book: Logbook) -> None:
    with pytest.raises(Refused, match="no calibration in this logbook"):
        book.study(("plan.toml", b"batches = 10"), workers=0)


def test_workers_and_a_scheduler_together_are_refused(book: Logbook) -> None:
    with pytest.raises(Refused, match="leave --workers out"):
        book.study(("two.toml", ASKED), workers=2, scheduler="127.0.0.1:8786")
