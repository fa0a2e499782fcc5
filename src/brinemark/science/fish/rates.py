"""Exact limits of a share, and what they make of a test: ratios of its two answers, probabilities afterwards."""

from __future__ import annotations

import math

from brinemark.terms.errors import Refused
from brinemark.terms.evidence import FalseDetections, Rate

LEVEL = 0.95


def exact_rate(count: int, of: int, level: float = LEVEL, sides: int = 2) -> Rate:
    """Clopper-Pearson limits: quantiles of Beta(k, n - k + 1) and Beta(k + 1, n - k) ("The use of confidence or
    fiducial limits illustrated in the case of the binomial", Biometrika 26 (1934) 404, doi 10.1093/biomet/26.4.404).

    Nothing tried gives [0, 1]. Raises Refused unless 0 <= count <= of.
    """
    from scipy.special import betaincinv

    if not 0 <= count <= of:
        raise Refused(f"{count} of {of}", "a count from 0 to the number tried", "correct the counts")
    tail = (1.0 - level) / sides
    lower = float(betaincinv(count, of - count + 1, tail)) if count > 0 else 0.0
    upper = float(betaincinv(count + 1, of - count, 1.0 - tail)) if count < of else 1.0
    return Rate(count, of, count / of if of else None, lower, upper, level, sides)


def ratio_of_positive(sensitivity: float, false_positive: float) -> float:
    """Likelihood ratio of a positive result, inf when false positives are impossible."""
    return sensitivity / false_positive if false_positive > 0 else math.inf


def ratio_of_negative(sensitivity: float, false_positive: float) -> float:
    """Likelihood ratio of a negative result; nan when a negative is impossible under both."""
    specificity = 1.0 - false_positive
    if specificity > 0:
        return (1.0 - sensitivity) / specificity
    return math.inf if sensitivity < 1.0 else math.nan


def posterior_probability(prior: float, log10_ratio: float) -> float:
    """Probability after evidence of this log10 likelihood ratio, prior in (0, 1)."""
    log_odds = math.log(prior / (1.0 - prior)) + log10_ratio * math.log(10.0)
    if log_odds >= 0:
        return 1.0 / (1.0 + math.exp(-log_odds))
    odds = math.exp(log_odds)
    return odds / (1.0 + odds)


def false_detections(samples: int, rate: float = 0.01) -> FalseDetections:
    """Among independent samples of fish that were never exposed, at a false-positive rate (of one test: its alpha)."""
    if samples < 0 or not 0.0 <= rate <= 1.0:
        raise Refused(f"{samples} samples at rate {rate:g}", "0 or more samples, a rate from 0 to 1", "correct them")
    never = -math.expm1(samples * math.log1p(-rate)) if rate < 1.0 else float(samples > 0)
    return FalseDetections(samples, rate, samples * rate, never)
