"""Trials on fish of known history: whether likelihood ratios keep what they promise."""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise

import numpy as np

from brinemark.science.fish.rates import LEVEL, exact_rate
from brinemark.terms.arrays import FloatArray
from brinemark.terms.errors import Refused
from brinemark.terms.evidence import Misleading, RatioBin, Recalibration, Roc, TrialResult

EDGES = (-math.inf, -2.0, -1.0, -0.5, 0.0, 0.5, 1.0, 2.0, math.inf)
FACTORS = (1.0, 10.0, 100.0)


def judge_trial(
    exposed: FloatArray,
    unexposed: FloatArray,
    population: str,
    threshold: float = 0.0,
    edges: Sequence[float] = EDGES,
) -> TrialResult:
    """Everything that a trial tells of log10 likelihood ratios (n,), (m,) of exposed and unexposed fish.

    population : of the unexposed fish, in words; threshold : log10 ratio from which a fish is called exposed. Raises
    Refused where either kind is missing or a ratio is nan.
    """
    first, second = checked(exposed, unexposed)
    return TrialResult(
        population,
        first.size,
        second.size,
        roc(first, second),
        threshold,
        exact_rate(int(np.sum(first >= threshold)), first.size),
        exact_rate(int(np.sum(second < threshold)), second.size),
        ratio_bins(first, second, edges),
        cost(first, second),
        least_cost(first, second),
        misleading(first, second),
    )


