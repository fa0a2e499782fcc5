"""The accuracy study at a small size: its main figures within three standard errors of what they are on many histories,
and its judgements. Two or three histories, five batches or four, by compiled loops."""

from __future__ import annotations

import argparse
import json
import math
from collections.abc import Iterator
from dataclasses import asdict, replace
from pathlib import Path

import numpy as np
import pytest
from accuracy import to_do
from accuracy_figures import Figures, figures_of, share
from accuracy_page import write_page
from accuracy_read import LEARNED, LIMIT, SAME_WATER, US, WATERS_KNOWN, Done
from accuracy_targets import Target, targets
from oracle import known, lone_power, lone_tails
from small_study import LOGBOOKS, Study, small_study

from brinemark.science.amount.simulate import SINGLE, Truth, draw_batches, simulate_electrodes, simulate_sample
from brinemark.terms.settings import PriorSection


@pytest.fixture(scope="session")
def study() -> Iterator[Study]:
    with small_study() as made:
        yield made


@pytest.fixture
def one_electrode(study: Study) -> Figures:
    return study.figures["burned-2", US]


# Figures of 12, 8 and 8 histories of this very size (seed 99), and their standard deviation from history to history.
BLANK, BLANK_SD = 0.035, 0.033
POWER, POWER_SD = 0.915, 0.051
HOLDS, HOLDS_SD = 0.970, 0.029
PORTABLE_POWER, PORTABLE_POWER_SD = 0.769, 0.108
FOLD, FOLD_SD = 3.64, 1.11


def three_errors(sd: float, logbook: str) -> float:
    """Three standard errors of the mean of the small study's histories."""
    return 3.0 * sd / math.sqrt(LOGBOOKS[logbook].histories)


def test_no_calibration_failed_a_gate(study: Study) -> None:
    assert [(one.logbook, one.number) for one in study.made if one.failed] == []


def test_one_electrode_calls_blanks_detected_as_often_as_said(one_electrode: Figures) -> None:
    assert abs(one_electrode.blank[0] - BLANK) <= three_errors(BLANK_SD, "plain")


def test_one_electrode_sees_one_microgram_per_litre(one_electrode: Figures) -> None:
    assert one_electrode.power[1][0] >= POWER - three_errors(POWER_SD, "plain")


def test_a_pooled_curve_does_not_reach_that(study: Study) -> None:
    assert study.figures["burned-2", "pooled curve"].power[1][0] < POWER - three_errors(POWER_SD, "plain")


def test_intervals_of_one_electrode_hold_as_often_as_said(one_electrode: Figures) -> None:
    assert abs(one_electrode.coverage[0] - HOLDS) <= three_errors(HOLDS_SD, "plain")


def test_a_portable_instrument_sees_one_microgram_per_litre(study: Study) -> None:
    wanted = PORTABLE_POWER - three_errors(PORTABLE_POWER_SD, "portable")
    assert study.figures["portable", US].power[1][0] >= wanted


def test_pre_scan_and_spike_make_the_interval_near_K_narrow(study: Study) -> None:
    widest = FOLD + three_errors(FOLD_SD, "both")
    assert study.figures["both", US].near_K[0] <= widest
    assert study.figures["burned-2", US].near_K[0] > widest


# ---- Waters that were measured ---------------------------------------------------------------------------------------

SIX = WATERS_KNOWN[6]
ADDED = "median fold; siblings with an addition of 2 ug/L before the spike"


def test_what_six_waters_say_replaces_the_held_scatter(study: Study) -> None:
    told = [one.scatter for one in study.made if one.logbook == "rising"]
    assert [(list(each), each[SIX][0]) for each in told] == [([SIX], 6.0)] * LOGBOOKS["rising"].histories
    assert all(each[SIX][1] != PriorSection().matrix_K_sd for each in told)
    ways = [study.made[-1].answers["rising"][who] for who in (US, SIX, SAME_WATER)]
    assert len({repr(way) for way in ways}) == len(ways)


def test_waters_that_are_alike_read_as_less_different_than_is_held(study: Study) -> None:
    """On the mean of the two histories."""
    assert study.figures["rising", SIX].scatter < PriorSection().matrix_K_sd


def test_samples_are_read_with_the_scatter_that_waters_gave(study: Study) -> None:
    """Six leave doubt, so that the fold is above that of one who is told that waters do not differ."""
    six, told = (study.figures["rising", who].beside[0] for who in (SIX, SAME_WATER))
    assert study.figures["rising", US].beside[0] == 1.0
    assert told < min(1.0, six)


def test_one_who_learns_the_batch_from_siblings_with_an_addition_lies_between(study: Study) -> None:
    ours, learned, limit = (study.figures["rising", who].near_K[0] for who in (US, LEARNED, LIMIT))
    assert limit < learned < ours


