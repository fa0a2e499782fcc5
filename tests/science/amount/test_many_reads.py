"""Many samples read with one calibration: what they share changes no digit, and does not pile up."""

from __future__ import annotations

from dataclasses import fields, is_dataclass, replace
from functools import cache

import numpy as np
import pytest
from histories import history, unknowns

from brinemark.science.amount import compiled
from brinemark.science.amount.predictive import USES, DrawMemory
from brinemark.science.amount.reading import observe, read_sample, read_samples
from brinemark.science.amount.statistic import SingleReading
from brinemark.terms.amounts import OtherDip, Reading, SamplePortion
from brinemark.terms.settings import DecisionSection

SEED = 11
LEVELS = (0.0, 0.5, 1.0, 4.0, 20.0, 60.0)
SAME = 1e-8
"""Of tail probabilities; relative, of ends that are read off a curve through them: compiled loops against numpy."""


@cache
def samples() -> tuple[tuple[SamplePortion, ...], ...]:
    """Lone readings of several levels, dilutions, noises, with and without covariate, one below zero; two electrodes
    of one sample; one with a spike."""
    here, found = history(SEED), []
    for number, level in enumerate(LEVELS):
        for one in unknowns(here.new, level, 2, np.random.default_rng([SEED, number])):
            found += [
                (one,),
                (replace(one, dilution=10.0, u=0.02 * here.calibration.signal_ref),),
                (replace(one, covariate=None),),
            ]
    one = found[0][0]
    found.append((replace(one, signal=-0.1 * one.signal),))
    found.append((replace(one, added=0.5, added_u=0.05, salinity=30.0),))
    spike = OtherDip(1, here.calibration.signal_ref, one.u, 1.0, 100.0)
    return (*found, (one, found[3][0]), (replace(one, others=(spike,)),), *found[:4])


def numbers(value: object) -> list[object]:
    """All that a record holds."""
    if is_dataclass(value):
        return [one for field in fields(value) for one in numbers(getattr(value, field.name))]
    if isinstance(value, np.ndarray):
        return list(value.ravel().tolist())
    if isinstance(value, tuple):
        return [part for one in value for part in numbers(one)]
    return [value]


def read(which: tuple[tuple[SamplePortion, ...], ...]) -> list[Reading]:
    here = history(SEED)
    return read_samples(which, here.calibration, here.readings, DecisionSection(), SEED)


def test_a_sample_among_many_has_every_digit_of_one_that_is_read_alone() -> None:
    here = history(SEED)
    together = read(samples())
    assert len({made.statement for made in together}) >= 4
    for portions, made in zip(samples(), together, strict=True):
        alone = read_sample(portions, here.calibration, here.readings, DecisionSection(), SEED)
        assert numbers(alone) == numbers(made)


def test_the_order_of_samples_changes_nothing() -> None:
    forth, back = read(samples()), read(samples()[::-1])
    assert [numbers(made) for made in forth] == [numbers(made) for made in back[::-1]]


def test_what_samples_share_does_not_grow_with_their_number() -> None:
    here, memory = history(SEED), DrawMemory()
    (one,) = unknowns(here.new, 1.0, 1, np.random.default_rng(SEED))
    draws = memory.draws(here.calibration, here.readings, [one.batch], SEED)
    for number in range(4 * USES):
        (seen,) = observe([replace(one, added=0.1 * number)], here.calibration, draws)
        SingleReading.of(seen)
    assert len(draws.known) == USES
    assert memory.draws(here.calibration, here.readings, [one.batch], SEED) is draws


def test_compiled_loops_read_alike() -> None:
    pytest.importorskip("numba", reason="the extra 'fast' is not installed")
    here = history(SEED)
    lone = [portions[0] for portions in samples() if len(portions) == 1 and not portions[0].others]
    draws = DrawMemory().draws(here.calibration, here.readings, [lone[0].batch], SEED)
    for one in lone:
        plain = SingleReading.of(*observe([one], here.calibration, draws))
        with compiled.compiled_loops():
            fast = SingleReading.of(*observe([one], here.calibration, draws))
        assert fast.ladder == pytest.approx(plain.ladder, abs=SAME)
        assert not np.array_equal(fast.ladder, plain.ladder)
        for target in (0.975, 0.5, 0.025):
            there, end = plain.falls_to(target), fast.falls_to(target)
            assert end == (there if there is None else pytest.approx(there, rel=SAME))
        blank, level = np.zeros(1), np.array([0.7])
        with compiled.compiled_loops():
            found = fast.tail.law.quantile(0.5, blank), fast.tail.law.cdf(np.array([0.1, 0.2]), level)
        assert found[0] == pytest.approx(plain.tail.law.quantile(0.5, blank), abs=SAME)
        assert found[1] == pytest.approx(plain.tail.law.cdf(np.array([0.1, 0.2]), level), abs=SAME)
