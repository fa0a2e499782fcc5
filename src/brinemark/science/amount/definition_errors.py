"""How far amounts that were read as if unknown lie from what they are, and which of two ways lies nearer."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from brinemark.terms.arrays import FloatArray

STEP_SHARE = 0.2
"""Errors of levels well below this share of the middle standard count as differences, above it as ratios."""

MOST = 2.0
"""What reads higher than this many times the highest standard counts as so much: it is beyond the standards."""

SHARED_TEACHERS = 1.2
"""True standard deviation of a difference over the jackknife's. Batches that are left out in turn share their teachers:
what is odd in one batch moves the readings of all others alike, which a jackknife over read batches does not see.
Simulated with two ways of equal merit: 1.37 (SE .07), 1.19 (.07), 1.26 (.10) with 4, 8, 14 batches; with 1.2 they are
told apart in 5 % (docs/decisions/0031)."""

CHANCE = 0.05
"""Two definitions are told apart when chance gives such a difference, over all that were compared, less often."""


@dataclass(frozen=True, slots=True)
class AmountError:
    """Errors of N amounts: |ln((c_read + d)/(c + d))|, d = 0.2 of the middle standard.

    typical : their mean [1], by which definitions are ranked, with u its standard error (jackknife over batches);
    median, rmse : the same errors' median and root of mean square; open_share : share read as above the plateau;
    unread_share : share for which there was no curve to read with.
    """

    typical: float
    u: float
    median: float
    rmse: float
    open_share: float
    unread_share: float


def step_of(levels: FloatArray) -> float:
    """d [level unit] from the known levels (N,): it depends on the standards alone and on no definition."""
    return STEP_SHARE * float(np.median(levels[levels > 0.0]))


def log_errors(read: FloatArray, level: FloatArray, highest: float, step: float) -> FloatArray:
    """|ln((c_read + d)/(c + d))| (N,) of levels read (N,): 0 and above, inf above the plateau, nan without a curve.

    Above MOST times the highest standard a level counts as that much, so that one open reading does not outweigh all
    others; without a curve the error is the largest that the level allows.
    """
    most = MOST * highest
    shown = np.clip(np.where(np.isnan(read), 0.0, read), 0.0, most)
    error = np.abs(np.log((shown + step) / (level + step)))
    worst = np.maximum(np.log((level + step) / step), np.abs(np.log((most + step) / (level + step))))
    return np.asarray(np.where(np.isnan(read), worst, error), dtype=np.float64)


def guess_error(level: FloatArray, step: float) -> float:
    """The smallest mean error that one level for all electrodes (N,) can have: what reading without looking gives."""
    logs = np.log(level + step)
    return float(np.abs(logs - np.median(logs)).mean())


def amount_error(read: FloatArray, errors: FloatArray, batch: Sequence[str]) -> AmountError:
    """The errors (N,) of levels read (N,) in sum."""
    return AmountError(
        float(errors.mean()),
        jackknife_u(errors, batch),
        float(np.median(errors)),
        math.sqrt(float(np.mean(errors**2))),
        float(np.isinf(read).mean()),
        float(np.isnan(read).mean()),
    )


def difference(errors: FloatArray, best: FloatArray, batch: Sequence[str]) -> tuple[float, float]:
    """Mean of errors - best, paired over the electrodes (N,), and its standard error: SHARED_TEACHERS times the
    jackknife's."""
    apart = errors - best
    return float(apart.mean()), SHARED_TEACHERS * jackknife_u(apart, batch)


def told_apart(apart: float, u: float, batches: int, comparisons: int) -> bool:
    """Whether a difference is beyond chance: Student's t with batches - 1 degrees of freedom, two-sided, at CHANCE over
    the number of comparisons (Bonferroni), since the best of many is better by chance. Ways that read all alike are
    not told apart.
    """
    from scipy.special import stdtrit

    if batches < 2 or apart == 0.0:
        return False
    return bool(abs(apart) > float(stdtrit(batches - 1, 1.0 - 0.5 * CHANCE / max(comparisons, 1))) * u)


def jackknife_u(values: FloatArray, batch: Sequence[str]) -> float:
    """Standard error of the mean of values (N,) by leaving out one batch at a time.

    u^2 = (B - 1)/B sum_b (m_b - m.)^2, m_b the mean without batch b (The jackknife estimate of variance, Annals of
    Statistics 9 (1981) 586-596, doi:10.1214/aos/1176345462); 0 with one batch, which says nothing.
    """
    names = np.array(batch)
    means = np.array([values[names != name].mean() for name in np.unique(names) if np.any(names != name)])
    if means.size < 2:
        return 0.0
    return math.sqrt((means.size - 1) / means.size * float(((means - means.mean()) ** 2).sum()))
