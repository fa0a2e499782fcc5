"""How many fish to test, what pools say, and which pool size costs least. All exact, none by approximation."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np

from brinemark.science.fish.proportions import check_count, checked_level, checked_share, clopper_pearson
from brinemark.terms.arrays import FloatArray
from brinemark.terms.errors import Refused
from brinemark.terms.surveillance import Interval, PooledPrevalence, PoolPlan, SampleSize

# A size that misses the wanted confidence by rounding alone (19 of 20 at 95 %) counts as reaching it.
ROUNDING = 1e-9
LARGEST_SIZE = 10_000_000


def detection_size(
    prevalence: float,
    confidence: float = 0.95,
    population: int | None = None,
    sensitivity: float | FloatArray = 1.0,
) -> SampleSize:
    """Least number to test so that P(at least one positive | prevalence) >= confidence.

    In a finite population D = ceil(prevalence N) are affected and the draw is hypergeometric, else binomial. An array
    of sensitivities is a distribution: the probability of missing all is averaged over it, not taken at its mean.
    False positives are left out: a positive found is not yet an affected fish.

    Refused: prevalence or sensitivity outside (0, 1], confidence outside (0, 1), population below 1.
    """
    wanted = 1.0 - checked_level(confidence)
    checked_share("prevalence", prevalence)
    draws = _sensitivities(sensitivity)
    if population is None:
        return _infinite(prevalence, wanted, draws)
    if population < 1:
        raise Refused(f"a population of {population}", "at least 1 fish", "count the fish of the consignment")
    affected = min(population, math.ceil(prevalence * population * (1.0 - ROUNDING)))
    size = _least(lambda n: missed_finite(n, population, affected, draws), wanted, population)
    reached = 1.0 - missed_finite(population if size is None else size, population, affected, draws)
    reason = None if size is not None else _not_even_all(population, affected, reached)
    return SampleSize(size, reached, population, affected, reason)


def missed_finite(size: int, population: int, affected: int, sensitivity: float | FloatArray = 1.0) -> float:
    """P(no positive) among size fish of a population that holds so many affected, the mean over the sensitivities.

    Sum over d affected in the sample of C(D, d) C(N - D, n - d)/C(N, n) (1 - sensitivity)^d.
    """
    if not (0 <= size <= population and 0 <= affected <= population):
        raise Refused(
            f"{size} tested and {affected} affected of {population}",
            "both between 0 and the population",
            "correct them",
        )
    drawn = np.arange(max(0, size - (population - affected)), min(size, affected) + 1.0)
    logs = _log_choose(affected, drawn) + _log_choose(population - affected, size - drawn)
    shares = np.exp(logs - _log_choose(population, np.array(float(size))))
    blind = 1.0 - _sensitivities(sensitivity)
    return float(np.mean(np.power(blind[:, None], drawn) @ shares))


def missed_clustered(bags: int, each: int, prevalence: float, correlation: float, sensitivity: float = 1.0) -> float:
    """P(no positive) in bags of like fish, each of which gives so many to the test.

    The share affected in a bag is beta distributed with the prevalence as its mean and the correlation between two
    fish of a bag: shapes prevalence (1/correlation - 1) and (1 - prevalence)(1/correlation - 1). Correlation 0 is
    independence, 1 is bags that are wholly affected or not at all.
    """
    if bags < 1 or each < 1:
        raise Refused(f"{bags} bags with {each} tested in each", "at least 1 of both", "give whole numbers from 1 up")
    checked_share("prevalence", prevalence)
    checked_share("sensitivity", sensitivity)
    checked_share("correlation", correlation, lowest_is_allowed=True)
    if correlation == 0.0 or prevalence == 1.0:
        return float((1.0 - prevalence * sensitivity) ** (bags * each))
    if correlation == 1.0:
        return float((1.0 - prevalence + prevalence * (1.0 - sensitivity) ** each) ** bags)
    return _missed_in_a_bag(each, prevalence, 1.0 / correlation - 1.0, sensitivity) ** bags


def bags_to_test(
    each: int, prevalence: float, correlation: float, confidence: float = 0.95, sensitivity: float = 1.0
) -> int:
    """Least number of bags, with so many fish of each tested, to find at least one positive with the confidence."""
    wanted = 1.0 - checked_level(confidence)
    missed = missed_clustered(1, each, prevalence, correlation, sensitivity)
    return 1 if missed <= wanted * (1.0 + ROUNDING) else math.ceil(math.log(wanted) / math.log(missed) - ROUNDING)


def pooled_prevalence(positive: int, pools: int, members: int, level: float = 0.95) -> PooledPrevalence:
    """Prevalence among members from equal pools with a perfect test: 1 - (1 - positive/pools)^(1/members).

    Standard error by the delta method, interval from the exact one of the share of pools. All pools positive has no
    finite estimate below 1 and says so; the statement of a single positive pool belongs to the pool, not to a member.
    """
    check_count(positive, pools)
    if members < 1:
        raise Refused(f"{members} members in a pool", "at least 1", "give how many fish or tanks went into each pool")
    interval = Interval(*(_member_share(end, members) for end in clopper_pearson(positive, pools, level)))
    if positive == pools:
        reason = "every pool was positive: the prevalence is bounded from below only; test smaller pools"
        return PooledPrevalence(positive, pools, members, None, None, interval, reason)
    share = positive / pools
    slope = (1.0 - share) ** (1.0 / members - 1.0) / members
    error = slope * math.sqrt(share * (1.0 - share) / pools)
    return PooledPrevalence(positive, pools, members, _member_share(share, members), error, interval)


def tests_per_member(prevalence: float, members: int) -> float:
    """Tests expected per member when pools are tested first and the members of positive ones one by one.

    1/k + 1 - (1 - p)^k with a perfect test, 1 for k = 1: The detection of defective members of large populations,
    Annals of Mathematical Statistics 14 (1943) 436, doi 10.1214/aoms/1177731363.
    """
    return 1.0 if members == 1 else 1.0 / members + 1.0 - (1.0 - prevalence) ** members


def best_pool(prevalence: float, largest: int = 1000) -> PoolPlan:
    """Pool size of the fewest expected tests, by trying every one up to the largest; 1 = pooling does not pay."""
    checked_share("prevalence", prevalence)
    if largest < 1:
        raise Refused(f"pools of at most {largest}", "at least 1 member", "give the most that may go into a pool")
    best = min(range(1, largest + 1), key=lambda members: tests_per_member(prevalence, members))
    return PoolPlan(best, tests_per_member(prevalence, best))


def _infinite(prevalence: float, wanted: float, sensitivity: FloatArray) -> SampleSize:
    hit = prevalence * sensitivity
    size = _least(lambda n: float(np.mean((1.0 - hit) ** n)), wanted, LARGEST_SIZE)
    if size is None:
        return SampleSize(None, 0.0, None, None, f"more than {LARGEST_SIZE} would be needed")
    return SampleSize(size, 1.0 - float(np.mean((1.0 - hit) ** size)), None, None)


def _least(missed: Callable[[int], float], wanted: float, most: int) -> int | None:
    """Least n from 1 with missed(n) <= wanted, by halving, for missed falls with n."""
    limit = wanted * (1.0 + ROUNDING)
    if missed(most) > limit:
        return None
    low, high = 0, most
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if missed(middle) <= limit else (middle, high)
    return high


def _not_even_all(population: int, affected: int, reached: float) -> str:
    return (
        f"all {population} tested find at least one of {affected} affected with probability {reached:.3f} only, "
        "for the test misses some; test each fish more than once or with a more sensitive method"
    )


def _sensitivities(sensitivity: float | FloatArray) -> FloatArray:
    draws = np.atleast_1d(np.asarray(sensitivity, dtype=np.float64))
    if draws.size == 0 or not np.all((draws > 0.0) & (draws <= 1.0)):
        raise Refused("a sensitivity outside 0 to 1", "shares above 0, at most 1", "give it as a share, 0.8 for 80 %")
    return draws


def _missed_in_a_bag(each: int, prevalence: float, strength: float, sensitivity: float) -> float:
    """Beta-binomial sum over d affected of each: weight times (1 - sensitivity)^d."""
    from scipy.special import betaln

    drawn = np.arange(each + 1.0)
    a, b = prevalence * strength, (1.0 - prevalence) * strength
    logs = _log_choose(each, drawn) + betaln(drawn + a, each - drawn + b) - betaln(a, b)
    return float(np.sum(np.exp(logs) * np.power(1.0 - sensitivity, drawn)))


def _log_choose(n: int, k: FloatArray) -> FloatArray:
    from scipy.special import gammaln

    return np.asarray(gammaln(n + 1.0) - gammaln(k + 1.0) - gammaln(n - k + 1.0))


def _member_share(share: float, members: int) -> float:
    return float(-math.expm1(math.log1p(-share) / members)) if share < 1.0 else 1.0
