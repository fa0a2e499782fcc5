"""Records of surveillance: how many fish to test, prevalence over consignments, other methods beside the electrode."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import NamedTuple, TypeAlias

from brinemark.terms.arrays import FloatArray

# (days since capture, volume of the tank [L]) -> draws of the probability that a test finds an exposed fish
SensitivityOf: TypeAlias = Callable[[float, float], FloatArray]


class Interval(NamedTuple):
    """Lower and upper end of an interval."""

    lower: float
    upper: float


@dataclass(frozen=True, slots=True)
class SampleSize:
    """How many to test so that at least one positive is found with the wanted confidence.

    size : how many, None = not even all of them; then reason says why. reached : probability with that size (with all
    of the population when size is None). affected : how many of the population, None = the population is infinite.
    """

    size: int | None
    reached: float
    population: int | None
    affected: int | None
    reason: str | None = None


@dataclass(frozen=True, slots=True)
class PooledPrevalence:
    """Prevalence among members from pools. estimate and interval are None when reason says why there is none."""

    positive: int
    pools: int
    members: int
    estimate: float | None
    standard_error: float | None
    interval: Interval | None
    reason: str | None = None


@dataclass(frozen=True, slots=True)
class PoolPlan:
    """Members in a pool and the tests expected per member; members 1 = testing each alone costs least."""

    members: int
    tests_per_member: float


@dataclass(frozen=True, slots=True)
class FalseFindings:
    """What is known of the false-positive rate: found among tested unexposed fish, and which fish these are.

    same_population : they stand for the fish under surveillance (wild, caught with a net), not captive-bred ones.
    """

    found: int
    tested: int
    population: str
    same_population: bool = False


@dataclass(frozen=True, slots=True)
class ConsignmentTests:
    """Tests on one consignment: how many, how many positive, days since capture and volume [L] of the tank.

    likelihood_ratios : one for each test when they are known; they then stand in place of the count. sensitivity :
    draws of the probability that a test finds exposed fish, worked out for its own tanks; they then stand in place of
    those by days and volume.
    """

    name: str
    origin: str
    season: str
    tested: int
    positive: int
    days: float
    volume: float
    likelihood_ratios: tuple[float, ...] = ()
    sensitivity: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True)
class RoganGladen:
    """Prevalence from a pooled share with sensitivity and specificity taken as known; may lie below 0 or above 1."""

    estimate: float
    exact: Interval
    wilson: Interval
    normal: Interval


@dataclass(frozen=True, slots=True)
class ExpectedFalse:
    """False detections to expect among unexposed fish: mean, its one-sided 95 % upper bound, chance of at least one."""

    mean: float
    upper: float
    at_least_one: float


@dataclass(frozen=True, slots=True)
class PrevalenceStatement:
    """Prevalence among the consignments of one origin and season, or the reason why none can be stated.

    estimate : posterior median; interval : highest posterior density; both None with a reason. beside : the estimate
    that takes sensitivity and specificity as known and fish as independent, for comparison. sensitivity : mean and the
    range over the consignments' own. correlation : posterior mean of the likeness of fish of one consignment.
    """

    origin: str
    season: str
    consignments: int
    tested: int
    positive: int
    estimate: float | None
    interval: Interval | None
    beside: RoganGladen | None
    sensitivity: float
    sensitivity_range: Interval
    correlation: float | None
    expected_false: ExpectedFalse | None
    cautions: tuple[str, ...] = ()
    reason: str | None = None


@dataclass(frozen=True, slots=True)
class FunnelPoint:
    """A consignment in the funnel: its share of positives, the share expected of it, and the exact two-sided p."""

    name: str
    tested: int
    share: float
    expected: float
    p: float


@dataclass(frozen=True, slots=True)
class FunnelLimits:
    """Shares between which a consignment with so many tests lies with at least 95 % and 99.8 % (exact binomial)."""

    tested: int
    inner: Interval
    outer: Interval


@dataclass(frozen=True, slots=True)
class Funnel:
    """Data of a funnel chart: the centre line, the points and the limits by number of tests."""

    centre: float
    points: tuple[FunnelPoint, ...]
    limits: tuple[FunnelLimits, ...]


@dataclass(frozen=True, slots=True)
class TimePoint:
    """One season of an origin in the time chart: share of positives with exact interval beside the prevalence."""

    origin: str
    season: str
    tested: int
    positive: int
    share: float
    exact: Interval
    prevalence: PrevalenceStatement


@dataclass(frozen=True, slots=True)
class MarkerResult:
    """A result of another method on a fish or a split sample, as reported.

    value : None when the method found nothing above limit_of_detection, which is then known. u : standard uncertainty.
    """

    sample: str
    marker: str
    method: str
    unit: str
    value: float | None
    limit_of_detection: float | None = None
    u: float | None = None


@dataclass(frozen=True, slots=True)
class FittedLine:
    """y = intercept + slope x with intervals. scatter : weighted sum of squares over n - 2, None where not defined."""

    intercept: float
    slope: float
    intercept_interval: Interval
    slope_interval: Interval
    scatter: float | None = None


@dataclass(frozen=True, slots=True)
class LimitsOfAgreement:
    """Mean difference second - first, its sd, the limits of agreement, and an interval for each."""

    bias: float
    sd: float
    lower: float
    upper: float
    bias_interval: Interval
    lower_interval: Interval
    upper_interval: Interval


@dataclass(frozen=True, slots=True)
class Agreement:
    """Found or not found by two methods on the same samples; p : exact McNemar test of the discordant pairs.

    undecided : pairs in which a limit above the level leaves open whether the level is reached.
    """

    both: int
    first_only: int
    second_only: int
    neither: int
    undecided: int
    p: float


@dataclass(frozen=True, slots=True)
class MeanRatio:
    """Geometric mean ratio second/first with interval, values not found kept; spread : sd of the log ratio."""

    ratio: float
    interval: Interval
    spread: float
    pairs: int
    censored: int


@dataclass(frozen=True, slots=True)
class MarkerComparison:
    """Two methods on split samples. A part that cannot be given is None, and remarks say why."""

    first: str
    second: str
    pairs: int
    measured: int
    censored: int
    agreement: Agreement
    line: FittedLine | None
    ranked_line: FittedLine | None
    limits: LimitsOfAgreement | None
    ratio: MeanRatio | None
    remarks: tuple[str, ...]
