"""Posterior draws by Laplace approximation and adaptive importance sampling with a mixture of all proposals.

The proposals are multivariate t distributions on scrambled Sobol points. After every round the next proposal takes
the weighted mean and covariance of all draws so far, and every draw is weighted against the mixture of all
proposals used ("Adaptive Multiple Importance Sampling", Scandinavian Journal of Statistics 39 (2012) 798-812,
doi 10.1111/j.1467-9469.2011.00756.x). Three gates decide whether the result may be used: no NaN, Pareto k, and
the largest weight, because k alone missed a two-sd error in one quantile of one run (docs/decisions).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from brinemark.science.amount.weights import (
    effective_size,
    normalised,
    pareto_k,
    systematic_resample,
)
from brinemark.terms.amounts import Gate
from brinemark.terms.arrays import FloatArray
from brinemark.terms.errors import GateFailed, Stopped

OnStep = Callable[[int, int], bool]
T_FREEDOM = 7.0
PARETO_K_LIMIT = 0.7
MAX_WEIGHT_LIMIT = 0.01
FIRST_ROUNDS = (512, 512, 1024)
LATER_ROUNDS = (2048, 4096)


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


@dataclass(frozen=True, slots=True, eq=False)
class Proposal:
    """Multivariate t: center (P,), root (P, P) lower triangular."""

    center: FloatArray
    root: FloatArray

    def log_density(self, points: FloatArray) -> FloatArray:
        from scipy.special import gammaln

        dims = self.center.size
        z = np.linalg.solve(self.root, (points - self.center).T)
        constant = (
            gammaln(0.5 * (T_FREEDOM + dims))
            - gammaln(0.5 * T_FREEDOM)
            - 0.5 * dims * np.log(T_FREEDOM * np.pi)
            - np.log(np.diag(self.root)).sum()
        )
        return np.asarray(constant - 0.5 * (T_FREEDOM + dims) * np.log1p((z**2).sum(axis=0) / T_FREEDOM))

    def draw(self, count: int, seed: np.random.SeedSequence) -> FloatArray:
        from scipy.special import gammaincinv, ndtri
        from scipy.stats.qmc import Sobol

        dims = self.center.size
        engine = Sobol(dims + 1, scramble=True, rng=np.random.default_rng(seed))
        points = np.clip(engine.random(count), 1e-12, 1 - 1e-12)
        chi2 = 2.0 * gammaincinv(0.5 * T_FREEDOM, points[:, -1])
        normal = ndtri(points[:, :-1]) / np.sqrt(chi2 / T_FREEDOM)[:, None]
        return np.asarray(self.center + normal @ self.root.T)


def find_mode(target: Target, start: FloatArray, scale: FloatArray) -> FloatArray:
    """Mode of the density by BFGS in units of scale (P,); central-difference gradient."""
    from scipy.optimize import minimize

    step = 1e-4

    def objective(point: FloatArray) -> tuple[float, FloatArray]:
        shifts = np.concatenate([np.zeros((1, point.size)), step * np.eye(point.size), -step * np.eye(point.size)])
        center = start + scale * point
        values = target.near(center)(start + scale * (point + shifts))
        up, down = np.split(values[1:], 2)
        if not np.isfinite(values).all():
            return 1e100, np.zeros_like(point)
        return -float(values[0]), -(up - down) / (2.0 * step)

    found = minimize(objective, np.zeros_like(start), jac=True, method="BFGS", options={"gtol": 1e-2, "maxiter": 200})
    return np.asarray(start + scale * found.x)


def curvature_root(target: Target, mode: FloatArray, scale: FloatArray) -> FloatArray:
    """Lower root (P, P) of the inverse negative Hessian at the mode; where the density is flat or rises, the
    scale of the prior stands in."""
    step, dims = 0.1, mode.size
    unit = step * np.eye(dims)
    pairs = [(i, j) for i in range(dims) for j in range(i)]
    shifts = [np.zeros(dims), *unit, *-unit]
    shifts += [s * (unit[i] + unit[j]) for i, j in pairs for s in (1.0, -1.0)]
    values = target.near(mode)(mode + scale * np.array(shifts))
    up, down = values[1 : dims + 1], values[dims + 1 : 2 * dims + 1]
    hessian = np.diag(up + down - 2.0 * values[0])
    for n, (i, j) in enumerate(pairs):
        both = values[2 * dims + 1 + 2 * n] + values[2 * dims + 2 + 2 * n] + 2.0 * values[0]
        hessian[i, j] = hessian[j, i] = 0.5 * (both - up[i] - down[i] - up[j] - down[j])
    precision = -hessian / step**2
    eigenvalues, vectors = np.linalg.eigh(np.where(np.isfinite(precision), precision, 0.0))
    covariance = (vectors / np.maximum(eigenvalues, 1.0)) @ vectors.T
    return np.asarray(np.linalg.cholesky(scale[:, None] * covariance * scale))


@dataclass(frozen=True, slots=True, eq=False)
class _Pool:
    """All draws so far with their target densities, and the proposals they came from."""

    points: FloatArray
    log_target: FloatArray
    proposals: tuple[Proposal, ...]
    counts: tuple[int, ...]

    def log_weights(self) -> FloatArray:
        share = np.log(np.array(self.counts) / sum(self.counts))
        parts = np.array([q.log_density(self.points) for q in self.proposals]) + share[:, None]
        top = parts.max(axis=0)
        mixture = np.log(np.exp(parts - top).sum(axis=0)) + top
        return np.asarray(self.log_target - mixture)

    def refitted(self, fallback: Proposal) -> Proposal:
        """Weighted mean and covariance; with few effective draws the covariance leans on the first proposal's."""
        weights = normalised(self.log_weights())
        mean = weights @ self.points
        away = self.points - mean
        covariance = (weights[:, None] * away).T @ away
        dims = mean.size
        lean = min(1.0, 2.0 * dims / effective_size(weights))
        blended = (1.0 - lean) * covariance + lean * fallback.root @ fallback.root.T
        return Proposal(mean, np.asarray(np.linalg.cholesky(blended)))


