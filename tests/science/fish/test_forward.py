"""Bands and detectability: quantiles of known laws, limits that can be worked out, and no false promise."""

from __future__ import annotations

import numpy as np
import pytest

from brinemark.science.fish.forward import NO_CHOICE, PROBABILITIES, Holds, band, detectability, reaches
from brinemark.science.fish.kinetics import SCN_PER_CN
from brinemark.science.fish.parameters import FIXED, Parameter, own_source
from brinemark.science.fish.tanks import Fish, History, Move, Tank
from brinemark.science.fish.worlds import Drawing, World, published_worlds, with_parameters
from brinemark.terms.arrays import FloatArray
from brinemark.terms.errors import Refused

RELEASED, NOT_RELEASED = published_worlds()
DRAWING = Drawing(300, 5)
HOLDS = Holds(1, 0.01, np.array([0.5, 2.0, 6.0, 14.0]), np.array([0.5, 1.0, 10.0]), np.arange(0.25, 3.01, 0.25))


def settled(world: World, **values: float) -> World:
    """The world with some parameters fixed."""
    new = [
        Parameter(name, world.parameters[name].unit, value, 1.0, FIXED, own_source("a test"))
        for name, value in values.items()
    ]
    return with_parameters(world, *new)


def power(level: FloatArray) -> FloatArray:
    return np.asarray(0.05 + 0.95 * level / (level + 1.0))


def test_the_band_of_a_tank_that_only_loses_is_that_of_its_loss() -> None:
    world, times = settled(RELEASED, uptake=0.0), np.array([0.0, 1.0, 5.0])
    found = band(world, History((Tank("a", 1.0, start_ug_L=20.0),)), times, (), Drawing(1000, 2))
    loss = world.parameters["water_loss"].quantile(1.0 - np.asarray(PROBABILITIES))
    assert np.allclose(found.water_ug_L[:, 0], 20.0 * np.exp(-np.outer(loss, times)), rtol=0.02)  # 1,000 draws
    assert found.plasma_ug_L.shape == (len(PROBABILITIES), 0, 3)


def test_the_band_of_a_fish_rises_from_nothing_under_one_world_and_stays_there_under_the_other() -> None:
    history = History((Tank("a", 1.0, filled_d=1.0),), (Fish("one", 1, 0.01),), (Move(2.0, "one", "a"),))
    times = np.array([0.5, 1.5, 3.0, 6.0])
    found = [band(world, history, times, ("one",), DRAWING) for world in published_worlds()]
    assert all(np.all(np.isnan(each.water_ug_L[..., 0])) for each in found)
    assert all(np.all(each.water_ug_L[..., 1] == 0.0) for each in found)
    assert np.all(np.diff(found[0].water_ug_L[:, 0, 2:], axis=0) > 0.0)
    assert np.all(found[0].water_ug_L[..., 2:] > 0.0) and np.all(found[1].water_ug_L[..., 2:] == 0.0)


def test_the_same_seed_gives_the_same_band_and_an_unknown_fish_is_refused() -> None:
    history = History((Tank("a", 1.0),), (Fish("one", 1, 0.01, tank="a"),))
    first, again = (band(RELEASED, history, np.array([1.0]), ("one",), DRAWING) for _ in range(2))
    assert np.array_equal(first.water_ug_L, again.water_ug_L)
    with pytest.raises(Refused, match="exposed fish 'two'"):
        band(RELEASED, history, np.array([1.0]), ("two",), DRAWING)


def test_detection_falls_with_days_and_volume_and_rises_with_the_hold_while_nothing_is_lost() -> None:
    found = detectability(settled(RELEASED, water_loss=0.0, uptake=0.0), HOLDS, power, DRAWING)
    assert np.all(np.diff(found.probability, axis=0) < 0.0)
    assert np.all(np.diff(found.probability, axis=1) < 0.0)
    assert np.all(np.diff(found.probability, axis=2) > 0.0)
    assert np.all(found.best_hold_d == HOLDS.hold_d[-1])
    assert found.false_alarm == 0.05


def test_without_release_the_chance_is_the_false_alarm_and_no_hold_is_better() -> None:
    found = detectability(NOT_RELEASED, HOLDS, power, DRAWING)
    assert np.allclose(found.probability, found.false_alarm, rtol=1e-12)  # rounding of a mean of equal numbers
    assert np.all(np.isnan(found.best_hold_d)) and found.best(0, 0) == NO_CHOICE


def test_the_best_hold_is_the_peak_of_release_against_loss() -> None:
    # Fast pool alone, converted by then: C ~ (exp(-k t) - exp(-l t)) / (l - k), highest at ln(l/k) / (l - k).
    k, loss = np.log(2.0) / 0.4, 3.0
    world = settled(
        RELEASED, body_half_life=0.4, slow_share=0.0, conversion_half_life=0.01, lag=0.0, water_loss=loss, uptake=0.0
    )
    hold = np.arange(0.05, 2.0, 0.05)
    holds = Holds(2, 0.01, np.array([1.0]), np.array([1.0]), hold)
    found = detectability(world, holds, power, DRAWING)
    assert found.best(0, 0) == pytest.approx(np.log(loss / k) / (loss - k), abs=0.026)  # half a step of the holds


def test_a_minimum_detectable_value_counts_the_draws_that_reach_it() -> None:
    fixed = {name: parameter.median for name, parameter in RELEASED.parameters.items() if name != "absorbed_dose"}
    world = settled(RELEASED, **fixed | {"water_loss": 0.0, "uptake": 0.0})
    holds = Holds(1, 0.01, np.array([0.0]), np.array([1.0]), np.array([400.0]))  # until nearly all is released
    released = SCN_PER_CN * 1000 * 0.01 * world.parameters["converted"].median * world.parameters["to_water"].median
    half = released * world.parameters["absorbed_dose"].median
    found = detectability(world, holds, reaches(half * 0.999), DRAWING)
    assert found.probability[0, 0, 0] == pytest.approx(0.5, abs=0.01)
    assert found.false_alarm == 0.0


@pytest.mark.parametrize(
    ("holds", "words"),
    [
        (Holds(1, 0.01, np.array([-1.0]), np.array([1.0]), np.array([1.0])), "days since capture"),
        (Holds(1, 0.01, np.array([1.0]), np.array([0.0]), np.array([1.0])), "volumes"),
        (Holds(1, 0.01, np.array([1.0]), np.array([1.0]), np.array([])), "hold times"),
    ],
)
def test_holds_that_cannot_be_are_refused(holds: Holds, words: str) -> None:
    with pytest.raises(Refused, match=words):
        detectability(RELEASED, holds, power, DRAWING)
    with pytest.raises(Refused, match="minimum detectable value 0"):
        reaches(0.0)
