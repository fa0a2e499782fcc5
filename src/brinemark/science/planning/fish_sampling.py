"""How many fish of a consignment to test, which ones, and what to expect of it.

Sizes are the exact ones of science/fish/sampling.py. Two tests in a row are taken as independent given whether the fish
is affected: where the same water misleads both, the pair is no better than the first. A wish that cannot be met gets
an answer that says what it would need, and the plan for the most that can be done.
"""

from __future__ import annotations

import math
from bisect import bisect_left
from collections.abc import Sequence

import numpy as np

from brinemark.science.fish.proportions import checked_share
from brinemark.science.fish.sampling import bags_to_test, detection_size, missed_clustered, missed_finite
from brinemark.science.fish.surveillance import expected_false_at
from brinemark.science.making.draws import Draws
from brinemark.science.planning.fish_waters import held, pooled
from brinemark.terms.arrays import FloatArray
from brinemark.terms.errors import Refused
from brinemark.terms.fish_plans import Bags, Expected, FishPlan, FishTest, FishWish, Pick, Screen

QUANTILES = 400  # of an uncertain sensitivity
MOST_FISH = 1_000_000
NO_SIZE = "no number of tests finds a prevalence of 0"
ALIKE = (
    "the two tests are taken as independent: what misleads both, such as thiocyanate that is not from cyanide, gets "
    "through"
)
NEVER_FALSE = "the false rate of the test is taken as 0: no false findings are expected, which is not known to be so"
FREE = "no unit costs were given, so the cost is 0"
INDEPENDENT = "fish are taken as independent of each other: where fish of a bag are alike, name the bags"
ENDLESS = "without the number of fish the plan is for a consignment without end, and no fish are drawn"


def plan_fish(wish: FishWish, seed: int) -> FishPlan:
    """The plan for a consignment; seed : of the lot. Raises Refused for numbers that are none."""
    check_wish(wish)
    finding = sensitivities(wish)
    size, needed = _size(wish, finding)
    tested = _tested(wish, size)
    reached = 0.0 if tested == 0 or wish.prevalence == 0.0 else 1.0 - _missed(wish, tested, finding)
    picks = _picks(wish, tested, seed)
    screen = screened(wish, tested)
    return FishPlan(
        wish=wish,
        size=size,
        tested=tested,
        reached=reached,
        affected=_affected(wish),
        needed=needed or _short(wish, size, tested, reached),
        picks=picks,
        seed=seed,
        screen=screen,
        expected=_expected(wish, tested, screen),
        pool=pooled(wish, tested),
        holds=held(wish),
        cost=_cost(wish, tested, screen),
        remarks=_remarks(wish),
    )


def check_wish(wish: FishWish) -> None:
    """Raises Refused for shares outside 0 to 1 and counts below 1; 0 and 1 themselves are answered."""
    for name, share in (("prevalence", wish.prevalence), ("confidence", wish.confidence)):
        if not 0.0 <= share <= 1.0:
            raise Refused(f"{name} {share:g}", "a share from 0 to 1", "give it as a share, 0.05 for 5 %")
    for test in (wish.test, *([wish.second] if wish.second else [])):
        checked_share("sensitivity", test.sensitivity)
        if not 0.0 <= test.false_rate < 1.0:
            raise Refused(f"a false rate of {test.false_rate:g}", "a share from 0, below 1", "give it as a share")
        _shapes(test)
    fish = wish.fish
    if fish is not None and not 1 <= fish <= MOST_FISH:
        raise Refused(f"{fish} fish", f"1 to {MOST_FISH:,}", "count the fish of the consignment")
    if wish.names is not None and (len(wish.names) != fish or len(set(wish.names)) < len(wish.names)):
        raise Refused(f"{len(wish.names)} names for {fish} fish", "one for each, all different", "correct the names")
    if wish.most is not None and wish.most < 0:
        raise Refused(f"at most {wish.most} tests", "0 or more", "leave it out, or correct it")
    _check_bags(wish)


