"""Ten thousand single readings, and what a reading takes when there are few or many of them.

    python benchmarks/many_reads.py [--reads 10000] [--per-batch 100] [--processes 2] [--seed 1] [--plain]

A history of nine batches and new batches with a blank and standards at 2 and 8 ug/L, calibrated once; then samples on
fresh electrodes of the new batches, one electrode each, at levels from 0 to 20 ug/L. Every batch's samples are read in
one process, batches side by side. Draws of the batches are made beforehand and timed apart, as a logbook keeps them
from its calibration. Compiled loops, where the extra "fast" is installed, unless --plain. Beside the seconds: the same
for the imports of three libraries, and the growth of peak memory from a tenth of the readings to all of them.
"""

from __future__ import annotations

import argparse
import os
import resource
import subprocess
import sys
import time
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from multiprocessing import get_context

import numpy as np
from worlds import BURNED_LEVELS, HISTORY_LEVELS

from brinemark.science.amount.calibration import calibrate
from brinemark.science.amount.compiled import load
from brinemark.science.amount.predictive import BatchPart, DrawMemory
from brinemark.science.amount.reading import read_samples
from brinemark.science.amount.simulate import TrueBatch, Truth, draw_batches, simulate_electrodes, simulate_history
from brinemark.terms.amounts import Calibration, ElectrodeReadings, SamplePortion
from brinemark.terms.settings import AnalyteSection, CalibrationSection, DecisionSection, PriorSection

IMPORTS = "import numpy, scipy.special, sqlalchemy"
LEVELS = np.array([0.0, 0.25, 0.5, 1.0, 2.0, 4.0, 8.0, 20.0])
BATCHES, WANTED_S, MEMORY_MB = 9, 10.0, 30.0


@dataclass(frozen=True, slots=True, eq=False)
class Bench:
    """What every process needs. plain : to read without compiled loops."""

    calibration: Calibration
    readings: ElectrodeReadings
    new: tuple[TrueBatch, ...]
    seed: int
    plain: bool = False


@dataclass(frozen=True, slots=True)
class Done:
    """What one process did: readings, those that said something, its own seconds, its peak memory [MB] before and
    after."""

    reads: int
    told: int
    busy: float
    before: float
    after: float


_bench: list[Bench] = []
Parts = dict[str, BatchPart]


def bench_of(batches: int, seed: int, plain: bool = False) -> Bench:
    """Simulate and calibrate."""
    rng, truth = np.random.default_rng(seed), Truth()
    names = [*(f"B{i}" for i in range(BATCHES)), *(f"N{i}" for i in range(batches))]
    drawn = draw_batches(truth, names, rng)
    levels = [np.array(HISTORY_LEVELS)] * BATCHES + [np.array(BURNED_LEVELS)] * batches
    readings = simulate_history(truth, drawn, levels, rng)
    keep = simulate_history(truth, drawn[:BATCHES], levels[:BATCHES], np.random.default_rng([seed, 1]))
    made = calibrate(keep, AnalyteSection(), PriorSection(), CalibrationSection(seed=seed))
    return Bench(made, readings, drawn[BATCHES:], seed, plain)


def start(bench: Bench) -> None:
    """Once in every process."""
    _bench.append(bench)


def peak() -> float:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / (1024.0 if sys.platform != "darwin" else 1024.0**2)


def draws_of(number: int) -> Parts:
    """What a calibration keeps of one batch."""
    bench, memory = _bench[0], DrawMemory()
    memory.draws(bench.calibration, bench.readings, [bench.new[number].name], bench.seed)
    return memory.fresh


def read_batch(task: tuple[int, int, Parts]) -> Done:
    """All samples of one batch."""
    number, count, parts = task
    bench, before, begun = _bench[0], peak(), time.process_time()
    if not bench.plain:
        load()
    batch, rng = bench.new[number], np.random.default_rng([bench.seed, number])
    x, y = simulate_electrodes(Truth(), batch, np.resize(LEVELS, count), rng)
    pairs = zip(np.exp(x).tolist(), y.tolist(), strict=True)
    samples = [[SamplePortion("X", batch.name, "bench", covariate, signal, 0.0)] for covariate, signal in pairs]
    known, seed = (bench.calibration, bench.readings, DecisionSection()), bench.seed
    told = sum(made.statement != "cannot say" for made in read_samples(samples, *known, seed, DrawMemory(parts.get)))
    return Done(count, told, time.process_time() - begun, before, peak())


def main() -> int:
    """Exit status 0 when both figures are met."""
    parser = argparse.ArgumentParser(description="Seconds and memory of many readings.")
    parser.add_argument("--reads", type=int, default=10_000)
    parser.add_argument("--per-batch", type=int, default=100)
    parser.add_argument("--processes", type=int, default=2)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--plain", action="store_true", help="without compiled loops")
    given = parser.parse_args()
    os.environ["OMP_NUM_THREADS"] = os.environ["OPENBLAS_NUM_THREADS"] = "1"
    begun = time.perf_counter()
    subprocess.run([sys.executable, "-c", IMPORTS], check=True)
    imports = time.perf_counter() - begun
    batches = -(-given.reads // given.per_batch)
    bench = bench_of(batches, given.seed, given.plain)
    with ProcessPoolExecutor(
        given.processes, mp_context=get_context("spawn"), initializer=start, initargs=(bench,)
    ) as pool:
        begun = time.perf_counter()
        parts = list(pool.map(draws_of, range(batches)))
        making = time.perf_counter() - begun
        tasks = [(number, given.per_batch, one) for number, one in enumerate(parts)]
        warm = list(pool.map(read_batch, tasks[: given.processes]))
        begun = time.perf_counter()
        done = list(pool.map(read_batch, tasks))
        seconds = time.perf_counter() - begun
    reads = sum(one.reads for one in done)
    grown = max(one.after for one in done) - max(one.after for one in done[: max(1, len(done) // 10)])
    print(f"{reads} readings, {sum(one.told for one in done)} with a statement, {given.per_batch} a batch")
    print(f"{making:.1f} s for the draws of {batches} batches, beforehand")
    each = 1e3 * seconds / reads * given.processes
    busy = 1e3 * sum(one.busy for one in done) / reads
    print(f"{seconds:.1f} s on {given.processes} processes: {each:.2f} ms each a core, {busy:.2f} ms of it at work")
    print(f"{seconds / imports:.0f} x '{IMPORTS}' ({imports:.2f} s)")
    first = max(one.after for one in warm)
    print(f"peak memory of a process: {first:.0f} MB after its first batch; {grown:.0f} MB more from a tenth to all")
    met = seconds * 10_000 / reads <= WANTED_S, grown <= MEMORY_MB
    print(f"{'met' if met[0] else 'MISSED'}: 10,000 readings in {WANTED_S:g} s")
    print(f"{'met' if met[1] else 'MISSED'}: memory flat to {MEMORY_MB:g} MB")
    return 0 if all(met) else 1


if __name__ == "__main__":
    sys.exit(main())
