"""Shares and their exact intervals."""

from __future__ import annotations

import math

from brinemark.terms.errors import Refused
from brinemark.terms.surveillance import Interval


def clopper_pearson(found: int, tested: int, level: float = 0.95) -> Interval:
    """Exact interval of a share by the binomial tails, each at (1 - level)/2.

    Source: The use of confidence or fiducial limits illustrated in the case of the binomial, Biometrika 26 (1934) 404,
    doi 10.1093/biomet/26.4.404, through the beta quantiles (DLMF 8.17(i)). Refused: found outside 0..tested.
    """
    tail = 0.5 * (1.0 - checked_level(level))
    return Interval(_lower(found, tested, tail), _upper(found, tested, tail))


def upper_bound(found: int, tested: int, level: float = 0.95) -> float:
    """One-sided exact upper bound of a share: 0 of 100 gives 3.0 %."""
    return _upper(found, tested, 1.0 - checked_level(level))


def lower_bound(found: int, tested: int, level: float = 0.95) -> float:
    """One-sided exact lower bound of a share."""
    return _lower(found, tested, 1.0 - checked_level(level))


def wilson(found: int, tested: int, level: float = 0.95) -> Interval:
    """Score interval of a share: Probable inference, the law of succession, and statistical inference,
    Journal of the American Statistical Association 22 (1927) 209, doi 10.1080/01621459.1927.10502953."""
    check_count(found, tested)
    z = normal_quantile(0.5 + 0.5 * checked_level(level))
    share, weight = found / tested, z * z / tested
    middle = (share + 0.5 * weight) / (1.0 + weight)
    half = z * math.sqrt(share * (1.0 - share) / tested + 0.25 * weight / tested) / (1.0 + weight)
    lower, upper = middle - half, middle + half
    # At 0 and at all, one end is 0 or 1 by algebra; only rounding would move it.
    return Interval(0.0 if found == 0 else lower, 1.0 if found == tested else upper)


def two_sided_p(found: int, tested: int, share: float) -> float:
    """Exact two-sided binomial p: twice the smaller tail, at most 1."""
    from scipy.special import bdtr

    check_count(found, tested)
    below = float(bdtr(found, tested, share))
    above = 1.0 if found == 0 else 1.0 - float(bdtr(found - 1, tested, share))
    return min(1.0, 2.0 * min(below, above))


def binomial_range(tested: int, share: float, level: float) -> Interval:
    """Shares k/tested that leave at most (1 - level)/2 of the binomial in each tail: ends of the exact limits."""
    import numpy as np
    from scipy.special import bdtr

    below = np.asarray(bdtr(np.arange(tested + 1.0), tested, share))
    tail = 0.5 * (1.0 - level)
    lower = int(np.argmax(below > tail))
    upper = int(np.argmax(below >= 1.0 - tail))
    return Interval(lower / tested, upper / tested)


def normal_quantile(probability: float) -> float:
    from scipy.special import ndtri

    return float(ndtri(probability))


def check_count(found: int, tested: int) -> None:
    """Refused unless 0 <= found <= tested and at least one was tested."""
    if tested < 1 or not 0 <= found <= tested:
        raise Refused(
            f"{found} found of {tested} tested", "0 <= found <= tested, at least 1 tested", "correct the counts"
        )


def checked_level(level: float) -> float:
    if not 0.0 < level < 1.0:
        raise Refused(f"confidence {level:g}", "a number between 0 and 1, both left out", "give for example 0.95")
    return level


def checked_share(name: str, share: float, lowest_is_allowed: bool = False) -> float:
    """The share itself; Refused outside (0, 1], or outside [0, 1] when 0 is allowed."""
    if not (0.0 < share <= 1.0 or (lowest_is_allowed and share == 0.0)):
        wanted = "a share from 0 to 1" if lowest_is_allowed else "a share above 0, at most 1"
        raise Refused(f"{name} {share:g}", wanted, "give it as a share, 0.05 for 5 %")
    return share


def _lower(found: int, tested: int, tail: float) -> float:
    from scipy.special import betaincinv

    check_count(found, tested)
    return 0.0 if found == 0 else float(betaincinv(found, tested - found + 1, tail))


def _upper(found: int, tested: int, tail: float) -> float:
    from scipy.special import betaincinv

    check_count(found, tested)
    return 1.0 if found == tested else float(betaincinv(found + 1, tested - found, 1.0 - tail))
