"""Calibrations on known truth: what is found, what does not matter, what is refused, what is called weak."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from histories import TRUE_VALUES, calibrated, history, unknowns
from scipy.stats import chi2

from brinemark.science.amount.calibration import calibrate
from brinemark.science.amount.electrodes import electrode_laws
from brinemark.science.amount.predictive import batch_draws, subset
from brinemark.science.amount.priors import THIOCYANATE_K_UG_PER_L, THIOCYANATE_LN_K_SD
from brinemark.science.amount.reading import read_sample
from brinemark.science.amount.scale import scale_of_calibration
from brinemark.terms.amounts import ElectrodeReadings, Reading, SamplePortion
from brinemark.terms.arrays import FloatArray
from brinemark.terms.errors import BrinemarkError, GateFailed, Refused, Stopped
from brinemark.terms.settings import AnalyteSection, CalibrationSection, DecisionSection, PriorSection

SEED = 11
OPTIONS = CalibrationSection(seed=SEED)
DECISION = DecisionSection()

# ---- Known truth -----------------------------------------------------------------------------------------------

TRUTH_SEEDS = tuple(range(8))
PARAMETER_SD = 4.0
"""A true value lies within four posterior sds: 56 comparisons, and tails a little wider than normal."""
MEAN_SQUARE = 3.87
"""Of eight standardised errors: chi squared of 8 over 8 exceeds it with probability .001 / 7, for seven parameters."""
PRIOR_SHRINKS = 0.75
"""Data that bear on a parameter leave at most this share of its prior sd."""


def standardised_errors(seed: int) -> dict[str, float]:
    calibration = history(seed).calibration
    out = {}
    for name, true in TRUE_VALUES.items():
        draws = calibration.draws[:, calibration.names.index(name)]
        out[name] = float((draws.mean() - true) / draws.std())
    return out


@pytest.fixture(scope="module")
def truth_errors() -> dict[str, FloatArray]:
    each = [standardised_errors(seed) for seed in TRUTH_SEEDS]
    return {name: np.array([errors[name] for errors in each]) for name in TRUE_VALUES}


@pytest.mark.parametrize("name", list(TRUE_VALUES))
def test_true_parameters_lie_where_the_posterior_says(truth_errors: dict[str, FloatArray], name: str) -> None:
    errors = truth_errors[name]
    assert np.abs(errors).max() < PARAMETER_SD
    assert np.mean(errors**2) < MEAN_SQUARE


def test_the_bound_of_the_mean_square_is_the_quantile_that_it_claims_to_be() -> None:
    count = len(TRUTH_SEEDS)
    assert chi2.isf(1e-3 / len(TRUE_VALUES), count) / count == pytest.approx(MEAN_SQUARE, abs=0.005)


def test_data_narrow_what_they_bear_on() -> None:
    calibration = history(0).calibration
    for name in ("ln_gain", "ln_K", "ln_h", "ln_floor", "ln_batch_sd", "ln_electrode_sd", "slope"):
        i = calibration.names.index(name)
        assert calibration.draws[:, i].std() < PRIOR_SHRINKS * calibration.priors[i].sd


# ---- What must not matter ------------------------------------------------------------------------------------------

UNIT_TOLERANCE = 1e-6
"""Relative: arithmetic in other units differs by rounding, which a search and ten thousand sums enlarge."""
SAMPLE_LEVELS = (0.0, 1.0, 6.0)


def rescaled(readings: ElectrodeReadings, signals: float, levels: float) -> ElectrodeReadings:
    return replace(readings, signal=signals * readings.signal, u=signals * readings.u, level=levels * readings.level)


def portions() -> list[SamplePortion]:
    rng = np.random.default_rng(SEED)
    return [unknowns(history(SEED).new, level, 1, rng)[0] for level in SAMPLE_LEVELS]


def readings_in(analyte: AnalyteSection, signals: float, levels: float) -> list[Reading]:
    known = rescaled(history(SEED).readings, signals, levels)
    calibration = calibrate(known, analyte, PriorSection(), OPTIONS)
    return [
        read_sample([replace(one, signal=signals * one.signal)], calibration, known, DECISION, SEED)
        for one in portions()
    ]


@pytest.mark.parametrize(
    ("usual", "other", "signals", "levels"),
    [
        (AnalyteSection(), AnalyteSection(), 1e6, 1.0),
        (AnalyteSection(), AnalyteSection(level_unit="ng/L"), 1.0, 1e3),
        (AnalyteSection(name="x", level_unit="kU"), AnalyteSection(name="x", level_unit="U"), 1.0, 1e3),
    ],
    ids=["signals", "thiocyanate levels", "levels of any analyte"],
)
def test_units_change_no_statement_and_no_interval(
    usual: AnalyteSection, other: AnalyteSection, signals: float, levels: float
) -> None:
    pairs = zip(readings_in(usual, 1.0, 1.0), readings_in(other, signals, levels), strict=True)
    for one, two in pairs:
        assert one.statement == two.statement
        assert one.estimate is not None
        assert two.estimate is not None
        for a, b in ((one.estimate.lower, two.estimate.lower), (one.estimate.upper, two.estimate.upper)):
            assert (a is None) == (b is None)
            if a is not None and b is not None:
                assert b == pytest.approx(levels * a, rel=UNIT_TOLERANCE)


def test_the_order_of_electrodes_does_not_matter_much() -> None:
    here = history(SEED)
    turned = subset(here.readings, np.ones(len(here.readings.electrode), dtype=bool))
    order = np.random.default_rng(1).permutation(len(turned.electrode))
    shuffled = ElectrodeReadings(
        tuple(turned.electrode[i] for i in order),
        tuple(turned.batch[i] for i in order),
        tuple(turned.instrument[i] for i in order),
        turned.covariate[order],
        np.arange(order.size),
        turned.signal[order],
        turned.u[order],
        turned.level[order],
    )
    again = calibrated(shuffled, SEED)
    assert np.allclose(again.draws, here.calibration.draws, rtol=0.0, atol=1e-4)


def test_the_same_seed_gives_the_same_draws_and_another_seed_others() -> None:
    here = history(SEED)
    assert np.array_equal(calibrated(here.readings, SEED).draws, here.calibration.draws)
    assert not np.array_equal(calibrated(here.readings, SEED + 1).draws, here.calibration.draws)


PRIOR_SHIFT = 0.5
"""Of a posterior sd: how far priors twice as wide may move a median that the data know."""


def test_wider_priors_hardly_move_what_the_data_know() -> None:
    here = history(SEED)
    wide = calibrate(here.readings, AnalyteSection(), PriorSection(widen=2.0), OPTIONS)
    for name in ("ln_gain", "ln_K", "ln_floor", "ln_electrode_sd", "slope"):
        i = wide.names.index(name)
        usual = here.calibration.draws[:, i]
        assert abs(np.median(wide.draws[:, i]) - np.median(usual)) < PRIOR_SHIFT * usual.std()


def test_a_prior_of_k_that_stands_one_sd_higher_hardly_moves_k() -> None:
    here = history(SEED)
    higher = PriorSection(ln_K=(float(np.log(THIOCYANATE_K_UG_PER_L)) + THIOCYANATE_LN_K_SD, THIOCYANATE_LN_K_SD))
    moved = calibrate(here.readings, AnalyteSection(), higher, OPTIONS)
    i = moved.names.index("ln_K")
    usual = here.calibration.draws[:, i]
    assert 0.0 < np.median(moved.draws[:, i]) - np.median(usual) < PRIOR_SHIFT * usual.std()


# ---- Instruments and covariates ------------------------------------------------------------------------------------


def test_a_second_instrument_gets_its_own_offset_and_noise() -> None:
    here = history(SEED).readings
    second = np.arange(len(here.electrode)) % 2 == 1
    rng = np.random.default_rng(2)
    signal = np.where(second, 1.3 * here.signal + 0.1 * rng.normal(size=second.size), here.signal)
    names = tuple("portable" if odd else "bench" for odd in second)
    made = calibrate(replace(here, instrument=names, signal=signal), AnalyteSection(), PriorSection(), OPTIONS)
    found = {one.name: one for one in made.summaries}
    ratio = found["gain ratio to the first instrument, portable"]
    assert ratio.lower < 1.3 < ratio.upper
    assert found["additive noise, bench"].median < found["additive noise, portable"].median
    noise = found["additive noise, portable"]
    assert noise.lower < np.hypot(0.1, 1.3 * 0.02) < noise.upper


def test_electrodes_without_a_covariate_count_and_weigh_less() -> None:
    here = history(SEED).readings
    some = replace(here, covariate=np.where(np.arange(len(here.electrode)) % 3 == 0, np.nan, here.covariate))
    made = calibrated(some, SEED)
    full = history(SEED).calibration
    i = made.names.index("slope")
    assert abs(made.draws[:, i].mean() - full.draws[:, i].mean()) < 3.0 * made.draws[:, i].std()
    assert made.draws[:, i].std() > full.draws[:, i].std()


# ---- What is refused, stopped, weak --------------------------------------------------------------------------------


def few(levels: tuple[float, ...], signals: tuple[float, ...] | None = None, batch: str = "B1") -> ElectrodeReadings:
    """Electrodes of one batch; signals by default 0.3 + c / (2 + c)."""
    level = np.array(levels)
    signal = np.array(signals) if signals is not None else 0.3 + level / (2.0 + level)
    count = level.size
    return ElectrodeReadings(
        tuple(f"E{i}" for i in range(count)),
        (batch,) * count,
        ("bench",) * count,
        np.full(count, np.nan),
        np.arange(count),
        signal,
        np.full(count, 0.01),
        level,
    )


@pytest.mark.parametrize(
    ("spoil", "phrase"),
    [
        (lambda r: replace(r, signal=np.array([np.nan, 1.0])), "signal nan of electrode E0"),
        (lambda r: replace(r, u=np.array([0.01, -1.0])), "signal uncertainty -1 of electrode E1"),
        (lambda r: replace(r, level=np.array([0.0, -2.0])), "level -2 of electrode E1"),
        (lambda r: replace(r, level=np.array([0.0, np.inf])), "level inf of electrode E1"),
        (lambda r: replace(r, covariate=np.array([1.0, 0.0])), "covariate 0 of electrode E1"),
        (lambda r: subset(r, np.zeros(2, dtype=bool)), "no electrode with a known level"),
    ],
)
def test_unusable_readings_are_refused_by_name(
    spoil: Callable[[ElectrodeReadings], ElectrodeReadings], phrase: str
) -> None:
    with pytest.raises(Refused, match=phrase):
        calibrate(spoil(few((0.0, 2.0))), AnalyteSection(), PriorSection(), OPTIONS)


def test_the_watcher_can_stop_it() -> None:
    with pytest.raises(Stopped):
        calibrate(few((0.0, 2.0)), AnalyteSection(), PriorSection(), OPTIONS, lambda done, total: done < 200)


@pytest.mark.parametrize(
    ("readings", "phrase"),
    [
        (few((0.0, 0.5, 1.0, 2.0, 4.0, 8.0, 8.0)), "one batch only"),
        (few((0.0, 2.0)), "1 standards only"),
        (few((0.5, 1.0, 4.0, 8.0)), "no blanks"),
        (few((0.0, 2.0, 2.0, 2.0)), "all standards at one level"),
        (few((0.0, 0.0, 0.1, 0.2, 0.3)), "lies below K"),
        (few((0.0, 2.0)), "instrument bench has 2 calibration electrode"),
        (few((0.0, 1.0, 2.0, 8.0), (1.2, 0.9, 0.6, 0.3)), "signals do not rise with the level"),
    ],
)
def test_weak_calibrations_say_where(readings: ElectrodeReadings, phrase: str) -> None:
    made = calibrate(readings, AnalyteSection(), PriorSection(), OPTIONS)
    assert any(phrase in text for text in made.weaknesses)


@pytest.mark.parametrize(("count", "said"), [(2, True), (4, True), (5, False)])
def test_few_batches_are_called_few(count: int, said: bool) -> None:
    readings = replace(few((0.0, 2.0) * count), batch=tuple(f"B{i // 2}" for i in range(2 * count)))
    made = calibrate(readings, AnalyteSection(), PriorSection(), OPTIONS)
    assert (f"{count} batches only: how batches differ is poorly known; add batches" in made.weaknesses) is said


SOUND_LEVELS = (0.25, 1.0, 4.0)
SOUND_UNKNOWNS = 100
SPOILED_HOLDS = 0.95 - 3.0 * float(np.sqrt(0.95 * 0.05 / SOUND_UNKNOWNS))


@pytest.mark.parametrize("factor", [1e3, 1e-3])
def test_one_batch_whose_levels_are_wrong_by_1000_makes_no_sound_batch_confidently_wrong(factor: float) -> None:
    """Its standards contradict all others: the scatters take them up, and a sound batch reads wider."""
    here = history(SEED)
    wrong = np.array([here.readings.batch[unit] == "B2" for unit in here.readings.unit])
    readings = replace(here.readings, level=np.where(wrong, factor, 1.0) * here.readings.level)
    made = calibrated(readings, SEED)
    draws = batch_draws(made, readings, ["B9"], SEED)
    scale, rng = scale_of_calibration(made), np.random.default_rng([SEED, 8])
    for level in SOUND_LEVELS:
        tails = []
        for one in unknowns(here.new, level, SOUND_UNKNOWNS, rng):
            (law,), (signal,) = electrode_laws(draws, scale, one)
            tails.append(float(law.cdf(np.array([signal]), np.array([level]))[0]))
        assert np.mean([0.025 < tail < 0.975 for tail in tails]) > SPOILED_HOLDS


BAD = {
    "one electrode": few((2.0,)),
    "all blanks": few((0.0,) * 5, (0.30, 0.31, 0.29, 0.30, 0.32)),
    "all signals equal": few((0.0, 1.0, 2.0, 8.0), (0.5, 0.5, 0.5, 0.5)),
    "all signals zero": few((0.0, 1.0, 2.0, 8.0), (0.0, 0.0, 0.0, 0.0)),
    "all negative": few((0.0, 1.0, 2.0, 8.0), (-0.1, -0.2, -0.1, -0.3)),
    "all saturated": few((100.0, 200.0, 400.0), (1.30, 1.29, 1.31)),
    "falling": few((0.0, 1.0, 2.0, 8.0), (1.2, 0.9, 0.6, 0.3)),
    "levels wrong by 1000": few((0.0, 1000.0, 2.0, 8.0), (0.3, 0.6, 0.8, 1.1)),
}


@pytest.mark.parametrize("name", list(BAD))
def test_bad_histories_end_in_a_weakness_or_a_refusal_and_never_in_a_confident_number(name: str) -> None:
    readings = BAD[name]
    try:
        made = calibrate(readings, AnalyteSection(), PriorSection(), OPTIONS)
    except (GateFailed, Refused) as told:
        assert isinstance(told, BrinemarkError)
        assert "\n" not in str(told)
        return
    assert made.weaknesses
    assert np.isfinite(made.draws).all()
    told_reading = read_sample([SamplePortion("X", "B1", "bench", None, 0.8, 0.01)], made, readings, DECISION, SEED)
    assert told_reading.statement != "quantified"
    assert any(made.weaknesses[0] == text for text in told_reading.warnings)
