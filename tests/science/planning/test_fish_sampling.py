"""Plans for consignments against published sizes, counting, and simulated consignments; impossible wishes answered."""

from __future__ import annotations

from dataclasses import replace
from itertools import combinations

import numpy as np
import pytest

from brinemark.science.planning.fish_sampling import plan_fish, sensitivities
from brinemark.terms.errors import Refused
from brinemark.terms.fish_plans import Bags, FishCosts, FishPlan, FishTest, FishWish, HoldWish, PoolWish
from reference import sampling_values as known

SEED = 20261
FOUR_SE = 4.0


def size(fish: int | None, prevalence: float, confidence: float = 0.95, sensitivity: float = 1.0) -> int | None:
    return plan_fish(FishWish(fish, prevalence, confidence, test=FishTest(sensitivity)), SEED).size


@pytest.mark.parametrize(("fish", "prevalence", "perfect", "at_90", "at_80"), known.HYPERGEOMETRIC)
def test_sizes_are_the_exact_ones(
    fish: int, prevalence: float, perfect: int, at_90: int | None, at_80: int | None
) -> None:
    assert [size(fish, prevalence, sensitivity=one) for one in (1.0, 0.9, 0.8)] == [perfect, at_90, at_80]


def test_forty_five_of_a_hundred_and_not_forty_six() -> None:
    assert size(100, 0.05) == 45
    assert [size(None, share) for share in (0.05, 0.02, 0.01)] == [59, 149, 299]


def test_an_uncertain_sensitivity_asks_for_more_than_its_mean() -> None:
    plain = FishWish(1000, 0.02, test=FishTest(0.8))
    unsure = replace(plain, test=FishTest(0.8, 0.15))
    draws = sensitivities(unsure)
    assert float(draws.mean()) == pytest.approx(0.8, abs=0.003)  # 20 equally likely values of a beta distribution
    assert float(draws.std()) == pytest.approx(0.15, abs=0.006)
    first, second = plan_fish(plain, SEED).size, plan_fish(unsure, SEED).size
    assert first is not None and second is not None
    assert second > first


def test_every_pair_of_fish_is_drawn_about_equally_often() -> None:
    wish = FishWish(5, 0.8, 0.5, most=2)
    assert plan_fish(wish, 0).tested == 1  # one of four affected of five
    pairs = FishWish(5, 0.2, 0.4)
    counts = dict.fromkeys((tuple(map(str, pair)) for pair in combinations(range(1, 6), 2)), 0)
    for seed in range(2000):
        (pick,) = plan_fish(pairs, seed).picks
        counts[(pick.fish[0], pick.fish[1])] += 1
    assert len(counts) == 10
    assert float(sum((one - 200) ** 2 / 200 for one in counts.values())) < 27.9  # chi squared of 9, .001


def test_the_lot_is_written_down_and_falls_the_same_again() -> None:
    wish = FishWish(100, 0.05)
    one, again, other = plan_fish(wish, 7), plan_fish(wish, 7), plan_fish(wish, 8)
    assert one.picks == again.picks != other.picks
    assert one.seed == 7
    (pick,) = one.picks
    assert len(set(pick.fish)) == 45
    assert [int(name) for name in pick.fish] == sorted(int(name) for name in pick.fish)


def test_named_tanks_are_drawn_by_their_names() -> None:
    (pick,) = plan_fish(FishWish(3, 0.6, 0.6, names=("north", "south", "east")), 1).picks
    assert set(pick.fish) <= {"north", "south", "east"}


def test_fish_of_a_bag_are_alike_and_more_bags_are_needed() -> None:
    apart = plan_fish(FishWish(1000, 0.1, bags=Bags(100, 5, 0.0)), SEED)
    alike = plan_fish(FishWish(1000, 0.1, bags=Bags(100, 5, 0.5)), SEED)
    wholly = plan_fish(FishWish(1000, 0.1, bags=Bags(100, 5, 1.0)), SEED)
    assert apart.size == 30  # 29 fish at 10 %, in bags of five
    assert wholly.size == 5 * 29
    assert apart.size is not None and alike.size is not None and wholly.size is not None
    assert apart.size < alike.size < wholly.size
    assert len(alike.picks) == alike.size // 5
    assert len({pick.bag for pick in alike.picks}) == len(alike.picks)
    assert all(len(set(pick.fish)) == 5 for pick in alike.picks)


def consignments(wish: FishWish, plan: FishPlan, times: int) -> dict[str, np.ndarray[tuple[int], np.dtype[np.float64]]]:
    """Simulated consignments of which the plan's number is tested: true, false and missed findings, second tests."""
    rng, assert_second = np.random.default_rng(9), wish.second is not None
    assert plan.affected is not None and wish.fish is not None
    hit = rng.hypergeometric(plan.affected, wish.fish - plan.affected, plan.tested, times)
    true, false = rng.binomial(hit, wish.test.sensitivity), rng.binomial(plan.tested - hit, wish.test.false_rate)
    again = true + false
    if wish.second is not None and assert_second:
        true, false = rng.binomial(true, wish.second.sensitivity), rng.binomial(false, wish.second.false_rate)
    found = {"true": true, "false": false, "missed": hit - true, "again": again}
    return {name: values.astype(float) for name, values in found.items()}


