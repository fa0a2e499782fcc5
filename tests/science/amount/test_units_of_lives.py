"""Units play no part in what lives say: pre-scan, main reading, addition and spike, two stocks and levels with u.

The calibration's search is left out, since rounding decides which draws are resampled (test_calibration has it for
single readings): the density that it climbs and the reading that follows are compared draw by draw.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from brinemark.science.amount.calibration import HyperTarget
from brinemark.science.amount.lives import NODES
from brinemark.science.amount.priors import default_priors, spike_level
from brinemark.science.amount.quadrature import adapt
from brinemark.science.amount.reading import read_sample
from brinemark.science.amount.scale import Scale, drift_is_measured, latent_model, scale_of_data
from brinemark.science.amount.simulate import RISING, Truth, draw_batches, simulate_history, simulate_sample
from brinemark.terms.amounts import Calibration, ElectrodeReadings, OtherDip, Reading, SamplePortion
from brinemark.terms.arrays import FloatArray
from brinemark.terms.settings import AnalyteSection, DecisionSection, PriorSection
from brinemark.terms.units import thiocyanate_ug_per_L

SEED, DRAWS = 17, 256
NATURE = Truth(floor_sd=0.15, electrode_K_sd=0.1, drift=-0.05, drift_sd=0.06, prescan_sd=0.06)
MAIN_LEVELS = np.array([0.0, 1.0, 4.0])
STOCKS = ("stock K1", "stock K2")
ROUNDING = 1e-9
"""Of a log density of some tens: thousands of sums in other units."""
END_TOLERANCE = 1e-6
"""Relative, of an interval's end: the root is looked for to 1e-7 in ln level."""
CASES = {"signals": ("ug/L", 1e6), "levels": ("nmol/L", 1.0), "both": ("nmol/L", 1e6)}


@cache
def history() -> ElectrodeReadings:
    """Three batches of three standards with an addition and a spike each, main readings from one stock, what was added
    from another, volumes good to 1 %."""
    rng = np.random.default_rng(SEED)
    batches = draw_batches(NATURE, ["B0", "B1", "B2"], rng)
    made = simulate_history(NATURE, batches, [MAIN_LEVELS] * 3, rng, [[RISING] * 3] * 3)
    main = np.repeat(np.tile(MAIN_LEVELS, 3), len(RISING.dips))
    added = np.where(made.dip > 0, made.level - main, 0.0)
    part = np.stack([made.level - added, added])
    u = np.full(made.level.size, 0.005)
    rel_u = np.array([0.02, 0.05])
    return replace(made, u=u, level_u=0.01 * made.level, stocks=STOCKS, stock_part=part, stock_rel_u=rel_u)


@cache
def sample() -> tuple[SamplePortion, ...]:
    """Two electrodes of one batch in a sample of 2 ug/L."""
    rng = np.random.default_rng([SEED, 1])
    batch = draw_batches(NATURE, ["B0", "B1", "B2"], np.random.default_rng(SEED))[2]
    portions = simulate_sample(NATURE, [batch, batch], 2.0, RISING, rng, (1.0, 1.0))
    return tuple(replace(one, u=0.005, others=tuple(_made_up(dip) for dip in one.others)) for one in portions)


def _made_up(dip: OtherDip) -> OtherDip:
    if dip.dip < 0:
        return dip
    return replace(dip, added_u=0.01 * dip.added, stock_parts=((STOCKS[1], dip.added),))


def in_units(signals: float, levels: float) -> tuple[ElectrodeReadings, list[SamplePortion]]:
    """The history and the sample in other units."""
    here = history()
    readings = replace(
        here,
        signal=signals * here.signal,
        u=signals * here.u,
        level=levels * here.level,
        level_u=levels * here.level_u,
        stock_part=levels * here.stock_part,
    )
    return readings, [_portion_in(one, signals, levels) for one in sample()]


def _portion_in(one: SamplePortion, signals: float, levels: float) -> SamplePortion:
    others = tuple(
        replace(
            dip,
            signal=signals * dip.signal,
            u=signals * dip.u,
            added=levels * dip.added,
            added_u=levels * dip.added_u,
            stock_parts=tuple((stock, levels * part) for stock, part in dip.stock_parts),
        )
        for dip in one.others
    )
    return replace(one, signal=signals * one.signal, u=signals * one.u, others=others)


