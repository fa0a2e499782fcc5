"""Studies of plans: chunks put together in order, stopped and resumed; figures against what is known of their rows."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from concurrent.futures import Executor, Future
from contextlib import contextmanager
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pytest

from brinemark.science.amount.simulate import PRESCAN_AND_SPIKE, Truth
from brinemark.science.planning.study import Crew, Here, Progress, run_study
from brinemark.science.planning.study_figures import figures_of, joined, ratio
from brinemark.science.planning.study_laboratory import COLUMNS, Chunk, simulate_chunk
from brinemark.science.planning.study_plan import (
    Asked,
    BatchPlan,
    FixedDilutions,
    HistoryPlan,
    Rules,
    SamplePlan,
    StudyPlan,
)
from brinemark.terms.errors import Refused, Stopped
from study_work import COMPILED, PLAN, SMALL, WIDE, quick

FOUR_SE = 4.0  # Monte Carlo standard errors within which a rate of known truth has to lie


@contextmanager
def here() -> Iterator[Crew]:
    yield Crew(Here(), 1)


class Backwards(Executor):
    """Does what was submitted last first, and only when it is looked for."""

    def __init__(self) -> None:
        self.waiting: list[tuple[Future[Any], Callable[..., Any], tuple[Any, ...]]] = []

    def submit(self, fn, /, *args, **kwargs):  # type: ignore[no-untyped-def]
        future: Future[Any] = Future()
        self.waiting.append((future, fn, args))
        if len(self.waiting) == 4:
            for one, work, given in reversed(self.waiting):
                one.set_result(work(*given))
            self.waiting.clear()
        return future


def rows_of(plan: StudyPlan, progress: Progress | None = None) -> np.ndarray[Any, Any]:
    return run_study(plan, here, progress=progress).found.rows


def test_chunks_follow_from_the_plan_and_hold_every_batch_once() -> None:
    chunks = WIDE.chunks()
    numbers = [number for chunk in chunks for number in chunk]
    assert numbers == list(range(WIDE.laboratories))
    assert sum(map(WIDE.batches_of, numbers)) == 400
    odd = StudyPlan(41, per_history=20)
    assert [odd.batches_of(number) for number in range(odd.laboratories)] == [20, 20, 1]
    slow = replace(WIDE, samples=replace(WIDE.samples, protocol=PRESCAN_AND_SPIKE))
    assert max(map(len, slow.chunks())) < max(map(len, chunks))


def test_the_order_in_which_chunks_are_done_changes_nothing() -> None:
    plan = replace(WIDE, batches=480)
    assert len(plan.chunks()) % 4 == 0

    @contextmanager
    def backwards() -> Iterator[Crew]:
        yield Crew(Backwards(), 4)

    found = run_study(plan, backwards, progress=Progress(work=quick))
    plain = run_study(plan, here, progress=Progress(work=quick))
    assert found.found.rows.tobytes() == plain.found.rows.tobytes()
    assert found.figures == plain.figures


def test_a_stopped_study_goes_on_from_its_finished_chunks_and_does_none_twice() -> None:
    kept: dict[int, Chunk] = {}
    told: list[tuple[int, int]] = []

    def stop_after_three(done: int, total: int) -> bool:
        told.append((done, total))
        return len(kept) < 3

    with pytest.raises(Stopped):
        run_study(WIDE, here, kept, Progress(kept.__setitem__, stop_after_three, quick))
    assert 3 <= len(kept) < len(WIDE.chunks())
    assert told[0] == (0, 400)
    done: list[int] = []
    found = run_study(WIDE, here, kept, Progress(lambda number, _chunk: done.append(number), work=quick))
    assert sorted([*kept, *done]) == list(range(len(WIDE.chunks())))
    assert found.found.rows.tobytes() == rows_of(WIDE, Progress(work=quick)).tobytes()


def test_what_a_chunk_raises_is_raised() -> None:
    def refuses(_plan: StudyPlan, _laboratories: tuple[int, ...]) -> Chunk:
        raise Refused("a worker with another program", "the same", "install it")

    with pytest.raises(Refused, match="another program"):
        run_study(WIDE, here, progress=Progress(work=refuses))


def test_figures_are_those_that_the_rows_were_made_with() -> None:
    figures = run_study(replace(WIDE, batches=4000), here, progress=Progress(work=quick)).figures
    level = figures.levels[0]
    for found, known in ((level.detected, 0.8), (level.interval, 0.9), (level.answered, 0.9)):
        assert found.error is not None and found.value is not None
        assert abs(found.value - known) < FOUR_SE * found.error
        assert found.error == pytest.approx(math.sqrt(known * (1 - known) / 16000), rel=0.15)  # nothing is alike here
    assert level.fold.value == 2.5
    assert level.answered.value is not None
    assert figures.electrodes_per_answer.value == pytest.approx(6.0 / (4 * level.answered.value), rel=1e-12)
    assert figures.false_detections.value is None


def test_the_error_of_a_ratio_is_that_of_resampled_laboratories() -> None:
    rng = np.random.default_rng(5)
    below = rng.integers(5, 15, 60).astype(float)
    above = rng.binomial(below.astype(int), rng.beta(4, 2, 60)).astype(float)
    picks = rng.integers(0, 60, (4000, 60))
    spread = float(np.std(above[picks].sum(axis=1) / below[picks].sum(axis=1)))
    found = ratio(above, below).error
    assert found == pytest.approx(spread, rel=0.06)  # of 4,000 resamples: 1.1 % alone, and the linear form


def test_what_always_happens_has_an_error_too() -> None:
    rows = np.array([[lab, 0, 1.0, 1, 3, 1.0, 0.5, 1.5, 0.5, 1.5] for lab in range(10)])
    made = np.array([[lab, 1, 6, 1] for lab in range(10)], dtype=float)
    detected = figures_of(Chunk(rows, made), 3.0).levels[0].detected
    assert detected.value == 1.0
    assert detected.error is not None and 0.02 < detected.error < 0.1


def test_an_open_end_is_no_answer_and_a_median_of_open_ones_is_none() -> None:
    rows = np.array([[0, i, 1.0, 1, 4, 1.0, 0.5, np.inf if i else 1.0, 0.5, np.inf] for i in range(3)])
    level = figures_of(Chunk(rows, np.array([[0.0, 3, 18, 3]])), 3.0).levels[0]
    assert level.answered.value == pytest.approx(1 / 3)
    assert level.fold.value is None


def test_a_laboratory_without_calibration_made_electrodes_that_answer_nothing() -> None:
    rows = np.array([[0, 0, 1.0, 1, 3, 1.0, 0.5, 1.0, 0.5, 1.0]])
    found = joined(
        [Chunk(rows, np.array([[0.0, 1, 6, 1]])), Chunk(np.zeros((0, len(COLUMNS))), np.array([[1.0, 1, 6, 0]]), (1,))]
    )
    figures = figures_of(found, 3.0)
    assert (figures.failed, figures.made) == (1, 12)
    assert figures.answered_per_electrode.value == pytest.approx(1 / 12)


def test_a_laboratory_gives_the_same_rows_alone_as_in_company() -> None:
    together = simulate_chunk(PLAN, (0, 1))
    alone = simulate_chunk(PLAN, (1,))
    assert together.rows[together.rows[:, 0] == 1].tobytes() == alone.rows.tobytes()
    assert np.unique(together.rows[:, 0]).tolist() == [0, 1]


def test_the_electrodes_of_a_batch_are_shared_out_as_the_plan_says() -> None:
    samples = SamplePlan((2.0,), FixedDilutions((1.0, 10.0)))
    plan = replace(PLAN, batches=2, per_history=2, batch=BatchPlan(7, (0.0, 2.0)), samples=samples)
    found = simulate_chunk(plan, (0,))
    assert found.rows[:, COLUMNS.index("electrodes")].tolist() == [2.0] * 4  # 5 left: two samples, one electrode idle
    assert found.made.tolist() == [[0.0, 2.0, 14.0, 8.0]]


@dataclass(frozen=True)
class UntilNarrow:
    """Plain repeats until the interval is narrow, at most three."""

    def __call__(self, asked: Asked) -> float | None:
        if len(asked.portions) == 3:
            return None
        if asked.portions:
            two = asked.read().two_sided
            if two is not None and two.lower and two.upper and two.upper < 2.5 * two.lower:
                return None
        return 1.0


def test_a_chooser_that_reads_as_it_goes_uses_more_electrodes_where_more_are_needed() -> None:
    plan = replace(PLAN, batches=2, per_history=2, batch=BatchPlan(9), samples=SamplePlan((0.0,), UntilNarrow()))
    used = simulate_chunk(plan, (0,)).rows[:, COLUMNS.index("electrodes")]
    assert set(used.tolist()) <= {1.0, 3.0}  # 7 left in each batch: 3 + 3 + 1, since a blank is never narrow
    assert used.tolist() == [3.0, 3.0, 1.0] * 2


@pytest.mark.slow
def test_in_the_world_of_the_model_intervals_hold_and_blanks_are_seldom_found() -> None:
    rules = Rules(draws=512, compiled=COMPILED)
    plan = StudyPlan(60, per_history=5, seed=2, history=HistoryPlan(batches=6), rules=rules)
    figures = run_study(plan, here).figures
    assert figures.interval.value is not None and figures.interval.error is not None
    assert abs(figures.interval.value - 0.96) < 0.02 + FOUR_SE * figures.interval.error
    assert figures.false_detections.value is not None and figures.false_detections.error is not None
    assert figures.false_detections.value < 0.05 + FOUR_SE * max(figures.false_detections.error, 0.03)


def test_a_plan_that_cannot_be_is_refused_and_says_what_would_do() -> None:
    with pytest.raises(Refused, match="at least one left for a sample"):
        StudyPlan(10, batch=BatchPlan(2, (0.0, 2.0)))
    with pytest.raises(Refused, match="1 to 4"):
        StudyPlan(10, samples=SamplePlan(chooser=FixedDilutions((1.0, 2.0, 4.0, 8.0, 16.0))))
    with pytest.raises(Refused, match="electrodes in a batch"):
        StudyPlan(10, batch=BatchPlan(0, ()))
    with pytest.raises(Refused, match="a blank and a standard"):
        StudyPlan(10, history=HistoryPlan(levels=(1.0, 2.0)))
    with pytest.raises(Refused, match="numbers of 1 or more"):
        StudyPlan(10, samples=SamplePlan(chooser=FixedDilutions((0.5,))))
    with pytest.raises(Refused, match="0 simulated batches"):
        StudyPlan(0)
    with pytest.raises(Refused, match="levels of samples"):
        StudyPlan(10, samples=SamplePlan((float("nan"),)))


def test_lives_with_prescan_and_spike_are_read_as_such() -> None:
    lived = replace(SMALL, levels=(0.0, 0.0, 2.0, 8.0), protocol=PRESCAN_AND_SPIKE)
    plan = StudyPlan(
        1 + 1,
        per_history=2,
        seed=4,
        population=Truth(),
        history=lived,
        batch=BatchPlan(4, (0.0, 2.0), PRESCAN_AND_SPIKE),
        samples=SamplePlan((1.0,), protocol=PRESCAN_AND_SPIKE),
        rules=Rules(draws=256, compiled=COMPILED),
    )
    with_spikes = figures_of(simulate_chunk(plan, (0,)), 3.0).levels[0].fold
    without = replace(plan, samples=SamplePlan((1.0,)), history=SMALL, batch=BatchPlan(4, (0.0, 2.0)))
    plain = figures_of(simulate_chunk(without, (0,)), 3.0).levels[0].fold
    assert with_spikes.value is not None
    assert with_spikes.value < (plain.value or math.inf)
