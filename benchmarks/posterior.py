"""Posterior draws of one calibration against a long run, and the health of its weights over many histories.

    python benchmarks/posterior.py [--histories 10] [--seeds 8] [--long 16384] [--widen 1 2.5]

Errors are in posterior standard deviations of the long run, worst over the parameters, for the median and the worst
seed: of means, of ratios of sds, and of the quantiles .025, .25, .5, .75, .975. The long run samples the same target
with the same kind of proposals and one very large further round; its own effective size is shown. Errors can only be
told for seeds that passed their gates, so a seed or a history that did not is counted as missed.
"""

from __future__ import annotations

import argparse
import sys
import time
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import partial
from multiprocessing import get_context

import numpy as np
from worlds import WORLDS, season

from brinemark.science.amount.calibration import HyperTarget, calibrate
from brinemark.science.amount.mode import find_mode
from brinemark.science.amount.posterior import SLICE, curvature_root
from brinemark.science.amount.priors import default_priors
from brinemark.science.amount.proposals import Pool, Proposal, adapted_pair
from brinemark.science.amount.quadrature import Nodes, adapt
from brinemark.science.amount.scale import latent_model, scale_of_data
from brinemark.science.amount.weights import effective_size, normalised, pareto_k
from brinemark.terms.amounts import Calibration
from brinemark.terms.arrays import FloatArray
from brinemark.terms.errors import GateFailed
from brinemark.terms.settings import AnalyteSection, CalibrationSection, PriorSection

QUANTILES = (0.025, 0.25, 0.5, 0.75, 0.975)
MEAN_LIMIT = 0.1  # posterior sd, worst parameter of the median seed
SD_LIMIT = 0.1


@dataclass(frozen=True, slots=True)
class Run:
    """One calibration: gates, work and moments; None of them when a gate failed."""

    failed: str | None
    rounds: int
    total_draws: int
    k: float
    max_weight: float
    seconds: float
    draws: FloatArray | None


@dataclass(frozen=True, slots=True, eq=False)
class LongRun:
    """Weighted draws of the same posterior, mean and sd."""

    points: FloatArray
    weights: FloatArray
    k: float

    def mean(self) -> FloatArray:
        return np.asarray(self.weights @ self.points)

    def sd(self) -> FloatArray:
        return np.asarray(np.sqrt(self.weights @ (self.points - self.mean()) ** 2))

    def quantiles(self) -> FloatArray:
        """(5, P)."""
        found = np.empty((len(QUANTILES), self.points.shape[1]))
        for j in range(self.points.shape[1]):
            order = np.argsort(self.points[:, j])
            found[:, j] = np.interp(QUANTILES, np.cumsum(self.weights[order]), self.points[order, j])
        return found


def one_run(widen: float, pair: tuple[int, int]) -> Run:
    """Calibrate history pair[0] with seed pair[1]."""
    readings = season(WORLDS["model"], np.random.default_rng([7, pair[0]])).readings
    start = time.perf_counter()
    try:
        made = calibrate(readings, AnalyteSection(), PriorSection(widen=widen), CalibrationSection(seed=pair[1]))
    except GateFailed as failed:
        return Run(str(failed), 0, 0, np.nan, np.nan, time.perf_counter() - start, None)
    return _record(made, time.perf_counter() - start)


def _record(made: Calibration, seconds: float) -> Run:
    gates = {gate.name: gate.value for gate in made.gates}
    return Run(None, made.rounds, made.total_draws, gates["Pareto k"], gates["largest weight"], seconds, made.draws)


def long_run(widen: float, size: int) -> LongRun:
    """Laplace and prior draws, two fitted rounds, then size more from a last fit, weighted against their mixture."""
    readings = season(WORLDS["model"], np.random.default_rng([7, 0])).readings
    scale = scale_of_data(readings)
    priors = default_priors(scale.layout, readings, AnalyteSection(), PriorSection(widen=widen))
    center, sd = np.array([p.center for p in priors]), np.array([p.sd for p in priors])
    model = latent_model(readings, scale)
    return long_run_of(HyperTarget(model, center, sd, Nodes(), adapt(model, center[None])), size)


