"""Prevalence over consignments: against the published estimate, a general integrator, and known truth."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest

from brinemark.science.fish import prevalence, surveillance
from brinemark.terms.arrays import FloatArray
from brinemark.terms.errors import Refused
from brinemark.terms.surveillance import ConsignmentTests, FalseFindings, Interval
from reference import sampling_values as known

SEVENTH = 5e-8
DRAWS = 48
CELL = math.pi / 2 / prevalence.CELLS  # the widest cell of prevalence
CLEAN = FalseFindings(2, 200, "wild fish caught with a net", same_population=True)


def fading(days: float, volume: float) -> FloatArray:
    """Sensitivity that falls with days and volume; draws that err together."""
    middle = 0.95 * math.exp(-0.1 * days) / (1.0 + volume / 100.0)
    return prevalence.alike_draws([middle], 0.2, DRAWS, 5)[:, 0]


TEST = surveillance.WaterTest(fading, CLEAN)


def alike(count: int, tested: int, positive: int, **changes: object) -> list[ConsignmentTests]:
    one = ConsignmentTests("c0", "north reef", "2026-1", tested, positive, 1.0, 5.0)
    return [replace(one, name=f"c{number}", **changes) for number in range(count)]  # type: ignore[arg-type]


def test_the_estimate_with_known_errors_is_the_published_one() -> None:
    answer = prevalence.rogan_gladen(20, 120, 0.9, 0.99)
    assert answer is not None
    assert answer.estimate == pytest.approx(known.PREVALENCE, abs=5e-6)
    assert answer.exact == pytest.approx(known.PREVALENCE_EXACT, abs=SEVENTH)
    assert answer.wilson == pytest.approx(known.PREVALENCE_WILSON, abs=SEVENTH)
    assert answer.normal == pytest.approx(known.PREVALENCE_NORMAL, abs=SEVENTH)
    cows = prevalence.rogan_gladen(23, 150, 0.96, 0.89)
    assert cows is not None
    assert cows.estimate == pytest.approx(known.COWS, abs=SEVENTH)


def test_fewer_positives_than_false_ones_give_a_negative_estimate_not_a_zero() -> None:
    answer = prevalence.rogan_gladen(1, 100, 0.8, 0.95)
    assert answer is not None
    assert answer.estimate == pytest.approx((0.01 - 0.05) / 0.75)
    assert prevalence.rogan_gladen(1, 100, 0.05, 0.95) is None


def test_the_posterior_of_a_lone_consignment_agrees_with_a_general_integrator() -> None:
    from scipy.integrate import quad
    from scipy.special import roots_jacobi
    from scipy.stats import beta, binom

    one = alike(1, 12, 5)
    posterior = prevalence.prevalence_posterior(one, np.array([[0.8]]), np.array([0.03]))
    nodes, weights = roots_jacobi(prevalence.CORRELATIONS, -0.5, 0.0)

    def height(mean: float) -> float:
        total = 0.0
        for node, weight in zip(0.5 * (nodes + 1.0), weights, strict=True):
            a, b = mean * (1.0 / node - 1.0), (1.0 - mean) * (1.0 / node - 1.0)
            # By parts, for the beta density is not bounded: f(1) - integral of f' times the distribution function.
            slope = quad(lambda p, a=a, b=b: beta.cdf(p, a, b) * _slope(p), 0.0, 1.0, limit=200)[0]
            total += weight * (binom.pmf(5, 12, 0.8) - slope)
        return total

    def _slope(p: float) -> float:
        q = 0.03 + p * 0.77
        return float(binom.pmf(5, 12, q) * (5 / q - 7 / (1 - q)) * 0.77)

    density = posterior.mass / np.diff(posterior.edges)
    places = [20, 60, 100, 140, 180]
    middles = [math.sin(0.5 * math.pi * (place + 0.5) / prevalence.CELLS) ** 2 for place in places]
    expected = np.array([height(mean) for mean in middles])
    assert density[places] / density[100] == pytest.approx(expected / expected[2], rel=1e-3)


def test_a_perfect_test_of_independent_results_gives_the_plain_share() -> None:
    groups = alike(60, 1, 0)[:45] + alike(60, 1, 1)[:15]
    posterior = prevalence.prevalence_posterior(groups, np.ones((1, 60)), np.zeros(1))
    # One fish of each consignment: clustering does not matter and the posterior is Beta(16, 46).
    from scipy.special import betaincinv

    assert posterior.median() == pytest.approx(float(betaincinv(16, 46, 0.5)), abs=CELL)


def test_each_consignment_counts_with_its_own_sensitivity() -> None:
    fresh, late = alike(4, 20, 4, days=0.0), alike(4, 20, 4, days=10.0)
    low, high = (surveillance.survey(group, TEST)[0] for group in (fresh, late))
    assert low.estimate is not None
    assert high.estimate is not None
    assert high.estimate > 1.8 * low.estimate
    mixed = surveillance.survey([*fresh[:2], *late[:2]], TEST)[0]
    assert mixed.sensitivity_range.lower == pytest.approx(high.sensitivity)
    assert mixed.sensitivity_range.upper == pytest.approx(low.sensitivity)


def test_no_positive_at_all_gives_an_interval_that_reaches_zero() -> None:
    answer = surveillance.survey(alike(6, 20, 0), TEST)[0]
    assert answer.interval is not None
    assert answer.interval.lower == 0.0
    assert not any("false detections alone" in caution for caution in answer.cautions)  # there is nothing to explain


def test_so_few_positives_that_false_detections_explain_them_are_called_so() -> None:
    first, *rest = alike(6, 20, 0)
    answer = surveillance.survey([replace(first, positive=1), *rest], TEST)[0]
    assert answer.expected_false is not None and answer.positive <= answer.expected_false.upper
    assert any("false detections alone" in caution for caution in answer.cautions)


def test_likelihood_ratios_of_a_sharp_test_say_what_counts_say() -> None:
    sharp = np.full((1, 5), 0.9)
    counts = alike(5, 10, 3)
    ratios = tuple([0.9 / 0.02] * 3 + [0.1 / 0.98] * 7)
    graded = [replace(one, likelihood_ratios=ratios) for one in counts]
    rate = np.array([0.02])
    one, other = (prevalence.prevalence_posterior(group, sharp, rate) for group in (counts, graded))
    assert one.mass == pytest.approx(other.mass, rel=1e-9)


def test_probabilities_give_back_the_ratios_whatever_prior_they_were_worked_out_with() -> None:
    ratios = (0.1, 1.0, 30.0)
    for prior in (0.05, 0.5):
        odds = [ratio * prior / (1.0 - prior) for ratio in ratios]
        probabilities = [one / (1.0 + one) for one in odds]
        assert prevalence.ratios_from_probabilities(probabilities, prior) == pytest.approx(ratios)
    with pytest.raises(Refused):
        prevalence.ratios_from_probabilities([1.0], 0.5)


def test_consignments_with_different_numbers_of_draws_are_refused() -> None:
    def uneven(days: float, volume: float) -> FloatArray:
        return np.full(3 if days > 1.0 else 4, 0.5)

    group = [*alike(2, 20, 2), *alike(1, 20, 2, days=2.0)]
    with pytest.raises(Refused, match="different numbers of draws"):
        surveillance.survey(group, replace(TEST, sensitivity=uneven))


def test_ratios_of_one_say_nothing_and_no_prevalence_is_stated() -> None:
    answer = surveillance.survey(alike(5, 10, 0, likelihood_ratios=(1.0,) * 10), TEST)[0]
    assert answer.estimate is None
    assert "leaves nearly every prevalence open" in (answer.reason or "")


@pytest.mark.parametrize(
    ("group", "test", "words"),
    [
        (alike(6, 20, 2), replace(TEST, false_findings=None), "false-positive rate is not known"),
        (alike(6, 20, 2, days=60.0), TEST, "positives say nothing"),
        (alike(2, 20, 2), TEST, "2 consignments, at least 3"),
        (alike(4, 2, 1), TEST, "8 tests, at least 10"),
        (alike(6, 20, 2), replace(TEST, false_findings=FalseFindings(1, 2, "captive")), "positives say nothing"),
    ],
)
def test_where_no_prevalence_can_be_stated_the_reason_is_given(
    group: list[ConsignmentTests], test: surveillance.WaterTest, words: str
) -> None:
    answer = surveillance.survey(group, test)[0]
    assert (answer.estimate, answer.interval) == (None, None)
    assert words in (answer.reason or "")


def test_captive_bred_negatives_leave_the_specificity_for_wild_fish_unknown() -> None:
    captive = replace(TEST, false_findings=FalseFindings(2, 200, "captive-bred"))
    answer = surveillance.survey(alike(6, 20, 10), captive)[0]
    assert answer.cautions == ("specificity unknown for wild fish: the negatives tested are captive-bred",)


def test_origins_and_seasons_are_told_apart_and_come_in_order() -> None:
    south = alike(4, 20, 15, origin="far south", season="2026-2")
    chart = surveillance.time_chart(surveillance.survey([*alike(4, 20, 1), *south], TEST))
    assert [(point.origin, point.season) for point in chart] == [("far south", "2026-2"), ("north reef", "2026-1")]
    assert chart[0].share == 0.75
    assert chart[0].exact.lower < 0.75 < chart[0].exact.upper


def test_false_detections_to_expect_agree_with_drawing_the_rate() -> None:
    answer = surveillance.expected_false(50, CLEAN)
    rates = np.random.default_rng(8).beta(2.5, 198.5, 400_000)
    monte_carlo = 4.0 * 50 * float(np.std(rates)) / math.sqrt(rates.size)
    assert answer.mean == pytest.approx(50 * float(np.mean(rates)), abs=monte_carlo)
    assert answer.at_least_one == pytest.approx(1.0 - float(np.mean((1.0 - rates) ** 50)), abs=monte_carlo)
    assert surveillance.expected_false(100, FalseFindings(0, 100, "wild")).upper == pytest.approx(2.9513, abs=5e-5)
    assert surveillance.expected_false_at(200, 0.01).mean == pytest.approx(2.0)


def test_a_consignment_held_long_is_remarked_against_its_own_expectation() -> None:
    group = [*alike(5, 20, 10, days=0.0), *alike(1, 20, 1, days=15.0)]
    data = surveillance.funnel(group, TEST, 0.55)
    assert data.centre == pytest.approx(51 / 120)
    assert data.points[-1].share < data.limits[19].outer.lower
    assert data.points[-1].p > 0.05
    assert [limit.tested for limit in data.limits] == list(range(1, 21))
    assert data.limits[19].outer.lower <= data.limits[19].inner.lower


@pytest.mark.parametrize(
    "change",
    [{"positive": 21}, {"days": -1.0}, {"volume": 0.0}, {"likelihood_ratios": (1.0,)}, {"tested": 0, "positive": 0}],
)
def test_impossible_consignments_are_refused(change: dict[str, object]) -> None:
    with pytest.raises(Refused):
        surveillance.survey([replace(one, **change) for one in alike(3, 20, 2)], TEST)  # type: ignore[arg-type]


def simulated(generator: np.random.Generator, mean: float, correlation: float | str) -> Interval | None:
    """One survey of 12 consignments of 8 to 24 fish, sensitivity and false-positive rate not known."""
    shift, rate = 0.2 * generator.standard_normal(), generator.beta(2.5, 198.5)
    group = []
    for number in range(12):
        days, volume = generator.uniform(0.0, 8.0), generator.uniform(2.0, 40.0)
        middle = 0.95 * math.exp(-0.1 * days) / (1.0 + volume / 100.0)
        error = 0.2 * generator.standard_normal() if correlation == "own errors" else shift
        sensitivity = 1.0 / (1.0 + (1.0 - middle) / middle * math.exp(-error))
        share = share_affected(generator, mean, correlation)
        tested = int(generator.integers(8, 25))
        positive = int(generator.binomial(tested, rate + share * (sensitivity - rate)))
        group.append(ConsignmentTests(f"c{number}", "reef", "1", tested, positive, days, volume))
    return surveillance.survey(group, TEST)[0].interval


def share_affected(generator: np.random.Generator, mean: float, correlation: float | str) -> float:
    """Of one consignment: beta, or by a word one of the populations that the model does not hold."""
    if correlation == 0.0:
        return mean
    if correlation == "all or none":
        return float(generator.random() < mean)
    if correlation == "two kinds":
        return 0.75 if generator.random() < mean / 0.75 else 0.0
    strength = 4.0 if correlation == "own errors" else 1.0 / float(correlation) - 1.0
    return float(generator.beta(mean * strength, (1.0 - mean) * strength))


def coverage(truths: Sequence[tuple[float, float | str]], seed: int) -> float:
    generator = np.random.default_rng(seed)
    stated = [(truth[0], interval) for truth in truths if (interval := simulated(generator, *truth)) is not None]
    assert len(stated) >= 0.98 * len(truths)
    return float(np.mean([interval.lower <= mean <= interval.upper for mean, interval in stated]))


REPEATS = 200
MONTE_CARLO = 3.0 * math.sqrt(0.95 * 0.05 / REPEATS)


def test_intervals_hold_their_level_when_truths_come_from_the_priors() -> None:
    generator = np.random.default_rng(20)
    truths = [(float(generator.random()), float(generator.beta(1.0, 0.5))) for _ in range(REPEATS)]
    assert coverage(truths, 21) == pytest.approx(0.95, abs=MONTE_CARLO)


@pytest.mark.parametrize(("mean", "correlation"), [(0.05, 0.0), (0.3, 0.1), (0.3, 0.5), (0.1, 0.3)])
def test_intervals_hold_their_level_at_single_truths_also_when_consignments_cluster(
    mean: float, correlation: float
) -> None:
    assert coverage([(mean, correlation)] * REPEATS, 22) >= 0.95 - MONTE_CARLO


@pytest.mark.parametrize("kind", ["all or none", "two kinds", "own errors"])
def test_intervals_hold_nine_in_ten_for_populations_outside_the_model(kind: str) -> None:
    assert coverage([(0.3, kind)] * REPEATS, 23) >= 0.90 - 3.0 * math.sqrt(0.9 * 0.1 / REPEATS)
