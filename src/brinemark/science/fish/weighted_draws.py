"""Draws of parameters weighted by a likelihood, and redrawn around where it is high when few of them carry the weight.

Draws are scores z, standard normal before any reading; a parameter is its quantile at Phi(z). The first round is drawn
stratified from there, so that without readings all weigh the same. While the effective number (sum w)^2 / sum w^2 is
low, rounds of multivariate t distributions follow, fitted to the weighted draws so far; all of these count, each with
weight L(z) phi(z) over the mixture of the distributions they came from ("Adaptive Multiple Importance Sampling",
Scandinavian Journal of Statistics 39 (2012) 798, doi 10.1111/j.1467-9469.2011.00756.x).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np

from brinemark.science.amount.proposals import FIT_EFFECTIVE, WIDER, Pool, Proposal, adapted_one, tempered
from brinemark.science.amount.weights import effective_size, normalised
from brinemark.science.fish.parameters import Parameter, strata
from brinemark.science.fish.worlds import Drawing
from brinemark.terms.arrays import FloatArray

ROUNDS = 8
RIDGE = 1e-6  # keeps the covariance of few draws from being singular
LEAST_PROBABILITY = 2.0**-53  # at 1 a constant would be infinite

LogLikelihood = Callable[[Mapping[str, FloatArray]], FloatArray]


@dataclass(frozen=True, slots=True, eq=False)
class WeightedDraws:
    """score (n, P) of P names; weight (n,), sum 1; effective : draws that carry it, 0 where no draw explains the
    readings; highest : ln likelihood of the best draw; rounds : of draws."""

    names: tuple[str, ...]
    score: FloatArray
    weight: FloatArray
    effective: float
    highest: float
    rounds: int

    def resampled(self, count: int) -> FloatArray:
        """(count, P) equally likely scores, by equal steps along the cumulative weight."""
        total = np.cumsum(self.weight)
        places = np.searchsorted(total, total[-1] * (np.arange(count) + 0.5) / count)
        return np.asarray(self.score[places])


def weighted_draws(
    parameters: Mapping[str, Parameter], log_likelihood: LogLikelihood, drawing: Drawing, enough: float
) -> WeightedDraws:
    """Draws of the parameters, weighted, in as many rounds as it takes for `enough` effective ones, ROUNDS at most."""
    names = tuple(parameters)

    def log_l(score: FloatArray) -> FloatArray:
        return log_likelihood(values_at(parameters, score))

    first = np.stack([_normal(strata(name, drawing.count, drawing.seed)) for name in names], axis=1)
    log_weight = log_l(first)
    found = _weighed(names, first, log_weight, float(log_weight.max()), 1)
    if found.effective >= enough or found.effective == 0.0:
        return found
    proposal, pool = _fitted(first, log_weight), Pool.empty(len(names))
    for number in range(1, ROUNDS):
        score = proposal.draw(_power_of_two(drawing.count), np.random.SeedSequence([drawing.seed, number]))
        value = log_l(score)
        pool = pool.extended(proposal, score, value - 0.5 * (score**2).sum(axis=1))
        highest = max(found.highest, float(value.max()))
        found = _weighed(names, pool.points, pool.log_weights(), highest, number + 1)
        if found.effective >= enough:
            break
        proposal = adapted_one(pool, np.ones(len(names)))
    return found


def values_at(parameters: Mapping[str, Parameter], score: FloatArray) -> dict[str, FloatArray]:
    """The parameters at scores (n, P), each (n,)."""
    probability = probability_at(score)
    return {name: each.quantile(probability[:, n]) for n, (name, each) in enumerate(parameters.items())}


def probability_at(score: FloatArray) -> FloatArray:
    """Share of the law before any reading that lies below each score; broadcasts."""
    from scipy.special import ndtr

    return np.asarray(np.clip(ndtr(score), LEAST_PROBABILITY, 1.0 - LEAST_PROBABILITY))


def _normal(probability: FloatArray) -> FloatArray:
    from scipy.special import ndtri

    return np.asarray(ndtri(probability))


def _weighed(
    names: tuple[str, ...], score: FloatArray, log_weight: FloatArray, highest: float, rounds: int
) -> WeightedDraws:
    if not np.isfinite(log_weight.max()):
        return WeightedDraws(names, score, np.zeros(len(score)), 0.0, highest, rounds)
    weight = normalised(log_weight)
    return WeightedDraws(names, score, weight, float(effective_size(weight)), highest, rounds)


def _fitted(score: FloatArray, log_weight: FloatArray) -> Proposal:
    """Around the first round, its weights flattened until enough draws count."""
    weight = tempered(log_weight, FIT_EFFECTIVE)
    middle = np.asarray(weight @ score)
    away = score - middle
    covariance = (weight[:, None] * away).T @ away + RIDGE * np.eye(len(middle))
    return Proposal(middle, np.asarray(WIDER * np.linalg.cholesky(covariance)))


def _power_of_two(count: int) -> int:
    return int(2 ** round(math.log2(max(count, 2))))