def long_run_of(target: HyperTarget, size: int) -> LongRun:
    """The same of any density."""
    center, sd = target.center, target.sd
    mode = find_mode(target, center, sd)
    pool = Pool.empty(mode.size)
    seeds = iter(np.random.SeedSequence(999).spawn(8))
    plan = [(Proposal(mode, curvature_root(target, mode, sd)), 1024), (Proposal(center, np.diag(sd)), 512)]
    for proposal, count in plan:
        pool = _extended(pool, target, proposal, proposal.draw(count, next(seeds)))
    for count in (2048, 4096, size):
        for fitted in adapted_pair(pool, sd):
            pool = _extended(pool, target, fitted, fitted.draw(count // 2, next(seeds)))
    log_weights = pool.log_weights()
    return LongRun(pool.points, normalised(log_weights), pareto_k(log_weights))


def _extended(pool: Pool, target: HyperTarget, proposal: Proposal, points: FloatArray) -> Pool:
    pieces = np.array_split(points, max(1, points.shape[0] // SLICE))
    return pool.extended(proposal, points, np.concatenate([target.log_density(piece) for piece in pieces]))


def errors(run: Run, reference: LongRun) -> tuple[float, float, float]:
    """Worst parameter: error of the mean and of quantiles [posterior sd], ln ratio of sds."""
    assert run.draws is not None
    sd = reference.sd()
    mean = np.abs(run.draws.mean(axis=0) - reference.mean()) / sd
    quantile = np.abs(np.quantile(run.draws, QUANTILES, axis=0) - reference.quantiles()) / sd
    return float(mean.max()), float(np.abs(np.log(run.draws.std(axis=0) / sd)).max()), float(quantile.max())


def accuracy(runs: list[Run], reference: LongRun) -> bool:
    """Print errors over seeds of one history; True when within the limits."""
    found = np.array([errors(run, reference) for run in runs if run.draws is not None]).reshape(-1, 3)
    size = effective_size(reference.weights)
    print(
        f"long run: {reference.points.shape[0]} draws, effective {size:.0f}, Pareto k {reference.k:.2f}; "
        f"its means are known to {1 / np.sqrt(size):.3f} sd; {len(runs) - len(found)} of {len(runs)} seeds failed"
    )
    if not len(found):
        print("  MISSED: no seed passed its gates")
        return False
    for name, values in zip(("mean [sd]", "ln ratio of sds", "quantile [sd]"), found.T, strict=True):
        print(f"  {name:<18} worst parameter: median seed {np.median(values):.3f}, worst seed {values.max():.3f}")
    good = bool(np.median(found[:, 0]) <= MEAN_LIMIT and np.median(found[:, 1]) <= SD_LIMIT)
    told = f"{len(found)} of {len(runs)} seeds that passed their gates"
    print(f"  {'met' if good else 'MISSED'}: means and sds of the median within {MEAN_LIMIT:g}, over the {told}")
    return good and len(found) == len(runs)


def health(runs: list[Run]) -> bool:
    """Print gates and work over histories; True when every history passed its gates."""
    good = [run for run in runs if run.failed is None]
    for number, run in enumerate(runs):
        if run.failed:
            print(f"  history {number}: {run.failed}")
    print(f"  {len(runs) - len(good)} of {len(runs)} histories failed a gate")
    if not good:
        return False
    for name, values in (
        ("Pareto k", [run.k for run in good]),
        ("largest weight", [run.max_weight for run in good]),
        ("rounds", [float(run.rounds) for run in good]),
        ("draws in all", [float(run.total_draws) for run in good]),
        ("seconds", [run.seconds for run in good]),
    ):
        print(f"  {name:<18} median {np.median(values):.4g}, worst {np.max(values):.4g}")
    return len(good) == len(runs)


def main() -> int:
    """Exit status 0 when every gate passed and means and sds of the median seed stay within .1 posterior sd."""
    parser = argparse.ArgumentParser(description="Posterior draws against a long run.")
    parser.add_argument("--histories", type=int, default=10)
    parser.add_argument("--seeds", type=int, default=8)
    parser.add_argument("--long", type=int, default=16384)
    parser.add_argument("--widen", type=float, nargs="+", default=[1.0, 2.5])
    parser.add_argument("--processes", type=int, default=2)
    given = parser.parse_args()
    met = True
    with ProcessPoolExecutor(given.processes, mp_context=get_context("spawn")) as pool:
        for widen in given.widen:
            print(f"\n== prior sds times {widen:g}")
            waiting = pool.submit(long_run, widen, given.long)
            seeds = list(pool.map(partial(one_run, widen), [(0, seed) for seed in range(given.seeds)]))
            good = accuracy(seeds, waiting.result())
            histories = pool.map(partial(one_run, widen), [(number, 1) for number in range(given.histories)])
            met = health(list(histories)) and good and met
    print(f"\n{'met' if met else 'MISSED'}: every gate passed, and means and sds of the median seed within the limits")
    return 0 if met else 1


if __name__ == "__main__":
    sys.exit(main())
