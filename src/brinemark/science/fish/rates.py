"""Exact limits of a share, and what they make of a test: ratios of its two answers, probabilities afterwards."""

from __future__ import annotations

import math

from brinemark.science.fish.proportions import clopper_pearson, lower_bound, upper_bound
from brinemark.terms.evidence import Rate

LEVEL = 0.95


def exact_rate(count: int, of: int, level: float = LEVEL, sides: int = 2) -> Rate:
    """A share with its exact limits (proportions.py); nothing tried gives [0, 1]. Raises Refused unless 0 <= count <=
    of."""
    if count == of == 0:
        return Rate(0, 0, None, 0.0, 1.0, level, sides)
    both = clopper_pearson(count, of, level)
    if sides == 2:
        return Rate(count, of, count / of, both.lower, both.upper, level, sides)
    return Rate(count, of, count / of, lower_bound(count, of, level), upper_bound(count, of, level), level, sides)


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