def checked(exposed: FloatArray, unexposed: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Both as arrays. Raises Refused where one is empty or holds nan."""
    first, second = np.asarray(exposed, dtype=float), np.asarray(unexposed, dtype=float)
    if first.size == 0 or second.size == 0:
        came = f"{first.size} exposed and {second.size} unexposed fish"
        raise Refused(came, "at least one of each", "add results of the missing kind")
    if np.isnan(first).any() or np.isnan(second).any():
        raise Refused("a result without a ratio", "a number for every fish", "leave out those that cannot be judged")
    return first, second


def roc(exposed: FloatArray, unexposed: FloatArray) -> Roc:
    """ROC with one point per distinct score; area = P(exposed > unexposed) + P(equal) / 2, the statistic of Mann and
    Whitney (Radiology 143 (1982) 29, doi 10.1148/radiology.143.1.7063747)."""
    threshold = np.concatenate([[np.inf], np.unique(np.concatenate([exposed, unexposed]))[::-1]])
    true, false = (_at_or_above(scores, threshold) for scores in (exposed, unexposed))
    area = float(np.sum(np.diff(false) * 0.5 * (true[1:] + true[:-1])))
    return Roc(threshold, false, true, area)


def _at_or_above(scores: FloatArray, threshold: FloatArray) -> FloatArray:
    """Shares of scores at or above thresholds; none at the first, which is inf and stands for calling nobody."""
    found = 1.0 - np.searchsorted(np.sort(scores), threshold, side="left") / scores.size
    found[0] = 0.0
    return np.asarray(found)


def ratio_bins(exposed: FloatArray, unexposed: FloatArray, edges: Sequence[float] = EDGES) -> tuple[RatioBin, ...]:
    """In each bin of log10 ratio the share of the exposed over the share of the unexposed, which for true ratios lies
    between the bin's edges: LR(LR) = LR. Limits from the exact interval of k1 of k1 + k2, given their sum (for counts
    that are few of many, Poisson)."""
    found = []
    for low, high in pairwise(edges):
        counts = [int(np.sum(_inside(scores, low, high))) for scores in (exposed, unexposed)]
        found.append(_bin(low, high, (counts[0], counts[1]), math.log10(unexposed.size / exposed.size)))
    return tuple(found)


def _inside(scores: FloatArray, low: float, high: float) -> FloatArray:
    return np.asarray((scores >= low) & ((scores < high) | (math.isinf(high) & (scores <= high))), dtype=float)


def _bin(low: float, high: float, counts: tuple[int, int], offset: float) -> RatioBin:
    """offset : log10 of what a ratio of counts is to be multiplied with."""
    share = exact_rate(counts[0], sum(counts), LEVEL)
    limits = [_log10_odds(p) + offset for p in (share.lower, share.upper)]
    observed = math.nan if share.value is None else _log10_odds(share.value) + offset
    agrees = limits[0] <= high and limits[1] >= low
    return RatioBin(low, high, *counts, observed, limits[0], limits[1], agrees)


def _log10_odds(p: float) -> float:
    if p <= 0.0:
        return -math.inf
    return math.log10(p / (1.0 - p)) if p < 1.0 else math.inf


def cost(exposed: FloatArray, unexposed: FloatArray) -> float:
    """Cllr = [mean log2(1 + 1/LR) of the exposed + mean log2(1 + LR) of the unexposed] / 2 [bit] ("Application-
    independent evaluation of speaker detection", Computer Speech and Language 20 (2006) 230,
    doi 10.1016/j.csl.2005.08.001; from memory); inf when an impossible thing happened."""
    ln = math.log(10.0)
    parts = [np.logaddexp(0.0, -ln * exposed).mean(), np.logaddexp(0.0, ln * unexposed).mean()]
    return float(sum(parts) / (2.0 * math.log(2.0)))


def least_cost(exposed: FloatArray, unexposed: FloatArray) -> float:
    """Cllr after the best rising recalibration of the ratios (pool adjacent violators), what separation allows."""
    return cost(*recalibrated(exposed, unexposed))


def recalibrated(exposed: FloatArray, unexposed: FloatArray) -> tuple[FloatArray, FloatArray]:
    """log10 ratios after isotonic regression of the history on the score, each kind with half of the weight."""
    from scipy.optimize import isotonic_regression

    scores, place = np.unique(np.concatenate([exposed, unexposed]), return_inverse=True)
    one = np.bincount(place[: exposed.size], minlength=scores.size) / exposed.size
    two = np.bincount(place[exposed.size :], minlength=scores.size) / unexposed.size
    p = np.clip(isotonic_regression(one / (one + two), weights=one + two).x, 0.0, 1.0)
    with np.errstate(divide="ignore"):
        ratio = np.log10(p) - np.log10(1.0 - p)
    found = ratio[place]
    return found[: exposed.size], found[exposed.size :]


def fit_recalibration(exposed: FloatArray, unexposed: FloatArray, population: str) -> Recalibration:
    """The line through log10 ratios that a trial supports: least Cllr plus, in bits per fish, our own prior that keeps
    small trials near the ratios as they are (shift and ln slope normal around 0 with sd 1, the shift as a natural
    logarithm). It is logistic regression with equal weight on both kinds, and holds for the trial's population only.
    Raises Refused as judge_trial, and for ratios without end."""
    from scipy.optimize import minimize

    first, second = checked(exposed, unexposed)
    if not (np.isfinite(first).all() and np.isfinite(second).all()):
        raise Refused("a ratio of 0 or without end", "finite log10 ratios", "keep the ratios within a cap first")
    fish = (first.size + second.size) * math.log(2.0)

    def loss(at: FloatArray) -> float:
        shift, slope = at[0] / math.log(10.0), math.exp(at[1])
        return cost(shift + slope * first, shift + slope * second) + 0.5 * float(at @ at) / fish

    best = minimize(loss, np.zeros(2), method="Nelder-Mead", options={"xatol": 1e-6, "fatol": 1e-10}).x
    return Recalibration(best[0] / math.log(10.0), math.exp(best[1]), population, first.size, second.size)


def with_recalibration(log10_ratio: FloatArray, line: Recalibration) -> FloatArray:
    """log10 ratios (n,) as the trial has them."""
    return np.asarray(line.shift + line.slope * log10_ratio)


def misleading(
    exposed: FloatArray, unexposed: FloatArray, factors: Sequence[float] = FACTORS
) -> tuple[Misleading, ...]:
    """How often evidence points the wrong way, by at least each factor; a ratio of exactly 1 points nowhere. A true
    ratio does it at most in 1 of factor ("Statistical Evidence", Chapman and Hall 1997, section 1.4; from memory)."""
    found = []
    for factor in factors:
        far = math.log10(factor)
        wrong_first = (exposed <= -far) & (exposed < 0)
        wrong_second = (unexposed >= far) & (unexposed > 0)
        rates = [exact_rate(int(w.sum()), w.size) for w in (wrong_first, wrong_second)]
        found.append(Misleading(factor, rates[0], rates[1], 1.0 / factor))
    return tuple(found)
