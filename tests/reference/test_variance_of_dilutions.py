"""Serial dilution with equal variance and with one that grows with the signal: what becomes of the lowest unknown.

A posterior with equal variance in a public copy has unknown 8 at about 0.000, with power variance at 0.006. The best
equal-variance value is no zero (0.0067); but equal variance gives the wells of low signal so little weight that zero is
not excluded, and a prior flat in the log of the level then runs away to it. The fits are the program's least squares.
"""

from __future__ import annotations

import numpy as np
import pytest

from brinemark.science.amount.classical import CurveFit, fit_curve
from brinemark.terms.arrays import FloatArray
from reference import serial_dilution as data

SAMPLE, DILUTION, SIGNAL = np.array(data.SAMPLE) - 1, np.array(data.DILUTION), np.array(data.SIGNAL)
ROW = np.arange(SIGNAL.size, dtype=float)
LOWEST = 7  # unknown 8
STANDARD = data.STANDARD - 1
UNKNOWNS = [data.POSTERIOR_MEAN[f"theta{number}"] for number in range(1, 11)]
START = np.array([*data.STANDARDS_LEAST_SQUARES, *UNKNOWNS])
PRINTED_AS = 5e-4
CHI_SQUARE_95 = 3.841458820694124
# A prior flat in ln theta needs an end where zero is not excluded; the likelihood is flat below FLAT_BELOW.
ENDS = (1e-6, 1e-12, 1e-40)
FLAT_BELOW = 1e-4


def curve(parameters: FloatArray, theta: FloatArray) -> FloatArray:
    """b1 + b2 x^b4 / (b3^b4 + x^b4) of every well, x = level x dilution."""
    b1, b2, b3, b4 = parameters[:4]
    x = np.append(theta, data.STANDARD_LEVEL)[SAMPLE] * DILUTION
    # The search may step below zero; a level that is not there gives the floor.
    share = np.where(x > 0.0, np.abs(x), 0.0) ** b4
    return np.asarray(b1 + b2 * share / (b3**b4 + share))


def fitted(weights: FloatArray | None = None, lowest: float | None = None) -> CurveFit:
    """All wells at once; lowest holds unknown 8 at a level."""

    def model(parameters: FloatArray, rows: FloatArray) -> FloatArray:
        del rows
        theta = parameters[4:] if lowest is None else np.insert(parameters[4:], LOWEST, lowest)
        return curve(parameters, theta)

    start = START if lowest is None else np.delete(START, 4 + LOWEST)
    fit = fit_curve(model, ROW, SIGNAL, start.tolist(), weights)
    assert fit.converged, fit.reason
    return fit


def power_weights() -> FloatArray:
    """1 / signal^2 at the fit that they themselves give (the bound of the exponent that the posterior sits at)."""
    weights = np.ones(SIGNAL.size)
    for _ in range(6):
        parameters = fitted(weights).parameters
        weights = curve(parameters, parameters[4:]) ** -2.0
    return weights


def log_likelihood(weights: FloatArray | None, lowest: float) -> float:
    """Profile log-likelihood of unknown 8, up to a constant; the size of the scatter is a parameter too."""
    return -0.5 * SIGNAL.size * float(np.log(fitted(weights, lowest).rss))


def medians(weights: FloatArray | None) -> list[float]:
    """Median of unknown 8 for each end of the prior, other parameters at their best for each level."""
    log_theta = np.linspace(np.log(FLAT_BELOW), np.log(0.05), 60)
    height = np.array([log_likelihood(weights, float(np.exp(value))) for value in log_theta])
    density = np.exp(height - height.max())
    above = np.concatenate([[0.0], np.cumsum(0.5 * (density[1:] + density[:-1]) * np.diff(log_theta))])
    found = []
    for end in ENDS:
        below = density[0] * np.log(FLAT_BELOW / end)
        half = 0.5 * (below + above[-1])
        inside = float(np.exp(np.interp(half - below, above, log_theta)))
        found.append(inside if half > below else float(end * np.exp(half / density[0])))
    return found


def test_power_variance_finds_the_lowest_unknown_wherever_the_prior_ends() -> None:
    for median in medians(power_weights()):
        assert median == pytest.approx(data.POSTERIOR_MEAN["theta8"], abs=PRINTED_AS)


def test_equal_variance_loses_the_lowest_unknown_to_the_end_of_the_prior() -> None:
    near, far, farthest = medians(None)
    assert near > far > farthest
    assert far < PRINTED_AS
    assert fitted().parameters[4 + LOWEST] == pytest.approx(data.POSTERIOR_MEAN["theta8"], rel=0.25)


def test_the_evidence_against_zero_is_what_equal_variance_throws_away() -> None:
    weights = power_weights()
    best = -0.5 * SIGNAL.size * float(np.log(fitted(weights).rss))
    best_equal = -0.5 * SIGNAL.size * float(np.log(fitted().rss))
    assert 2.0 * (best - log_likelihood(weights, 0.0)) > 5.0 * CHI_SQUARE_95
    assert 2.0 * (best_equal - log_likelihood(None, 0.0)) < 2.0 * CHI_SQUARE_95


def test_power_weights_bring_all_unknowns_to_the_reference_posterior() -> None:
    fit = fitted(power_weights())
    for number, found in enumerate(fit.parameters[4:], 1):
        name = f"theta{number}"
        assert found == pytest.approx(data.POSTERIOR_MEAN[name], abs=data.POSTERIOR_SD[name])


def test_equal_variance_makes_the_lowest_unknown_more_than_twice_as_uncertain() -> None:
    at = 4 + LOWEST
    assert fitted().sd[at] > 2.0 * fitted(power_weights()).sd[at]
