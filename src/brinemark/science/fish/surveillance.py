"""Prevalence by origin and season, with the reasons why none can be stated; data of the funnel and the time chart."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from brinemark.science.fish.prevalence import false_rate_draws, prevalence_posterior, rogan_gladen
from brinemark.science.fish.proportions import (
    binomial_range,
    check_count,
    clopper_pearson,
    two_sided_p,
    upper_bound,
)
from brinemark.terms.arrays import FloatArray
from brinemark.terms.errors import Refused
from brinemark.terms.surveillance import (
    ConsignmentTests,
    ExpectedFalse,
    FalseFindings,
    Funnel,
    FunnelLimits,
    FunnelPoint,
    Interval,
    PrevalenceStatement,
    SensitivityOf,
    TimePoint,
)

FEWEST_CONSIGNMENTS = 3
FEWEST_TESTED = 10
SURE = 0.95
WIDEST = 0.9
INNER, OUTER = 0.95, 0.998


@dataclass(frozen=True, slots=True)
class WaterTest:
    """What is known of the test: sensitivity by days and volume as draws (None = every consignment brings its own), and
    its false findings (None = not known)."""

    sensitivity: SensitivityOf | None
    false_findings: FalseFindings | None
    seed: int = 1


def survey(
    consignments: Sequence[ConsignmentTests], test: WaterTest, level: float = 0.95
) -> tuple[PrevalenceStatement, ...]:
    """Prevalence of each origin and season, sorted by both.

    Refused: positive above tested, negative days, volume not above 0, likelihood ratios not one per test.
    """
    check_consignments(consignments)
    groups: dict[tuple[str, str], list[ConsignmentTests]] = {}
    for one in consignments:
        groups.setdefault((one.origin, one.season), []).append(one)
    return tuple(_statement(groups[key], test, level) for key in sorted(groups))


def own_sensitivities(consignments: Sequence[ConsignmentTests], test: WaterTest) -> FloatArray:
    """(draws, consignments) of the sensitivity of each consignment: its own, else that at its days and volume.

    Draw d must belong to one state of knowledge in all of them. Refused: not the same number of draws for each, no
    sensitivity at all.
    """
    columns = [_sensitivity(one, test) for one in consignments]
    if len({column.shape for column in columns}) > 1:
        raise Refused(
            "sensitivities with different numbers of draws", "as many for each consignment", "draw them alike"
        )
    return np.column_stack(columns)


def _sensitivity(one: ConsignmentTests, test: WaterTest) -> FloatArray:
    if one.sensitivity:
        return np.array(one.sensitivity)
    if test.sensitivity is None:
        raise Refused(f"consignment {one.name} without a sensitivity", "its own, or one by days and volume", "give one")
    return np.atleast_1d(np.asarray(test.sensitivity(one.days, one.volume)))


def expected_false(tested: int, false_findings: FalseFindings) -> ExpectedFalse:
    """False detections to expect if none of the tested was exposed.

    mean : tested x the rate's posterior mean, prior Beta(1/2, 1/2); upper : tested x its exact one-sided 95 % upper
    bound; at_least_one : 1 - E(1 - rate)^tested, the expectation over the same posterior.
    """
    from scipy.special import betaln

    check_count(false_findings.found, false_findings.tested)
    a, b = 0.5 + false_findings.found, 0.5 + false_findings.tested - false_findings.found
    none = math.exp(float(betaln(a, b + tested) - betaln(a, b)))
    upper = tested * upper_bound(false_findings.found, false_findings.tested)
    return ExpectedFalse(tested * a / (a + b), upper, 1.0 - none)


def expected_false_at(tested: int, rate: float) -> ExpectedFalse:
    """The same for a rate taken as known, such as the nominal alpha of the reading rule; says nothing of the fish."""
    if tested < 0 or not 0.0 <= rate <= 1.0:
        raise Refused(f"{tested} tests at a rate of {rate:g}", "tests from 0 up, a rate from 0 to 1", "correct them")
    return ExpectedFalse(tested * rate, tested * rate, 1.0 - (1.0 - rate) ** tested)


def funnel(consignments: Sequence[ConsignmentTests], test: WaterTest, prevalence: float) -> Funnel:
    """Share of positives against number of tests, with exact binomial limits about the pooled share.

    Limits take the pooled share for all. Each point has besides the share expected of it at the given prevalence with
    its own sensitivity, f + prevalence (s_i - f), and the exact two-sided p against that: a consignment held long can
    lie low in the funnel without being remarkable. Without known false findings f = 0.
    """
    check_consignments(consignments)
    sensitivity = np.mean(own_sensitivities(consignments, test), axis=0)
    known = test.false_findings
    f = 0.0 if known is None else (known.found + 0.5) / (known.tested + 1.0)
    expected = f + prevalence * (sensitivity - f)
    points = tuple(
        FunnelPoint(
            one.name, one.tested, one.positive / one.tested, float(q), two_sided_p(one.positive, one.tested, float(q))
        )
        for one, q in zip(consignments, expected, strict=True)
    )
    centre = sum(one.positive for one in consignments) / sum(one.tested for one in consignments)
    sizes = range(1, max(one.tested for one in consignments) + 1)
    limits = (FunnelLimits(n, binomial_range(n, centre, INNER), binomial_range(n, centre, OUTER)) for n in sizes)
    return Funnel(centre, points, tuple(limits))


def time_chart(statements: Sequence[PrevalenceStatement], level: float = 0.95) -> tuple[TimePoint, ...]:
    """Each origin's seasons in order (season names sort as they should be read, 2026-1 before 2026-2)."""
    return tuple(
        TimePoint(
            one.origin,
            one.season,
            one.tested,
            one.positive,
            one.positive / one.tested,
            clopper_pearson(one.positive, one.tested, level),
            one,
        )
        for one in sorted(statements, key=lambda one: (one.origin, one.season))
    )