def scale_in(readings: ElectrodeReadings, unit: str) -> Scale:
    return scale_of_data(readings, spike_level(readings, AnalyteSection(level_unit=unit), PriorSection()))


def target_in(readings: ElectrodeReadings, unit: str) -> HyperTarget:
    scale = scale_in(readings, unit)
    priors = default_priors(
        scale.layout, readings, AnalyteSection(level_unit=unit), PriorSection(), drift_is_measured(readings)
    )
    model = latent_model(readings, scale)
    center, sd = np.array([p.center for p in priors]), np.array([p.sd for p in priors])
    return HyperTarget(model, center, sd, NODES, adapt(model, center[None]))


def draws_in(levels: float) -> FloatArray:
    """(DRAWS, P) about the truth, with what a small logbook leaves open."""
    names = scale_in(history(), "ug/L").layout.names
    truth = {
        "ln_K": NATURE.ln_K,
        "ln_h": np.log(NATURE.h),
        "ln_floor": np.log(NATURE.floor),
        "ln_batch_sd": np.log(NATURE.batch_sd),
        "ln_electrode_sd": np.log(np.hypot(NATURE.electrode_sd, NATURE.cv)),
        "ln_K_sd": np.log(NATURE.ln_K_sd),
        "logit_share": -2.0,
        "ln_floor_sd": np.log(NATURE.floor_sd),
        "ln_floor_batch_sd": np.log(0.1),
        "ln_own_K_sd": np.log(NATURE.electrode_K_sd),
        "ln_drift_sd": np.log(NATURE.drift_sd),
        "ln_noise:bench": np.log(NATURE.noise),
        "slope": NATURE.slope,
    }
    middle = np.array([truth.get(name, 0.0) for name in names])
    draws = middle + 0.1 * np.random.default_rng([SEED, 2]).normal(size=(DRAWS, middle.size))
    draws[:, names.index("ln_K")] += np.log(levels)
    return np.asarray(draws)


def read_in(unit: str, signals: float) -> tuple[Reading, float]:
    """The reading in a unit, and how many of that unit are a ug/L."""
    factor = thiocyanate_ug_per_L(unit)
    assert factor is not None
    levels = 1.0 / factor
    readings, portions = in_units(signals, levels)
    scale = scale_in(readings, unit)
    calibration = Calibration(
        names=scale.layout.names,
        draws=draws_in(levels),
        signal_ref=scale.signal_ref,
        covariates=scale.covariates,
        instruments=scale.instruments,
        highest_level=levels * 6.0,
        readings=readings,
        priors=(),
        summaries=(),
        gates=(),
        rounds=0,
        total_draws=0,
        weaknesses=(),
        seed=SEED,
        spike_level=scale.spike_level,
        matrix_K_sd=0.1,
    )
    return read_sample(portions, calibration, readings, DecisionSection(), SEED), levels


def test_the_lives_have_every_term() -> None:
    layout = scale_in(history(), "ug/L").layout
    assert layout.own_K
    assert layout.prescan
    assert layout.later
    assert layout.spike
    assert layout.stocks == STOCKS


@pytest.mark.parametrize("case", list(CASES))
def test_the_density_of_the_parameters_is_the_same_in_every_unit(case: str) -> None:
    unit, signals = CASES[case]
    levels = 1.0 / (thiocyanate_ug_per_L(unit) or 0.0)
    usual = target_in(history(), "ug/L").log_density(draws_in(1.0)[:8])
    other = target_in(in_units(signals, levels)[0], unit).log_density(draws_in(levels)[:8])
    assert other == pytest.approx(usual, abs=ROUNDING)


@pytest.mark.parametrize("case", list(CASES))
def test_statement_and_interval_are_the_same_in_every_unit(case: str) -> None:
    one, _ = read_in("ug/L", 1.0)
    other, levels = read_in(*CASES[case])
    assert other.statement == one.statement
    assert other.agreement == pytest.approx(one.agreement)
    assert other.shares == pytest.approx(one.shares)
    assert one.statement == "detected, amount uncertain"  # with two ends to compare
    ends = [(getattr(one.estimate, name), getattr(other.estimate, name)) for name in ("lower", "median", "upper")]
    for a, b in ends:
        assert b == pytest.approx(levels * a, rel=END_TOLERANCE)
