"""Waters poured together, and fish held in clean water before it is read: what either buys."""

from __future__ import annotations

import math

import numpy as np

from brinemark.science.fish.forward import Detectability, Holds, detectability, reaches
from brinemark.science.fish.sampling import best_pool, detection_size, tests_per_member
from brinemark.science.fish.worlds import Drawing, published_worlds
from brinemark.terms.fish_plans import FishWish, HoldWish, PoolAnswer, WorldHold
from brinemark.terms.surveillance import SampleSize

SURE = 2.0  # standard errors above the false alarms from which on a chance is one


def pooled(wish: FishWish, tested: int) -> PoolAnswer | None:
    """Waters to pour together: m of them lower the level of each m times, so a pool may hold no more than what leaves
    an affected water at the minimum detectable value.

    A positive pool says that at least one of its waters is affected, not which: they are then read one by one, from
    splits that were kept.
    """
    pool = wish.pool
    if pool is None:
        return None
    most = min(pool.largest, math.floor(pool.level / pool.minimum * (1.0 + 1e-9)), max(tested, 1))
    if most < 2 or wish.prevalence == 0.0:
        return PoolAnswer(1, tested, float(tested), pool.level, _alone(wish, most))
    best = best_pool(wish.prevalence, most)
    unbounded = best_pool(wish.prevalence).members
    if best.members == 1:
        reason = "at this prevalence so many pools would be positive that pooling does not save tests"
    elif best.members < unbounded:
        reason = f"{unbounded} would need fewest tests, but {_why(wish, best.members)}"
    else:
        reason = "of all sizes it needs the fewest tests"
    pools = -(-tested // best.members)
    tests = tested * tests_per_member(wish.prevalence, best.members)
    return PoolAnswer(best.members, pools, tests, pool.level / best.members, reason)


def _alone(wish: FishWish, most: int) -> str:
    pool = wish.pool
    if wish.prevalence == 0.0 or pool is None:
        return "without a prevalence there is no best pool"
    if pool.level < pool.minimum:
        return f"even alone, a water of {pool.level:g} lies below the minimum detectable value of {pool.minimum:g}"
    if pool.level / 2.0 < pool.minimum:
        return f"two waters together leave {pool.level / 2.0:g}, below the minimum detectable value of {pool.minimum:g}"
    return f"no more than {most} water may go into a pool"


def _why(wish: FishWish, members: int) -> str:
    pool = wish.pool
    if pool is not None and pool.level / (members + 1) < pool.minimum:
        return f"{members + 1} waters together leave less than the minimum detectable value of {pool.minimum:g}"
    return f"no more than {members} may go into a pool, or are tested"


def held(wish: FishWish, drawing: Drawing | None = None) -> tuple[WorldHold, ...]:
    """What holding buys in each of the two published worlds, side by side and never averaged."""
    hold = wish.hold
    if hold is None:
        return ()
    holds = Holds(
        hold.fish, hold.mass_g / 1000.0, np.array([hold.days]), np.array(hold.volumes_L), np.array(hold.holds_d)
    )
    chance = reaches(hold.minimum)
    return tuple(_world(detectability(world, holds, chance, drawing), wish, hold) for world in published_worlds())


def _world(found: Detectability, wish: FishWish, hold: HoldWish) -> WorldHold:
    """The volume and hold of the greatest chance, and how many tanks that asks for."""
    volume, place = np.unravel_index(int(np.argmax(found.probability[0])), found.probability[0].shape)
    chance, error = float(found.probability[0, volume, place]), float(found.error[0, volume, place])
    best = found.best(0, int(volume))
    seen = chance > found.false_alarm + SURE * error and chance > 0.0
    size = _tanks(wish, chance) if seen and wish.prevalence > 0.0 and 0.0 < wish.confidence < 1.0 else None
    litres, days = hold.volumes_L[int(volume)], best if isinstance(best, float) else None
    return WorldHold(
        found.world,
        litres,
        days,
        chance,
        error,
        found.false_alarm,
        size,
        _said(seen, size, days, litres),
    )


def _tanks(wish: FishWish, chance: float) -> SampleSize:
    """Tanks, or fish held one by one, to test with this chance as the sensitivity."""
    return detection_size(wish.prevalence, wish.confidence, wish.fish, chance)


def _said(seen: bool, size: SampleSize | None, days: float | None, litres: float) -> str:
    if not seen:
        return "in this world no hold and no number of tests finds exposed fish by their water"
    if days is None:
        return f"no hold is better than another in {litres:g} L"
    many = "" if size is None else "; not even all are enough" if size.size is None else f"; {size.size} to test"
    return f"{days:g} d in {litres:g} L{many}"