def _check_bags(wish: FishWish) -> None:
    bags = wish.bags
    if bags is None:
        return
    if bags.count < 1 or bags.tested_in_each < 1:
        raise Refused(f"{bags.count} bags, {bags.tested_in_each} tested in each", "at least 1", "correct them")
    checked_share("correlation", bags.correlation, lowest_is_allowed=True)
    if wish.fish is None or wish.names is not None:
        came = "bags without the number of fish" if wish.fish is None else "bags and names of fish"
        raise Refused(came, "the number of fish in all, without names", "give fish, and leave names out")
    if wish.fish < bags.count * bags.tested_in_each:
        came = f"{bags.tested_in_each} tested in each of {bags.count} bags, of {wish.fish} fish"
        raise Refused(came, "no more than there are", "test fewer of each bag")


def sensitivities(wish: FishWish) -> FloatArray:
    """Probability that an affected fish is found by all tests: draws of what is not known exactly."""
    found = _draws(wish.test)
    if wish.second is not None:
        found = np.outer(found, _draws(wish.second)).ravel()
    return found


def _draws(test: FishTest) -> FloatArray:
    """Equally likely values of a sensitivity: a beta distribution with its mean and standard uncertainty."""
    shapes = _shapes(test)
    if shapes is None:
        return np.array([test.sensitivity])
    from scipy.special import betaincinv

    count = int(math.sqrt(QUANTILES))
    return np.asarray(betaincinv(*shapes, (np.arange(count) + 0.5) / count))


def _shapes(test: FishTest) -> tuple[float, float] | None:
    mean, u = test.sensitivity, test.sensitivity_u
    if u == 0.0:
        return None
    strength = mean * (1.0 - mean) / u**2 - 1.0
    if not (u > 0.0 and strength > 0.0):
        came = f"a sensitivity of {mean:g} with a standard uncertainty of {u:g}"
        raise Refused(came, f"an uncertainty of 0, or below {math.sqrt(mean * (1.0 - mean)):.3g}", "correct it")
    return mean * strength, (1.0 - mean) * strength


def _affected(wish: FishWish) -> int | None:
    if wish.fish is None:
        return None
    return min(wish.fish, math.ceil(wish.prevalence * wish.fish * (1.0 - 1e-9)))


def _size(wish: FishWish, finding: FloatArray) -> tuple[int | None, str | None]:
    """How many to test, None = no number does; and what an impossible wish would need."""
    if wish.prevalence == 0.0:
        least = "say" if wish.fish is None else f"1 of {wish.fish}, {1.0 / wish.fish:.3g}, or say"
        return None, f"{NO_SIZE}; name the smallest share that matters, {least} 0.01, and test for that"
    if wish.confidence == 0.0:
        return 0, None
    if wish.confidence == 1.0:
        return _certain(wish, finding)
    if wish.bags is not None:
        return _bagged(wish, wish.bags, finding)
    found = detection_size(wish.prevalence, wish.confidence, wish.fish, finding)
    return found.size, found.reason


def _certain(wish: FishWish, finding: FloatArray) -> tuple[int | None, str | None]:
    """Confidence 1: only so many tests that an affected fish must be among them, with a test that misses none."""
    if bool(np.any(finding < 1.0)):
        return None, "certainty needs a test that finds every affected fish; ask for less, say 0.95 or 0.99"
    if wish.fish is None:
        return None, "certainty needs every fish tested, so their number; ask for less, say 0.95 or 0.99"
    return wish.fish - (_affected(wish) or 0) + 1, None


def _bagged(wish: FishWish, bags: Bags, finding: FloatArray) -> tuple[int | None, str | None]:
    """Whole bags; the probability to miss all is averaged over the sensitivities."""
    limit, each = (1.0 - wish.confidence) * (1.0 + 1e-9), bags.tested_in_each
    missed = _bag_missed(wish, bags, finding)
    most = bags_to_test(each, wish.prevalence, bags.correlation, wish.confidence, float(finding.min()))
    count = 1 + bisect_left(range(1, most), True, key=lambda n: float(np.mean(missed**n)) <= limit)
    if count <= bags.count:
        return count * each, None
    there = 1.0 - float(np.mean(missed**bags.count))
    return None, (
        f"{count} bags would have to be tested, {each} fish of each, and there are {bags.count}: all of them reach "
        f"{there:.3f}; test more fish of each bag, ask for less, or for a higher prevalence"
    )


def _bag_missed(wish: FishWish, bags: Bags, finding: FloatArray) -> FloatArray:
    """P(no positive in one bag) for each sensitivity."""
    each, correlation = bags.tested_in_each, bags.correlation
    return np.array([missed_clustered(1, each, wish.prevalence, correlation, float(one)) for one in finding])


