"""Falls, strange spikes, drift that nobody measured, and electrodes that disagree."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from known_population import PLAIN, electrode

from brinemark.science.amount import compiled
from brinemark.science.amount.calibration import calibrate
from brinemark.science.amount.joint import JointReading
from brinemark.science.amount.life_checks import (
    FALL_SIMULATIONS,
    fall_probability,
    falls_of,
    unmeasured_drift,
    without_strange_spike,
)
from brinemark.science.amount.simulate import (
    PRESCAN_AND_SPIKE,
    RISING,
    SPIKED,
    TrueBatch,
    draw_batches,
    simulate_history,
    simulate_life,
)
from brinemark.science.amount.statistic import Observed
from brinemark.terms.amounts import Calibration, CovariateScale, ElectrodeReadings, OtherDip, SamplePortion
from brinemark.terms.arrays import FloatArray
from brinemark.terms.settings import AnalyteSection, CalibrationSection, PriorSection

SEED = 3


def spiked_standards(rises: list[float], batches: list[str], stock: str | None = None) -> Calibration:
    """A calibration with one standard at 2 ug/L for each rise, of which only readings and spike level matter here."""
    count = len(rises)
    level = np.array([c for rise in rises for c in (2.0, 2.0 + rise)])
    part = np.array([[c for rise in rises for c in (0.0, rise)]]) if stock else np.zeros((0, 2 * count))
    readings = ElectrodeReadings(
        electrode=tuple(f"E{i}" for i in range(count)),
        batch=tuple(batches),
        instrument=("bench",) * count,
        covariate=np.full(count, np.nan),
        unit=np.repeat(np.arange(count), 2),
        signal=np.ones(2 * count),
        u=np.zeros(2 * count),
        level=level,
        dip=np.tile([0, 1], count),
        stocks=(stock,) if stock else (),
        stock_part=part,
        stock_rel_u=np.array([0.01] if stock else []),
    )
    empty: FloatArray = np.zeros((0, 0))
    return Calibration(
        (), empty, 1.0, CovariateScale(), ("bench",), 8.0, readings, (), (), (), 0, 0, (), 1, spike_level=40.0
    )


def sample(rise: float, stock: str = "stock K1", kept: float = 1.0) -> SamplePortion:
    spike = OtherDip(1, 1.0, 0.0, kept, rise, stock_parts=((stock, rise),) if stock else ())
    return SamplePortion("X", "B9", "bench", None, 0.5, 0.0, others=(spike,))


KNOWN_SPIKES = spiked_standards([100.0, 100.0], ["B1", "B2"], "stock K1")


def test_a_spike_like_the_standards_is_kept() -> None:
    assert without_strange_spike(sample(101.0), KNOWN_SPIKES) == (sample(101.0), None)


@pytest.mark.parametrize(
    ("strange", "named"),
    [
        (sample(60.0), "added 60 of stock K1"),
        (sample(100.0, "stock K2"), "added 100 of stock K2"),
        (sample(100.0, ""), "added 100 of a stock without a name"),
        (sample(100.0, kept=0.95), "added 100 of stock K1 in 0.053 of the volume"),
    ],
)
def test_a_spike_unlike_the_standards_is_left_out_with_a_sentence(strange: SamplePortion, named: str) -> None:
    left, said = without_strange_spike(strange, KNOWN_SPIKES)
    assert left.others == ()
    assert said is not None
    assert named in said
    assert "the standards' spikes 100 of stock K1; spike samples" in said


def test_a_stock_whose_error_nobody_stated_is_still_another_stock() -> None:
    exact = replace(KNOWN_SPIKES.readings, stock_rel_u=np.array([0.0]))
    left, said = without_strange_spike(sample(100.0, "stock K2"), replace(KNOWN_SPIKES, readings=exact))
    assert (left.others, said is None) == ((), False)


def test_what_was_in_the_cell_before_the_spike_is_not_compared() -> None:
    """A lot of seawater and an addition of another stock, both thinned out a little by the spike."""
    earlier = OtherDip(1, 0.7, 0.0, 0.99, 4.9, stock_parts=(("lot A", 0.99), ("stock weak", 3.9)))
    parts = (("lot A", 0.98), ("stock weak", 3.86), ("stock K1", 100.0))
    spike = OtherDip(2, 1.0, 0.0, 0.985, 104.86, stock_parts=parts)
    portion = replace(sample(100.0), added=1.0, stock_parts=(("lot A", 1.0),), others=(earlier, spike))
    assert without_strange_spike(portion, KNOWN_SPIKES) == (portion, None)


def test_an_addition_below_the_spike_level_is_no_spike_and_is_kept() -> None:
    assert without_strange_spike(sample(5.0), KNOWN_SPIKES) == (sample(5.0), None)


@pytest.mark.parametrize(("count", "batches", "measured"), [(3, 2, False), (4, 1, False), (4, 2, True)])
def test_drift_counts_as_measured_from_four_electrodes_of_two_batches_on(
    count: int, batches: int, measured: bool
) -> None:
    names = [f"B{i % batches}" for i in range(count)]
    said = unmeasured_drift([sample(100.0)], spiked_standards([100.0] * count, names))
    assert (said is None) is measured


def test_a_reading_alone_needs_no_drift() -> None:
    alone = replace(sample(100.0), others=())
    assert unmeasured_drift([alone], spiked_standards([100.0], ["B1"])) is None


def observed(signals: tuple[float, ...]) -> Observed:
    return replace(electrode(PLAIN, SPIKED), signals=signals)


@pytest.mark.parametrize("fall", [0.02, 0.08])
def test_the_probability_of_a_fall_is_that_of_brute_force(fall: float) -> None:
    """Main reading at the plateau, so that falls are not rare; simulated by the generator, not by the laws."""
    many, level = 40_000, 50.0
    batch = TrueBatch("B", 0.0, PLAIN.ln_K)
    lives = simulate_life(PLAIN, batch, np.full(many, level), SPIKED, np.random.default_rng(SEED)).signal
    first, second = 1.25, 1.25 * (1.0 - fall)
    step = np.arcsinh(second / PLAIN.noise) - np.arcsinh(first / PLAIN.noise)
    steps = np.diff(np.arcsinh(lives / PLAIN.noise), axis=1)[:, 0]
    expected = float((steps <= step).mean())
    se = np.sqrt(expected * (1.0 - expected) * (1.0 / many + 1.0 / FALL_SIMULATIONS))
    # The laws hold the drift's sd at 0 by a number that is not quite 0.
    found = fall_probability(observed((first, second)), [0, 1], level, SEED)
    assert found == pytest.approx(expected, abs=4.0 * se)


def test_a_signal_that_rises_has_not_fallen_and_a_collapse_is_impossible() -> None:
    assert fall_probability(observed((0.5, 1.2)), [0, 1], 1.0, SEED) == 1.0
    assert fall_probability(observed((0.9, 0.3)), [0, 1], 2.0, SEED) < 0.001


def test_dips_are_compared_in_the_order_of_the_life() -> None:
    """The laws come main first; a pre-scan above the main reading is a fall, whatever its place in the list."""
    three = replace(electrode(PLAIN, PRESCAN_AND_SPIKE), signals=(0.30, 0.60, 1.3))
    assert fall_probability(three, [0, -1, 1], 1.0, SEED) < 0.001
    rising = replace(electrode(PLAIN, RISING), signals=(0.60, 0.30, 0.9, 1.3))
    assert fall_probability(rising, [0, -1, 1, 2], 1.0, SEED) == 1.0


def two(first: tuple[float, ...], second: tuple[float, ...]) -> JointReading:
    laws = electrode(PLAIN, SPIKED)
    return JointReading.of([replace(laws, signals=first), replace(laws, signals=second)], SEED)


def test_electrodes_that_read_far_apart_disagree_and_alike_ones_do_not() -> None:
    apart, alike = two((0.35, 1.25), (1.1, 1.25)), two((0.60, 1.25), (0.63, 1.28))
    assert apart.agreement is not None
    assert alike.agreement is not None
    assert apart.agreement < 0.01
    assert alike.agreement > 0.3


def test_a_calibration_electrode_that_collapses_is_named_and_sound_ones_are_not() -> None:
    """Twenty lives with pre-scan and spike, one of which has lost two thirds of its gain before the spike."""
    rng = np.random.default_rng(SEED)
    truth = replace(PLAIN, batch_sd=0.25, ln_K_sd=0.2, drift=-0.03, drift_sd=0.05)
    batches = draw_batches(truth, list("ABCDE"), rng)
    levels, plans = np.array([0.0, 1.0, 2.0, 8.0]), [PRESCAN_AND_SPIKE] * 4
    made = simulate_history(truth, batches, [levels] * 5, rng, [plans] * 5)
    spoilt = (made.unit == 6) & (made.dip == 1)
    signal = np.where(spoilt, 0.35 * made.signal, made.signal)
    sections = AnalyteSection(), PriorSection(), CalibrationSection(seed=SEED)
    compiled.load()
    sound, broken = (calibrate(one, *sections) for one in (made, replace(made, signal=signal)))
    assert falls_of(sound, SEED) == ()
    (said,) = falls_of(broken, SEED)
    assert said.startswith(f"calibration electrode {made.electrode[6]} of batch B: its signal falls")
