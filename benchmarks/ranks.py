"""Simulation-based calibration: ranks of true population parameters among the draws of calibrations.

    python benchmarks/ranks.py [--design single] [--histories 200] [--seed 1] [--reference fixed] [--minutes M] [--rows]

Each truth is drawn from the priors, a history is simulated from it by the response model (prior_histories.py) and
calibrated; the rank of the truth among DRAWS of the posterior's draws must be uniform, for every parameter
("Validating Bayesian Inference Algorithms with Simulation-Based Calibration", arXiv 1804.06788). Uniformity is judged
by the whole distribution function at once: the least binomial tail probability of its values, against the same of
simulated uniform ranks ("Graphical test for discrete uniformity and its applications in goodness-of-fit evaluation
and multiple sample comparison", Statistics and Computing 32 (2022) 32, doi 10.1007/s11222-022-10090-6).

Signals are divided by a fixed reference, 1: calibrate() takes a median of the data, which makes the priors of gain and
noise look at the data, and ranks then need not be uniform; --reference data shows by how much. A history that fails a
gate has no draws. Whether it does depends on its data and on the sampler, not on the truth beyond them, so the ranks of
those that pass are to be uniform as well.
"""

from __future__ import annotations

import argparse
import sys
import time
from dataclasses import dataclass

import numpy as np
from prior_histories import DESIGNS, Design, Plan, plan, relative, simulated, target, truth
from scipy.stats import binom

from brinemark.science.amount.compiled import compiled_loops
from brinemark.science.amount.posterior import SampleOptions, sample_posterior
from brinemark.science.amount.scale import scale_of_data
from brinemark.terms.arrays import FloatArray, IntArray
from brinemark.terms.errors import GateFailed

DRAWS = 63
KEPT = 1024
UNIFORM_SAMPLES = 4000
ALPHA = 0.05


@dataclass(frozen=True, slots=True, eq=False)
class Outcome:
    """One history: truth (P,); of the posterior mean and sd (P,), ranks (P,); or why there are none."""

    theta: FloatArray
    ranks: IntArray
    mean: FloatArray
    sd: FloatArray
    seconds: float
    total_draws: int
    failed: str = ""


def one(design: Design, batches: int, seed: tuple[int, int], data_reference: bool) -> tuple[Plan, Outcome]:
    """Draw, simulate, calibrate, rank."""
    rng = np.random.default_rng(seed)
    made = plan(design, batches, rng)
    theta = truth(made, rng)
    readings = simulated(made, theta, rng)
    reference = scale_of_data(readings).signal_ref if data_reference else 1.0
    theta = relative(made, theta, reference)
    start = time.perf_counter()
    options = SampleOptions(KEPT, int(rng.integers(2**31)))
    try:
        with np.errstate(over="ignore", invalid="ignore"):
            sample = sample_posterior(target(made, readings, reference), made.center, made.sd, made.names, options)
    except GateFailed as why:
        nothing = np.zeros(0)
        return made, Outcome(
            theta, np.zeros(0, dtype=np.int64), nothing, nothing, time.perf_counter() - start, 0, str(why)
        )
    ranks = (sample.draws[:DRAWS] < theta).sum(axis=0)
    mean, sd = sample.draws.mean(axis=0), sample.draws.std(axis=0)
    return made, Outcome(theta, ranks, mean, sd, time.perf_counter() - start, sample.total_draws)


def departure(ranks: IntArray) -> FloatArray:
    """Least two-sided binomial tail probability of the distribution functions of ranks (n, P), giving (P,)."""
    count = ranks.shape[0]
    places = np.arange(1, DRAWS + 1)
    below = (ranks[..., None] < places).sum(axis=0)
    share = places / (DRAWS + 1)
    table = binom.cdf(np.arange(-1, count + 1)[:, None], count, share)
    column = np.arange(DRAWS)
    tails = np.minimum(table[below + 1, column], 1.0 - table[below, column])
    return np.asarray(tails.min(axis=-1))


