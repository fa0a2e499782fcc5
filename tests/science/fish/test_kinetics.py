"""Kinetics of thiocyanate against a general solver of differential equations, closed forms and sums by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from brinemark.science.fish.kinetics import FAST, SCN_PER_CN, SLOW, TURNING, Kinetics, constants, follow
from brinemark.science.fish.tanks import Add, Fish, History, Leave, Move, Renew, Resize, Supply, Tank
from brinemark.terms.arrays import FloatArray
from brinemark.terms.errors import Refused

SOLVER = 1e-8  # relative to the largest amount; agreement asked of a general solver
EXACT = 1e-12  # rounding of a matrix exponential
TIMES = np.linspace(0.0, 6.0, 25)


def all_at_work(draws: int = 1) -> Kinetics:
    return constants(
        draws,
        converted=0.8,
        convert_per_d=5.0,
        lag_d=0.3,
        out_per_d=1.2,
        to_water=0.6,
        to_slow_per_d=0.7,
        from_slow_per_d=0.05,
        uptake_L_kg_d=0.5,
        water_loss_per_d=0.4,
        plasma_volume_L_kg=0.4,
    )


def one_tank(**more: float) -> Tank:
    return Tank("a", 2.0, **more)


def close(found: FloatArray, expected: FloatArray | float, tolerance: float = EXACT) -> bool:
    scale = float(np.max(np.abs(expected))) or 1.0
    return bool(np.max(np.abs(found - expected)) < tolerance * scale)


def test_the_matrix_exponential_agrees_with_a_general_solver() -> None:
    k, tank = all_at_work(), Tank("a", 2.0, exchange_L_d=0.6, source_ug_L=0.5, start_ug_L=3.0)
    fish = (Fish("one", 3, 0.01, 1.5, 0.0, "a"), Fish("two", 1, 0.05, 0.4, 1.1, "a"))
    history = History((tank,), fish, supplies=(Supply("a", 0.9, 0.5, 2.0),))
    dose = [SCN_PER_CN * 1000 * each.dose_mg_kg * each.mass_kg * each.count for each in fish]

    def slope(t: float, x: FloatArray) -> FloatArray:
        out = np.zeros(7)
        C = x[6] / 2.0
        for number, each in enumerate(fish):
            a, b, s = x[3 * number : 3 * number + 3]
            turned = 5.0 * a if t >= each.exposed_d + 0.3 else 0.0
            taken = 0.5 * each.mass_kg * each.count * C
            out[3 * number : 3 * number + 3] = (
                -turned,
                0.8 * turned - 1.9 * b + 0.05 * s + taken,
                0.7 * b - 0.05 * s,
            )
            out[6] += 0.6 * 1.2 * b - taken
        out[6] += 0.6 * (0.5 - C) - 0.4 * x[6] + (0.9 if 0.5 <= t < 2.0 else 0.0)
        return out

    # The general solver cannot step over a jump, so it is stopped at each.
    x, now, found = np.array([dose[0], 0, 0, 0, 0, 0, 6.0]), 0.0, []
    for time in TIMES:
        edges = [edge for edge in (0.3, 0.5, 1.1, 1.4, 2.0) if now < edge < time] + [time]
        for edge in edges:
            if edge > now:
                # nudged inward, so that the right side of a jump is used on each piece
                piece = solve_ivp(
                    lambda t, y, low=now, high=edge: slope(min(max(t, low + 1e-12), high - 1e-12), y),
                    (now, edge),
                    x,
                    method="DOP853",
                    rtol=1e-12,
                    atol=1e-12,
                )
                x, now = piece.y[:, -1].copy(), edge
            if edge == 1.1:
                x[3] += dose[1]
        found.append(x.copy())
    course = follow(k, history, TIMES)
    solved = np.array(found).T
    assert close(course.water_ug_L[0, 0] * 2.0, solved[6], SOLVER)
    assert close(course.body_ug[0].reshape(6, -1), solved[:6], SOLVER)


def test_one_pool_falls_as_an_exponential() -> None:
    k = constants(converted=1.0, convert_per_d=0.0, water_loss_per_d=0.7)
    course = follow(k, History((one_tank(exchange_L_d=0.2, start_ug_L=20.0),)), TIMES)
    assert close(course.water_ug_L[0, 0], 20.0 * np.exp(-0.8 * TIMES))


def test_a_tank_with_inflow_and_supply_goes_to_its_steady_level() -> None:
    tank = Tank("a", 2.0, exchange_L_d=0.5, source_ug_L=1.5, start_ug_L=0.0)
    course = follow(constants(water_loss_per_d=0.3), History((tank,), supplies=(Supply("a", 0.8),)), TIMES)
    rate = 0.5 / 2.0 + 0.3
    steady = (0.5 * 1.5 + 0.8) / 2.0 / rate
    assert close(course.water_ug_L[0, 0], steady * (1.0 - np.exp(-rate * TIMES)))


def test_conversion_then_excretion_is_the_function_of_bateman() -> None:
    k = constants(converted=0.75, convert_per_d=5.4, lag_d=0.6, out_per_d=1.9, plasma_volume_L_kg=0.5)
    course = follow(k, History((one_tank(),), (Fish("one", 2, 0.02, 0.5, tank="a"),)), TIMES)
    after = np.maximum(TIMES - 0.6, 0.0)
    amount = SCN_PER_CN * 1000 * 0.5 * 0.04 * 0.75
    bateman = amount * 5.4 / (5.4 - 1.9) * (np.exp(-1.9 * after) - np.exp(-5.4 * after))
    assert close(course.body_ug[0, 0, FAST], bateman)
    assert close(course.plasma_ug_L[0, 0], bateman / (0.5 * 0.04))
    assert close(course.body_ug[0, 0, TURNING], amount / 0.75 * np.exp(-5.4 * after))


def test_two_pools_follow_their_two_exponentials() -> None:
    # Fish equilibrated at once: conversion so fast that all stands in the fast pool from the start (1e-7 of it late).
    out, there, back, fast = 0.8, 0.6, 0.05, 1e7
    k = constants(converted=1.0, convert_per_d=fast, out_per_d=out, to_slow_per_d=there, from_slow_per_d=back)
    course = follow(k, History((one_tank(),), (Fish("one", 1, 0.01, 1.0, tank="a"),)), TIMES)
    total = out + there + back
    root = np.sqrt(total**2 - 4 * out * back)
    alpha, beta = (total + root) / 2, (total - root) / 2
    share = ((alpha - back) * np.exp(-alpha * TIMES) + (back - beta) * np.exp(-beta * TIMES)) / (alpha - beta)
    slow = there * (np.exp(-beta * TIMES) - np.exp(-alpha * TIMES)) / (alpha - beta)
    amount = SCN_PER_CN * 10.0
    assert np.allclose(course.body_ug[0, 0, FAST, 1:], amount * share[1:], rtol=1e-6)
    assert np.allclose(course.body_ug[0, 0, SLOW, 1:], amount * slow[1:], rtol=1e-6)


def test_a_share_of_zero_gives_no_thiocyanate_in_water_and_leaves_the_plasma_as_it_was() -> None:
    history = History((one_tank(),), (Fish("one", 1, 0.01, 1.0, tank="a"),))
    kinetics = replace(all_at_work(), uptake_L_kg_d=np.zeros(1))
    none = follow(replace(kinetics, to_water=np.zeros(1)), history, TIMES)
    all_of_it = follow(replace(kinetics, to_water=np.ones(1)), history, TIMES)
    assert np.all(none.water_ug_L == 0.0)
    assert np.all(all_of_it.water_ug_L[..., 5:] > 0.0)
    assert close(none.plasma_ug_L, all_of_it.plasma_ug_L)


def test_mass_is_conserved_without_losses() -> None:
    k = replace(all_at_work(), converted=np.ones(1), to_water=np.ones(1), water_loss_per_d=np.zeros(1))
    events = (Move(2.5, "one", "b", carried_L=0.25), Add(3.0, "b", 4.0))
    history = History((one_tank(start_ug_L=1.0), Tank("b", 5.0)), (Fish("one", 2, 0.01, 1.0, tank="a"),), events)
    total = follow(k, history, TIMES).total_ug[0]
    given = 2.0 + SCN_PER_CN * 20.0
    assert close(total, np.where(TIMES >= 3.0, given + 4.0, given))


def test_draws_do_not_mix_and_each_ends_its_own_lag() -> None:
    lags, history = np.array([0.0, 0.13, 0.9]), History((one_tank(),), (Fish("one", 1, 0.01, 1.0, tank="a"),))
    together = follow(replace(all_at_work(3), lag_d=lags), history, TIMES)
    for number, lag in enumerate(lags):
        alone = follow(replace(all_at_work(), lag_d=np.array([lag])), history, TIMES)
        assert close(together.water_ug_L[number], alone.water_ug_L[0])
        assert close(together.body_ug[number], alone.body_ug[0])


def test_times_asked_for_do_not_change_the_answer() -> None:
    history = History((one_tank(exchange_L_d=0.3),), (Fish("one", 1, 0.01, 1.0, tank="a"),), (Renew(1.3, "a", 0.5),))
    k, odd = all_at_work(), np.array([0.1, 0.77, 1.3, 4.0])
    many = follow(k, history, np.sort(np.concatenate([TIMES, odd])))
    few = follow(k, history, odd)
    places = np.searchsorted(many.times_d, odd)
    assert close(many.water_ug_L[0, 0, places], few.water_ug_L[0, 0])


STILL = constants()


def level(tank: Tank, *events: Renew | Resize | Add, at: float = 5.0) -> float:
    return float(follow(STILL, History((tank,), events=events), np.array([at])).water_ug_L[0, 0, 0])


def test_renewal_dilution_and_filling_up_by_hand() -> None:
    tank = Tank("a", 10.0, source_ug_L=1.0, start_ug_L=9.0)
    assert level(tank, Renew(1.0, "a", 0.25)) == pytest.approx(0.75 * 9 + 0.25 * 1)
    assert level(tank, Renew(1.0, "a", 0.5), Renew(2.0, "a", 0.5)) == pytest.approx(0.25 * 9 + 0.75 * 1)
    assert level(tank, Renew(1.0, "a", 1.0, level_ug_L=0.0)) == 0.0
    assert level(tank, Resize(1.0, "a", 20.0)) == pytest.approx(5.0)
    assert level(tank, Resize(1.0, "a", 5.0)) == pytest.approx(9.0)
    assert level(tank, Resize(1.0, "a", 5.0), Resize(2.0, "a", 20.0)) == pytest.approx((45 + 15) / 20)
    assert level(tank, Add(1.0, "a", 15.0)) == pytest.approx(10.5)
    assert level(tank, Add(6.0, "a", 15.0)) == pytest.approx(9.0)


def test_fish_rinsed_through_tanks_carry_water_along() -> None:
    # 40 ug/L in 1 L is 0.4 mL of carried-over water at 100 mg/L
    events = (Move(1.0, "one", "b", carried_L=0.4e-3), Move(2.0, "one", "c", carried_L=0.1))
    tanks = (Tank("a", 1.0, start_ug_L=100_000.0), Tank("b", 1.0 - 0.4e-3), Tank("c", 0.9))
    course = follow(STILL, History(tanks, (Fish("one", 1, 0.01, tank="a"),), events), np.array([0.5, 1.5, 2.5]))
    assert course.water_ug_L[0, 1] == pytest.approx([0.0, 40.0, 40.0])
    assert course.water_ug_L[0, 2] == pytest.approx([0.0, 0.0, 4.0])


def test_fish_taken_out_take_their_share_with_them() -> None:
    fish = Fish("one", 4, 0.01, 1.0, tank="a")
    events = (Leave(1.0, "one", 1, dead=True), Leave(2.0, "one", 3))
    course = follow(STILL, History((one_tank(),), (fish,), events), np.array([0.5, 1.5, 2.5]))
    assert course.body_ug[0, 0, TURNING] == pytest.approx(SCN_PER_CN * 10.0 * np.array([4.0, 3.0, 0.0]))
    assert np.isnan(course.plasma_ug_L[0, 0, 2])


def test_at_sea_nothing_reaches_a_tank_and_nothing_is_taken_up() -> None:
    k = all_at_work()
    fish = Fish("one", 1, 0.01, 1.0, exposed_d=-20.0)
    course = follow(k, History((one_tank(start_ug_L=5.0),), (fish,)), TIMES)
    assert close(course.water_ug_L[0, 0], 5.0 * np.exp(-0.4 * TIMES))
    later = follow(k, History((one_tank(),), (fish,), (Move(1.0, "one", "a"),)), TIMES)
    assert np.all(later.water_ug_L[0, 0, TIMES <= 1.0] == 0.0)
    assert later.water_ug_L[0, 0, -1] > 0.0


@pytest.mark.parametrize(
    ("tank", "fish", "event", "words"),
    [
        (Tank("a", -1.0), Fish("one", 1, 0.01), None, "volume of tank a -1 L"),
        (Tank("a", 1.0), Fish("one", 1, 0.0), None, "mass of fish one 0 kg"),
        (Tank("a", 1.0), Fish("one", 0, 0.01), None, "0 fish one"),
        (Tank("a", 1.0), Fish("one", 1, 0.01, -1.0), None, "dose of fish one -1"),
        (Tank("a", 1.0), Fish("one", 1, 0.01, tank="z"), None, "unknown tank 'z'"),
        (Tank("a", 1.0), Fish("one", 1, 0.01), Move(1.0, "two", "a"), "fish 'two'"),
        (Tank("a", 1.0), Fish("one", 1, 0.01), Leave(1.0, "one", 2), "2 fish one taken out of 1"),
        (Tank("a", 1.0), Fish("one", 1, 0.01), Renew(1.0, "a", 25.0), "renewal of 25"),
        (Tank("a", 1.0, filled_d=2.0), Fish("one", 1, 0.01), Move(1.0, "one", "a"), "filling at 2 d"),
        (Tank("a", 1.0), Fish("one", 1, 0.01, tank="a"), Move(1.0, "one", None, 1.5), "1.5 L carried out"),
    ],
)
def test_what_cannot_have_been_is_refused(
    tank: Tank, fish: Fish, event: Move | Leave | Renew | None, words: str
) -> None:
    with pytest.raises(Refused, match=words):
        follow(STILL, History((tank,), (fish,), (event,) if event else ()), np.array([3.0]))


def test_a_share_beyond_one_and_times_that_fall_are_refused() -> None:
    with pytest.raises(Refused, match=r"to_water 1\.2"):
        follow(constants(to_water=1.2), History((one_tank(),)), TIMES)
    with pytest.raises(Refused, match="do not rise"):
        follow(STILL, History((one_tank(),)), TIMES[::-1])


@pytest.mark.parametrize(("k1", "k2", "factor"), [(0.55, 0.34, 1.62), (0.49, 0.29, 1.69)])
def test_uptake_over_loss_is_the_concentration_factor_of_trout(k1: float, k2: float, factor: float) -> None:
    # Both fits and factors 1.61 and 1.66: Ecotoxicol Environ Saf 1995, doi 10.1006/eesa.1995.1034 (abstract).
    bath = Tank("a", 1e9, start_ug_L=39_800.0)  # so large that 35 g of fish do not change it
    k = constants(out_per_d=k2, uptake_L_kg_d=k1)
    course = follow(k, History((bath,), (Fish("trout", 1, 0.035, tank="a"),)), np.array([20.0, 60.0]))
    ratio = course.body_ug[0, 0, FAST] / 0.035 / 39_800.0
    assert ratio[0] == pytest.approx(k1 / k2 * (1.0 - np.exp(-20.0 * k2)), rel=1e-6)
    assert ratio[1] == pytest.approx(factor, abs=0.005)
