"""Simulated electrodes: closed forms where nothing is random, moments where something is, the same draws for all."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from brinemark.science.amount.simulate import (
    DIPS,
    LATER,
    MAIN,
    PRESCAN_AND_SPIKE,
    RISING,
    SINGLE,
    SPIKED,
    LifeDraws,
    Protocol,
    TrueBatch,
    Truth,
    draw_batches,
    draw_lives,
    live,
    main_portions,
    main_readings,
    median_response,
    occupied_share,
    simulate_electrodes,
    simulate_history,
    simulate_life,
    simulate_sample,
)
from brinemark.terms.arrays import FloatArray
from brinemark.terms.errors import Refused

EXACT = 1e-12  # relative: rounding of a handful of operations
MANY = 40_000
BATCH = TrueBatch("B", 0.4, float(np.log(2.5)), -0.1)
STILL = Truth(electrode_sd=0.0, covariate_sd=0.0, noise=0.0, cv=0.0)
FULL = Truth(
    floor_sd=0.2,
    electrode_K_sd=0.25,
    drift=-0.05,
    drift_sd=0.08,
    prescan_sd=0.05,
    plateau=1.1,
    plateau_sd=0.05,
    matrix=1.4,
    second_share=0.2,
    place_trend=0.3,
    low_share=0.1,
    tail_freedom=5,
)


def hill(level: float, K: float, h: float) -> float:
    """The saturating share in its plainest form."""
    return float(level**h / (K**h + level**h))


def within(sd: float) -> float:
    """Four standard errors of a mean over MANY."""
    return 4.0 * sd / float(np.sqrt(MANY))


def log_signals(truth: Truth, level: float, protocol: Protocol, seed: int) -> FloatArray:
    """Log signals (MANY, dips) of electrodes of one batch."""
    lives = simulate_life(truth, BATCH, np.full(MANY, level), protocol, np.random.default_rng(seed))
    return np.asarray(np.log(lives.signal))


def test_without_scatter_every_reading_of_a_life_is_the_closed_form() -> None:
    truth = replace(STILL, drift=-0.05, prescan_shift=0.02, plateau=1.15, second_share=0.3, second_ratio=8.0)
    lives = simulate_life(truth, BATCH, np.array([1.5]), RISING, np.random.default_rng(1))
    gain, floor = np.exp(0.4), 0.3 * np.exp(-0.1)

    def share(level: float) -> float:
        return 0.7 * hill(level, 2.5, 1.3) + 0.3 * hill(level, 20.0, 1.3)

    expected = [
        gain * np.exp(0.02) * floor,
        gain * (floor + share(1.5)),
        gain * np.exp(-0.05) * (floor + share(3.5)),
        gain * np.exp(-0.10) * (floor + 1.15 * share(103.5)),
    ]
    assert lives.signal[0] == pytest.approx(expected, rel=EXACT)
    assert lives.level[0] == pytest.approx([0.0, 1.5, 3.5, 103.5])
    assert lives.dip.tolist() == [-1, 0, 1, 2]


def test_the_median_response_is_what_an_electrode_without_scatter_answers() -> None:
    level, truth = np.array([0.0, 0.5, 8.0]), replace(STILL, second_share=0.3)
    _, signal = simulate_electrodes(truth, BATCH, level, np.random.default_rng(1))
    assert signal == pytest.approx(median_response(truth, BATCH, np.zeros(3), level), rel=EXACT)


def test_shares_of_the_sites_run_from_none_to_all() -> None:
    truth = Truth(second_share=0.4)
    assert occupied_share(truth, 0.3, np.array([0.0, np.inf])).tolist() == [0.0, 1.0]


def test_deviates_do_not_depend_on_the_truth_nor_on_the_protocol() -> None:
    plain, full = (draw_lives(4, np.random.default_rng(5), freedom) for freedom in (0, 5))
    for name in LifeDraws.__dataclass_fields__:
        same = np.array_equal(getattr(plain, name), getattr(full, name))
        assert same == (name != "gain"), name
    assert np.array_equal(np.sign(plain.gain), np.sign(full.gain))


@pytest.mark.parametrize("protocol", [SPIKED, PRESCAN_AND_SPIKE, RISING])
def test_a_longer_protocol_leaves_the_readings_of_a_shorter_one_as_they_are(protocol: Protocol) -> None:
    level = np.array([0.0, 1.0, 2.0])
    single = simulate_life(FULL, BATCH, level, SINGLE, np.random.default_rng(7))
    several = simulate_life(FULL, BATCH, level, protocol, np.random.default_rng(7))
    assert np.array_equal(several.signal[:, several.dip == 0], single.signal)
    assert np.array_equal(several.x, single.x)


def test_samples_and_histories_are_paired_over_protocols() -> None:
    batches, levels = [BATCH, replace(BATCH, name="C")], [np.array([0.0, 1.0]), np.array([4.0])]
    plans = [[SINGLE, RISING], [PRESCAN_AND_SPIKE]]
    bare = simulate_history(FULL, batches, levels, np.random.default_rng(3))
    lived = main_readings(simulate_history(FULL, batches, levels, np.random.default_rng(3), plans))
    for name in ("electrode", "batch", "covariate", "unit", "signal", "level", "dip"):
        assert np.array_equal(getattr(bare, name), getattr(lived, name)), name
    one = simulate_sample(FULL, batches, 3.0, SINGLE, np.random.default_rng(4), (1.0, 10.0))
    other = simulate_sample(FULL, batches, 3.0, RISING, np.random.default_rng(4), (1.0, 10.0))
    assert main_portions(other) == one
    assert [dip.dip for dip in other[0].others] == [-1, 1, 2]


def test_worlds_are_paired_in_what_they_share() -> None:
    """A drift changes nothing but later readings."""
    level = np.array([1.0, 2.0])
    still = simulate_life(Truth(), BATCH, level, PRESCAN_AND_SPIKE, np.random.default_rng(9))
    drifting = simulate_life(Truth(drift=-0.1, drift_sd=0.1), BATCH, level, PRESCAN_AND_SPIKE, np.random.default_rng(9))
    assert np.array_equal(still.signal[:, :2], drifting.signal[:, :2])
    assert (still.signal[:, 2] != drifting.signal[:, 2]).all()


def test_history_rows_say_whose_they_are_and_where_in_the_life() -> None:
    plans = [[PRESCAN_AND_SPIKE, SINGLE, RISING]]
    readings = simulate_history(Truth(), [BATCH], [np.array([0.0, 2.0, 8.0])], np.random.default_rng(1), plans)
    assert readings.electrode == ("B-0", "B-1", "B-2")
    assert readings.unit.tolist() == [0, 0, 0, 1, 2, 2, 2, 2]
    assert readings.dip.tolist() == [-1, 0, 1, 0, -1, 0, 1, 2]
    assert readings.level.tolist() == [0.0, 0.0, 100.0, 2.0, 0.0, 8.0, 10.0, 110.0]


def test_cells_of_a_diluted_sample_hold_their_share_and_what_was_added() -> None:
    (_, portion) = simulate_sample(STILL, [BATCH, BATCH], 50.0, RISING, np.random.default_rng(1), (1.0, 10.0))
    cells = [1.0 / portion.dilution * 50.0] + [dip.share * 50.0 + dip.added for dip in portion.others]
    assert cells == pytest.approx([5.0, 0.0, 7.0, 107.0])
    signals = [portion.signal] + [dip.signal for dip in portion.others]
    assert signals == pytest.approx(median_response(STILL, BATCH, np.zeros(4), np.array(cells)), rel=EXACT)


def test_a_samples_water_moves_K_and_the_standards_keep_theirs() -> None:
    truth = replace(STILL, matrix=1.4)
    (portion,) = simulate_sample(truth, [BATCH], 2.0, PRESCAN_AND_SPIKE, np.random.default_rng(1))
    moved = replace(BATCH, ln_K=BATCH.ln_K + np.log(1.4))
    assert portion.signal == pytest.approx(median_response(STILL, moved, np.zeros(1), np.array([2.0]))[0], rel=EXACT)
    standard = simulate_history(truth, [BATCH], [np.array([2.0])], np.random.default_rng(1))
    assert standard.signal == pytest.approx(median_response(STILL, BATCH, np.zeros(1), np.array([2.0])), rel=EXACT)


def test_gains_of_electrodes_have_the_spread_that_the_population_states() -> None:
    truth = replace(STILL, electrode_sd=0.15, covariate_sd=0.25)
    logs = log_signals(truth, 2.0, SINGLE, 11)[:, 0]
    sd = float(np.hypot(0.15, 0.8 * 0.25))
    assert logs.std() == pytest.approx(sd, abs=within(sd))  # the standard error of an sd is below that of a mean


def test_heavy_tails_keep_the_spread_and_lengthen_the_tails() -> None:
    gain = draw_lives(MANY, np.random.default_rng(2), tail_freedom=5).gain
    assert gain.std() == pytest.approx(1.0, abs=0.03)  # four standard errors: kurtosis 9, so sd of an sd 2 / root(2 n)
    assert np.mean(np.abs(gain) > 3.0) > 2.0 * 0.0027  # the normal share beyond three sd


def test_floors_scatter_between_electrodes_and_between_batches() -> None:
    truth = replace(STILL, floor_sd=0.2, floor_batch_sd=0.15, ln_K_sd=0.0, batch_sd=0.0)
    blank = log_signals(truth, 0.0, SINGLE, 12)[:, 0]
    assert blank.std() == pytest.approx(0.2, abs=within(0.2))
    batches = draw_batches(truth, [str(i) for i in range(MANY)], np.random.default_rng(3))
    shifts = np.array([batch.floor_shift for batch in batches])
    assert shifts.std() == pytest.approx(0.15, abs=within(0.15))


def test_floor_scatter_is_shared_by_the_readings_of_one_life() -> None:
    lives = log_signals(replace(STILL, floor_sd=0.2), 0.0, Protocol(prescan=True), 13)
    assert lives[:, 0] == pytest.approx(lives[:, 1], abs=EXACT)


def test_drift_has_its_mean_per_dip_and_its_scatter_about_it() -> None:
    truth = replace(STILL, drift=-0.05, drift_sd=0.08)
    lives = log_signals(truth, 8.0, RISING, 14)
    still = np.log(simulate_life(STILL, BATCH, np.array([8.0]), RISING, np.random.default_rng(1)).signal[0])
    assert lives[:, :2] == pytest.approx(np.tile(still[:2], (MANY, 1)), abs=EXACT)
    moved = lives[:, 2:] - still[2:]
    assert moved.mean(axis=0) == pytest.approx([-0.05, -0.10], abs=within(0.08))
    assert moved.std(axis=0) == pytest.approx([0.08, 0.08], abs=within(0.08))
    assert abs(np.corrcoef(moved.T)[0, 1]) < within(1.0)


def test_the_plateau_of_a_closing_spike_moves_the_spike_alone() -> None:
    truth = replace(STILL, plateau=1.15, plateau_sd=0.1)
    rise = Protocol(additions=(2.0, 1e9), spiked=True)
    lives = log_signals(truth, 2.0, rise, 15)
    still = simulate_life(STILL, BATCH, np.array([2.0]), rise, np.random.default_rng(1)).signal[0]
    assert lives[:, :2] == pytest.approx(np.tile(np.log(still[:2]), (MANY, 1)), abs=EXACT)
    gain, floor = np.exp(BATCH.log_gain), 0.3 * np.exp(BATCH.floor_shift)
    tops = np.log(np.exp(lives[:, 2]) / gain - floor)
    assert tops.mean() == pytest.approx(np.log(1.15), abs=within(0.1))
    assert tops.std() == pytest.approx(0.1, abs=within(0.1))


def test_own_K_moves_standards_and_leaves_blanks_alone() -> None:
    truth = replace(STILL, electrode_K_sd=0.25)
    assert log_signals(truth, 0.0, SINGLE, 16).std() < EXACT
    signal = np.exp(log_signals(truth, 2.5, SINGLE, 16))
    share = signal / np.exp(BATCH.log_gain) - 0.3 * np.exp(BATCH.floor_shift)
    odds = np.log(share / (1.0 - share)) / truth.h  # ln c - ln K_e
    assert odds.mean() == pytest.approx(0.0, abs=within(0.25))
    assert odds.std() == pytest.approx(0.25, abs=within(0.25))


def test_duds_are_as_many_and_as_weak_as_the_population_states() -> None:
    truth = replace(STILL, low_share=0.05, low_gain=0.4, high_share=0.02, high_gain=2.0)
    ratio = np.exp(log_signals(truth, 2.0, SINGLE, 17)[:, 0]) / median_response(
        STILL, BATCH, np.zeros(1), np.array([2.0])
    )
    assert np.unique(ratio.round(9)).tolist() == [0.4, 1.0, 2.0]
    for gain, share in ((0.4, 0.05), (2.0, 0.02)):
        assert np.mean(np.isclose(ratio, gain)) == pytest.approx(share, abs=within(share**0.5))


def test_where_gain_goes_with_place_low_standards_have_the_low_gains() -> None:
    truth = replace(STILL, place_trend=0.3)
    levels = np.array([8.0, 0.0, 2.0])
    readings = simulate_history(truth, [BATCH], [levels], np.random.default_rng(1))
    moved = np.log(readings.signal / median_response(STILL, BATCH, np.zeros(3), levels))
    assert moved == pytest.approx([0.1, -0.1, 0.0], abs=1e-9)


def test_additive_noise_lets_a_signal_fall_below_zero() -> None:
    lives = simulate_life(Truth(noise=0.5), BATCH, np.zeros(1000), SINGLE, np.random.default_rng(1))
    assert (lives.signal < 0).any()


def test_a_reading_has_the_noise_of_its_own_size() -> None:
    truth = replace(STILL, noise=0.02, cv=0.05)
    lives = simulate_life(truth, BATCH, np.full(MANY, 2.0), PRESCAN_AND_SPIKE, np.random.default_rng(18))
    mean = simulate_life(STILL, BATCH, np.array([2.0]), PRESCAN_AND_SPIKE, np.random.default_rng(1)).signal[0]
    sd = np.sqrt(0.02**2 + (0.05 * mean) ** 2)
    assert lives.signal.std(axis=0) / sd == pytest.approx(np.ones(3), abs=within(1.0))
    assert np.abs(np.corrcoef(lives.signal.T) - np.eye(3)).max() < within(1.0)


def test_a_live_takes_its_main_reading_from_its_own_column() -> None:
    draws = draw_lives(2, np.random.default_rng(1))
    lives = live(replace(STILL, noise=1.0), BATCH, draws, np.zeros(2), PRESCAN_AND_SPIKE)
    floor = np.exp(BATCH.log_gain) * 0.3 * np.exp(BATCH.floor_shift)
    assert lives.signal[:, 1] - floor == pytest.approx(draws.noise[:, MAIN])
    assert DIPS[MAIN] == 0


@pytest.mark.parametrize(("additions", "spiked"), [((1.0,) * (LATER + 1), False), ((2.0, -1.0), False), ((), True)])
def test_an_impossible_protocol_is_refused(additions: tuple[float, ...], spiked: bool) -> None:
    with pytest.raises(Refused):
        Protocol(additions=additions, spiked=spiked)
