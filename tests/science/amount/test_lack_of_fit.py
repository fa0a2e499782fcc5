"""A class of standards that wants a gain of its own: against the number that was put in, and sound ones."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from brinemark.science.amount import compiled
from brinemark.science.amount.calibration import calibrate
from brinemark.science.amount.lack_of_fit import batch_steepness, class_gains, classes, fit_words
from brinemark.science.amount.simulate import SINGLE, Truth, draw_batches, simulate_history
from brinemark.terms.amounts import Calibration, ElectrodeReadings, FitCheck
from brinemark.terms.settings import AnalyteSection, CalibrationSection, PriorSection

SEED = 7
LEVELS = np.array([0.0, 0.5, 2.0, 2.0, 8.0, 20.0])
HOOK = 0.3


def history(seed: int = SEED, hook: float = 0.0) -> ElectrodeReadings:
    """Nine batches read once; the standards at 20 ug/L answer lower by hook."""
    rng = np.random.default_rng((SEED, seed))
    batches = draw_batches(Truth(), [f"B{i}" for i in range(9)], rng)
    levels = [rng.permutation(LEVELS) for _ in batches]
    made = simulate_history(Truth(), batches, levels, rng, [[SINGLE] * LEVELS.size] * 9)
    return replace(made, signal=np.where(made.level >= 20.0, (1.0 - hook) * made.signal, made.signal))


def calibrated(readings: ElectrodeReadings) -> Calibration:
    with compiled.compiled_loops():
        return calibrate(readings, AnalyteSection(), PriorSection(), CalibrationSection(seed=SEED))


@pytest.fixture(scope="module")
def sound() -> Calibration:
    return calibrated(history())


def test_sound_standards_have_no_gain_of_their_own(sound: Calibration) -> None:
    gains = class_gains(sound)
    assert {one.name for one in gains} == {"top", "middle"}
    assert all(abs(one.tau) < one.limit * one.u for one in gains)
    assert fit_words(gains) == ()


@pytest.mark.parametrize("hook", [HOOK, 0.5])
def test_a_curve_that_falls_again_at_the_top_is_named(hook: float) -> None:
    gains = {one.name: one for one in class_gains(calibrated(history(hook=hook)))}
    assert gains["top"].speaks
    assert gains["top"].tau < 0
    (said,) = fit_words((gains["top"],))
    assert said.startswith("lack of fit: the highest standards answer")
    assert "lower than the curve, as a curve that falls again would" in said


def test_the_expansion_is_the_answer_of_a_calibration_that_has_tau_as_a_parameter(sound: Calibration) -> None:
    """The offset of an instrument is such a number: the class read on an instrument of its own."""
    top = classes(sound)["top"]
    instrument = tuple("apart" if mine else "bench" for mine in top)
    prior = PriorSection(instrument_offset=(0.0, 2.0))
    apart = replace(sound.readings, instrument=instrument)
    with compiled.compiled_loops():
        whole = calibrate(apart, AnalyteSection(), prior, CalibrationSection(seed=SEED))
        (found,) = [one for one in class_gains(sound) if one.name == "top"]
    (name,) = [one for one in whole.names if one.startswith("instrument_offset:")]
    offset = whole.draws[:, whole.names.index(name)] * (1.0 if name.endswith("apart") else -1.0)
    second_order = 0.5  # of its u: the noise of the other instrument is free there, and the expansion has two terms
    assert abs(found.tau - offset.mean()) < second_order * found.u
    assert found.u == pytest.approx(offset.std(), rel=second_order)


def test_the_middle_is_within_three_times_K_and_the_top_the_highest_standard(sound: Calibration) -> None:
    level, K = sound.readings.level, float(np.exp(np.median(sound.draws[:, sound.names.index("ln_K")])))
    found = classes(sound)
    assert set(level[found["top"]]) == {20.0}
    assert set(level[found["middle"]]) == {c for c in LEVELS if c > 0 and K / 3 <= c <= 3 * K}


def test_too_few_of_a_class_say_nothing(sound: Calibration) -> None:
    """With K far above every level there is no top, and nothing in the middle."""
    low = replace(sound, draws=sound.draws + 5.0 * (np.array(sound.names) == "ln_K"))
    assert class_gains(low) == ()


def test_words_name_the_side_and_the_size() -> None:
    high = FitCheck("top", 9, 0.2, 0.05)
    near = FitCheck("middle", 12, -0.2, 0.05)
    first, second = fit_words((high, near))
    assert "22% higher than the curve, as a second, weaker kind of site would" in first
    assert "standards near K answer 18% lower" in second


STEEP = 3.0  # times the exponent of the others


def with_steep_batch(steep: float) -> ElectrodeReadings:
    """Nine batches of twelve; the last one answers with an exponent that is steep times the others'."""
    rng = np.random.default_rng((SEED, 3))
    levels = np.array([0.0, 0.0, 0.25, 0.5, 1.0, 1.0, 2.0, 2.0, 4.0, 4.0, 8.0, 20.0])
    parts = []
    for i in range(9):
        truth = replace(Truth(), h=1.3 * (steep if i == 8 else 1.0))
        batch = draw_batches(truth, [f"B{i}"], rng)
        parts.append(simulate_history(truth, batch, [rng.permutation(levels)], rng, [[SINGLE] * levels.size]))
    return ElectrodeReadings(
        electrode=tuple(name for i, one in enumerate(parts) for name in (f"{e}-{i}" for e in one.electrode)),
        batch=tuple(name for one in parts for name in one.batch),
        instrument=tuple(name for one in parts for name in one.instrument),
        covariate=np.concatenate([one.covariate for one in parts]),
        unit=np.concatenate([one.unit + i * levels.size for i, one in enumerate(parts)]),
        signal=np.concatenate([one.signal for one in parts]),
        u=np.concatenate([one.u for one in parts]),
        level=np.concatenate([one.level for one in parts]),
    )


def test_a_batch_that_answers_more_steeply_is_named_and_no_other() -> None:
    found = batch_steepness(calibrated(with_steep_batch(STEEP)))
    assert [one.name for one in found if one.speaks] == ["batch B8"]
    (said,) = fit_words(found)
    assert said.startswith("lack of fit: batch B8 answers more steeply than the others, its exponent")


def test_batches_of_one_steepness_are_left_alone_and_know_how_little_they_know() -> None:
    found = batch_steepness(calibrated(with_steep_batch(1.0)))
    assert not [one for one in found if one.speaks]
    scores = np.array([one.tau / one.u for one in found])
    assert len(found) >= 5
    # Nine standard normals, each less a little of their mean, which the population takes.
    assert 0.3 < float(np.sqrt(np.mean(scores**2))) < 2.0