def test_expected_findings_are_those_of_simulated_consignments() -> None:
    wish = FishWish(200, 0.1, test=FishTest(0.9, false_rate=0.05), second=FishTest(0.95, false_rate=0.2))
    plan = plan_fish(wish, SEED)
    found = consignments(wish, plan, 40_000)
    expected = {
        "true": plan.expected.true_findings,
        "false": plan.expected.false_findings,
        "missed": plan.expected.missed,
        "again": plan.screen.second_tests,
    }
    for name, value in expected.items():
        error = float(found[name].std()) / 200.0
        assert abs(float(found[name].mean()) - value) < FOUR_SE * error, name
    reached = float(np.mean(found["true"] > 0))
    assert abs(reached - plan.reached) < FOUR_SE * np.sqrt(plan.reached * (1 - plan.reached) / 40_000)
    assert plan.screen.sensitivity == pytest.approx(0.855)
    assert plan.screen.false_rate == pytest.approx(0.01)


@pytest.mark.parametrize(("prevalence", "members", "per_hundred"), known.DORFMAN)
def test_pools_are_the_exact_best(prevalence: float, members: int, per_hundred: float) -> None:
    wish = FishWish(None, prevalence, 0.999999, pool=PoolWish(1000.0, 1.0))
    pool = plan_fish(wish, SEED).pool
    assert pool is not None
    assert pool.members == members
    assert 100.0 * pool.tests / plan_fish(wish, SEED).tested == pytest.approx(per_hundred, abs=1e-3)


def test_a_pool_never_brings_an_affected_water_below_what_can_be_found() -> None:
    pool = plan_fish(FishWish(1000, 0.01, pool=PoolWish(2.0, 0.5)), SEED).pool
    assert pool is not None
    assert (pool.members, pool.level) == (4, 0.5)
    assert "11 would need fewest" in pool.reason
    alone = plan_fish(FishWish(1000, 0.01, pool=PoolWish(0.9, 0.5)), SEED).pool
    assert alone is not None
    assert alone.members == 1
    assert "two waters together leave 0.45" in alone.reason


def test_no_pool_pays_where_most_are_affected() -> None:
    pool = plan_fish(FishWish(100, 0.5, pool=PoolWish(10.0, 0.5)), SEED).pool
    assert pool is not None
    assert (pool.members, "does not save tests" in pool.reason) == (1, True)


def test_holding_helps_in_one_world_and_no_test_does_in_the_other() -> None:
    wish = FishWish(100, 0.1, hold=HoldWish(0.5, volumes_L=(0.5, 5.0)))
    released, not_released = plan_fish(wish, SEED).holds
    assert (released.world, not_released.world) == ("released", "not released")
    assert released.hold_d is not None and released.hold_d > 0.0
    assert released.volume_L == 0.5
    assert released.size is not None and released.size.size is not None and released.size.size >= 25
    assert not_released.size is None
    assert "no number of tests" in not_released.said


@pytest.mark.parametrize(
    ("wish", "words"),
    [
        (FishWish(100, 0.0), "the smallest share that matters, 1 of 100, 0.01"),
        (FishWish(None, 0.0), "the smallest share that matters"),
        (FishWish(None, 0.05, 1.0), "certainty needs every fish tested"),
        (FishWish(100, 0.05, 1.0, test=FishTest(0.9)), "a test that finds every affected fish"),
        (FishWish(20, 0.05, test=FishTest(0.8)), "more than once or with a more sensitive method"),
        (FishWish(100, 0.05, most=20), "45 tests would be needed; the 20 that can be made reach 0.681"),
        (FishWish(100, 0.05, bags=Bags(10, 1, 0.5)), "59 bags would have to be tested"),
        (FishWish(100, 0.05, most=0), "45 tests would be needed; the 0"),
    ],
)
def test_an_impossible_wish_is_answered_with_what_it_would_need(wish: FishWish, words: str) -> None:
    plan = plan_fish(wish, SEED)
    assert plan.needed is not None
    assert words in plan.needed
    assert plan.tested <= (wish.fish or 0)


def test_certainty_with_a_perfect_test_leaves_fewer_than_the_affected_untested() -> None:
    assert size(100, 0.05, 1.0) == 96
    assert plan_fish(FishWish(100, 0.05, 1.0), SEED).reached == 1.0


def test_costs_are_those_of_what_is_expected_and_none_is_said_to_be_none() -> None:
    test, second = FishTest(0.9, false_rate=0.1), FishTest(0.9)
    wish = FishWish(100, 0.05, test=test, second=second, costs=FishCosts(2.0, 50.0, 1.0, 30.0))
    plan = plan_fish(wish, SEED)
    assert plan.cost == pytest.approx(plan.tested * 3.0 + plan.screen.second_tests * 50.0 + 30.0)
    free = plan_fish(replace(wish, costs=FishCosts()), SEED)
    assert free.cost == 0.0
    assert any("no unit costs were given" in one for one in free.remarks)


@pytest.mark.parametrize(
    "wish",
    [
        FishWish(100, -0.1),
        FishWish(100, 0.1, 1.5),
        FishWish(0, 0.1),
        FishWish(100, 0.1, test=FishTest(0.0)),
        FishWish(100, 0.1, test=FishTest(0.5, 0.6)),
        FishWish(100, 0.1, test=FishTest(1.0, false_rate=1.0)),
        FishWish(3, 0.1, names=("a", "a", "b")),
        FishWish(None, 0.1, bags=Bags(3)),
        FishWish(10, 0.1, bags=Bags(6, 2)),
        FishWish(100, 0.1, most=-1),
    ],
)
def test_numbers_that_are_none_are_refused(wish: FishWish) -> None:
    with pytest.raises(Refused):
        plan_fish(wish, SEED)