def p_values(ranks: IntArray) -> FloatArray:
    """(P,) probability that uniform ranks depart as far as ranks (n, P)."""
    rng = np.random.default_rng(0)
    null = [departure(rng.integers(DRAWS + 1, size=(ranks.shape[0], 100))) for _ in range(UNIFORM_SAMPLES // 100)]
    return np.asarray((np.concatenate(null)[:, None] <= departure(ranks)).mean(axis=0))


def table(made: Plan, good: list[Outcome]) -> bool:
    """Print one line a parameter; True when no parameter departs at ALPHA over all of them."""
    ranks = np.array([run.ranks for run in good])
    place = (ranks + 0.5) / (DRAWS + 1)
    away = np.array([(run.mean - run.theta) / run.sd for run in good])
    learned = 1.0 - np.array([(run.sd / made.sd) ** 2 for run in good]).mean(axis=0)
    p = p_values(ranks)
    print(f"{'parameter':<28}{'learned':>8}{'mean rank':>11}{'in SE':>7}{'middle half':>13}{'outer tenth':>12}", end="")
    print(f"{'off [sd]':>10}{'p':>8}")
    se = np.sqrt(1.0 / 12.0 / len(good))
    for i, name in enumerate(made.names):
        middle, outer = (np.abs(place[:, i] - 0.5) < 0.25).mean(), (np.abs(place[:, i] - 0.5) > 0.45).mean()
        print(
            f"{name:<28}{learned[i]:>8.2f}{place[:, i].mean():>11.3f}{(place[:, i].mean() - 0.5) / se:>+7.1f}", end=""
        )
        print(f"{middle:>13.3f}{outer:>12.3f}{away[:, i].mean():>+10.2f}{p[i]:>8.3f}")
    limit = ALPHA / len(made.names)
    met = bool(p.min() >= limit)
    worst = made.names[int(p.argmin())]
    print(f"{'met' if met else 'MISSED'}: least p {p.min():.4f} ({worst}), limit {limit:.4f} = {ALPHA:g} / {len(p)}")
    return met


def failures(made: Plan, runs: list[Outcome]) -> None:
    """Print how many failed, of what, and where their truths lay."""
    bad = [run for run in runs if run.failed]
    print(f"{len(bad)} of {len(runs)} histories failed a gate and have no rank")
    for run in bad:
        print(f"  {run.failed}")
    if len(bad) > 1:
        away = np.array([(run.theta - made.center) / made.sd for run in bad]).mean(axis=0)
        far = np.argsort(-np.abs(away))[:4]
        told = ", ".join(f"{made.names[i]} {away[i]:+.1f}" for i in far)
        print(f"  their truths lie, on average and in prior sd from the prior's centre, at {told}")


def study(name: str, given: argparse.Namespace) -> bool:
    """All histories of one design that there is time for; True when ranks are uniform."""
    print(f"\n== {name}: {DESIGNS[name].what}")
    print(f"{given.batches} batches of six, seed {given.seed}, reference {given.reference}")
    runs, start = [], time.perf_counter()
    for number in range(given.histories):
        if time.perf_counter() - start > 60.0 * given.minutes:
            break
        made, run = one(DESIGNS[name], given.batches, (given.seed, number), given.reference == "data")
        runs.append(run)
        if given.rows:
            told = run.failed or " ".join(map(str, run.ranks))
            print(f"{number} {run.seconds:.1f} s, {run.total_draws} draws: {told}", flush=True)
    failures(made, runs)
    good = [run for run in runs if not run.failed]
    seconds, drawn = [run.seconds for run in runs], [run.total_draws for run in good]
    print(f"seconds each: median {np.median(seconds):.1f}, worst {np.max(seconds):.1f}; ", end="")
    print(f"draws in all: median {np.median(drawn):.0f}, worst {np.max(drawn)}")
    return table(made, good)


def main() -> int:
    """Exit status 0 when every parameter's ranks are uniform."""
    parser = argparse.ArgumentParser(description="Ranks of true population parameters.")
    parser.add_argument("--design", choices=DESIGNS, nargs="+", default=["single", "lives"])
    parser.add_argument("--histories", type=int, default=200)
    parser.add_argument("--batches", type=int, default=8)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--reference", choices=("fixed", "data"), default="fixed")
    parser.add_argument("--minutes", type=float, default=1e9, help="start no history of a design after so long")
    parser.add_argument("--rows", action="store_true", help="print the ranks of every history as it is done")
    given = parser.parse_args()
    with compiled_loops():
        met = [study(name, given) for name in given.design]
    return 0 if all(met) else 1


if __name__ == "__main__":
    sys.exit(main())
