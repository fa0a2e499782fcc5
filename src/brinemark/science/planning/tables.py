"""What a use of electrodes can tell at each level, before anything is known of its batch.

Stretched readings of all electrodes of a sample are taken as jointly normal under the weighted draws, as a reading takes
them (joint_likelihood.py): their moments at every candidate level are weighted sums of what each draw says, so that one
matrix product serves all true batches of a plan.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from brinemark.science.amount.joint_likelihood import stretched_parts
from brinemark.science.amount.law import DipLaw
from brinemark.science.planning.new_batches import FreshElectrode, NewBatches, quadratic
from brinemark.science.planning.plans import Use
from brinemark.terms.arrays import FloatArray, IntArray

BELOW_BLANK = -np.array([0.9, 0.5, 0.2])
LOWEST, HIGHEST, STEP = 0.03, 100.0, 0.3  # in units of K at the electrode, and in ln level
EVERY = 3  # candidates from one simulated level to the next
SIMULATED_AGAIN = 4  # samples of each true batch at each level


@dataclass(frozen=True, slots=True, eq=False)
class _Block:
    """Readings (j) of electrodes of one dilution and kind of film under D draws: middle (D, n, j), within (D, n, j, j)."""

    middle: FloatArray
    within: FloatArray

    @classmethod
    def of(cls, laws: Sequence[DipLaw], electrode: FreshElectrode, candidates: FloatArray) -> _Block:
        middle, arm, own = stretched_parts(laws, electrode.stretches, candidates)
        within = np.einsum("lndj,lndk->dnjk", arm, arm)
        diagonal = np.arange(middle.shape[-1])
        within[..., diagonal, diagonal] += np.moveaxis(own, 1, 0)
        return cls(np.moveaxis(middle, 1, 0), within)


@dataclass(frozen=True, slots=True, eq=False)
class UseTable:
    """candidates (n,) : signed levels, the plateau last; middle (D, n C), pairs (D, n F) : distinct readings and their
    products under each draw; within (D, n W) : the covariances of each block; share (D, K) : of kinds of film; kinds :
    K; columns, blocks : places of each electrode's readings by kind; anchors : candidates at which samples are
    simulated; seen (A, S, R, J) : stretched readings there, and at the wished levels (L, S, R, J)."""

    candidates: FloatArray
    middle: FloatArray
    pairs: FloatArray
    within: FloatArray
    share: FloatArray
    width: int
    places: tuple[tuple[tuple[int, ...], ...], ...]
    blocks: tuple[tuple[int, ...], ...]
    anchors: IntArray
    at_anchors: FloatArray
    at_levels: FloatArray

    @classmethod
    def of(cls, batches: NewBatches, use: Use, levels: Sequence[float], true: IntArray) -> UseTable:
        """For samples of each true batch; the same numbers whatever was burned."""
        candidates = candidate_levels(batches, use)
        distinct = sorted(set(use.dilutions))
        fresh = [batches.sample(use.protocol, one, 0) for one in distinct]
        kinds = len(fresh[0].kinds)
        made = [_Block.of(kind.laws, one, candidates) for one in fresh for kind in one.kinds]
        middle = np.concatenate([one.middle for one in made], axis=-1)
        i, j = np.triu_indices(middle.shape[-1])
        dips = len(fresh[0].laws)
        number = [distinct.index(one) for one in use.dilutions]
        blocks = tuple(tuple(g * kinds + k for k in range(kinds)) for g in number)
        places = tuple(tuple(tuple(range(b * dips, (b + 1) * dips)) for b in one) for one in blocks)
        first = BELOW_BLANK.size
        last = candidates.size - 2
        anchors = np.array(sorted({*range(first, last, EVERY), last}))
        draws = middle.shape[0]
        return cls(
            candidates,
            middle.reshape(draws, -1),
            (middle[..., i] * middle[..., j]).reshape(draws, -1),
            np.stack([one.within for one in made], axis=2).reshape(draws, -1),
            np.exp(np.stack([kind.log_share for kind in fresh[0].kinds], axis=1)),
            middle.shape[-1],
            places,
            blocks,
            anchors,
            _seen(batches, use, candidates[anchors], true),
            _seen(batches, use, levels, true),
        )

    def coefficients(self, weights: FloatArray) -> list[FloatArray]:
        """Of products() of a sample's readings, (S, n, F), for each assignment of kinds of film to its electrodes."""
        size, count, width = weights.shape[0], self.candidates.size, self.width
        mean = (weights @ self.middle).reshape(size, count, width)
        i, j = np.triu_indices(width)
        scatter = np.empty((size, count, width, width))
        scatter[..., i, j] = (weights @ self.pairs).reshape(size, count, -1) - mean[..., i] * mean[..., j]
        scatter[..., j, i] = scatter[..., i, j]
        dips = len(self.places[0][0])
        within = (weights @ self.within).reshape(size, count, -1, dips, dips)
        share = np.log(np.maximum(weights @ self.share, 1e-300))
        return [self._of(kinds, mean, scatter, within, share) for kinds in self.assignments]

    @property
    def assignments(self) -> list[tuple[int, ...]]:
        """All sound, or one electrode defective; two defective films in one sample are left out."""
        electrodes, kinds = len(self.places), len(self.places[0])
        every = itertools.product(range(kinds), repeat=electrodes) if kinds > 1 else [(0,) * electrodes]
        return [one for one in every if sum(kind > 0 for kind in one) <= 1]

    def _of(
        self, kinds: tuple[int, ...], mean: FloatArray, scatter: FloatArray, within: FloatArray, share: FloatArray
    ) -> FloatArray:
        columns = np.array([place for own, kind in zip(self.places, kinds, strict=True) for place in own[kind]])
        covariance = scatter[..., columns[:, None], columns[None, :]]
        start = 0
        for own, kind in zip(self.blocks, kinds, strict=True):
            rows = slice(start, start + within.shape[-1])
            covariance[..., rows, rows] += within[:, :, own[kind]]
            start = rows.stop
        found = quadratic(mean[..., columns], covariance)
        found[..., -1] += share[:, list(kinds)].sum(axis=1)[:, None]
        return found


def candidate_levels(batches: NewBatches, use: Use) -> FloatArray:
    """A little below a blank, 0, a rising ladder around K, and the plateau."""
    K = [float(np.exp(np.median(batches.sample(use.protocol, d, 0).laws[0].electrode.ln_K))) * d for d in use.dilutions]
    low, high = LOWEST * min(K), HIGHEST * max(K)
    ladder = np.geomspace(low, high, int(np.ceil(np.log(high / low) / STEP)) + 1)
    return np.concatenate([BELOW_BLANK, [0.0], ladder, [np.inf]])


def _seen(batches: NewBatches, use: Use, levels: Sequence[float] | FloatArray, true: IntArray) -> FloatArray:
    """Stretched readings (L, S, R, J) of samples of levels; random numbers are the same at every level."""
    again = np.repeat(true, SIMULATED_AGAIN)
    shape = true.size, SIMULATED_AGAIN, -1
    rows = []
    for level in levels:
        found = []
        for place, dilution in enumerate(use.dilutions):
            fresh = batches.sample(use.protocol, dilution, place)
            signals = batches.signals(fresh, float(level), again, f"sample {place}")
            stretched = [one.at(y) for one, y in zip(batches.sample(use.protocol, dilution, 0).stretches, signals.T, strict=True)]
            found.append(np.stack(stretched, axis=1))
        rows.append(np.concatenate(found, axis=1).reshape(shape))
    return np.array(rows)
