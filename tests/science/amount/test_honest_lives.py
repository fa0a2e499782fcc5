"""Electrodes with pre-scan and closing spike, simulated by the model's own law with a known population: their tails
are uniform, and sound pairs are said to disagree as often as the limit says.

One draw of the population stands for all, since all are alike; a reading then costs a hundredth of a second.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from known_population import PLAIN, electrode
from scipy.stats import binom, kstwo

from brinemark.science.amount.joint import JointReading
from brinemark.science.amount.reading import APART
from brinemark.science.amount.simulate import PRESCAN_AND_SPIKE, SPIKED, Protocol, TrueBatch, Truth, simulate_life
from brinemark.science.amount.statistic import Observed
from brinemark.terms.arrays import FloatArray

pytestmark = pytest.mark.usefixtures("compiled_loops")

NATURE = replace(
    PLAIN, floor_sd=0.2, electrode_K_sd=0.1, drift=-0.05, drift_sd=0.08, prescan_shift=0.03, prescan_sd=0.08
)
SEED = 31
RARE = 1e-3
"""How often an honest statistic fails each of these tests."""
SETS = 400
KOLMOGOROV = float(kstwo.isf(RARE, SETS))
PAIRS = 300


@cache
def law(nature: Truth, protocol: Protocol) -> Observed:
    return electrode(nature, protocol, draws=1)


def lives(nature: Truth, protocol: Protocol, level: float, count: int) -> FloatArray:
    """(count, J) signals by the generator, main reading first as the laws have them."""
    rng = np.random.default_rng([SEED, int(10 * level)])
    found = simulate_life(nature, TrueBatch("B", 0.0, nature.ln_K), np.full(count, level), protocol, rng)
    order = np.argsort(found.dip != 0, kind="stable")
    return np.asarray(found.signal[:, order])


def tails(level: float, count: int, believed: Truth = NATURE) -> FloatArray:
    """P(R <= r | level) of SETS samples of that level, each by count electrodes, sorted; believed : by the model."""
    here = law(believed, PRESCAN_AND_SPIKE)
    seen = lives(NATURE, PRESCAN_AND_SPIKE, level, SETS * count).reshape(SETS, count, -1)
    found = []
    for k, each in enumerate(seen):
        reading = JointReading.of([replace(here, signals=tuple(one)) for one in each], k)
        found.append(float(reading.below(np.array([level]))[0]))
    return np.sort(found)


def distance(ordered: FloatArray) -> float:
    """Kolmogorov's, of sorted values to the uniform distribution."""
    steps = np.arange(ordered.size + 1) / ordered.size
    return float(max(np.max(steps[1:] - ordered), np.max(ordered - steps[:-1])))


@pytest.mark.parametrize("level", [0.0, 2.0])
@pytest.mark.parametrize("count", [1, 2])
def test_tails_of_spiked_electrodes_are_uniform(level: float, count: int) -> None:
    assert distance(tails(level, count)) < KOLMOGOROV


def test_tails_of_a_model_without_drift_are_not_uniform() -> None:
    assert distance(tails(2.0, 1, replace(NATURE, drift=0.0, drift_sd=0.0))) > KOLMOGOROV


def flagged(protocol: Protocol, level: float) -> int:
    here = law(NATURE, protocol)
    seen = lives(NATURE, protocol, level, 2 * PAIRS).reshape(PAIRS, 2, -1)
    found = [JointReading.of([replace(here, signals=tuple(one)) for one in pair], k) for k, pair in enumerate(seen)]
    return sum(one.agreement is not None and one.agreement < APART for one in found)


@pytest.mark.parametrize(
    ("protocol", "level"), [(SPIKED, 1.0), (PRESCAN_AND_SPIKE, 0.0), (PRESCAN_AND_SPIKE, 1.0), (PRESCAN_AND_SPIKE, 5.0)]
)
def test_sound_pairs_disagree_as_often_as_the_limit_says(protocol: Protocol, level: float) -> None:
    count = flagged(protocol, level)
    assert binom.sf(count - 1, PAIRS, APART) > RARE
    assert binom.cdf(count, PAIRS, APART) > RARE