def gates_of(log_weights: FloatArray) -> tuple[Gate, ...]:
    """The hard gates: share of NaN, Pareto k, largest weight. A NaN k counts as infinite."""
    broken = float(np.isnan(log_weights).mean())
    if broken > 0 or not np.isfinite(log_weights).any():
        return (Gate("NaN", max(broken, 1e-9), 0.0),)
    k = pareto_k(log_weights)
    return (
        Gate("NaN", 0.0, 0.0),
        Gate("Pareto k", float("inf") if np.isnan(k) else k, PARETO_K_LIMIT),
        Gate("largest weight", float(normalised(log_weights).max()), MAX_WEIGHT_LIMIT),
    )


def sample_posterior(
    target: Target, start: FloatArray, scale: FloatArray, names: Sequence[str], options: SampleOptions
) -> PosteriorSample:
    """Draws from the density; at least two adaptive rounds after the Laplace round, four at most.

    start, scale : (P,) a starting point and the width of the prior around it. Raises GateFailed, naming the weakest
    parameter, when a gate still fails after the fourth adaptive round; Stopped when on_step returns False.
    """
    seeds = np.random.SeedSequence(options.seed).spawn(len(FIRST_ROUNDS) + len(LATER_ROUNDS) + 1)
    sizes = FIRST_ROUNDS + LATER_ROUNDS
    _step(options.on_step, 0, sum(FIRST_ROUNDS))
    mode = find_mode(target, start, scale)
    laplace = Proposal(mode, curvature_root(target, mode, scale))
    pool = _Pool(np.empty((0, mode.size)), np.empty(0), (), ())
    gates: tuple[Gate, ...] = ()
    for number, size in enumerate(sizes):
        proposal = laplace if number == 0 else pool.refitted(laplace)
        pool = _extended(pool, proposal, proposal.draw(size, seeds[number]), target, options.on_step)
        gates = gates_of(pool.log_weights())
        if gates[0].name == "NaN" and not gates[0].passed:
            break
        if number + 1 >= len(FIRST_ROUNDS) and all(gate.passed for gate in gates):
            break
    failed = next((gate for gate in gates if not gate.passed), None)
    if failed is not None:
        raise GateFailed(failed.name, failed.value, failed.limit, weakest(pool, names))
    weights = normalised(pool.log_weights())
    picked = systematic_resample(weights, options.draws, np.random.default_rng(seeds[-1]))
    draws = np.random.default_rng(seeds[-1]).permutation(pool.points[picked])
    return PosteriorSample(draws, mode, gates, effective_size(weights), len(pool.counts), sum(pool.counts))


@dataclass(frozen=True, slots=True)
class SampleOptions:
    """draws : equally weighted draws kept; seed; on_step(done, total) -> bool, False stops."""

    draws: int
    seed: int
    on_step: OnStep = always


def _extended(pool: _Pool, proposal: Proposal, points: FloatArray, target: Target, on_step: OnStep) -> _Pool:
    """The pool with one more round, evaluated in slices so that it can be watched and stopped."""
    parts = []
    done, total = sum(pool.counts), sum(pool.counts) + points.shape[0]
    for piece in np.array_split(points, max(1, points.shape[0] // 128)):
        parts.append(target.log_density(piece))
        done += piece.shape[0]
        _step(on_step, done, max(total, sum(FIRST_ROUNDS)))
    return _Pool(
        np.concatenate([pool.points, points]),
        np.concatenate([pool.log_target, *parts]),
        (*pool.proposals, proposal),
        (*pool.counts, points.shape[0]),
    )


def _step(on_step: OnStep, done: int, total: int) -> None:
    if not on_step(done, total):
        raise Stopped(done, total)


def weakest(pool: _Pool, names: Sequence[str]) -> str:
    """The parameter in which the heaviest draw lies farthest out, in units of the proposal's sd."""
    heaviest = int(np.argmax(np.nan_to_num(pool.log_weights(), nan=np.inf, posinf=np.inf)))
    last = pool.proposals[-1]
    spread = np.sqrt(np.diag(last.root @ last.root.T))
    return names[int(np.argmax(np.abs(pool.points[heaviest] - last.center) / spread))]
