"""A trace of a million points: seconds and memory of reading its file (both layouts), measuring and drawing it.

    python benchmarks/long_trace.py [--points 1000000] [--seed 1]

Reading is compared with numpy's own reader on the same bytes in the same run, and the signal with the height that was
put in. Seconds are those of the processor. Memory is the peak that Python's allocator saw in a second, untimed round,
as a multiple of the file or of the trace's own arrays. The size of the chart is that of its specification.
"""

from __future__ import annotations

import argparse
import io
import json
import sys
import time
import tracemalloc
from collections.abc import Callable
from typing import TypeVar

import numpy as np

from brinemark.outputs.charts import trace_chart
from brinemark.records.traces import parse_trace
from brinemark.science.curve.voltammetry import dissect, measure
from brinemark.science.curve.waves import theoretical_wave
from brinemark.terms.arrays import FloatArray
from brinemark.terms.curves import Signal, SignalDefinition, Trace
from brinemark.terms.settings import InstrumentSection

PARSE_RATIO, WIDE_RATIO, MEASURE_S, MEMORY_RATIO, PULL = 4.0, 12.0, 5.0, 15.0, 4.0
MEASURE_RATIO, CHART_MB = 15.0, 2.0
HEIGHT_A, NOISE_A = 3e-8, 1e-9
CYCLES = 4
Result = TypeVar("Result")


def columns(points: int, seed: int) -> tuple[FloatArray, FloatArray]:
    """Potentials [V] up and down, and a current [A] with the theoretical wave of a window on a straight background."""
    definition = SignalDefinition("height", "anodic", "last", (0.40, 0.76))
    wave = theoretical_wave(definition)
    potential = np.concatenate([np.linspace(0.3, 0.9, points // 2), np.linspace(0.9, 0.3, points // 2)])
    shape = np.interp(potential, wave.potential_V, wave.shape)
    noise = NOISE_A * np.random.default_rng(seed).normal(size=potential.size)
    return potential, 2e-8 + 5e-8 * potential + HEIGHT_A * shape + noise


def long_file(potential: FloatArray, current: FloatArray) -> bytes:
    rows = (f"{v:.7f},{i:.7e}" for v, i in zip(potential.tolist(), current.tolist(), strict=True))
    return "\n".join(["potential_V,current_A", *rows]).encode()


def wide_file(potential: FloatArray, current: FloatArray) -> bytes:
    """The same number of currents in CYCLES columns."""
    few, own = potential[::CYCLES], current[::CYCLES]
    head = ",".join(f"current_A_{k}" for k in range(1, CYCLES + 1))
    rows = (f"{v:.7f}" + f",{i:.7e}" * CYCLES for v, i in zip(few.tolist(), own.tolist(), strict=True))
    return "\n".join([f"potential_V,{head}", *rows]).encode()


def timed(work: Callable[[], Result]) -> tuple[Result, float]:
    start = time.process_time()
    found = work()
    return found, time.process_time() - start


def peak(work: Callable[[], object]) -> float:
    """Peak of what was allocated during the work [bytes]."""
    tracemalloc.start()
    work()
    most = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    return float(most)


def line(words: str, value: float, limit: float, unit: str) -> bool:
    met = value <= limit
    print(f"{'met' if met else 'MISSED'}: {words} {value:.2f} {unit}, wanted at most {limit:g}")
    return met


def chart_size(trace: Trace, definition: SignalDefinition) -> float:
    """Size of the picture's specification with the whole trace above [bytes]."""
    taken_apart = dissect(trace, definition, theoretical_wave(definition))
    return float(len(json.dumps(trace_chart(taken_apart, trace))))


def judge(signal: Signal) -> bool:
    return line("distance of the signal from the truth", abs(signal.value - HEIGHT_A) / signal.u, PULL, "u")


def main() -> int:
    """Exit status 0 when every limit holds."""
    parser = argparse.ArgumentParser(description="A trace of a million points.")
    parser.add_argument("--points", type=int, default=1_000_000)
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args()
    potential, current = columns(given.points, given.seed)
    data, wide = long_file(potential, current), wide_file(potential, current)
    definition = SignalDefinition("height", "anodic", "last", (0.40, 0.76))
    section = InstrumentSection(layout="wide")
    _, plain_s = timed(lambda: np.loadtxt(io.BytesIO(data), delimiter=",", skiprows=1))
    trace, parse_s = timed(lambda: parse_trace(data, None, "long.csv"))
    _, wide_s = timed(lambda: parse_trace(wide, section, "wide.csv"))
    signal, measure_s = timed(lambda: measure(trace, definition, theoretical_wave(definition)))
    held_bytes = peak(lambda: parse_trace(data, None, "long.csv"))
    measuring = peak(lambda: measure(trace, definition, theoretical_wave(definition)))
    arrays = trace.potential_V.nbytes + trace.current_A.nbytes
    print(f"{given.points} points, {len(data) / 1e6:.0f} MB; numpy alone reads them in {plain_s:.2f} s")
    held = [
        line("reading the long file takes, over numpy,", parse_s / plain_s, PARSE_RATIO, "times"),
        line("reading as many currents in a wide file,", wide_s / plain_s, WIDE_RATIO, "times"),
        line("measuring takes", measure_s, MEASURE_S, "s"),
        line("reading holds, over the file,", held_bytes / len(data), MEMORY_RATIO, "times"),
        line("measuring holds, over the trace,", measuring / arrays, MEASURE_RATIO, "times"),
        line("its chart is", chart_size(trace, definition) / 1e6, CHART_MB, "MB"),
        judge(signal),
    ]
    return 0 if all(held) else 1


if __name__ == "__main__":
    sys.exit(main())
