"""The likelihood of one electrode's readings, draw by draw, by the kind of its film.

Each reading is put on the scale w(y) = asinh(k y / s) / k, with k^2 its multiplicative and s^2 its additive variance,
on which it is taken as normal; the readings of one electrode have the covariance that its own gain, floor and K give
them there, the response linear in the latter two. Deviation from the exact density: small between the two kinds of
noise, none where one rules.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from brinemark.science.amount.law import DipLaw
from brinemark.science.amount.statistic import Observed
from brinemark.terms.arrays import FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class _Scale:
    """How one reading is stretched: k and s, both (D,)."""

    k: FloatArray
    s: FloatArray

    @classmethod
    def of(cls, law: DipLaw) -> _Scale:
        return cls(np.sqrt(law.electrode.spread**2 + law.relative), np.sqrt(law.variance))

    def stretched(self, signal: FloatArray) -> FloatArray:
        """w (D, ...) of signals that broadcast against (D, ...)."""
        extra = (1,) * (signal.ndim - 1)
        k, s = self.k.reshape(-1, *extra), self.s.reshape(-1, *extra)
        return np.asarray(np.arcsinh(k * signal / s) / k)

    def log_slope(self, signal: FloatArray) -> FloatArray:
        """ln dw/dy (D, S) at signals (S,)."""
        ratio = self.k[:, None] * signal / self.s[:, None]
        return np.asarray(-0.5 * np.log1p(ratio**2) - np.log(self.s)[:, None])


@dataclass(frozen=True, slots=True, eq=False)
class ElectrodeLikelihood:
    """ln L of one electrode's J readings for D draws and n candidates, as a quadratic form in w.

    ln L = ln dw/dy + coefficients . (w_i w_j for i <= j, w_i, 1); coefficients (D, F, n).
    """

    scales: tuple[_Scale, ...]
    coefficients: FloatArray

    @classmethod
    def of(cls, laws: Sequence[DipLaw], candidates: FloatArray) -> ElectrodeLikelihood:
        """From the laws (already thinned) of the electrode's readings."""
        scales = tuple(_Scale.of(law) for law in laws)
        mean, covariance = _moments(laws, scales, candidates)
        precision = np.linalg.inv(covariance)
        pull = np.einsum("dnij,dnj->dni", precision, mean)
        _, log_det = np.linalg.slogdet(covariance)
        constant = -0.5 * (log_det + (pull * mean).sum(axis=-1))
        pairs = [
            -(0.5 if i == j else 1.0) * precision[..., i, j] for i in range(len(laws)) for j in range(i, len(laws))
        ]
        stacked = [*pairs, *np.moveaxis(pull, -1, 0), constant]
        return cls(scales, np.stack(stacked, axis=1))

    def log_likelihood(self, signals: FloatArray) -> FloatArray:
        """(D, S, n) for signals (S, J), without terms that are the same for every draw and candidate."""
        seen = [scale.stretched(signals[None, :, j]) for j, scale in enumerate(self.scales)]
        count = len(seen)
        pairs = [seen[i] * seen[j] for i in range(count) for j in range(i, count)]
        features = np.stack([*pairs, *seen, np.ones_like(seen[0])], axis=-1)
        own = sum(scale.log_slope(signals[:, j]) for j, scale in enumerate(self.scales))
        return np.asarray(features @ self.coefficients + np.asarray(own)[..., None])


@dataclass(frozen=True, slots=True, eq=False)
class MixedLikelihood:
    """ln L of one electrode whose film may be of several kinds, log_share (D,) each."""

    log_shares: tuple[FloatArray, ...]
    kinds: tuple[ElectrodeLikelihood, ...]

    def by_kind(self, signals: FloatArray) -> FloatArray:
        """(K, D, S, n) log of share times likelihood."""
        pairs = zip(self.log_shares, self.kinds, strict=True)
        return np.stack([kind.log_likelihood(signals) + share[:, None, None] for share, kind in pairs])

    def log_likelihood(self, signals: FloatArray) -> FloatArray:
        """(D, S, n) for signals (S, J)."""
        return np.asarray(np.logaddexp.reduce(self.by_kind(signals), axis=0))


def electrode_likelihood(
    electrode: Observed, candidates: FloatArray, draws: int, dips: Sequence[int] | None = None
) -> ElectrodeLikelihood | MixedLikelihood:
    """Of the readings of one electrode, or some of them, from the first draws."""
    which = range(len(electrode.laws)) if dips is None else dips

    def part(laws: Sequence[DipLaw]) -> ElectrodeLikelihood:
        return ElectrodeLikelihood.of([laws[i].thinned(draws) for i in which], candidates)

    if not electrode.kinds:
        return part(electrode.laws)
    return MixedLikelihood(
        tuple(kind.log_share[:draws] for kind in electrode.kinds), tuple(part(kind.laws) for kind in electrode.kinds)
    )


def _moments(laws: Sequence[DipLaw], scales: Sequence[_Scale], candidates: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Mean (D, n, J) and covariance (D, n, J, J) of the stretched readings."""
    electrode = laws[0].electrode
    middles, arms, own = [], [], []
    for law, scale in zip(laws, scales, strict=True):
        response, log_gain = law.response(candidates), electrode.log_gain + law.shift
        bend = response.floor_bend * electrode.floor_sd**2 + response.K_bend * electrode.own_K_sd**2
        mean = np.exp(log_gain + response.value + 0.5 * bend)
        total = scale.s**2 + (scale.k * mean) ** 2
        middles.append(np.arcsinh(scale.k * mean / scale.s) / scale.k)
        by_level = np.sqrt(np.maximum(law.own_K(candidates) ** 2 - electrode.own_K_sd**2, 0.0)) * response.by_K
        slope = mean / np.sqrt(total)
        arms.append(
            slope
            * np.stack(
                [
                    np.broadcast_to(electrode.spread, mean.shape),
                    electrode.floor_sd * response.by_floor,
                    electrode.own_K_sd * response.by_K,
                ]
            )
        )
        own.append((scale.s**2 + (law.relative + by_level**2) * mean**2) / total)
    arm = np.moveaxis(np.stack(arms), (0, 1), (-1, -2))  # (n, D, latents, J)
    covariance = np.einsum("ndlj,ndlk->dnjk", arm, arm)
    diagonal = np.arange(len(laws))
    covariance[..., diagonal, diagonal] += np.moveaxis(np.stack(own), (0, 1, 2), (2, 1, 0))
    return np.moveaxis(np.stack(middles), (0, 1, 2), (2, 1, 0)), covariance
