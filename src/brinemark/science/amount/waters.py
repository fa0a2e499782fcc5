"""How much K differs between waters, from recoveries of known rises in real ones.

A water that multiplies K by exp(m) makes a rise c read as c exp(-m), since theta depends on c/K alone. With recoveries
r_i of n waters, each known to u_i on the logarithmic scale,

    ln r_i ~ N(mu, u_i^2 + s^2)          mu flat          ln s ~ N(ln s_0, LN_SD^2)

the random-effects model of "Meta-analysis in clinical trials", Controlled Clinical Trials 7 (1986) 177-188,
doi 10.1016/0197-2456(86)90046-2, with mu integrated and the posterior of s kept on a grid. s_0 is the default held
before, so that six waters which happen to agree do not make s nothing. Errors that the recoveries share (a batch, a
stock) count as part of mu.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from brinemark.terms.amounts import Reading, WaterScatter
from brinemark.terms.arrays import FloatArray

FEWEST_WATERS = 6
LN_SD = 0.7  # a factor of two either way: how well the default is known (common practice, no source)
GRID = np.linspace(-4.0, 4.0, 161)  # in LN_SD
QUANTILES = 64
BIASED = 2.0  # standard errors of mu from 0, from which all waters together are named
NORMAL_95 = 1.959964


@dataclass(frozen=True, slots=True)
class Recovery:
    """ln recovery of a rise in one water, and its standard uncertainty without the scatter between waters."""

    water: str
    ln: float
    u: float


def recovery_in(water: str, reading: Reading, rise: float, own: float, held_sd: float) -> Recovery | None:
    """From the reading of a spiked water; None where it has no best level above what the water held, or no end.

    rise, own : what was added, and what the water held by itself [level unit]; held_sd : the scatter between waters
    that the reading's own interval already holds, taken out in squares. A reading with one end gives u by that side:
    leaving out those that saturate would leave out the high recoveries.
    """
    ends = reading.two_sided
    if ends is None or ends.median is None or ends.median <= own or rise <= 0.0:
        return None
    known = [end - own for end in (ends.lower, ends.upper) if end is not None and end > own]
    if not known:
        return None
    middle = ends.median - own
    u = float(np.mean([abs(np.log(end / middle)) for end in known])) / NORMAL_95
    return Recovery(water, float(np.log(middle / rise)), float(np.sqrt(max(u**2 - held_sd**2, 0.01 * u**2))))


def by_water(recoveries: Sequence[Recovery]) -> tuple[Recovery, ...]:
    """One recovery for each water: means weighted by 1/u^2."""
    found = []
    for water in dict.fromkeys(one.water for one in recoveries):
        mine = [one for one in recoveries if one.water == water]
        weight = np.array([one.u**-2.0 for one in mine])
        mean = float(weight @ np.array([one.ln for one in mine]) / weight.sum())
        found.append(Recovery(water, mean, float(weight.sum() ** -0.5)))
    return tuple(found)


def scatter_between(recoveries: Sequence[Recovery], default: float) -> WaterScatter | None:
    """Posterior of the scatter of ln K between waters; None below FEWEST_WATERS, or with a default of 0."""
    waters = by_water(recoveries)
    if len(waters) < FEWEST_WATERS or default <= 0.0:
        return None
    y, u = np.array([one.ln for one in waters]), np.array([one.u for one in waters])
    s = default * np.exp(LN_SD * GRID)
    log_density = log_evidence(y, u, s) - 0.5 * GRID**2
    weight = np.exp(log_density - log_density.max())
    weight /= weight.sum()
    below = np.cumsum(weight) - 0.5 * weight
    wanted = (np.arange(QUANTILES) + 0.5) / QUANTILES
    quantiles = np.exp(np.interp(wanted, below, np.log(s)))
    middle = float(np.exp(np.interp(0.5, below, np.log(s))))
    mean, mean_u = _mean(y, u, middle)
    return WaterScatter(tuple(quantiles.tolist()), middle, len(waters), mean, mean_u)


def log_evidence(y: FloatArray, u: FloatArray, s: FloatArray) -> FloatArray:
    """ln int prod N(y_i; mu, u_i^2 + s^2) dmu at scatters s (k,), up to a constant that s does not change."""
    variance = u**2 + s[:, None] ** 2
    weight = 1.0 / variance
    mean = (weight * y).sum(axis=1) / weight.sum(axis=1)
    misfit = (weight * (y - mean[:, None]) ** 2).sum(axis=1)
    return np.asarray(-0.5 * (np.log(variance).sum(axis=1) + np.log(weight.sum(axis=1)) + misfit))


def _mean(y: FloatArray, u: FloatArray, s: float) -> tuple[float, float]:
    weight = 1.0 / (u**2 + s**2)
    return float(weight @ y / weight.sum()), float(weight.sum() ** -0.5)


def water_words(scatter: WaterScatter) -> tuple[str, ...]:
    """What a reading says of its water: how K scatters between waters, and whether all of them read alike wrong."""
    said = [
        f"how this water shifts K is taken from recoveries in {scatter.waters} waters: {scatter.median:.0%}; "
        "electrodes of one water share it"
    ]
    if abs(scatter.mean) > BIASED * scatter.mean_u:
        said.append(
            f"spiked waters recover {np.exp(scatter.mean):.0%} in the mean, {BIASED:g} standard errors or more from "
            "100 %: what is read in such water is biased as much"
        )
    return tuple(said)
