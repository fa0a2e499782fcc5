"""Each term of the response: where nature has it, a model without it is seen to fail and one with it holds.

Population known, so that the terms alone are compared. The sizes of failure are those of simulations made before the
model was written; each bound stands on the safe side of what they found, by Monte Carlo errors of COUNT electrodes.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from known_population import COUNT, PLAIN, study

from brinemark.science.amount.simulate import PRESCAN_AND_SPIKE, SPIKED, WITH_PRESCAN, Protocol, Truth

SE = float(np.sqrt(0.95 * 0.05 / COUNT))
NULL_SE = float(np.sqrt(0.95 * 0.05 / 640))  # the ends come from as many simulations
HOLDS = 0.95 - 3.0 * float(np.hypot(SE, NULL_SE))
SEED = 2

CASES = {
    "floors differ by .2": (replace(PLAIN, floor_sd=0.2), SPIKED, 0.5, 0.88),
    "floors differ by .3": (replace(PLAIN, floor_sd=0.3), SPIKED, 0.25, 0.85),
    "drift of -15 % +- 10 %": (replace(PLAIN, drift=-0.15, drift_sd=0.10), SPIKED, 1.0, 0.75),
    "drift of -5 % +- 8 %": (replace(PLAIN, drift=-0.05, drift_sd=0.08), SPIKED, 1.0, 0.90),
    "plateau 15 % above": (replace(PLAIN, plateau=1.15), SPIKED, 1.0, 0.85),
    "K of electrodes by .25": (replace(PLAIN, electrode_K_sd=0.25), SPIKED, 1.0, 0.85),
}


@pytest.mark.parametrize("name", list(CASES))
def test_a_term_left_out_is_seen_and_the_term_mends_it(name: str) -> None:
    nature, protocol, level, most = CASES[name]
    assert study(nature, PLAIN, protocol, level, SEED).coverage < most
    assert study(nature, nature, protocol, level, SEED).coverage > HOLDS


def test_a_water_that_raises_K_reads_low_and_a_wide_enough_scatter_of_waters_holds_it() -> None:
    nature = replace(PLAIN, matrix=1.4)
    without = study(nature, PLAIN, SPIKED, 1.0, SEED)
    assert without.coverage < 0.75
    assert without.ratio < 0.85
    assert study(nature, PLAIN, SPIKED, 1.0, SEED, matrix_sd=0.34).coverage > HOLDS


def test_drift_and_a_higher_plateau_bias_the_estimate_as_they_should() -> None:
    assert study(replace(PLAIN, drift=-0.15, drift_sd=0.1), PLAIN, SPIKED, 1.0, SEED).ratio > 1.2
    assert study(replace(PLAIN, plateau=1.15), PLAIN, SPIKED, 1.0, SEED).ratio < 0.9


@pytest.mark.parametrize("protocol", [SPIKED, WITH_PRESCAN, PRESCAN_AND_SPIKE])
def test_a_model_that_knows_nature_holds_with_every_protocol(protocol: Protocol) -> None:
    nature: Truth = replace(PLAIN, floor_sd=0.2, drift=-0.05, drift_sd=0.08, prescan_sd=0.08)
    for level in (0.0, 0.5, 2.0):
        assert study(nature, nature, protocol, level, SEED).coverage > HOLDS