def _tested(wish: FishWish, size: int | None) -> int:
    """How many are drawn: the size, else all there are; never more than can be tested."""
    there = wish.fish if wish.bags is None else wish.bags.count * wish.bags.tested_in_each
    wanted = size if size is not None else (there or wish.most or 0)
    if wish.prevalence == 0.0:
        wanted = 0
    if wish.most is not None:
        wanted = min(wanted, wish.most)
    return wanted if wish.bags is None else wanted - wanted % wish.bags.tested_in_each


def _missed(wish: FishWish, tested: int, finding: FloatArray) -> float:
    """P(no positive) with so many tested."""
    if wish.bags is not None:
        return float(np.mean(_bag_missed(wish, wish.bags, finding) ** (tested // wish.bags.tested_in_each)))
    if wish.fish is None:
        return float(np.mean((1.0 - wish.prevalence * finding) ** tested))
    return missed_finite(tested, wish.fish, _affected(wish) or 0, finding)


def _short(wish: FishWish, size: int | None, tested: int, reached: float) -> str | None:
    """What fewer tests than needed reach."""
    if size is None or tested >= size:
        return None
    return f"{size} tests would be needed; the {tested} that can be made reach {reached:.3f}"


def screened(wish: FishWish, tested: int) -> Screen:
    """Both tests together, and how many of each to expect."""
    first, second = wish.test, wish.second
    share = wish.prevalence
    if second is None:
        return Screen(first.sensitivity, first.false_rate, float(tested), 0.0)
    positives = share * first.sensitivity + (1.0 - share) * first.false_rate
    sensitivity, false_rate = first.sensitivity * second.sensitivity, first.false_rate * second.false_rate
    return Screen(sensitivity, false_rate, float(tested), tested * positives)


def _expected(wish: FishWish, tested: int, screen: Screen) -> Expected:
    affected = wish.prevalence * tested
    if wish.fish is not None and wish.bags is None and wish.prevalence > 0.0:
        affected = (_affected(wish) or 0) * tested / wish.fish
    true = affected * screen.sensitivity
    none = expected_false_at(tested, screen.false_rate)
    whole = _affected(wish)
    return Expected(
        affected=affected,
        true_findings=true,
        false_findings=(tested - affected) * screen.false_rate,
        missed=affected - true,
        not_tested=None if whole is None else max(0.0, whole - affected),
        false_if_none=none.mean,
        any_false_if_none=none.at_least_one,
    )


def _picks(wish: FishWish, tested: int, seed: int) -> tuple[Pick, ...]:
    """Fish by lot without replacement: of the whole, or of bags that are drawn first."""
    if wish.fish is None or tested == 0:
        return ()
    if wish.bags is None:
        names = wish.names or _numbered(wish.fish)
        return (Pick(_drawn(names, tested, Draws(seed))),)
    each = wish.bags.tested_in_each
    bags = _drawn(_numbered(wish.bags.count), tested // each, Draws(seed))
    least = wish.fish // wish.bags.count
    return tuple(Pick(_drawn(_numbered(max(least, each)), each, Draws(seed, int(bag))), bag) for bag in bags)


def _numbered(count: int) -> Sequence[str]:
    return [str(number) for number in range(1, count + 1)]


def _drawn(names: Sequence[str], count: int, draws: Draws) -> tuple[str, ...]:
    """So many of the names, each set of them equally likely, in their own order."""
    places = draws.shuffled(range(len(names)))[:count]
    return tuple(names[place] for place in sorted(places))


def _cost(wish: FishWish, tested: int, screen: Screen) -> float:
    costs = wish.costs
    once = costs.courier if tested else 0.0
    return tested * costs.fish + screen.first_tests * costs.test + screen.second_tests * costs.second_test + once


def _remarks(wish: FishWish) -> tuple[str, ...]:
    said = [ALIKE] if wish.second is not None else []
    said += [ENDLESS] if wish.fish is None else []
    if wish.bags is None:
        said.append(INDEPENDENT)
    elif wish.fish is not None:
        least = wish.fish // wish.bags.count
        said.append(
            f"fish of a bag are drawn from {least}, the mean of a bag; in one of fewer, leave out what is not there"
        )
    said += [] if wish.test.false_rate else [NEVER_FALSE]
    said += [] if wish.costs.told else [FREE]
    return tuple(said)
