"""Posterior draws by Laplace approximation and adaptive importance sampling with a mixture of all proposals.

The first round draws from the Laplace approximation and from the prior (which bounds the weights where data say
little, and is left out where they say so much that no draw from it could count); later rounds from multivariate t
distributions fitted to all draws so far, and every draw is weighted against the mixture of all proposals used
("Adaptive Multiple Importance Sampling", Scandinavian Journal of Statistics 39 (2012) 798-812, doi
10.1111/j.1467-9469.2011.00756.x). Three gates decide whether the result may be used: no NaN, Pareto k, and the largest
weight (after Pareto smoothing of the tail), because k alone missed a two-sd error in one quantile of one run
(docs/decisions).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from brinemark.science.amount.mode import find_mode, recentred
from brinemark.science.amount.proposals import Pool, Proposal, adapted_one, adapted_pair, tempered
from brinemark.science.amount.weights import (
    effective_size,
    normalised,
    pareto_k,
    smoothed,
    systematic_resample,
)
from brinemark.terms.amounts import Gate
from brinemark.terms.arrays import FloatArray
from brinemark.terms.errors import GateFailed, Stopped

OnStep = Callable[[int, int], bool]
PARETO_K_LIMIT = 0.7
MAX_WEIGHT_LIMIT = 0.01
LAPLACE_DRAWS, PRIOR_DRAWS = 256, 128
FIRST_ROUNDS = (LAPLACE_DRAWS + PRIOR_DRAWS, 512, 1024)
HOPELESS = 1e-6  # of the chance that one of the draws from the prior counts: volume of the posterior over the prior's
FURTHER_ROUNDS, LAST_ROUND = (1024, 2048, 4096), 8192  # while a gate fails
BENT = 0.15  # share of draws that count, below which one t is too poor a fit
SLICE = 64
FIRST_STEP, STEP_SHARE = 0.01, 0.3  # of the prior sd; of a parameter's width with the others held


class Target(Protocol):
    """Log posterior density of parameter vectors; near(center) fixes what may be shared between close points."""

    def log_density(self, parameters: FloatArray) -> FloatArray:
        """(D,) for parameters (D, P)."""

    def near(self, center: FloatArray) -> Callable[[FloatArray], FloatArray]:
        """The same density, cheap and smooth for parameters close to center (P,)."""


def always(done: int, total: int) -> bool:
    """The callback of a caller who does not watch."""
    del done, total
    return True


@dataclass(frozen=True, slots=True, eq=False)
class PosteriorSample:
    """Equally weighted draws (M, P), the mode (P,), the gates and how much work it took."""

    draws: FloatArray
    mode: FloatArray
    gates: tuple[Gate, ...]
    effective: float
    rounds: int
    total_draws: int


def curvature_root(target: Target, mode: FloatArray, scale: FloatArray) -> FloatArray:
    """Lower root (P, P) of the inverse negative Hessian at the mode; where the density is flat or rises, the
    scale of the prior stands in.

    Differences are taken over a third of the width that each parameter has while the others stand still: over the
    prior's own width a narrow ridge would look flat.
    """
    density = target.near(mode)
    # Far out the density may be zero; its differences are then no numbers, and the prior's scale takes over.
    with np.errstate(invalid="ignore"):
        widths = 1.0 / np.sqrt(_bends(density, mode, FIRST_STEP * scale))
        steps = np.clip(STEP_SHARE * widths, 1e-3 * scale, 0.1 * scale)
        precision = _precision(density, mode, steps) * scale * scale[:, None]
    eigenvalues, vectors = np.linalg.eigh(np.where(np.isfinite(precision), precision, 0.0))
    covariance = (vectors / np.maximum(eigenvalues, 1.0)) @ vectors.T
    return np.asarray(np.linalg.cholesky(scale[:, None] * covariance * scale))


def _bends(density: Callable[[FloatArray], FloatArray], mode: FloatArray, steps: FloatArray) -> FloatArray:
    """Negative second derivatives (P,) one parameter at a time; at least a tiny positive number."""
    shifts = np.diag(steps)
    values = density(mode + np.concatenate([np.zeros((1, mode.size)), shifts, -shifts]))
    up, down = np.split(values[1:], 2)
    bends = (2.0 * values[0] - up - down) / steps**2
    return np.where(np.isfinite(bends), np.maximum(bends, 1e-12 / steps**2), 1e-12 / steps**2)


def _precision(density: Callable[[FloatArray], FloatArray], mode: FloatArray, steps: FloatArray) -> FloatArray:
    """Negative Hessian (P, P) by central differences."""
    dims, unit = mode.size, np.diag(steps)
    pairs = [(i, j) for i in range(dims) for j in range(i)]
    shifts = [np.zeros(dims), *unit, *-unit]
    shifts += [s * (unit[i] + unit[j]) for i, j in pairs for s in (1.0, -1.0)]
    values = density(mode + np.array(shifts))
    up, down = values[1 : dims + 1], values[dims + 1 : 2 * dims + 1]
    hessian = np.diag(up + down - 2.0 * values[0])
    for n, (i, j) in enumerate(pairs):
        both = values[2 * dims + 1 + 2 * n] + values[2 * dims + 2 + 2 * n] + 2.0 * values[0]
        hessian[i, j] = hessian[j, i] = 0.5 * (both - up[i] - down[i] - up[j] - down[j])
    return np.asarray(-hessian / steps / steps[:, None])


def gates_of(log_weights: FloatArray) -> tuple[Gate, ...]:
    """The hard gates: share of NaN, Pareto k, largest weight. A NaN k counts as infinite."""
    broken = float(np.isnan(log_weights).mean())
    if broken > 0 or not np.isfinite(log_weights).any():
        return (Gate("NaN", max(broken, 1e-9), 0.0),)
    k = pareto_k(log_weights)
    return (
        Gate("NaN", 0.0, 0.0),
        Gate("Pareto k", float("inf") if np.isnan(k) else k, PARETO_K_LIMIT),
        Gate("largest weight", float(normalised(smoothed(log_weights)).max()), MAX_WEIGHT_LIMIT),
    )


@dataclass(frozen=True, slots=True)
class SampleOptions:
    """draws : equally weighted draws kept; seed; on_step(done, total) -> bool, False stops; last_round : draws of each
    of the last two adaptive rounds, where a density is cheap enough for more."""

    draws: int
    seed: int
    on_step: OnStep = always
    last_round: int = LAST_ROUND


def sample_posterior(
    target: Target, start: FloatArray, scale: FloatArray, names: Sequence[str], options: SampleOptions
) -> PosteriorSample:
    """Draws from the density; two adaptive rounds after the first, up to five more while a gate fails.

    start, scale : (P,) center and width of the prior. Raises GateFailed, naming the weakest parameter, when a gate
    fails after the last round; Stopped when on_step returns False.
    """
    rounds = (*FIRST_ROUNDS, *FURTHER_ROUNDS, options.last_round, options.last_round)
    seeds = iter(np.random.SeedSequence(options.seed).spawn(2 * len(rounds) + 1))
    _step(options.on_step, 0, sum(FIRST_ROUNDS))
    mode = find_mode(target, start, scale)
    root = curvature_root(target, mode, scale)
    laplace = Proposal(recentred(target, mode, root, scale), root)
    first = _first_proposals(laplace, Proposal(start, np.diag(scale)))
    pool = Pool.empty(mode.size)
    gates: tuple[Gate, ...] = ()
    for number, size in enumerate(rounds):
        for proposal, count in first if number == 0 else _proposals(pool, scale, number, size):
            points = proposal.draw(count, next(seeds))
            pool = pool.extended(proposal, points, _evaluated(target, points, pool, options.on_step))
        gates = gates_of(pool.log_weights())
        enough = number + 1 >= len(FIRST_ROUNDS) and all(gate.passed for gate in gates)
        if enough or not gates[0].passed:
            break
    failed = next((gate for gate in gates if not gate.passed), None)
    if failed is not None:
        raise GateFailed(failed.name, failed.value, failed.limit, weakest(pool, names))
    weights = normalised(smoothed(pool.log_weights()))
    rng = np.random.default_rng(next(seeds))
    draws = rng.permutation(pool.points[systematic_resample(weights, options.draws, rng)])
    return PosteriorSample(draws, laplace.center, gates, effective_size(weights), number + 1, pool.points.shape[0])


def _first_proposals(laplace: Proposal, prior: Proposal) -> tuple[tuple[Proposal, int], ...]:
    """Both, but for a posterior so narrow that no draw from the prior would fall into it."""
    log_share = float((np.log(np.diag(laplace.root)) - np.log(np.diag(prior.root))).sum())
    few = log_share < np.log(HOPELESS / PRIOR_DRAWS)
    return ((laplace, LAPLACE_DRAWS),) if few else ((laplace, LAPLACE_DRAWS), (prior, PRIOR_DRAWS))


def _proposals(pool: Pool, scale: FloatArray, number: int, size: int) -> tuple[tuple[Proposal, int], ...]:
    """One fitted t while the posterior behaves; two, which follow a bent ridge, when few draws count."""
    counting = effective_size(tempered(pool.log_weights(), 1.0)) / pool.points.shape[0]
    if number < len(FIRST_ROUNDS) and counting > BENT:
        return ((adapted_one(pool, scale), size),)
    return tuple((proposal, size // 2) for proposal in adapted_pair(pool, scale))


def _evaluated(target: Target, points: FloatArray, pool: Pool, on_step: OnStep) -> FloatArray:
    """Log densities (n,), in slices so that the work can be watched and stopped."""
    done, parts = pool.points.shape[0], []
    total = max(done + points.shape[0], sum(FIRST_ROUNDS))
    for piece in np.array_split(points, max(1, points.shape[0] // SLICE)):
        parts.append(target.log_density(piece))
        done += piece.shape[0]
        _step(on_step, done, total)
    return np.concatenate(parts)


def _step(on_step: OnStep, done: int, total: int) -> None:
    if not on_step(done, total):
        raise Stopped(done, total)


def weakest(pool: Pool, names: Sequence[str]) -> str:
    """The parameter in which the heaviest draw lies farthest out, in units of the proposal's sd."""
    heaviest = int(np.argmax(np.nan_to_num(pool.log_weights(), nan=np.inf, posinf=np.inf)))
    last = pool.proposals[-1]
    spread = np.sqrt(np.diag(last.root @ last.root.T))
    return names[int(np.argmax(np.abs(pool.points[heaviest] - last.center) / spread))]
