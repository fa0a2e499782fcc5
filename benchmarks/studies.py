"""A study of 2,000 simulated batches: its seconds, whether it is linear in batches, and Dask beside the process pool.

    python benchmarks/studies.py [--batches 2000] [--beside 400] [--workers 2] [--protocol single lived] [--no-dask]

Plans: six electrodes of which two are burned at 0 and 2, four samples at 0, .5, 1, 2, 5 ug/L read once each; "lived"
the same with pre-scan and closing spike on every electrode. Twenty batches follow each history of nine, which is
simulated and calibrated anew. Work starts once every worker has done a little, so that starting and loading are left
out. Beside the seconds stand those that a processor was at work, summed over the workers: where other programs use the
same processors, they say what the study takes by itself. A pool and a cluster take turns on the same plan and have to
give the same digits. The cluster's workers are told to keep freed memory and not to watch
themselves (docs/how-to/study-a-plan.md).
"""

from __future__ import annotations

import argparse
import os
import sys
import time
from collections.abc import Iterator
from concurrent.futures import Executor, Future
from contextlib import contextmanager
from dataclasses import replace
from functools import partial
from importlib import import_module
from importlib.util import find_spec

import numpy as np

from brinemark.science.amount.simulate import PRESCAN_AND_SPIKE, SINGLE
from brinemark.science.planning.study import Crew, Hire, Progress, Study, run_study
from brinemark.science.planning.study_laboratory import Chunk, simulate_chunk
from brinemark.science.planning.study_plan import BatchPlan, HistoryPlan, Rules, SamplePlan, StudyPlan
from brinemark.steps.crews import cluster, one_thread_each, processes

WANTED_S, AT, BESIDE, LINEAR = 300.0, 2000, 0.25, 0.15
PROTOCOLS = {"single": SINGLE, "lived": PRESCAN_AND_SPIKE}
WORKERS = {
    "MALLOC_TRIM_THRESHOLD_": str(2**30),
    "MALLOC_MMAP_THRESHOLD_": str(2**25),
    "DASK_DISTRIBUTED__WORKER__PROFILE__ENABLED": "False",
}
WARM = StudyPlan(2, per_history=1, history=HistoryPlan(batches=2))


def plan_of(protocol: str, batches: int) -> StudyPlan:
    """The plan of a protocol."""
    way = PROTOCOLS[protocol]
    rules = Rules(compiled=find_spec("numba") is not None)
    history, batch, samples = HistoryPlan(protocol=way), BatchPlan(protocol=way), SamplePlan(protocol=way)
    return StudyPlan(batches, history=history, batch=batch, samples=samples, rules=rules)


def busy_chunk(plan: StudyPlan, laboratories: tuple[int, ...]) -> Chunk:
    """A chunk whose `made` has one more column: processor seconds, spread over its laboratories."""
    begun = time.process_time()
    found = simulate_chunk(plan, laboratories)
    seconds = np.full((len(found.made), 1), (time.process_time() - begun) / len(laboratories))
    return replace(found, made=np.hstack([found.made, seconds]))


@contextmanager
def warm(hire: Hire, workers: int) -> Iterator[Crew]:
    """A crew whose workers have loaded all that they need."""
    with hire() as crew:
        plan = replace(WARM, rules=Rules(draws=256, compiled=find_spec("numba") is not None))
        for future in [_sent(crew.executor, plan) for _ in range(4 * workers)]:
            future.result()
        yield crew


def _sent(executor: Executor, plan: StudyPlan) -> Future[Chunk]:
    return executor.submit(simulate_chunk, plan, (0,))


def timed(plan: StudyPlan, crew: Crew) -> tuple[Study, float, float]:
    """A study, its seconds, and processor seconds."""

    @contextmanager
    def hired() -> Iterator[Crew]:
        yield crew

    begun = time.perf_counter()
    found = run_study(plan, hired, progress=Progress(work=busy_chunk))
    return found, time.perf_counter() - begun, float(found.found.made[:, 4].sum())


@contextmanager
def dask_crew(workers: int) -> Iterator[Crew]:
    """Workers of a scheduler on this computer."""
    made_by = import_module("distributed").LocalCluster
    os.environ.update(WORKERS)
    with (
        one_thread_each(),
        made_by(
            n_workers=workers, threads_per_worker=1, dashboard_address=None, host="127.0.0.1", processes=True
        ) as made,
        warm(partial(cluster, made.scheduler_address), workers) as crew,
    ):
        yield crew


def beside(protocol: str, batches: int, workers: int, crew: Crew) -> bool:
    """Pool and Dask in turn on the same plan, twice; the least of each counts."""
    plan, pool, dask = plan_of(protocol, batches), [], []
    with dask_crew(workers) as there:
        for _ in range(2):
            one, seconds, busy = timed(plan, crew)
            pool.append((seconds, busy))
            other, seconds, busy = timed(plan, there)
            dask.append((seconds, busy))
            if one.figures != other.figures or one.found.rows.tobytes() != other.found.rows.tobytes():
                raise SystemExit("pool and cluster differ")
    ratio, at_work = min(dask)[0] / min(pool)[0], min(b for _, b in dask) / min(b for _, b in pool)
    met = ratio <= 1.0 + BESIDE
    print(f"{batches} batches, {protocol}: pool {min(pool)[0]:.0f} s, Dask {min(dask)[0]:.0f} s, same digits")
    print(f"{'met' if met else 'MISSED'}: Dask takes {ratio:.2f} of the pool's time ({at_work:.2f} at work)")
    return met


def whole(protocol: str, batches: int, workers: int, crew: Crew) -> bool:
    """The whole study and a quarter of it."""
    _, _, quarter = timed(plan_of(protocol, max(batches // 4, 40)), crew)
    found, seconds, busy = timed(plan_of(protocol, batches), crew)
    figures = found.figures
    alone = busy / workers
    print(f"{figures.batches} batches, {figures.samples} samples, {protocol}: {seconds:.0f} s on {workers} workers,")
    print(
        f"  {busy:.0f} s of processors at work, {1e3 * busy / figures.batches:.0f} ms a batch; {alone:.0f} s a worker"
    )
    apart = busy / figures.batches * max(batches // 4, 40) / quarter - 1.0
    print(f"  work for a batch, against a quarter as many: {100 * apart:+.1f} %")
    linear = abs(apart) <= LINEAR
    met = seconds * AT / batches <= WANTED_S
    print(f"{'met' if met else 'MISSED'}: {AT} batches in {WANTED_S:g} s ({seconds * AT / batches:.0f} s)")
    print(f"{'met' if linear else 'MISSED'}: linear in batches to {100 * LINEAR:g} %")
    return met and linear


def main() -> int:
    """Exit status 0 when all is met."""
    parser = argparse.ArgumentParser(description="Seconds of studies, on a pool and on a cluster.")
    parser.add_argument("--batches", type=int, default=AT)
    parser.add_argument("--beside", type=int, default=400, help="batches for the comparison with Dask")
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--protocol", nargs="+", choices=PROTOCOLS, default=list(PROTOCOLS))
    parser.add_argument("--no-dask", action="store_true")
    given = parser.parse_args()
    met = []
    with warm(partial(processes, given.workers), given.workers) as crew:
        if not given.no_dask:
            met.append(beside("single", given.beside, given.workers, crew))
        met += [whole(protocol, given.batches, given.workers, crew) for protocol in given.protocol]
    return 0 if all(met) else 1


if __name__ == "__main__":
    sys.exit(main())