def check_consignments(consignments: Sequence[ConsignmentTests]) -> None:
    if not consignments:
        raise Refused("no consignment", "at least one consignment with tests", "take in consignments and their tests")
    for one in consignments:
        check_count(one.positive, one.tested)
        if not (one.days >= 0.0 and one.volume > 0.0):
            raise Refused(
                f"consignment {one.name} with {one.days:g} days since capture and {one.volume:g} L",
                "days from 0 up and a volume above 0",
                "correct the catch date or the volume",
            )
        ratios = one.likelihood_ratios
        if ratios and (len(ratios) != one.tested or not all(0.0 <= ratio < math.inf for ratio in ratios)):
            raise Refused(
                f"consignment {one.name} with {len(ratios)} likelihood ratios for {one.tested} tests",
                "one finite ratio from 0 up for each test",
                "give all of them or none",
            )


def _statement(group: list[ConsignmentTests], test: WaterTest, level: float) -> PrevalenceStatement:
    sensitivity = own_sensitivities(group, test)
    tests = np.array([one.tested for one in group])
    tested, positive = int(np.sum(tests)), sum(one.positive for one in group)
    own = np.mean(sensitivity, axis=0)
    known = test.false_findings
    bare = PrevalenceStatement(
        origin=group[0].origin,
        season=group[0].season,
        consignments=len(group),
        tested=tested,
        positive=positive,
        estimate=None,
        interval=None,
        beside=None,
        sensitivity=float(own @ tests) / tested,
        sensitivity_range=Interval(float(np.min(own)), float(np.max(own))),
        correlation=None,
        expected_false=None if known is None else expected_false(tested, known),
    )
    if known is None:
        return replace(bare, reason="the false-positive rate is not known: no fish known to be unexposed was tested")
    rate = false_rate_draws(known, sensitivity.shape[0], test.seed)
    bare = replace(bare, cautions=_cautions(bare, known))
    reason = _blind(sensitivity @ tests / tested, rate) or _too_few(bare)
    return replace(bare, reason=reason) if reason else _estimated(bare, group, sensitivity, rate, level)


def _estimated(
    bare: PrevalenceStatement,
    group: list[ConsignmentTests],
    sensitivity: FloatArray,
    rate: FloatArray,
    level: float,
) -> PrevalenceStatement:
    posterior = prevalence_posterior(group, sensitivity, rate)
    interval = posterior.interval(level)
    beside = rogan_gladen(bare.positive, bare.tested, bare.sensitivity, 1.0 - float(np.mean(rate)), level)
    bare = replace(bare, beside=beside, correlation=posterior.correlation)
    if interval.upper - interval.lower > WIDEST:
        reason = (
            f"the interval from {interval.lower:.2f} to {interval.upper:.2f} leaves nearly every prevalence open: "
            "these tests hardly tell exposed from unexposed fish"
        )
        return replace(bare, reason=reason)
    return replace(bare, estimate=posterior.median(), interval=interval)


def _blind(sensitivity: FloatArray, rate: FloatArray) -> str | None:
    sure = float(np.mean(sensitivity > rate))
    if sure >= SURE:
        return None
    return (
        f"the sensitivity (mean {np.mean(sensitivity):.3f}) is above the false-positive rate "
        f"(mean {np.mean(rate):.3f}) with probability {sure:.2f} only, {SURE:g} is wanted: "
        "positives say nothing of the prevalence"
    )


def _too_few(bare: PrevalenceStatement) -> str | None:
    if bare.consignments < FEWEST_CONSIGNMENTS:
        noun = "consignment" if bare.consignments == 1 else "consignments"
        return (
            f"{bare.consignments} {noun}, at least {FEWEST_CONSIGNMENTS} are wanted: "
            "fish of one consignment are alike and say little of the others"
        )
    if bare.tested < FEWEST_TESTED:
        return f"{bare.tested} tests, at least {FEWEST_TESTED} are wanted"
    return None


def _cautions(bare: PrevalenceStatement, known: FalseFindings) -> tuple[str, ...]:
    found = []
    if not known.same_population:
        found.append(f"specificity unknown for wild fish: the negatives tested are {known.population}")
    if bare.expected_false is not None and 0 < bare.positive <= bare.expected_false.upper:
        found.append(f"{bare.positive} positive of {bare.tested}: false detections alone could explain them")
    return tuple(found)
