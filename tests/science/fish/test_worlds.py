"""The two worlds against what was measured: plasma bands, the lost spike, and what they agree on."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from brinemark.science.fish.kinetics import Course, follow
from brinemark.science.fish.tanks import Fish, History, Tank
from brinemark.science.fish.worlds import Drawing, World, draw_world, kinetics_of, published_worlds, with_parameters

RELEASED, NOT_RELEASED = published_worlds()
DRAWING = Drawing(400, 11)
HALF_LIVES = (0.10, 0.13, 0.35, 0.44, 1.01, 1.2)  # d; PeerJ 2019 (10.7717/peerj.6644), PeerJ 2021 (.../peerj.12409)
# A published range is plausible when it lies within what nine of ten draws give and covers the middle of them.
PLAUSIBLE = (0.05, 0.95)


def course(world: World, times: np.ndarray, volume: float = 1.0) -> Course:
    drawn = draw_world(world, DRAWING)
    fish = Fish("one", 1, 0.01, drawn["absorbed_dose"], tank="a")
    return follow(kinetics_of(drawn), History((Tank("a", volume),), (fish,)), times)


def test_the_half_life_is_the_geometric_mean_of_six_published_ones() -> None:
    parameter = RELEASED.parameters["body_half_life"]
    logs = np.log(HALF_LIVES)
    assert parameter.median == pytest.approx(np.exp(logs.mean()), abs=0.005)
    assert parameter.spread == pytest.approx(np.exp(logs.std(ddof=1)), abs=0.05)
    assert parameter == NOT_RELEASED.parameters["body_half_life"]


@pytest.mark.parametrize("world", [RELEASED, NOT_RELEASED], ids=lambda world: world.name)
def test_plasma_peaks_where_and_as_high_as_was_measured(world: World) -> None:
    times = np.arange(0.0, 3.0, 1.0 / 48.0)
    plasma = course(world, times).plasma_ug_L[:, 0] / 1000.0
    peak, hour = plasma.max(axis=1), 24.0 * times[plasma.argmax(axis=1)]
    low, high = np.quantile(peak, PLAUSIBLE)
    assert low < 0.301 and high > 2.3  # mg/L: 0.301-0.468 in one species, 1.2-2.3 in another
    assert 0.301 < np.median(peak) < 2.3
    early, late = np.quantile(hour, PLAUSIBLE)
    assert early <= 4.1 and late > 12.0  # h: 3.1-4.1 and 12-20
    assert 3.1 < np.median(hour) < 20.0


def test_a_spike_of_20_ug_L_is_lost_in_a_day_under_the_second_world_and_stays_under_the_first() -> None:
    for world in (RELEASED, NOT_RELEASED):
        kinetics = kinetics_of(draw_world(world, DRAWING))
        tank = Tank("a", 1.0, start_ug_L=20.0)
        left = follow(kinetics, History((tank,)), np.array([1.0])).water_ug_L[:, 0, 0]
        if world is NOT_RELEASED:
            assert np.all(left <= 0.6)  # ug/L, what the method detected
        else:
            assert np.median(left) > 19.0


def test_without_release_no_draw_puts_any_into_the_water_and_with_release_all_do() -> None:
    times = np.array([1.0, 7.0, 28.0])
    assert np.all(course(NOT_RELEASED, times).water_ug_L == 0.0)
    assert np.all(course(RELEASED, times).water_ug_L > 0.0)


def test_the_levels_of_the_first_study_are_plausible_under_the_first_world() -> None:
    # Up to 6.96 ug/L over 28 d (PLoS ONE 2012, 10.1371/journal.pone.0035355); 1 L and 10 g are assumptions of ours.
    water = course(RELEASED, np.arange(1.0, 29.0)).water_ug_L[:, 0]
    low, high = np.quantile(water, PLAUSIBLE, axis=0)
    assert np.all((low < 6.96) & (high > 6.96))


def test_the_worlds_differ_only_in_what_the_studies_dispute() -> None:
    names = [name for name in RELEASED.parameters if RELEASED.parameters[name] != NOT_RELEASED.parameters[name]]
    assert names == ["to_water", "slow_share", "water_loss"]


def test_own_controls_make_a_third_world_and_leave_the_two_as_they_were() -> None:
    loss = RELEASED.parameters["water_loss"]
    own = with_parameters(NOT_RELEASED, loss, name="own controls", words="as our own spiked tanks show")
    assert own.name == "own controls" and own.parameters["water_loss"] == loss
    assert NOT_RELEASED.parameters["water_loss"] != loss


@pytest.mark.parametrize("world", [RELEASED, NOT_RELEASED], ids=lambda world: world.name)
def test_plasma_falls_at_first_with_its_half_life_whatever_share_goes_to_the_slow_pool(world: World) -> None:
    drawn = draw_world(world, DRAWING)
    kinetics = kinetics_of(drawn)
    leaving = kinetics.out_per_d + kinetics.to_slow_per_d
    assert np.log(2.0) / leaving == pytest.approx(drawn["body_half_life"])
    assert kinetics.to_slow_per_d / leaving == pytest.approx(drawn["slow_share"])


def test_values_drawn_together_stay_together_until_one_of_them_is_replaced() -> None:
    together = {"to_water": np.linspace(0.1, 0.9, 50), "water_loss": np.linspace(9.0, 1.0, 50)}
    world = replace(RELEASED, joint=together)
    drawn, before = draw_world(world, DRAWING), draw_world(RELEASED, DRAWING)
    assert drawn["water_loss"] == pytest.approx(10.0 - 10.0 * drawn["to_water"])
    assert np.bincount(np.searchsorted(together["to_water"], drawn["to_water"])).tolist() == [8] * 50  # 400 of 50
    assert np.array_equal(drawn["uptake"], before["uptake"])
    other = draw_world(with_parameters(world, RELEASED.parameters["water_loss"]), DRAWING)
    assert np.array_equal(other["water_loss"], before["water_loss"])
    assert np.array_equal(other["to_water"], drawn["to_water"])
