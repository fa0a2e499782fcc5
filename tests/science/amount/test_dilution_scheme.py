"""Dilution schemes: budgets against closed forms and brute force, what is never overdrawn, what is refused."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from brinemark.science.amount.dilution_budget import contributions, correlation, level_after, uncertainty
from brinemark.science.amount.dilution_scheme import dilution_scheme, sample_dilution
from brinemark.terms.arrays import FloatArray
from brinemark.terms.dilutions import DEFAULT_KIT, Diluent, Flask, Kit, Pipette, Scheme, Step, Stock, Wish
from brinemark.terms.errors import Refused

TRIALS = 200_000
SD_OF_SD = 3.0 / math.sqrt(2.0 * TRIALS)
SECOND_ORDER = 2e-3
"""Relative, of a standard uncertainty: what the first-order law leaves out where inputs are known to a few percent."""
CORRELATION = 3.0 / math.sqrt(TRIALS)
ROUNDING = 1e-12

BULB = Pipette(10.0, 0.02, 0.01, shape="triangular")
PISTON = Pipette(1.0, 0.008, 0.003, 0.1)
SMALL, LARGE = Flask(100.0, 0.1, 0.02), Flask(250.0, 0.15, 0.05)
KIT = Kit((BULB, PISTON), (SMALL, LARGE))
LEVELS = (0.5, 1.0, 2.0, 4.0, 8.0, 20.0)


def step(name: str, pipette: Pipette, volume: float, flask: Flask, source: str = "stock") -> Step:
    return Step(name, source, pipette, volume, flask, 0.0)


def made() -> Scheme:
    return dilution_scheme(Stock(1e6, 0.002), LEVELS, DEFAULT_KIT, Diluent(0.05, 0.01))


def drawn(shape: str, half_width: float, rng: np.random.Generator) -> FloatArray:
    if shape == "rectangular":
        return rng.uniform(-half_width, half_width, TRIALS)
    if shape == "triangular":
        return np.asarray(rng.uniform(-0.5, 0.5, (2, TRIALS)).sum(axis=0) * half_width)
    return half_width * rng.normal(size=TRIALS)


def brute_force(ways: Sequence[Sequence[Step]], stock: Stock, diluent: Diluent, seed: int) -> list[FloatArray]:
    """Levels of each way when every input is drawn from its own distribution: vessels once, deliveries each time."""
    rng = np.random.default_rng(seed)
    vessels = {vessel.name: vessel for way in ways for one in way for vessel in (one.pipette, one.flask)}
    kept = {name: drawn(vessel.shape, vessel.tolerance_mL, rng) for name, vessel in sorted(vessels.items())}
    c0 = stock.level * (1.0 + stock.rel_u * rng.normal(size=TRIALS))
    lot = diluent.level + diluent.u * rng.normal(size=TRIALS)
    solutions = {"stock": c0}
    for one in {one.name: one for way in ways for one in way}.values():
        volume = one.volume_mL + kept[one.pipette.name] + one.pipette.repeat_mL * rng.normal(size=TRIALS)
        full = one.flask.volume_mL + kept[one.flask.name] + one.flask.repeat_mL * rng.normal(size=TRIALS)
        solutions[one.name] = lot + (solutions[one.source] - lot) * volume / full
    return [solutions[way[-1].name] for way in ways]


def test_two_steps_with_vessels_of_their_own_are_a_product_of_ratios() -> None:
    """c = c0 v1/V1 v2/V2; relative variances add."""
    steps = (step("a", BULB, 10.0, LARGE), step("b", PISTON, 0.5, SMALL, "a"))
    stock, clean = Stock(1000.0, 0.003), Diluent()
    assert level_after(steps, stock, clean) == pytest.approx(1000.0 * 10.0 / 250.0 * 0.5 / 100.0, rel=ROUNDING)
    relative = [
        0.003,
        0.02 / math.sqrt(6.0) / 10.0,
        0.01 / 10.0,
        0.15 / math.sqrt(6.0) / 250.0,
        0.05 / 250.0,
        0.008 / math.sqrt(3.0) / 0.5,
        0.003 / 0.5,
        0.1 / math.sqrt(6.0) / 100.0,
        0.02 / 100.0,
    ]
    found = uncertainty(contributions(steps, stock, clean)) / level_after(steps, stock, clean)
    assert found == pytest.approx(math.sqrt(sum(value**2 for value in relative)), rel=ROUNDING)


def test_the_error_that_one_pipette_keeps_adds_up_before_it_is_squared() -> None:
    """The same 1 mL into the same 100 mL three times: three times the relative error, not the root of three."""
    exact = replace(PISTON, repeat_mL=0.0)
    flask = replace(SMALL, repeat_mL=0.0, tolerance_mL=0.0)
    names = ("stock", "a", "b", "c")
    steps = tuple(step(names[i + 1], exact, 1.0, flask, names[i]) for i in range(3))
    parts = contributions(steps, Stock(1e6), Diluent())
    assert uncertainty(parts) == pytest.approx(3.0 * 0.008 / math.sqrt(3.0), rel=ROUNDING)
    assert level_after(steps, Stock(1e6), Diluent()) == pytest.approx(1.0, rel=ROUNDING)


def test_a_diluent_with_content_adds_its_share() -> None:
    steps = (step("a", BULB, 10.0, SMALL),)
    stock, lot = Stock(50.0), Diluent(0.4, 0.1)
    assert level_after(steps, stock, lot) == pytest.approx(50.0 / 10.0 + (1.0 - 1.0 / 10.0) * 0.4, rel=ROUNDING)
    assert uncertainty(contributions(steps, stock, lot), "diluent") == pytest.approx(0.9 * 0.1, rel=ROUNDING)


@pytest.mark.parametrize("lot", [Diluent(), Diluent(0.05, 0.01)], ids=["clean", "with content"])
def test_levels_and_correlations_agree_with_brute_force(lot: Diluent) -> None:
    stock = Stock(1e6, 0.002)
    scheme = dilution_scheme(stock, LEVELS, DEFAULT_KIT, lot)
    levels = brute_force([one.steps for one in scheme.levels], stock, lot, 5725)
    for one, values in zip(scheme.levels, levels, strict=True):
        assert one.level is not None
        assert one.u is not None
        assert values.mean() == pytest.approx(one.level, abs=4.0 * one.u / math.sqrt(TRIALS) + SECOND_ORDER * one.u)
        assert values.std() == pytest.approx(one.u, rel=SD_OF_SD + SECOND_ORDER)
    assert np.array(scheme.correlation) == pytest.approx(np.corrcoef(levels), abs=CORRELATION + SECOND_ORDER)
    shared = np.array(scheme.correlation)[~np.eye(len(LEVELS), dtype=bool)]
    assert shared.max() > 0.5  # solutions on the way and pipettes are shared, so levels err together


def test_a_long_scheme_of_every_shape_agrees_with_brute_force() -> None:
    coarse = Pipette(0.2, 0.004, 0.002, 0.02)
    marked = Flask(50.0, 0.3, 0.1, shape="normal")
    steps = (
        step("a", BULB, 10.0, LARGE),
        step("b", coarse, 0.1, marked, "a"),
        step("c", coarse, 0.15, SMALL, "b"),
        step("d", BULB, 10.0, LARGE, "c"),
    )
    stock, lot = Stock(5e5, 0.01), Diluent(1e-3, 3e-4)
    parts = contributions(steps, stock, lot)
    (values,) = brute_force([steps], stock, lot, 98)
    assert values.mean() == pytest.approx(level_after(steps, stock, lot), rel=SECOND_ORDER)
    # Two deliveries known to 2 %: second-order terms are a few parts in a thousand of u.
    assert values.std() == pytest.approx(uncertainty(parts), rel=SD_OF_SD + 2.0 * SECOND_ORDER)


def test_the_budget_is_complete_and_in_order() -> None:
    for one in made().levels:
        assert one.u is not None
        assert sum(line.share for line in one.budget) == pytest.approx(1.0, rel=1e-9)
        assert math.hypot(*(line.contribution for line in one.budget)) == pytest.approx(one.u, rel=1e-9)
        assert math.hypot(one.u_stock, one.u_volumes, one.u_diluent) == pytest.approx(one.u, rel=1e-9)
        shares = [line.share for line in one.budget]
        assert shares == sorted(shares, reverse=True)
        assert {line.kind for line in one.budget} == {"stock", "volume", "diluent"}


def test_the_stock_s_error_is_the_same_part_of_every_level_in_a_clean_diluent() -> None:
    scheme = dilution_scheme(Stock(1e6, 0.002), LEVELS, DEFAULT_KIT)
    for one in scheme.levels:
        assert one.level is not None
        assert one.u_stock / one.level == pytest.approx(0.002, rel=1e-9)


def test_an_unsure_stock_alone_makes_all_levels_err_together() -> None:
    exact = Kit((Pipette(1.0, 0.0, 0.0, 0.1),), (Flask(100.0, 0.0),))
    scheme = dilution_scheme(Stock(500.0, 0.05), (2.0, 4.0), exact)
    assert np.array(scheme.correlation) == pytest.approx(np.ones((2, 2)), rel=1e-9)
    one, other = (contributions(level.steps, Stock(500.0), Diluent()) for level in scheme.levels)
    assert correlation(one, other) == 0.0


def sound(scheme: Scheme, kit: Kit, wish: Wish) -> None:
    """No solution is overdrawn, no volume out of range, every level as close as wished."""
    left = {one.name: one.flask.volume_mL for one in scheme.solutions}
    for one in scheme.solutions:
        assert one.volume_mL >= kit.smallest_mL * (1.0 - 1e-9)
        low = one.pipette.nominal_mL if one.pipette.smallest_mL is None else one.pipette.smallest_mL
        assert low * (1.0 - 1e-9) <= one.volume_mL <= one.pipette.nominal_mL * (1.0 + 1e-9)
        assert one.volume_mL < one.flask.volume_mL
        if one.source != "stock":
            left[one.source] -= one.volume_mL
    for level in scheme.levels:
        if level.level is not None:
            left[level.steps[-1].name] -= wish.volume_mL
            assert set(level.steps) <= set(scheme.solutions)
    assert min(left.values(), default=0.0) >= -1e-9


def test_no_solution_is_overdrawn_and_no_volume_is_too_small() -> None:
    scheme = made()
    sound(scheme, DEFAULT_KIT, Wish())
    for one in scheme.levels:
        assert one.level is not None
        assert one.level == pytest.approx(one.wanted, rel=Wish().within)
        assert one.u_volumes <= Wish().rel_u * one.level
        assert one.steps[-1].level == one.level
    water = sum(one.flask.volume_mL - one.volume_mL for one in scheme.solutions)
    assert scheme.diluent_mL == pytest.approx(water)
    assert scheme.stock_mL == sum(one.volume_mL for one in scheme.solutions if one.source == "stock")


@settings(max_examples=40, deadline=None, derandomize=True)
@given(
    stock=st.floats(10.0, 1e6),
    ratios=st.lists(st.floats(1e-6, 0.5), min_size=1, max_size=4),
    smallest=st.sampled_from([0.05, 0.1, 0.5]),
    volume=st.sampled_from([20.0, 100.0, 200.0]),
)
def test_any_scheme_is_sound_or_says_why_there_is_none(
    stock: float, ratios: list[float], smallest: float, volume: float
) -> None:
    kit, wish = replace(KIT, smallest_mL=smallest), Wish(volume_mL=volume)
    scheme = dilution_scheme(Stock(stock, 0.01), [stock * ratio for ratio in ratios], kit, wish=wish)
    sound(scheme, kit, wish)
    for one in scheme.levels:
        assert (one.level is None) == (one.reason is not None)
        if one.level is not None:
            assert one.level == pytest.approx(one.wanted, rel=wish.within * (1.0 + 1e-6))


def test_one_step_takes_the_least_diluent_of_all_that_are_certain_enough() -> None:
    """Against every draw of the kit, one by one."""
    kit, stock = replace(DEFAULT_KIT, smallest_mL=0.002), Stock(100.0)
    for wanted in (0.3, 2.0, 7.0, 30.0):
        (one,) = dilution_scheme(stock, [wanted], kit, wish=Wish(steps=1)).levels
        assert one.level is not None
        water = one.steps[0].flask.volume_mL - one.steps[0].volume_mL
        for pipette in kit.pipettes:
            for flask in kit.flasks:
                volume = wanted / 100.0 * flask.volume_mL
                low = pipette.smallest_mL or pipette.nominal_mL
                other = contributions((step("x", pipette, volume, flask),), stock, Diluent())
                certain = uncertainty(other) <= 0.02 * wanted
                if low <= volume <= pipette.nominal_mL and flask.volume_mL >= 20.0 and certain:
                    assert water <= flask.volume_mL - volume + 0.01 * volume


def test_units_change_neither_the_vessels_nor_the_relative_errors() -> None:
    one, other = (dilution_scheme(Stock(k * 1e6, 0.002), [k * c for c in LEVELS], DEFAULT_KIT) for k in (1.0, 1e-3))
    assert [(s.pipette, s.volume_mL, s.flask) for s in one.solutions] == [
        (s.pipette, s.volume_mL, s.flask) for s in other.solutions
    ]
    for a, b in zip(one.levels, other.levels, strict=True):
        assert a.u is not None
        assert b.u == pytest.approx(1e-3 * a.u, rel=1e-9)


def test_a_larger_smallest_volume_is_kept_and_costs_diluent() -> None:
    usual = dilution_scheme(Stock(1e6), [1.0], DEFAULT_KIT)
    careful = dilution_scheme(Stock(1e6), [1.0], replace(DEFAULT_KIT, smallest_mL=1.0))
    assert min(one.volume_mL for one in usual.solutions) < 1.0
    assert min(one.volume_mL for one in careful.solutions) >= 1.0
    assert careful.diluent_mL > usual.diluent_mL


def test_a_tighter_wish_is_met_with_larger_volumes_or_the_best_there_is_is_told() -> None:
    loose, tight, hopeless = (
        dilution_scheme(Stock(1e4), [10.0], DEFAULT_KIT, wish=Wish(rel_u=rel_u)).levels[0]
        for rel_u in (0.02, 0.006, 0.0001)
    )
    assert tight.level is not None
    assert loose.level is not None
    assert hopeless.level is not None
    assert tight.u_volumes / tight.level <= 0.006
    assert 0.006 < loose.u_volumes / loose.level <= 0.02
    assert 0.0001 < hopeless.u_volumes / hopeless.level < 0.01


def test_a_level_out_of_reach_is_an_answer_with_a_reason() -> None:
    scheme = dilution_scheme(Stock(1e6), [1e-6, 4e4], KIT, wish=Wish(steps=2))
    lost, found = scheme.levels
    assert lost.level is None
    assert "at most 2 dilutions" in str(lost.reason)
    assert found.level == pytest.approx(4e4, rel=0.02)
    assert len(scheme.correlation) == 1


def test_a_sample_is_diluted_as_wanted_and_its_diluent_is_counted() -> None:
    lot = Diluent(0.3, 0.05)
    one = sample_dilution(10.0, DEFAULT_KIT, lot)
    assert one.factor is not None
    assert one.rel_u is not None
    assert one.factor == pytest.approx(10.0, rel=0.02)
    assert one.added == pytest.approx((1.0 - 1.0 / one.factor) * 0.3, rel=1e-9)
    assert one.added_u == pytest.approx((1.0 - 1.0 / one.factor) * 0.05, rel=1e-3)
    assert one.sample_mL == one.steps[0].volume_mL
    # Brute force: a sample of level 1 in a clean diluent is 1 / factor.
    (share,) = brute_force([[replace(s, source="stock") for s in one.steps]], Stock(1.0), Diluent(), 10)
    assert (1.0 / share).std() * one.factor**-1.0 == pytest.approx(one.rel_u, rel=SD_OF_SD + SECOND_ORDER)
    assert math.hypot(*(line.contribution for line in one.budget)) * one.factor == pytest.approx(one.rel_u)


def test_a_sample_that_is_scarce_is_taken_by_less() -> None:
    plenty = sample_dilution(10.0, DEFAULT_KIT, wish=Wish(volume_mL=20.0))
    scarce = sample_dilution(10.0, DEFAULT_KIT, wish=Wish(volume_mL=20.0, rel_u=0.05), sample_mL=2.6)
    assert plenty.sample_mL <= 10.0
    assert scarce.factor == pytest.approx(10.0, rel=0.02)
    assert scarce.sample_mL <= 2.6
    none = sample_dilution(2.0, DEFAULT_KIT, sample_mL=1.0)
    assert none.factor is None
    assert none.reason is not None


def test_tolerances_become_standard_uncertainties_by_their_shape() -> None:
    """QUAM:2012.P1, example A1: a flask of 100 mL +- 0.1 mL, triangular, has 0.04 mL."""
    assert Flask(100.0, 0.1).u == pytest.approx(0.04, abs=0.005)
    assert Flask(100.0, 0.1).u == pytest.approx(0.1 / math.sqrt(6.0))
    assert Pipette(1.0, 0.008).u == pytest.approx(0.008 / math.sqrt(3.0))
    assert Pipette(1.0, 0.004, shape="normal").u == 0.004


@pytest.mark.parametrize(
    ("stock", "wanted", "lot", "words"),
    [
        (Stock(1000.0), [], Diluent(), "no wanted level"),
        (Stock(1000.0), [1000.0], Diluent(), "below the stock's"),
        (Stock(1000.0), [2.0, 0.0], Diluent(), "wanted level 0;"),
        (Stock(1000.0), [0.3], Diluent(0.4), "above the diluent's own"),
        (Stock(1000.0), [math.nan], Diluent(), "wanted level nan"),
        (Stock(-1.0), [0.3], Diluent(), "stock of level -1"),
        (Stock(1000.0, -0.1), [0.3], Diluent(), "relative uncertainty -0.1"),
        (Stock(1000.0), [0.3], Diluent(-0.1), "diluent -0.1"),
        (Stock(1000.0), [0.3], Diluent(0.1, math.inf), "diluent 0.1"),
    ],
)
def test_solutions_that_make_no_sense_are_refused(stock: Stock, wanted: list[float], lot: Diluent, words: str) -> None:
    with pytest.raises(Refused, match=words):
        dilution_scheme(stock, wanted, KIT, lot)


@pytest.mark.parametrize(
    ("kit", "words"),
    [
        (Kit((), (SMALL,)), "0 pipettes and 1 flasks"),
        (Kit((BULB,), ()), "1 pipettes and 0 flasks"),
        (Kit((Pipette(-1.0, 0.1),), (SMALL,)), "pipette -1 mL"),
        (Kit((Pipette(1.0, 0.1, 0.0, 2.0),), (SMALL,)), "volumes above 0"),
        (Kit((Pipette(1.0, 1.5),), (SMALL,)), "tolerance 1.5 mL"),
        (Kit((BULB,), (Flask(math.inf, 0.1),)), "flask inf mL"),
        (Kit((BULB,), (Flask(10.0, 0.1, shape="round"),)), "shape 'round'"),
        (Kit((replace(PISTON, step_mL=0.0),), (SMALL,)), "steps of 0 mL"),
        (Kit((BULB,), (SMALL,), 0.0), "smallest volume 0 mL"),
    ],
)
def test_vessels_that_make_no_sense_are_refused(kit: Kit, words: str) -> None:
    with pytest.raises(Refused, match=words):
        dilution_scheme(Stock(1000.0), [1.0], kit)


def test_a_dilution_or_a_wish_that_makes_no_sense_is_refused() -> None:
    with pytest.raises(Refused, match="a factor above 1"):
        sample_dilution(1.0, KIT)
    with pytest.raises(Refused, match="0 mL of sample"):
        sample_dilution(2.0, KIT, sample_mL=0.0)
    with pytest.raises(Refused, match="finite numbers from 0"):
        sample_dilution(2.0, KIT, Diluent(math.nan))
    with pytest.raises(Refused, match="at least one step"):
        dilution_scheme(Stock(1000.0), [1.0], KIT, wish=Wish(steps=0))
