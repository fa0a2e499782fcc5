"""Limits of a batch against Currie's for a straight line, against simulated electrodes, and in their order."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from histories import history, unknowns

from brinemark.science.amount.electrodes import electrode_laws
from brinemark.science.amount.law import DipLaw, ElectrodeLaw
from brinemark.science.amount.limits import batch_limits, critical_and_detectable, power_curve, response_band
from brinemark.science.amount.predictive import batch_draws
from brinemark.science.amount.scale import scale_of_calibration
from brinemark.terms.amounts import Calibration, Limits, SamplePortion
from brinemark.terms.settings import DecisionSection

SEED = 11
DECISION = DecisionSection()
# Pure and Applied Chemistry 67 (1995) 1699, doi 10.1351/pac199567101699: L_C = 1.645 s0 and L_D = 3.29 s0 for a known
# standard deviation, alpha = beta = 0.05; to more digits 1.644854 and 3.289707.
CURRIE_CRITICAL, CURRIE_DETECTABLE = 1.644854, 3.289707
ROUNDING = 2e-3
"""Relative, of a limit: what the search's tolerances and the gain's spread of 1e-6 leave; the line's own bend is
inverted exactly."""


def limits(calibration: Calibration, batch: str, seed: int) -> tuple[Limits, ...]:
    """Of a fresh electrode by the history's readings."""
    readings = history(seed).readings
    draws = batch_draws(calibration, readings, [batch], seed)
    return batch_limits(calibration, readings, batch, "bench", DECISION, draws)


def straight_line(noise: float) -> DipLaw:
    """An electrode without scatter whose response is 1 + c / (1 + c), read with noise of a known sd."""
    one = np.ones(1)
    electrode = ElectrodeLaw(
        log_gain=0.0 * one,
        ln_K=0.0 * one,
        h=one,
        floor=one,
        spread=1e-6 * one,
        floor_sd=0.0 * one,
        own_K_sd=0.0 * one,
        cv=0.0 * one,
        noise=noise**2 * one,
        drift_sd=0.0 * one,
    )
    return DipLaw(electrode, u=0.0, share=1.0, added=0.0 * one, added_u=0.0, shift=0.0 * one, apart=False)


def test_a_straight_line_with_known_noise_has_curries_limits() -> None:
    # K is 1 and the floor as large as the top, so a level adds c / (1 + c) to a blank's signal of 1.
    noise = 4e-3
    critical, value, detectable = critical_and_detectable(straight_line(noise), DECISION)
    assert critical == pytest.approx(1.0 + CURRIE_CRITICAL * noise, rel=1e-6)
    assert value is not None
    assert detectable is not None
    # c / (1 + c) = s inverted: the line's own bend is taken out, so that only the statistics are compared.
    assert value / (1.0 + value) == pytest.approx(CURRIE_CRITICAL * noise, rel=ROUNDING)
    assert detectable / (1.0 + detectable) == pytest.approx(CURRIE_DETECTABLE * noise, rel=ROUNDING)


@pytest.mark.parametrize("noise", [1e-3, 1e-2])
def test_limits_are_in_proportion_to_the_noise(noise: float) -> None:
    _, value, detectable = critical_and_detectable(straight_line(noise), DECISION)
    assert value is not None
    assert detectable is not None
    assert (detectable / (1.0 + detectable)) / (value / (1.0 + value)) == pytest.approx(2.0, rel=ROUNDING)


def test_stricter_alpha_and_beta_raise_the_limits() -> None:
    law = _law("B9")
    usual = critical_and_detectable(law, DECISION)
    strict = critical_and_detectable(law, DecisionSection(alpha=0.01))
    sure = critical_and_detectable(law, DecisionSection(beta=0.01))
    assert None not in (*usual, *strict, *sure)
    assert strict[0] > usual[0] == sure[0]
    assert (strict[1] or 0) > (usual[1] or 0)
    assert (sure[2] or 0) > (usual[2] or 0)
    assert (usual[2] or 0) > (usual[1] or 0)


def _law(batch: str) -> DipLaw:
    here = history(SEED)
    draws = batch_draws(here.calibration, here.readings, [batch], SEED)
    portion = SamplePortion("", batch, "bench", here.calibration.covariate_ref, 0.0, 0.0)
    (law,), _ = electrode_laws(draws, scale_of_calibration(here.calibration), portion)
    return law


DRAWN = 40_000


@pytest.mark.parametrize("batch", ["B9", "unheard"])
def test_electrodes_drawn_from_the_law_pass_the_critical_signal_as_often_as_promised(batch: str) -> None:
    law = _law(batch)
    critical, _, detectable = critical_and_detectable(law, DECISION)
    assert detectable is not None
    rng = np.random.default_rng(SEED)
    pick = rng.integers(0, law.shift.size, DRAWN)
    for level, expected in ((0.0, DECISION.alpha), (detectable, 1.0 - DECISION.beta)):
        above = np.mean(law.simulate(level, pick, *rng.normal(size=(2, 3, DRAWN))) > critical)
        assert above == pytest.approx(expected, abs=4.0 * np.sqrt(0.05 * 0.95 / DRAWN))


