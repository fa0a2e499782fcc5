"""A stock that is 10 % off: what all standards share does not average out, however many electrodes there are."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cache

import numpy as np
from histories import calibrated
from scipy.special import ndtr

from brinemark.science.amount.joint import SIMULATIONS
from brinemark.science.amount.reading import read_sample
from brinemark.science.amount.simulate import (
    SINGLE,
    TrueBatch,
    Truth,
    draw_batches,
    simulate_history,
    simulate_sample,
)
from brinemark.terms.amounts import ElectrodeReadings, SamplePortion
from brinemark.terms.settings import DecisionSection

SEED = 19
FACTOR, REL_U = 1.1, 0.1
STOCK_SD = float(np.log1p(REL_U))
PRECISE = Truth(slope=0.0, covariate_sd=0.1, electrode_sd=0.04, cv=0.02, batch_sd=0.1, ln_K_sd=0.03, noise=0.01)
LEVEL = 2.0  # as the stock's label has it; FACTOR times as much is true
SAMPLES = 2
NULL_SE = float(np.sqrt(0.025 * 0.975 / SIMULATIONS) / 0.0584 / 1.96 / np.sqrt(2.0))
"""Relative, of a half-width whose two ends are 2.5 % points of simulations; .0584 is the normal density there."""
LEAST = 0.88
"""Of the intervals over stocks: what is left of .95 when the other errors, half of the stock's, lie two sd off."""
OWN_SD = 0.65 * STOCK_SD
"""A first limit of .6 was missed (.62) by the one normal likelihood that took the place of one for each draw (.59)."""
MOST = 0.80
"""Of intervals of that sd, wherever they lie: P(|z| < 1.96 x .65) is .797."""


def batches() -> tuple[TrueBatch, ...]:
    return draw_batches(PRECISE, [f"B{i}" for i in range(6)], np.random.default_rng(SEED))


@cache
def labelled() -> ElectrodeReadings:
    """Sixty standards and blanks that hold FACTOR times what the label says."""
    level = np.repeat([0.0, 1.0, 2.0, 4.0, 8.0], 2)
    made = simulate_history(PRECISE, batches(), [FACTOR * level] * 6, np.random.default_rng([SEED, 1]))
    return replace(made, covariate=np.full(len(made.electrode), np.nan), level=made.level / FACTOR)


def samples() -> list[list[SamplePortion]]:
    """Twelve electrodes each."""
    rng = np.random.default_rng([SEED, 2])
    found = []
    for _ in range(SAMPLES):
        made = simulate_sample(PRECISE, batches() * 2, FACTOR * LEVEL, SINGLE, rng, (1.0,) * 12)
        found.append([replace(one, electrode=f"X{i}", covariate=None) for i, one in enumerate(made)])
    return found


@dataclass(frozen=True, slots=True)
class Ends:
    """Two-sided intervals of the samples, in labelled units."""

    lower: tuple[float, ...]
    upper: tuple[float, ...]

    @property
    def sd(self) -> list[float]:
        """Half-widths in ln level over 1.96."""
        return [float(np.log(b / a)) / 2.0 / 1.96 for a, b in zip(self.lower, self.upper, strict=True)]

    @property
    def coverage(self) -> float:
        """Over stocks, of which any factor f gives these very signals: f LEVEL is the true level then."""
        a, b = (np.log(np.array(end) / LEVEL) / STOCK_SD for end in (self.lower, self.upper))
        return float(np.mean(ndtr(b) - ndtr(a)))


def ends(readings: ElectrodeReadings) -> Ends:
    made = replace(calibrated(readings, SEED), matrix_K_sd=0.0)
    found = [read_sample(one, made, readings, DecisionSection(), SEED).two_sided for one in samples()]
    pairs = [(one.lower, one.upper) for one in found if one is not None]
    assert len(pairs) == SAMPLES
    return Ends(tuple(a or 0.0 for a, _ in pairs), tuple(b or np.inf for _, b in pairs))


def test_an_interval_is_never_narrower_than_the_stock_allows_and_holds_over_stocks() -> None:
    here = labelled()
    found = ends(replace(here, stocks=("stock K1",), stock_part=here.level[None], stock_rel_u=np.array([REL_U])))
    assert min(found.sd) > STOCK_SD * (1.0 - 3.0 * NULL_SE)
    assert found.coverage > LEAST
    for a, b in zip(found.lower, found.upper, strict=True):
        assert a < FACTOR * LEVEL < b


def test_the_same_error_taken_as_each_standard_s_own_averages_out_and_misses() -> None:
    here = labelled()
    found = ends(replace(here, level_u=REL_U * here.level))
    assert max(found.sd) < OWN_SD
    assert found.coverage < MOST
