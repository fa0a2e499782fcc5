"""Likelihood ratios against integrals by a general library, and on known truth."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.stats import lognorm, norm

from brinemark.science.fish.background import background_or_reason, fit_background
from brinemark.science.fish.evidence import (
    cap_at,
    cap_of,
    capped,
    log10_ratio_of_levels,
    moves_of,
    posterior_table,
    sensitivity_table,
    table_over_backgrounds,
    weigh,
    weigh_series,
    weigh_worlds,
)
from brinemark.science.fish.integration import likelihood_of_curve
from brinemark.terms.amounts import ConfidenceCurve
from brinemark.terms.arrays import FloatArray
from brinemark.terms.errors import Refused
from brinemark.terms.evidence import BackgroundFit, BackgroundTable, LevelLikelihood, Proposition, Weight

WORLD = "release"
NONE = Proposition("no exposure at capture", WORLD, np.zeros(500))
GRID = np.concatenate([[0.0], np.geomspace(0.005, 500.0, 240)])
INTEGRATION = 0.005  # in log10, of the grids of level and addition


def noise(level: FloatArray) -> FloatArray:
    return np.sqrt(0.3**2 + (0.2 * level) ** 2)


Law = Callable[[FloatArray], FloatArray]


def table_of(law: Law) -> LevelLikelihood:
    return LevelLikelihood(GRID, law(GRID), float(law(np.array([1e12]))[0]))


def signal_law(signal: float) -> Law:
    return lambda level: np.asarray(norm.logpdf(signal, level, noise(level)))


def below_law(limit: float) -> Law:
    return lambda level: np.asarray(norm.logcdf(limit, level, noise(level)))


def above_law(limit: float) -> Law:
    return lambda level: np.asarray(norm.logsf(limit, level, noise(level)))


def of_signal(signal: float) -> LevelLikelihood:
    return table_of(signal_law(signal))


LAWS = (signal_law(0.1), signal_law(3.0), signal_law(12.0), below_law(0.6), above_law(15.0))


def fit_of(mu: FloatArray, sd: FloatArray) -> BackgroundFit:
    ends = [tuple(np.quantile(np.exp(v), [0.5, 0.025, 0.975]).tolist()) for v in (mu, sd)]
    nodes = np.stack([mu, sd, np.full(mu.size, 1.0 / mu.size)])
    return BackgroundFit(mu, sd, nodes, ends[0], ends[1], (ends[0][0], ends[1][0]), 10, 0)


def known(median: float, gsd: float, draws: int = 1) -> BackgroundFit:
    return fit_of(np.full(draws, math.log(median)), np.full(draws, math.log(gsd)))


def uncertain(median: float, gsd: float, draws: int = 64) -> BackgroundFit:
    rng = np.random.default_rng(3)
    return fit_of(rng.normal(math.log(median), 0.3, draws), math.log(gsd) * np.exp(rng.normal(0.0, 0.2, draws)))


def exposed(median: float = 3.0, sd: float = 0.7, count: int = 2000) -> Proposition:
    scores = norm.ppf((np.arange(count) + 0.5) / count)
    return Proposition("exposed at capture", WORLD, median * np.exp(sd * scores))


def density(law: Law, median: float, gsd: float, added: float) -> float:
    """Predictive density by a general integrator over the score of the background."""

    def part(z: float) -> float:
        return float(np.exp(law(np.array([median * gsd**z + added]))[0]) * norm.pdf(z))

    return float(sum(quad(part, a, a + 1.0, epsabs=0.0, epsrel=1e-6, limit=200)[0] for a in range(-8, 24)))


@pytest.mark.parametrize("law", LAWS)
@pytest.mark.parametrize("gsd", [1.3, 3.0])
def test_a_ratio_is_that_of_integrals_by_a_general_library(law: Law, gsd: float) -> None:
    added = 4.0
    wanted = math.log10(density(law, 1.0, gsd, added) / density(law, 1.0, gsd, 0.0))
    found = weigh(table_of(law), known(1.0, gsd), Proposition("x", WORLD, np.full(5, added)), NONE)
    assert found.log10_ratio == pytest.approx(wanted, abs=INTEGRATION)


def test_draws_of_what_is_added_are_averaged_as_densities() -> None:
    law, added = signal_law(3.0), np.array([0.0, 0.5, 2.0, 9.0])
    wanted = np.mean([density(law, 1.0, 2.0, a) for a in added]) / density(law, 1.0, 2.0, 0.0)
    found = weigh(table_of(law), known(1.0, 2.0), Proposition("x", WORLD, added), NONE)
    assert found.log10_ratio == pytest.approx(math.log10(wanted), abs=INTEGRATION)


@pytest.mark.parametrize("law", (*LAWS, signal_law(400.0)))
def test_where_nothing_is_released_every_reading_has_ratio_one(law: Law) -> None:
    made = table_of(law)
    nothing = Proposition("exposed at capture", WORLD, np.zeros(1000))
    for background in (known(1.0, 1.5), uncertain(1.0, 3.0)):
        found = weigh(made, background, nothing, NONE)
        assert (found.lower, found.log10_ratio, found.upper) == (0.0, 0.0, 0.0)
    table = table_over_backgrounds(made, (nothing, NONE), "no controls")
    assert {row.log10_ratio for row in table.rows if not math.isnan(row.log10_ratio)} == {0.0}


def test_a_wide_background_is_not_cautious() -> None:
    # Background of median 1, an exact reading of 3, and a proposition under which ln level has density 0.375 there,
    # whatever the background: log10 ratios of 0.23 at GSD 3 and 0.65 at GSD 100.
    def ratio(gsd: float) -> float:
        return math.log10(0.375 / (3.0 * lognorm.pdf(3.0, math.log(gsd))))

    assert (ratio(3.0), ratio(100.0)) == pytest.approx((0.23, 0.65), abs=0.005)
    level = np.concatenate([[0.0], np.geomspace(0.01, 100.0, 4001)])
    sharp = LevelLikelihood(level, -0.5 * (np.log(np.maximum(level, 1e-9) / 3.0) / 0.05) ** 2, -math.inf)
    scores = norm.ppf((np.arange(20_000) + 0.5) / 20_000)
    first = 3.0 * np.exp(scores / (0.375 * math.sqrt(2.0 * math.pi)))
    found = [log10_ratio_of_levels(sharp, first, np.exp(math.log(gsd) * scores)) for gsd in (3.0, 100.0)]
    assert found == pytest.approx([0.23, 0.65], abs=0.01)


def test_the_table_names_the_background_with_the_least_support() -> None:
    table = table_over_backgrounds(of_signal(3.0), (exposed(), NONE), "0 control tanks", (0.3, 3.0), (1.5, 100.0))
    assert len(table.rows) == 4
    assert (table.least_favourable.median, table.least_favourable.gsd) == (3.0, 1.5)
    assert table.least_favourable.log10_ratio == min(row.log10_ratio for row in table.rows)
    assert table.reason == "0 control tanks"
    with pytest.raises(Refused):
        table_over_backgrounds(of_signal(3.0), (exposed(), NONE), "", (0.0,), (3.0,))


def test_the_interval_grows_with_the_doubt_about_the_background() -> None:
    narrow = weigh(of_signal(4.0), known(0.5, 1.5), exposed(), NONE)
    wide = weigh(of_signal(4.0), uncertain(0.5, 1.5), exposed(), NONE)
    assert wide.lower <= wide.log10_ratio <= wide.upper
    assert wide.upper - wide.lower > 5.0 * (narrow.upper - narrow.lower)


def test_few_draws_widen_the_interval_as_their_scatter_does() -> None:
    background = known(1.0, 2.0, 400)
    rng = np.random.default_rng(9)
    added = 3.0 * np.exp(rng.normal(0.0, 0.7, (200, 50)))
    weights = [weigh(of_signal(6.0), background, Proposition("x", WORLD, row), NONE, seed=1) for row in added]
    truth = float(np.std([w.log10_ratio for w in weights]))
    told = float(np.mean([w.upper - w.lower for w in weights])) / (2 * 1.96)
    assert told == pytest.approx(truth, rel=0.2)  # 200 studies and 400 draws give about 6 % each


def test_worlds_are_never_mixed() -> None:
    other = Proposition("no exposure at capture", "no release", np.zeros(5))
    with pytest.raises(Refused, match="one world"):
        weigh(of_signal(3.0), known(1.0, 2.0), exposed(), other)


@pytest.mark.parametrize("added", [np.array([-1.0, 2.0]), np.array([math.nan]), np.zeros(0), np.array([math.inf])])
def test_impossible_additions_are_refused(added: FloatArray) -> None:
    with pytest.raises(Refused):
        weigh(of_signal(3.0), known(1.0, 2.0), Proposition("x", WORLD, added), NONE)


def test_readings_that_neither_proposition_explains_are_refused() -> None:
    level = np.array([0.0, 1.0, 2.0, 3.0])
    impossible = LevelLikelihood(level, np.array([0.0, -1e5, -1e5, -1e5]), -1e5)
    far = Proposition("x", WORLD, np.full(3, 50.0))
    with pytest.raises(Refused, match="neither"):
        weigh(impossible, known(10.0, 1.05), far, far)


def test_a_curve_gives_the_likelihood_of_a_normal_reading() -> None:
    level = np.linspace(0.0, 8.0, 41)
    found = likelihood_of_curve(ConfidenceCurve(level, norm.sf(level, 3.0, 1.0), 1e-9))
    inside = np.abs(level - 3.0) < 4.0
    assert found.log_likelihood[inside] == pytest.approx(norm.logpdf(level, 3.0)[inside] + 0.5 * math.log(2 * math.pi))
    assert found.at_infinity < -11.0


@pytest.mark.parametrize(("count", "ratio"), [(9, 3.5), (30, 10.5), (100, 33.9)])
def test_no_false_positive_of_n_supports_at_most(count: int, ratio: float) -> None:
    assert cap_of(0, count, "captive-bred", False).ratio == pytest.approx(ratio, abs=0.05)


def test_caps_hold_both_sides_and_say_what_is_unknown() -> None:
    none = cap_of(0, 0, "none", True)
    assert (none.ratio, none.floor, none.caution) == (1.0, 1.0, "specificity unknown for wild fish")
    assert cap_of(0, 30, "captive-bred", False).caution == "specificity unknown for wild fish"
    wild = cap_of(1, 60, "net-caught", True, (18, 20))
    assert wild.caution is None
    assert wild.sensitivity.upper < 1.0
    assert capped(5.0, wild) == pytest.approx(math.log10(wild.sensitivity.upper / wild.false_positive.upper))
    assert capped(-5.0, wild) == pytest.approx(math.log10(wild.floor))
    assert capped(0.1, wild) == 0.1
    assert capped(-1.0, none) == 0.0


def test_posteriors_are_a_table_over_priors() -> None:
    rows = posterior_table(math.log10(1.8), 0.0, 1.0)
    assert [row.prior for row in rows][::6] == [0.05, 0.5]
    quarter = next(row for row in rows if row.prior == 0.25)
    assert (quarter.posterior, quarter.lower, quarter.upper) == pytest.approx((0.375, 0.25, 10 / 13))
    with pytest.raises(Refused):
        posterior_table(1.0, 0.0, 2.0, (0.0,))


def test_the_assumption_that_moves_it_most_stands_first() -> None:
    assert [m.assumption for m in sensitivity_table({"a": (0.0, 0.1), "b": (1.0, -1.0)})] == ["b", "a"]
    moves = moves_of(of_signal(4.0), uncertain(0.5, 1.5), (exposed(), NONE), {})
    low, high = moves["median of the background"]
    assert low > high  # the more background, the less is left for the fish
    assert len(sensitivity_table(moves)) == 3


def test_a_series_of_one_sample_is_a_sample() -> None:
    one = exposed(count=300)
    series = Proposition(one.name, WORLD, one.added[:, None])
    nothing = Proposition(NONE.name, WORLD, np.zeros((300, 1)))
    alone = weigh(of_signal(5.0), known(1.0, 2.0), one, NONE)
    found = weigh_series([of_signal(5.0)], known(1.0, 2.0), series, nothing)
    assert found.log10_ratio == pytest.approx(alone.log10_ratio, abs=INTEGRATION)


def test_a_series_is_that_of_integrals_by_a_general_library() -> None:
    laws, added = (signal_law(4.0), signal_law(2.0), below_law(1.5)), (3.0, 1.0, 0.2)

    def both(*, of_fish: float) -> float:
        def part(z: float) -> float:
            terms = [law(np.array([2.0**z + of_fish * a]))[0] for law, a in zip(laws, added, strict=True)]
            return float(np.exp(sum(terms)) * norm.pdf(z))

        return float(sum(quad(part, a, a + 1.0, epsabs=0.0, epsrel=1e-6, limit=200)[0] for a in range(-8, 8)))

    first = Proposition("x", WORLD, np.tile(added, (5, 1)))
    second = Proposition("y", WORLD, np.zeros((5, 3)))
    found = weigh_series([table_of(law) for law in laws], known(1.0, 2.0), first, second)
    assert found.log10_ratio == pytest.approx(math.log10(both(of_fish=1.0) / both(of_fish=0.0)), abs=INTEGRATION)
    same = weigh_series([table_of(law) for law in laws], uncertain(1.0, 2.0), second, second)
    assert (same.lower, same.log10_ratio, same.upper) == (0.0, 0.0, 0.0)
    with pytest.raises(Refused, match="3 samples"):
        weigh_series([table_of(law) for law in laws], known(1.0, 2.0), exposed(), NONE)


def test_every_world_has_its_own_answer_and_without_controls_only_a_table() -> None:
    nothing = Proposition("exposed at capture", "no release", np.zeros(100))
    pairs = [(exposed(), NONE), (nothing, Proposition(NONE.name, "no release", np.zeros(100)))]
    levels = np.array([0.4, 0.5, 0.8, 1.0])
    first, second = weigh_worlds(of_signal(4.0), background_or_reason(levels, levels), pairs)
    assert isinstance(first, Weight)
    assert isinstance(second, Weight)
    assert first == weigh(of_signal(4.0), fit_background(levels, levels), *pairs[0])
    assert (first.world, second.world) == (WORLD, "no release")
    assert first.log10_ratio > 1.0
    assert second.log10_ratio == 0.0
    tables = weigh_worlds(of_signal(4.0), background_or_reason(np.zeros(2), np.ones(2)), pairs)
    assert [type(t) for t in tables] == [BackgroundTable, BackgroundTable]
    assert "2 control waters" in str(getattr(tables[0], "reason", ""))


@pytest.mark.parametrize(
    ("level", "log_l"),
    [
        ([0.0, 1.0], [0.0, 0.0]),
        ([1.0, 2.0, 3.0], [0.0] * 3),
        ([0.0, 2.0, 1.0], [0.0] * 3),
        ([0.0, 1.0, 2.0], [0.0, math.nan, 0.0]),
        ([0.0, 1.0, 2.0], [0.0] * 4),
    ],
)
def test_a_table_that_is_no_likelihood_is_refused(level: list[float], log_l: list[float]) -> None:
    broken = LevelLikelihood(np.array(level), np.array(log_l), 0.0)
    with pytest.raises(Refused, match="rising from 0"):
        weigh(broken, known(1.0, 2.0), exposed(), NONE)


def test_splitting_by_an_assumption_gives_the_ratios_of_its_ends() -> None:
    """With draws that rise with the assumption, the ends are the ratios of the lowest and the highest quarter of them,
    each integrated over the background as weigh does it."""
    likelihood, background = of_signal(4.0), uncertain(0.5, 2.0)
    added = np.sort(np.random.default_rng(4).lognormal(0.5, 0.8, 400))
    first, second = Proposition("first", "w", added), Proposition("second", "w", np.zeros(400))
    found = moves_of(likelihood, background, (first, second), {"rising": added, "falling": -added, "one": added * 0})
    assert "one" not in found and len(found) == 5
    assert found["rising"] == pytest.approx(found["falling"][::-1])
    for end, part in zip(found["rising"], (added[:100], added[-100:]), strict=True):
        alone = weigh(likelihood, background, replace(first, added=part), replace(second, added=np.zeros(100)))
        assert end == pytest.approx(alone.log10_ratio, abs=0.02)  # the nodes of the additions differ


def test_a_ratio_that_no_unexposed_sample_reached_is_capped_as_by_no_false_positive() -> None:
    for count, ratio in ((9, 3.5), (30, 10.0), (100, 34.0)):
        cap = cap_at(2.0, np.full(20, 3.0), np.full(count, -1.0), "captive-bred", False)
        assert cap.ratio == pytest.approx(ratio, rel=0.06)  # published to two figures
        assert cap.ratio == pytest.approx(cap_of(0, count, "captive-bred", False).ratio)
    reached = cap_at(0.5, np.full(20, 3.0), np.linspace(-1.0, 1.0, 100), "captive-bred", False)
    assert reached.false_positive.count == 25 and 2.0 < reached.ratio < 4.0  # 1 over the upper bound of 25 in 100
    low = cap_at(-2.0, np.full(30, 1.0), np.full(20, -3.0), "captive-bred", False)
    assert low.floor == pytest.approx((1.0 - 0.05 ** (1.0 / 30.0)) / 1.0, rel=1e-6)
