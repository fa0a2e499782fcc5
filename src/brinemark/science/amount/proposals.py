"""Proposals of the importance sampler: multivariate t distributions, fitted to the weighted draws so far."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from brinemark.science.amount.weights import effective_size, normalised
from brinemark.terms.arrays import FloatArray

T_FREEDOM = 5.0
FIT_EFFECTIVE = 150.0  # draws that must count when proposals are fitted; weights are tempered until they do
EM_STEPS = 15
WIDER = 1.15


@dataclass(frozen=True, slots=True, eq=False)
class Proposal:
    """Multivariate t with T_FREEDOM degrees of freedom: center (P,), root (P, P) lower triangular."""

    center: FloatArray
    root: FloatArray

    def log_density(self, points: FloatArray) -> FloatArray:
        """Log density (n,) at points (n, P)."""
        from scipy.special import gammaln

        dims = self.center.size
        distance = self.distance(points)
        constant = (
            gammaln(0.5 * (T_FREEDOM + dims))
            - gammaln(0.5 * T_FREEDOM)
            - 0.5 * dims * np.log(T_FREEDOM * np.pi)
            - np.log(np.diag(self.root)).sum()
        )
        return np.asarray(constant - 0.5 * (T_FREEDOM + dims) * np.log1p(distance / T_FREEDOM))

    def distance(self, points: FloatArray) -> FloatArray:
        """Squared distances (n,) of points (n, P) from the center in units of the root."""
        return np.asarray((np.linalg.solve(self.root, (points - self.center).T) ** 2).sum(axis=0))

    def draw(self, count: int, seed: np.random.SeedSequence) -> FloatArray:
        """count points on a scrambled Sobol sequence."""
        from scipy.special import gammaincinv, ndtri
        from scipy.stats.qmc import Sobol

        dims = self.center.size
        engine = Sobol(dims + 1, scramble=True, rng=np.random.default_rng(seed))
        points = np.clip(engine.random(count), 1e-12, 1 - 1e-12)
        chi2 = 2.0 * gammaincinv(0.5 * T_FREEDOM, points[:, -1])
        normal = ndtri(points[:, :-1]) / np.sqrt(chi2 / T_FREEDOM)[:, None]
        return np.asarray(self.center + normal @ self.root.T)


@dataclass(frozen=True, slots=True, eq=False)
class Pool:
    """All draws so far (n, P) with their target log densities (n,), and the proposals they came from."""

    points: FloatArray
    log_target: FloatArray
    proposals: tuple[Proposal, ...]
    counts: tuple[int, ...]

    @classmethod
    def empty(cls, dims: int) -> Pool:
        """No draws yet."""
        return cls(np.empty((0, dims)), np.empty(0), (), ())

    def extended(self, proposal: Proposal, points: FloatArray, log_target: FloatArray) -> Pool:
        """With one more proposal and its draws."""
        return Pool(
            np.concatenate([self.points, points]),
            np.concatenate([self.log_target, log_target]),
            (*self.proposals, proposal),
            (*self.counts, points.shape[0]),
        )

    def log_weights(self) -> FloatArray:
        """Log of target over the mixture of all proposals, (n,)."""
        share = np.log(np.array(self.counts) / sum(self.counts))
        parts = np.array([q.log_density(self.points) for q in self.proposals]) + share[:, None]
        top = parts.max(axis=0)
        mixture = np.log(np.exp(parts - top).sum(axis=0)) + top
        return np.asarray(self.log_target - mixture)


def tempered(log_weights: FloatArray, minimum: float) -> FloatArray:
    """Normalised weights raised to the largest power <= 1 at which their effective size reaches minimum.

    Fitting to a handful of heavy draws makes a proposal that misses the rest; a tempered fit stays wide.
    """
    sound = np.where(np.isfinite(log_weights), log_weights, -1e300)
    if effective_size(normalised(sound)) >= minimum:
        return normalised(sound)
    low, high = 0.0, 1.0
    for _ in range(40):
        middle = 0.5 * (low + high)
        if effective_size(normalised(middle * sound)) >= minimum:
            low = middle
        else:
            high = middle
    return normalised(low * sound)


def adapted_one(pool: Pool, scale: FloatArray) -> Proposal:
    """One t distribution with the tempered weighted mean and covariance, a little wider; scale : prior widths."""
    mean, root, _, _ = _whitened(pool, scale)
    return Proposal(mean, WIDER * root)


def _whitened(pool: Pool, scale: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Weighted mean (P,), root of the covariance, whitened points (n, P) and the tempered weights (n,)."""
    weights = tempered(pool.log_weights(), FIT_EFFECTIVE)
    mean = np.asarray(weights @ pool.points)
    away = pool.points - mean
    root = np.asarray(np.linalg.cholesky((weights[:, None] * away).T @ away + 1e-8 * np.diag(scale**2)))
    return mean, root, np.asarray(np.linalg.solve(root, away.T).T), weights


def adapted_pair(pool: Pool, scale: FloatArray) -> tuple[Proposal, Proposal]:
    """Two t distributions fitted to the tempered weighted draws by EM; scale : (P,) prior widths, for a floor.

    EM for mixtures of t: "Robust mixture modelling using the t distribution", Statistics and Computing 10 (2000)
    339-348, doi 10.1023/A:1008981510081, equations for fixed degrees of freedom. Deviation: where few draws count,
    each covariance leans on half of the whole sample's.
    """
    mean, root, z, weights = _whitened(pool, scale)
    first, second = _two_components(z, weights)
    return (
        Proposal(mean + root @ first.center, root @ first.root),
        Proposal(mean + root @ second.center, root @ second.root),
    )


def _two_components(z: FloatArray, weights: FloatArray) -> tuple[Proposal, Proposal]:
    """EM on whitened points (n, P), started at both sides of the direction of strongest skewness."""
    dims = z.shape[1]
    axis = int(np.argmax(np.abs(weights @ z**3)))
    shift = 0.7 * np.eye(dims)[axis]
    parts = [Proposal(side * shift, np.sqrt(0.7) * np.eye(dims)) for side in (1.0, -1.0)]
    share = np.array([0.5, 0.5])
    for _ in range(EM_STEPS):
        log_part = np.array([np.log(s) + q.log_density(z) for s, q in zip(share, parts, strict=True)])
        belongs = np.exp(log_part - np.logaddexp(log_part[0], log_part[1]))
        share = np.clip(belongs @ weights, 1e-3, None)
        share /= share.sum()
        parts = [_component(z, weights * b, q) for b, q in zip(belongs, parts, strict=True)]
    return parts[0], parts[1]


def _component(z: FloatArray, weights: FloatArray, before: Proposal) -> Proposal:
    """One M step: center and root from points weighted by membership and by the t distribution's own weight."""
    dims, total = z.shape[1], float(weights.sum())
    if total < 1e-6:
        return before
    robust = weights * (T_FREEDOM + dims) / (T_FREEDOM + before.distance(z))
    center = robust @ z / robust.sum()
    away = z - center
    covariance = (robust[:, None] * away).T @ away / total
    lean = min(1.0, dims / effective_size(weights / total))
    return Proposal(center, np.asarray(np.linalg.cholesky((1.0 - lean) * covariance + 0.5 * lean * np.eye(dims))))
