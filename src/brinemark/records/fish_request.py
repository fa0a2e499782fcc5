"""What is asked of a plan for a consignment, from a small TOML file to a checked FishWish."""

from __future__ import annotations

from collections.abc import Mapping

from brinemark.records.ranges import LARGEST, Range
from brinemark.records.said import Said, toml_values
from brinemark.records.text import shown
from brinemark.terms.fish_plans import Bags, FishCosts, FishTest, FishWish, HoldWish, PoolWish

NAMES = (
    *("fish", "names", "prevalence", "confidence", "most_tests", "seed"),
    *("test", "second_test", "bags", "pool", "hold", "costs"),
)
MOST_FISH = 1_000_000
SHARE, ABOVE, DAYS = Range(0, 1), Range(0, LARGEST, above=True), Range(0, 3650)
COSTS = ("test", "second_test", "fish", "courier")
_PAGE = "docs/how-to/plan-a-consignment.md"


def read_fish_wish(data: bytes, name: str) -> tuple[FishWish, int | None]:
    """The wish that a file holds, and its seed. Raises Refused at the first fault, which names where the others are."""
    return checked_fish_wish(toml_values(data, name, _PAGE), name)


def checked_fish_wish(values: Mapping[str, object], file: str | None = None) -> tuple[FishWish, int | None]:
    """The wish that the values say, and its seed. Raises Refused."""
    said = Said(values, file)
    said.known_only(NAMES)
    names, fish = said.names("names"), _whole(said, "fish", MOST_FISH)
    if not said.has("prevalence"):
        said.refuse("prevalence", "nothing", "the share of affected fish to find", "write prevalence = 0.05 for 5 %")
    prevalence, confidence = said.number("prevalence", SHARE), said.number("confidence", SHARE)
    seed = _whole(said, "seed", 2**53 - 1, 0)
    wish = FishWish(
        fish=len(names) if names and fish is None else fish,
        names=names or None,
        prevalence=0.0 if prevalence is None else prevalence,
        confidence=0.95 if confidence is None else confidence,
        most=_whole(said, "most_tests", MOST_FISH, 0),
        test=_test(said, "test") or FishTest(),
        second=_test(said, "second_test"),
        bags=_bags(said),
        pool=_pool(said),
        hold=_hold(said),
        costs=_costs(said),
    )
    said.check()
    return wish, seed


def _whole(said: Said, name: str, most: int, least: int = 1) -> int | None:
    value = said.number(name, Range(least, most), whole=True)
    return None if value is None else round(value)


def _test(said: Said, name: str) -> FishTest | None:
    if said.values.get(name) is None:
        return None
    one = said.table(name)
    one.known_only(("sensitivity", "sensitivity_u", "false_rate"))
    sensitivity = one.number("sensitivity", Range(0, 1, above=True))
    u, false_rate = one.number("sensitivity_u", SHARE), one.number("false_rate", SHARE)
    return FishTest(1.0 if sensitivity is None else sensitivity, u or 0.0, false_rate or 0.0)


def _bags(said: Said) -> Bags | None:
    if said.values.get("bags") is None:
        return None
    one = said.table("bags")
    one.known_only(("count", "tested_in_each", "correlation"))
    if not one.has("count"):
        one.refuse("count", "nothing", "how many bags there are", "fill it in")
    each = _whole(one, "tested_in_each", MOST_FISH)
    return Bags(_whole(one, "count", MOST_FISH) or 1, each or 1, one.number("correlation", SHARE) or 0.0)


def _pool(said: Said) -> PoolWish | None:
    if said.values.get("pool") is None:
        return None
    one = said.table("pool")
    one.known_only(("level", "minimum", "largest"))
    level, minimum = _needed(one, "level"), _needed(one, "minimum")
    return PoolWish(level, minimum, _whole(one, "largest", 1000) or 100)


def _hold(said: Said) -> HoldWish | None:
    if said.values.get("hold") is None:
        return None
    one = said.table("hold")
    one.known_only(("minimum", "fish", "mass_g", "days", "volumes_L", "holds_d"))
    plain = HoldWish(_needed(one, "minimum"))
    mass, days = one.number("mass_g", ABOVE), one.number("days", DAYS)
    return HoldWish(
        plain.minimum,
        _whole(one, "fish", 1000) or 1,
        plain.mass_g if mass is None else mass,
        plain.days if days is None else days,
        _numbers(one, "volumes_L", ABOVE) or plain.volumes_L,
        _numbers(one, "holds_d", DAYS) or plain.holds_d,
    )


def _costs(said: Said) -> FishCosts:
    one = said.table("costs")
    one.known_only(COSTS)
    return FishCosts(*(one.number(name, Range(0, LARGEST)) or 0.0 for name in COSTS))


def _needed(one: Said, name: str) -> float:
    value = one.number(name, ABOVE)
    if not one.has(name):
        one.refuse(name, "nothing", "a level above 0", "fill it in")
    return 1.0 if value is None else value


def _numbers(one: Said, name: str, allowed: Range) -> tuple[float, ...]:
    """A rising list of numbers; () when there is none."""
    value = one.values.get(name)
    parts = value if isinstance(value, list) else [] if value is None else [value]
    found = []
    for part in parts[:100]:
        if not isinstance(part, int | float) or isinstance(part, bool) or not allowed.holds(float(part)):
            one.refuse(name, shown(part), f"a list of numbers, each {allowed}", "write them as [0, 1, 2]")
            return ()
        found.append(float(part))
    return tuple(sorted(found))
