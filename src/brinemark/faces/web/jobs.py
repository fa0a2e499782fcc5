"""Long work that goes on when its page is closed: each job a process of its own, with progress and stop.

A process of its own keeps the pages quick while it computes, and can be ended at any moment: what it had begun to
store is rolled back by the database.
"""

from __future__ import annotations

import shutil
import signal
import sys
import threading
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime
from multiprocessing import get_context
from multiprocessing.connection import Connection
from multiprocessing.context import SpawnProcess
from multiprocessing.synchronize import Event
from pathlib import Path
from typing import Any

from brinemark.faces.web.work import WITH_PROCESSES, carry_out, kept_when_stopped
from brinemark.terms.errors import Refused

WAITING, RUNNING, DONE, REFUSED, STOPPED, FAILED = "waiting", "running", "done", "refused", "stopped", "failed"
ENDED = (DONE, REFUSED, STOPPED, FAILED)
AT_ONCE = 1  # A job uses a whole core; the pages and other programs need the rest.
PATIENCE_S = 5.0
KEPT = 200


@dataclass(slots=True, eq=False)
class Job:
    """done of total steps; said : what it says of itself; see : the page with what came of it; findings : by row;
    answer : what it found that is not stored; spool : a folder of files that it works on, removed when it ends."""

    id: str
    title: str
    kind: str
    arguments: Mapping[str, Any]
    begun_at: str
    state: str = WAITING
    done: int = 0
    total: int = 0
    said: str = ""
    see: str = ""
    findings: list[dict[str, Any]] = field(default_factory=list)
    asked_to_stop: bool = False
    answer: Any = None
    ended_at: str = ""
    spool: Path | None = None
    keep: bool = False

    @property
    def ended(self) -> bool:
        return self.state in ENDED

    def to_dict(self) -> dict[str, Any]:
        names = ("id", "title", "kind", "begun_at", "state", "done", "total", "said", "see", "findings", "ended")
        return {name: getattr(self, name) for name in names}


class Jobs:
    """All jobs of this server since it was started, newest last."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._context = get_context("spawn")
        self._lock = threading.Lock()
        self._free = threading.Semaphore(AT_ONCE)
        self._jobs: dict[str, Job] = {}
        self._stops: dict[str, Event] = {}
        self._threads: list[threading.Thread] = []
        self._closing = False
        self._count = 0

    def begin(self, kind: str, title: str, folder: Path | None = None, *, keep: bool = False, **arguments: Any) -> Job:
        """Start a job of a kind that work.py knows.

        folder : files of its own, removed when it has ended, or with keep when the job is forgotten. Raises Refused
        when the pages are being closed; then the folder is gone too.
        """
        with self._lock:
            if self._closing:
                if folder is not None:
                    shutil.rmtree(folder, ignore_errors=True)
                raise Refused(
                    "work for pages that are being closed", "open pages", "serve them again, and send it again"
                )
            self._count += 1
            job = Job(str(self._count), title, kind, arguments, _now())
            job.spool, job.keep = folder, keep
            self._jobs[job.id], self._stops[job.id] = job, self._context.Event()
            for old in [one for one in self._jobs.values() if one.ended][: max(0, len(self._jobs) - KEPT)]:
                del self._jobs[old.id], self._stops[old.id]
                _sweep(old)
        thread = threading.Thread(target=self._follow, args=(job,), name=f"job {job.id}", daemon=True)
        self._threads = [one for one in self._threads if one.is_alive()] + [thread]
        thread.start()
        return job

    def get(self, name: str) -> Job | None:
        return self._jobs.get(name)

    def all(self) -> list[Job]:
        """Newest first."""
        with self._lock:
            return list(reversed(self._jobs.values()))

    def last(self, kind: str, **arguments: Any) -> Job | None:
        """The newest job of a kind that ended with an answer; arguments : those that it must have been given."""
        found = (job for job in self.all() if job.kind == kind and job.state == DONE)
        return next((job for job in found if arguments.items() <= job.arguments.items()), None)

    def stop(self, name: str) -> None:
        """Ask a job to stop; it stores nothing more."""
        job = self._jobs.get(name)
        if job is not None and not job.ended:
            job.asked_to_stop = True
            self._stops[name].set()

    def close(self) -> None:
        """Stop all jobs and wait until they have ended."""
        with self._lock:
            self._closing = True
        for job in self.all():
            self.stop(job.id)
        for thread in self._threads:
            thread.join(2.0 * PATIENCE_S)
        for job in self.all():
            _sweep(job)

    def _follow(self, job: Job) -> None:
        try:
            while not self._free.acquire(timeout=0.1):
                if job.asked_to_stop:
                    job.state, job.said = STOPPED, "stopped before it began; nothing was stored"
                    return
            try:
                self._run(job)
            finally:
                self._free.release()
        finally:
            job.ended_at = _now()
            if not job.keep:
                _sweep(job)

    def _run(self, job: Job) -> None:
        here, there = self._context.Pipe()
        more = {"job": job.id, "into": str(job.spool)}
        given = (job.kind, str(self._folder), {**job.arguments, **more}, there, self._stops[job.id])
        # A process that is ended with its parent may start none itself; one that does is ended by close.
        alone = job.kind not in WITH_PROCESSES
        process = self._context.Process(target=carry_out, args=given, daemon=alone)
        job.state = RUNNING
        with _without_interrupts():
            process.start()
        there.close()
        try:
            self._listen(job, here, process)
        finally:
            here.close()
            process.join(PATIENCE_S)
            if process.is_alive():
                process.kill()
                process.join()
        if not job.ended:
            stopped = job.asked_to_stop
            job.state = STOPPED if stopped else FAILED
            job.said = f"{'stopped' if stopped else 'it ended without an answer'}; {kept_when_stopped(job.kind)}"

    def _listen(self, job: Job, here: Connection, process: SpawnProcess) -> None:
        """Until it ends, or does not within a while of being told to stop."""
        waited = 0.0
        while not job.ended:
            if here.poll(0.1):
                try:
                    heard(job, here.recv())
                except EOFError:
                    return
            elif not process.is_alive():
                return
            elif job.asked_to_stop:
                waited += 0.1
                if waited > PATIENCE_S:
                    return


@contextmanager
def _without_interrupts() -> Iterator[None]:
    """What this thread starts never hears Ctrl-C, which a terminal sends to it too: not even before it can say so."""
    if sys.platform == "win32":
        yield
        return
    before = signal.pthread_sigmask(signal.SIG_BLOCK, (signal.SIGINT,))
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def _sweep(job: Job) -> None:
    """Take its files away."""
    if job.spool is not None:
        shutil.rmtree(job.spool, ignore_errors=True)


def _now() -> str:
    return datetime.now(UTC).isoformat(timespec="seconds")


def heard(job: Job, message: Mapping[str, Any]) -> None:
    """Take what a job says of itself; its state last, since others read while this is written."""
    for name in ("done", "total", "said", "see", "findings", "answer"):
        if name in message:
            setattr(job, name, message[name])
    if "state" in message:
        job.state = message["state"]
