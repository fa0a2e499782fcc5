"""A plan simulated from making to statement thousands of times, in chunks that any number of processes share.

Chunks are whole laboratories of about two seconds or more of work. What a chunk finds follows from the plan and the
numbers of its laboratories alone, not from the worker or the order of work, and chunks are put together in their order:
so one process, eight and a cluster give the same digits, also when a worker dies and its chunks are done again, and
when a study goes on from chunks that were finished before.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from concurrent.futures import FIRST_COMPLETED, BrokenExecutor, Executor, Future, wait
from contextlib import AbstractContextManager
from dataclasses import dataclass, field
from typing import TypeAlias

from brinemark.science.amount.posterior import OnStep, always
from brinemark.science.planning.study_figures import StudyFigures, figures_of, joined
from brinemark.science.planning.study_laboratory import Chunk, simulate_chunk
from brinemark.science.planning.study_plan import StudyPlan
from brinemark.terms.errors import Refused, Stopped

LOOK_S = 0.2  # between two looks at whether to stop
DEATHS = 3  # crews that may die one after the other without a chunk finished

Work: TypeAlias = Callable[[StudyPlan, tuple[int, ...]], Chunk]
OnChunk: TypeAlias = Callable[[int, Chunk], None]


@dataclass(frozen=True, slots=True)
class Crew:
    """Who does chunks: anything that submits work and gives futures; at_once : how many it is given at a time."""

    executor: Executor
    at_once: int


Hire: TypeAlias = Callable[[], AbstractContextManager[Crew]]


class Here(Executor):
    """A crew of one: this very process, which does what is submitted at once."""

    def submit(self, fn, /, *args, **kwargs):  # type: ignore[no-untyped-def]
        """A future that is done already."""
        future: Future[object] = Future()
        try:
            future.set_result(fn(*args, **kwargs))
        except Exception as fault:
            future.set_exception(fault)
        return future


def nothing(_number: int, _chunk: Chunk) -> None:
    """Keep no chunk."""


@dataclass(frozen=True, slots=True, eq=False)
class Progress:
    """What a study is told by and tells: on_chunk(number, chunk) for every chunk as it is finished, on_step(batches
    done, of all) -> False to stop; work : what does a chunk."""

    on_chunk: OnChunk = nothing
    on_step: OnStep = always
    work: Work = simulate_chunk


@dataclass(frozen=True, slots=True, eq=False)
class Study:
    """rows : (samples, COLUMNS of study_laboratory); figures : of them."""

    found: Chunk
    figures: StudyFigures


@dataclass(slots=True, eq=False)
class _Desk:
    """What is done and what is not."""

    plan: StudyPlan
    chunks: list[tuple[int, ...]]
    done: dict[int, Chunk]
    progress: Progress
    out: dict[Future[Chunk], int] = field(default_factory=dict)

    @property
    def left(self) -> list[int]:
        busy = set(self.out.values())
        return [number for number in range(len(self.chunks)) if number not in self.done and number not in busy]

    def step(self) -> None:
        """Tell how far it is. Raises Stopped."""
        total = self.plan.batches
        made = sum(self.plan.batches_of(one) for number in self.done for one in self.chunks[number])
        if not self.progress.on_step(made, total):
            raise Stopped(made, total)

    def take(self, future: Future[Chunk]) -> None:
        number = self.out.pop(future)
        chunk = future.result()
        self.done[number] = chunk
        self.progress.on_chunk(number, chunk)


def run_study(
    plan: StudyPlan, hire: Hire, kept: Mapping[int, Chunk] | None = None, progress: Progress | None = None
) -> Study:
    """Simulate what is not kept yet, and put everything together.

    hire : gives a crew, again when one dies; kept : finished chunks by number. Raises Stopped, and Refused when crews
    keep dying. What a chunk raises is raised.
    """
    desk = _Desk(plan, plan.chunks(), dict(kept or {}), progress or Progress())
    deaths = 0
    while len(desk.done) < len(desk.chunks):
        before = len(desk.done)
        try:
            with hire() as crew:
                _with(crew, desk)
        except BrokenExecutor:
            deaths = deaths + 1 if len(desk.done) == before else 0
            desk.out.clear()
            if deaths == DEATHS:
                came = f"{DEATHS} crews of processes that died one after the other"
                raise Refused(came, "processes that live", "use fewer workers, or free memory") from None
    desk.step()
    found = joined([desk.done[number] for number in range(len(desk.chunks))])
    return Study(found, figures_of(found, plan.rules.decision.max_fold))


def _with(crew: Crew, desk: _Desk) -> None:
    """Give out chunks until all are done. Chunks that were not begun are taken back when it ends early."""
    try:
        while desk.left or desk.out:
            desk.step()
            for number in desk.left[: crew.at_once - len(desk.out)]:
                future = crew.executor.submit(desk.progress.work, desk.plan, desk.chunks[number])
                desk.out[future] = number
            finished, _ = wait(desk.out, timeout=LOOK_S, return_when=FIRST_COMPLETED)
            for future in finished:
                desk.take(future)
    finally:
        for future in desk.out:
            future.cancel()