HISTORIES = tuple(range(20, 32))
BETWEEN_HISTORIES = 0.02
"""Of the blank rate, averaged over histories: what priors centred on other spreads than the truth's may move it by."""


def test_fresh_blanks_of_simulated_batches_pass_the_critical_signal_about_as_often_as_alpha() -> None:
    rates = []
    for seed in HISTORIES:
        here = history(seed)
        (ends,) = limits(here.calibration, "B9", seed)
        blanks = unknowns(here.new, 0.0, 400, np.random.default_rng([seed, 9]))
        # The limits are for the median covariate, so only blanks close to it count.
        ordinary = [b.signal for b in blanks if abs(np.log((b.covariate or 1.0) / _middle(seed))) < 0.1]
        rates.append(np.mean(np.array(ordinary) > ends.critical_signal))
    se = np.std(rates, ddof=1) / np.sqrt(len(rates))
    assert abs(np.mean(rates) - DECISION.alpha) <= BETWEEN_HISTORIES + 3.0 * se


def _middle(seed: int) -> float:
    return history(seed).calibration.covariate_ref or 1.0


def test_a_batch_known_by_its_own_electrodes_detects_less_than_one_known_from_history() -> None:
    here = history(SEED)
    (own,) = limits(here.calibration, "B9", SEED)
    (other,) = limits(here.calibration, "unheard", SEED)
    assert (own.electrodes, other.electrodes) == (3, 0)
    assert own.minimum_detectable is not None
    assert other.minimum_detectable is None or own.minimum_detectable < other.minimum_detectable


def test_a_limit_beyond_the_highest_standard_is_none() -> None:
    """The same electrodes, said to be calibrated up to a level between critical and minimum detectable value, then to
    one below both."""
    here = history(SEED)
    (usual,) = limits(here.calibration, "B9", SEED)
    assert usual.critical_value is not None
    assert usual.minimum_detectable is not None
    for highest, there in (
        (0.5 * (usual.critical_value + usual.minimum_detectable), usual.critical_value),
        (1e-3, None),
    ):
        short = replace(here.calibration, highest_level=highest)
        (ends,) = limits(short, "B9", SEED)
        assert ends.critical_value == there
        assert ends.minimum_detectable is None


BAND_TOLERANCE = 0.1
"""Of the band's width: the band is for drawing and made from fewer draws."""


def test_the_band_of_a_batch_follows_the_quantiles_of_its_law() -> None:
    here = history(SEED)
    level = np.array([0.0, 1.0, 8.0])
    middle, lower, upper = response_band(here.calibration, here.readings, "B9", "bench", level)
    # response_band uses the calibration's own seed, which history gives as SEED.
    law = _law("B9")
    exact = [law.quantile(p, level) * here.calibration.signal_ref for p in (0.5, 0.025, 0.975)]
    for mine, theirs in zip((middle, lower, upper), exact, strict=True):
        assert np.all(np.abs(mine - theirs) < BAND_TOLERANCE * (upper - lower))


def test_a_power_curve_is_how_often_drawn_electrodes_pass_the_critical_signal_of_its_alpha() -> None:
    here, alpha = history(SEED), 0.01
    (ends,) = limits(here.calibration, "B9", SEED)
    draws = batch_draws(here.calibration, here.readings, ["B9"], SEED)
    levels, chance = power_curve(here.calibration, here.readings, ends, alpha, draws)
    assert (levels[0], chance[0]) == (0.0, alpha)
    assert np.all(np.diff(levels) > 0.0) and np.all(np.diff(chance) >= 0.0)
    law = _law("B9")
    critical, _, _ = critical_and_detectable(law, DecisionSection(alpha=alpha))
    rng = np.random.default_rng(SEED)
    pick = rng.integers(0, law.shift.size, DRAWN)
    for place in np.flatnonzero((chance > 0.05) & (chance < 0.99)):
        above = np.mean(law.simulate(float(levels[place]), pick, *rng.normal(size=(2, 3, DRAWN))) > critical)
        assert above == pytest.approx(chance[place], abs=4.0 * 0.5 / np.sqrt(DRAWN))
    assert chance[-1] > 0.999


def test_a_power_curve_at_the_alpha_of_the_limits_passes_through_the_minimum_detectable_value() -> None:
    here = history(SEED)
    (ends,) = limits(here.calibration, "B9", SEED)
    draws = batch_draws(here.calibration, here.readings, ["B9"], SEED)
    levels, chance = power_curve(here.calibration, here.readings, ends, DECISION.alpha, draws)
    assert ends.minimum_detectable is not None
    between_rungs = np.interp(np.log(ends.minimum_detectable), np.log(levels[1:]), chance[1:])
    assert between_rungs == pytest.approx(1.0 - DECISION.beta, abs=0.02)  # linear between rungs a fifth apart in ln
