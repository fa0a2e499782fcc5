"""What a use of electrodes can tell at each level, before anything is known of its batch.

Stretched readings of all electrodes of a sample are taken as jointly normal under the weighted draws, as a reading
takes them (joint_likelihood.py): their moments at every candidate level are weighted sums of what each draw says, so
that one matrix product serves all true batches of a plan. Electrodes of one dilution are alike, so their mean stands
for them (sufficient for the middle of normal readings; that their scatter grows with the level tells a little more,
which is left out), but where films may be defective, and each has to be judged by itself.
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
SAMPLES_EACH = 4  # samples of each true batch at each wished level
NULL_EACH = 16  # simulated samples of each true batch that tell how the statistic is distributed at a level


@dataclass(frozen=True, slots=True, eq=False)
class _Block:
    """Readings (j) of electrodes of one dilution and kind of film under D draws: middle (D, n, j), and within
    (D, n, j, j), their covariance under a draw."""

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
    K; places, blocks : of each electrode's readings by kind; anchors : candidates at which samples are simulated;
    at_anchors (A, D, J) : stretched readings of one sample there under every draw."""

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

    @classmethod
    def of(cls, batches: NewBatches, use: Use) -> UseTable:
        """The same numbers whatever was burned."""
        candidates = candidate_levels(batches, use)
        distinct = sorted(set(use.dilutions))
        count = np.array([use.dilutions.count(one) for one in distinct])
        fresh = [batches.sample(use.protocol, one, 0) for one in distinct]
        kinds = len(fresh[0].kinds)
        made = [_Block.of(kind.laws, one, candidates) for one in fresh for kind in one.kinds]
        middle = np.concatenate([one.middle for one in made], axis=-1)
        i, j = np.triu_indices(middle.shape[-1])
        dips = len(fresh[0].laws)
        number = list(range(len(distinct))) if kinds == 1 else [distinct.index(one) for one in use.dilutions]
        within = np.stack([one.within for one in made], axis=2)
        if kinds == 1:
            within = within / count[:, None, None]
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
            within.reshape(draws, -1),
            np.exp(np.stack([kind.log_share for kind in fresh[0].kinds], axis=1)),
            middle.shape[-1],
            places,
            blocks,
            anchors,
            _at_anchors(batches, use, candidates[anchors], np.arange(draws), 1)[:, :, 0],
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

    def drawn_at_anchors(self, weights: FloatArray, seed: int) -> FloatArray:
        """Readings (A, S, R, J) at the anchors under draws taken by their weights (S, D), stratified."""
        size, each = weights.shape[0], NULL_EACH
        rng = np.random.default_rng(np.random.SeedSequence([seed, 19]))
        at = (np.arange(each) + rng.uniform(size=(size, each))) / each
        sums = np.cumsum(weights, axis=1)
        picks = [np.searchsorted(row, one * row[-1]) for row, one in zip(sums, at, strict=True)]
        return self.at_anchors[:, np.minimum(picks, weights.shape[1] - 1)]


def candidate_levels(batches: NewBatches, use: Use) -> FloatArray:
    """A little below a blank, 0, a rising ladder around K, and the plateau."""
    K = [float(np.exp(np.median(batches.sample(use.protocol, d, 0).laws[0].electrode.ln_K))) * d for d in use.dilutions]
    low, high = LOWEST * min(K), HIGHEST * max(K)
    ladder = np.geomspace(low, high, int(np.ceil(np.log(high / low) / STEP)) + 1)
    return np.concatenate([BELOW_BLANK, [0.0], ladder, [np.inf]])


def simulated_at_levels(batches: NewBatches, use: Use, levels: Sequence[float], true: IntArray) -> FloatArray:
    """Stretched readings (L, S, R, J) of samples of levels on each true batch, the same whatever was burned."""
    return _seen(batches, use, levels, true, SAMPLES_EACH)


def simulated_at_anchors(batches: NewBatches, use: Use, table: UseTable, true: IntArray) -> FloatArray:
    """Readings (A, S, R, J) at the anchors of samples of each true batch."""
    return _at_anchors(batches, use, table.candidates[table.anchors], true, NULL_EACH)


def _at_anchors(batches: NewBatches, use: Use, anchors: FloatArray, true: IntArray, each: int) -> FloatArray:
    """Other random numbers at every anchor, so that what they say can be smoothed along the ladder."""
    rows = [_seen(batches, use, [float(c)], true, each, f"anchor {i}") for i, c in enumerate(anchors)]
    return np.concatenate(rows)


def _seen(
    batches: NewBatches, use: Use, levels: Sequence[float], true: IntArray, each: int, key: str = ""
) -> FloatArray:
    """Stretched readings (L, S, R, J) of samples of levels, as nature has them, or with a key as the law has them."""
    again, alike = np.repeat(true, each), len(batches.sample(use.protocol, use.dilutions[0], 0).kinds) == 1
    shape = true.size, each, -1
    rows = []
    for level in levels:
        found = []
        for place, dilution in enumerate(use.dilutions):
            fresh = batches.sample(use.protocol, dilution, place)
            simulate = batches.signals if key else batches.lived
            signals = simulate(fresh, float(level), again, f"sample {place} {each} {key}")
            known = batches.sample(use.protocol, dilution, 0).stretches
            stretched = [one.at(y) for one, y in zip(known, signals.T, strict=True)]
            found.append(np.stack(stretched, axis=1))
        if alike:
            same = {one: [y for y, d in zip(found, use.dilutions, strict=True) if d == one] for one in use.dilutions}
            found = [np.mean(same[one], axis=0) for one in sorted(same)]
        rows.append(np.concatenate(found, axis=1).reshape(shape))
    return np.array(rows)