def test_the_fold_near_K_is_judged_after_waters_too(study: Study) -> None:
    lines = [one for one in targets(list(study.figures.values()), {}) if "median fold" in one.what]
    assert [one.what.rpartition(", ")[2] for one in lines] == ["median fold", ADDED, SIX]
    assert [one.met for one in lines] == [
        study.figures[case, who].near_K[0] <= 2.6 for case, who in (("both", US), ("rising", US), ("rising", SIX))
    ]


# ---- Those who know more ---------------------------------------------------------------------------------------------

SAMPLES = 4000


@pytest.mark.parametrize("truth", [Truth(), Truth(low_share=0.1, high_share=0.1)], ids=["sound", "defective"])
def test_tails_of_one_who_knows_the_batch_are_uniform(truth: Truth) -> None:
    rng = np.random.default_rng(3)
    (batch,) = draw_batches(truth, ["B"], rng)
    for level in (0.0, 1.0):
        made = [simulate_sample(truth, [batch], level, SINGLE, rng)[0] for _ in range(SAMPLES // 8)]
        tails = [lone_tails(truth, known(batch), one) for one in made]
        holds = np.mean([one.interval.lower <= level <= one.interval.upper for one in tails])
        nominal = 0.95 if level > 0 else 0.975
        assert abs(holds - nominal) <= 3.0 * math.sqrt(nominal * (1.0 - nominal) / len(made))
        if level == 0:
            rate = np.mean([one.p_blank <= 0.05 for one in tails])
            assert abs(rate - 0.05) <= 3.0 * math.sqrt(0.05 * 0.95 / len(made))


def test_the_power_of_one_who_knows_the_batch_is_that_of_a_threshold_from_blanks() -> None:
    truth = Truth(covariate_sd=0.0, batch_sd=0.0, ln_K_sd=0.0)
    rng = np.random.default_rng(4)
    (batch,) = draw_batches(truth, ["B"], rng)
    blanks = simulate_electrodes(truth, batch, np.zeros(25 * SAMPLES), rng)[1]
    signals = simulate_electrodes(truth, batch, np.full(SAMPLES, 0.5), rng)[1]
    expected = float(np.mean(signals > np.quantile(blanks, 0.95)))
    found, error = lone_power(truth, 0.5, batches=100)
    assert abs(found - expected) <= 3.0 * math.hypot(error, math.sqrt(expected * (1.0 - expected) / SAMPLES))


def test_the_more_electrodes_tell_of_a_batch_the_more_is_detected() -> None:
    nothing, two = (lone_power(Truth(), 0.5, burned, batches=60)[0] for burned in ((), (0.0, 2.0)))
    assert nothing < two < lone_power(Truth(), 0.5, batches=60)[0]


# ---- What becomes of the answers -------------------------------------------------------------------------------------


def test_rates_of_few_histories_that_agree_keep_an_error() -> None:
    value, error = share([np.zeros(10), np.zeros(10)])
    assert value == 0.0
    assert error == pytest.approx(math.sqrt(1 / 22 * 21 / 22 / 22))


def test_figures_are_the_same_from_what_was_kept(study: Study) -> None:
    kept = [Done(**json.loads(json.dumps(asdict(one)))) for one in study.made]
    assert repr(figures_of(kept)) == repr(list(study.figures.values()))


def test_a_run_goes_on_where_it_was_stopped_logbooks_in_turn(study: Study) -> None:
    asked = argparse.Namespace(logbook=list(LOGBOOKS), histories=None, seed=study.made[0].seed)
    assert to_do(asked, study.made) == []
    left = to_do(asked, [one for one in study.made if one.number != 0])
    assert [(one.logbook, one.number) for one in left] == [(name, 0) for name in LOGBOOKS]


def judged(study: Study, power: tuple[float, float]) -> Target:
    """The target of one electrode's power at 1 ug/L, had the study found this power there."""
    figures = dict(study.figures)
    figures["burned-2", US] = replace(figures["burned-2", US], power=(power, power))
    return next(one for one in targets(list(figures.values()), {}) if one.what.endswith("two burned, power at 1 ug/L"))


def test_a_target_is_met_by_its_figure_alone(study: Study) -> None:
    verdicts = [judged(study, power).verdict for power in ((0.91, 0.02), (0.89, 0.02), (0.85, 0.02))]
    assert verdicts == ["met", "missed, within 2 SE", "missed"]


def test_the_page_ends_with_every_target(study: Study, tmp_path: Path) -> None:
    (tmp_path / "pictures").mkdir()
    made = targets(list(study.figures.values()), {})
    write_page(tmp_path, list(study.figures.values()), made, "seed 1", [])
    lines = (tmp_path / "accuracy.md").read_text(encoding="utf-8").splitlines()
    assert [line.split(" | ")[0].removeprefix("| ") for line in lines[-len(made) :]] == [one.what for one in made]
    assert {path.name for path in (tmp_path / "pictures").iterdir()} == {"accuracy.svg", "accuracy-power.svg"}


def test_every_case_has_its_limit(study: Study) -> None:
    assert {case for case, who in study.figures if who == US} == {case for case, who in study.figures if who == LIMIT}
