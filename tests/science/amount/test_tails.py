"""The curve that a single reading's statement is read off, against all draws and all nodes at every level."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from histories import history, unknowns
from hypothesis import given
from hypothesis import strategies as st

from brinemark.science.amount.law import DipLaw, exp_arcsinh
from brinemark.science.amount.normal import normal_scores
from brinemark.science.amount.predictive import DrawMemory
from brinemark.science.amount.reading import observe
from brinemark.science.amount.statistic import SingleReading, folds_of, search_levels
from brinemark.science.amount.tails import SignalTail, normal_draws_scores, scores_of
from brinemark.terms.arrays import FloatArray

SEED = 11
SCORE_ERROR = 0.03
"""Of the normal score: what the correction's 256 draws and few levels leave, about one sd of the draws themselves."""
TABLE_SCORE = 1e-6
"""What the normal table's 3e-14 is in score, six sd out."""
FOLD_ERROR = 0.12
"""Relative, of the fold of typical readings: the draws' scatter taken as normal, and 256 draws for 1,024."""


@cache
def tails() -> tuple[tuple[DipLaw, SignalTail], ...]:
    """Readings of the new batch at five levels, also with its noise made large and small."""
    here, memory, found = history(SEED), DrawMemory(), []
    for level in (0.0, 0.5, 1.0, 2.0, 8.0):
        (one,) = unknowns(here.new, level, 1, np.random.default_rng([SEED, int(10 * level)]))
        draws = memory.draws(here.calibration, here.readings, [one.batch], SEED)
        (seen,) = observe([one], here.calibration, draws)
        found.append((seen.laws[0], SignalTail.of(seen.laws[0], seen.signals[0], search_levels([seen]))))
    return tuple(found)


def exact(law: DipLaw, signal: float, level: FloatArray) -> FloatArray:
    return normal_scores(law.cdf(np.array([signal]), level).tolist(), 1e-12)


def test_the_score_is_that_of_all_draws_and_nodes_between_the_rungs_too() -> None:
    for law, tail in tails():
        level = np.concatenate([[0.0], np.geomspace(tail.search[1], tail.search[-1], 117), [np.inf]])
        wanted = exact(law, tail.signal, level)
        near = np.abs(wanted) < 3.0
        assert near.any()
        assert np.abs(scores_of(tail.below(level)) - wanted)[near].max() < SCORE_ERROR


def test_its_ends_have_the_tail_probability_that_was_asked_for() -> None:
    found = 0
    for law, tail in tails():
        for target in (0.975, 0.5, 0.05, 0.025):
            end = tail.falls_to(target)
            if end:
                found += 1
                score = exact(law, tail.signal, np.array([end]))[0]
                assert score == pytest.approx(normal_scores([target], 1e-12)[0], abs=SCORE_ERROR)
    assert found >= 8


def test_a_signal_far_off_has_tails_of_nothing_and_all() -> None:
    law, tail = tails()[0]
    for signal, probability in ((-9.0, 0.0), (99.0, 1.0)):
        far = SignalTail.of(law, signal, tail.search)
        assert far.below(np.array([0.0, 1.0, np.inf])) == pytest.approx(probability, abs=1e-9)


def test_typical_folds_are_those_of_all_draws() -> None:
    law, tail = tails()[2]
    level = tail.search[(tail.search > 0.3) & (tail.search < 2.0)]
    found = SingleReading(tail).folds(level, 0.025)
    typical = np.exp(np.median(law.log_median(level), axis=1))
    table = scores_of(law.approximate_cdf(typical[:, None, None], tail.shape.part(slice(-1)))).T
    wanted = folds_of(tail.search, table, 0.025)
    narrow = wanted < 7.0  # the widest that a working range is asked for (max_fold is 3) and a little more
    assert narrow.any()
    assert found[narrow] == pytest.approx(wanted[narrow], rel=FOLD_ERROR)


def test_laws_of_one_batch_share_what_they_work_out_and_agree_with_one_that_does_not() -> None:
    (law, tail), (other, _) = tails()[:2]
    assert law.known is other.known
    alone = law.picked(slice(None))
    assert len(alone.known) == 0
    again = SignalTail.of(alone, tail.signal, tail.search)
    assert np.array_equal(again.score.value, tail.score.value)


def test_one_draw_without_scatter_is_the_normal_scale_itself() -> None:
    law = tails()[1][0].thinned(1)
    level = np.array([0.7, 1.0, 5.0])
    shape = law.shape(law.responses(level))
    both = normal_draws_scores(law, np.array([0.7]), shape)
    wanted = scores_of(law.approximate_cdf(0.7, shape))
    assert both[:, 0] == pytest.approx(wanted, abs=TABLE_SCORE)


@given(st.floats(0, 1e6), st.floats(0, 1e6))
def test_a_ratio_of_exponentials_has_the_difference_of_inverse_sines_for_its_logarithm(a: float, b: float) -> None:
    found = np.log(exp_arcsinh(np.array([a])) / exp_arcsinh(np.array([b])))
    assert found == pytest.approx(np.arcsinh([a]) - np.arcsinh([b]), abs=1e-14)
