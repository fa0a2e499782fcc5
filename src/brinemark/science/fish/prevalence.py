"""Prevalence with an imperfect test, each consignment with its own sensitivity, fish of one consignment alike.

p_i ~ beta with mean prevalence and correlation r between two fish of consignment i
x_i ~ binomial(n_i, f + p_i (s_i - f)), or, with a likelihood ratio for each test, prod_j (1 - p_i + p_i LR_ij)

s_i and the false-positive rate f have distributions; the likelihood is averaged over joint draws of them.
Priors: prevalence uniform on 0..1; correlation Beta(1, 1/2), density proportional to (1 - r)^(-1/2), which leans to
consignments wholly caught one way (with a uniform one, intervals for such consignments held 0.89 instead of 0.95).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import lru_cache
from typing import NamedTuple

import numpy as np

from brinemark.science.fish.proportions import check_count, clopper_pearson, normal_quantile, wilson
from brinemark.terms.arrays import FloatArray
from brinemark.terms.errors import Refused
from brinemark.terms.surveillance import ConsignmentTests, FalseFindings, Interval, RoganGladen

CELLS = 200
CORRELATIONS = 8


class PrevalencePosterior(NamedTuple):
    """Posterior on cells of prevalence: their edges (CELLS + 1,), mass (CELLS,), mean of the correlation."""

    edges: FloatArray
    mass: FloatArray
    correlation: float

    def median(self) -> float:
        below = np.concatenate([[0.0], np.cumsum(self.mass)])
        return float(np.interp(0.5, below, self.edges))

    def interval(self, level: float = 0.95) -> Interval:
        """Shortest interval of whole cells round the mode that holds the level: it reaches 0 when few were positive."""
        density = self.mass / np.diff(self.edges)
        low = high = int(np.argmax(density))
        held = float(self.mass[low])
        while held < level:
            left = density[low - 1] if low > 0 else -1.0
            right = density[high + 1] if high + 1 < density.size else -1.0
            low, high = (low - 1, high) if left >= right else (low, high + 1)
            held += float(self.mass[low if left >= right else high])
        return Interval(float(self.edges[low]), float(self.edges[high + 1]))


def rogan_gladen(
    found: int, tested: int, sensitivity: float, specificity: float, level: float = 0.95
) -> RoganGladen | None:
    """(share + specificity - 1)/(sensitivity + specificity - 1), both taken as known; None when the divisor is not > 0.

    The exact and the score interval of the share are carried through the same line, the normal one by its standard
    error. Nothing is cut at 0 or 1: a negative estimate says that fewer were positive than false findings explain.
    Source: Estimating prevalence from the results of a screening test, American Journal of Epidemiology 107 (1978) 71,
    doi 10.1093/oxfordjournals.aje.a112510.
    """
    check_count(found, tested)
    gain = sensitivity + specificity - 1.0
    if not gain > 0.0:
        return None

    def carried(share: float) -> float:
        return (share + specificity - 1.0) / gain

    share = found / tested
    half = normal_quantile(0.5 + 0.5 * level) * math.sqrt(share * (1.0 - share) / tested) / gain
    estimate = carried(share)
    exact, score = clopper_pearson(found, tested, level), wilson(found, tested, level)
    return RoganGladen(
        estimate,
        Interval(carried(exact.lower), carried(exact.upper)),
        Interval(carried(score.lower), carried(score.upper)),
        Interval(estimate - half, estimate + half),
    )


def prevalence_posterior(
    consignments: Sequence[ConsignmentTests], sensitivity: FloatArray, false_rate: FloatArray
) -> PrevalencePosterior:
    """Posterior of the prevalence behind some consignments.

    sensitivity : (draws, consignments) joint draws, one column for each consignment; false_rate : (draws,).
    Refused: shapes that do not match, probabilities outside 0..1, no consignment.
    """
    _check(consignments, sensitivity, false_rate)
    edges, weights = _beta_cells()
    middles = _middles(CELLS)
    logs = np.zeros((false_rate.size, weights.shape[1]))
    for index, one in enumerate(consignments):
        likelihood = _likelihood(one, sensitivity[:, index], false_rate, middles)
        with np.errstate(divide="ignore"):
            logs += np.log(likelihood @ weights)
    height = np.mean(np.exp(logs - np.max(logs)), axis=0).reshape(CORRELATIONS, CELLS)
    nodes, shares = _correlations()
    mass = shares[:, None] * height * np.diff(edges)
    mass /= np.sum(mass)
    return PrevalencePosterior(edges, np.sum(mass, axis=0), float(nodes @ np.sum(mass, axis=1)))


def false_rate_draws(false_findings: FalseFindings, draws: int, seed: int) -> FloatArray:
    """(draws,) of the false-positive rate, prior Beta(1/2, 1/2) and its controls: one draw in each equal share."""
    from scipy.special import betaincinv

    check_count(false_findings.found, false_findings.tested)
    generator = np.random.default_rng(seed)
    places = (generator.permutation(draws) + generator.random(draws)) / draws
    a, b = 0.5 + false_findings.found, 0.5 + false_findings.tested - false_findings.found
    return np.asarray(betaincinv(a, b, places))


def alike_draws(sensitivities: Sequence[float], sd: float, draws: int, seed: int) -> FloatArray:
    """(draws, consignments) of sensitivities that err together: one normal error with sd, added to every logit.

    Sensitivities of consignments come from the same kinetics and the same electrodes, so an error in these is shared;
    independent errors would average out and make the interval too short.
    """
    from scipy.special import expit, logit

    middle = np.asarray(sensitivities, dtype=np.float64)
    if not np.all((middle > 0.0) & (middle < 1.0)) or not sd >= 0.0:
        raise Refused(
            "a sensitivity outside 0 to 1 or a negative sd", "shares between 0 and 1, sd >= 0", "correct them"
        )
    error = sd * np.random.default_rng(seed).standard_normal(draws)
    return np.asarray(expit(logit(middle)[None, :] + error[:, None]))


def ratios_from_probabilities(probabilities: Sequence[float], prior: float) -> tuple[float, ...]:
    """Likelihood ratios behind probabilities of exposure that were worked out with one prior: odds over prior odds.

    A probability already holds its prior; averaging probabilities would count that prior once for every test.
    Refused: a prior not between 0 and 1, a probability outside 0 to 1 or 1 itself.
    """
    if not 0.0 < prior < 1.0 or not all(0.0 <= one < 1.0 for one in probabilities):
        raise Refused("a probability or prior outside its range", "0 to below 1, a prior between 0 and 1", "correct it")
    return tuple(one / (1.0 - one) * (1.0 - prior) / prior for one in probabilities)


def _likelihood(one: ConsignmentTests, s: FloatArray, f: FloatArray, p: FloatArray) -> FloatArray:
    """(draws, cells) likelihood of one consignment at each share p affected in it, up to a factor."""
    from scipy.special import xlog1py, xlogy

    if one.likelihood_ratios:
        ratios = np.asarray(one.likelihood_ratios)
        logs = np.sum(np.log1p(p[:, None] * (ratios - 1.0)), axis=1)
        return np.broadcast_to(np.exp(logs - np.max(logs)), (s.size, p.size))
    q = f[:, None] + p * (s - f)[:, None]
    logs = xlogy(one.positive, q) + xlog1py(one.tested - one.positive, -q)
    return np.asarray(np.exp(logs - np.max(logs)))


@lru_cache(maxsize=1)
def _beta_cells() -> tuple[FloatArray, FloatArray]:
    """Edges of the cells, and (cells of p_i, correlation x prevalence) probability of each cell of p_i."""
    from scipy.special import betainc

    edges = np.sin(0.5 * np.pi * np.arange(CELLS + 1) / CELLS) ** 2
    nodes, _ = _correlations()
    strength = (1.0 / nodes - 1.0)[:, None]
    mean = _middles(CELLS)[None, :]
    a, b = (strength * mean).ravel(), (strength * (1.0 - mean)).ravel()
    return edges, np.diff(betainc(a, b, edges[:, None]), axis=0)


def _middles(cells: int) -> FloatArray:
    return np.asarray(np.sin(0.5 * np.pi * (np.arange(cells) + 0.5) / cells) ** 2)


@lru_cache(maxsize=1)
def _correlations() -> tuple[FloatArray, FloatArray]:
    """Nodes and shares of the prior Beta(1, 1/2) of the correlation."""
    from scipy.special import roots_jacobi

    nodes, weights = roots_jacobi(CORRELATIONS, -0.5, 0.0)
    return 0.5 * (nodes + 1.0), weights / np.sum(weights)


def _check(consignments: Sequence[ConsignmentTests], sensitivity: FloatArray, false_rate: FloatArray) -> None:
    if sensitivity.shape != (false_rate.size, len(consignments)) or sensitivity.size == 0:
        raise Refused(
            f"sensitivities of shape {sensitivity.shape} for {len(consignments)} consignments and "
            f"{false_rate.size} draws of the false-positive rate",
            "one row for each draw and one column for each consignment",
            "draw the sensitivity of every consignment",
        )
    for values in (sensitivity, false_rate):
        if not np.all((values >= 0.0) & (values <= 1.0)):
            raise Refused("a probability outside 0 to 1", "sensitivities and rates from 0 to 1", "correct them")
