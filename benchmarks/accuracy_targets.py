"""The targets of the accuracy study: figure, the oracle's figure, met or not."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from accuracy_figures import ABOVE_AT, Figures, Rate
from accuracy_limits import Limits
from accuracy_read import ALIKE, COMPONENT, LEARNED, LIMIT, SAME_WATER, US, WATERS_KNOWN

NOMINAL, BLANK = 0.95, 0.05
SLACK, AT_ZERO, DUD_SLACK = 0.02, 0.03, 0.025
LARGEST_FOLD, NARROW = 8.0, 2.6
MEASURED = tuple(WATERS_KNOWN.values())
Found = Mapping[tuple[str, str], Figures]


@dataclass(frozen=True, slots=True)
class Target:
    """One wanted figure. met : whether the figure itself is within what is wanted; near : whether it misses by less
    than two standard errors."""

    what: str
    wanted: str
    figure: str
    oracle: str
    met: bool
    near: bool = False
    remark: str = ""

    @property
    def verdict(self) -> str:
        return "met" if self.met else "missed, within 2 SE" if self.near else "missed"

    def line(self) -> str:
        """One line of plain text."""
        limit = f"; oracle {self.oracle}" if self.oracle else ""
        remark = f" ({self.remark})" if self.remark else ""
        return f"{self.verdict:<20}{self.what}: {self.figure}; wanted {self.wanted}{limit}{remark}"


def rate(pair: Rate, digits: int = 3) -> str:
    """A figure with its standard error in brackets."""
    if math.isnan(pair[0]):
        return ""
    if math.isinf(pair[0]) or pair[0] > 1e6:
        return "open"
    return f"{pair[0]:.{digits}f} ({pair[1]:.{digits}f})" if math.isfinite(pair[1]) else f"{pair[0]:.{digits}f}"


def targets(figures: Sequence[Figures], limits: Limits) -> list[Target]:
    """All targets of which there are figures; limits : of lone readings (accuracy_limits)."""
    found = {(one.case, one.who): one for one in figures}
    made: list[Target] = []
    for case, what in (("burned-2", "one electrode, two burned"), ("base", "one electrode, three burned")):
        if (case, US) in found:
            made += [_blank(found, case, US, what), *_coverage(found, case, US, what)]
    made += [_power(found, one, limits) for one in POWERS if (one.case, US) in found]
    made += _narrow(found)
    for case, what in (("low", "5 % of .4 of the gain"), ("high", "5 % of twice the gain")):
        made += _duds(found, case, what, limits)
    return made


def _blank(found: Found, case: str, who: str, what: str) -> Target:
    """Within .02 and two standard errors, as the target itself says."""
    value, error = found[case, who].blank
    good = abs(value - BLANK) <= SLACK + 2 * error
    limit = rate(found[case, LIMIT].blank)
    return Target(f"{what}, blank rate", ".05 +- (.02 + 2 SE)", rate((value, error)), limit, good)


def _coverage(found: Found, case: str, who: str, what: str, slack: float = SLACK) -> list[Target]:
    """The level that lies farthest out, and 0 by itself, where the interval is one-sided."""
    one, limit = found[case, who], found[case, LIMIT]
    above = [i for i, level in enumerate(one.levels) if level > 0]
    far = max(above, key=lambda i: abs(one.held[i][0] - NOMINAL))
    made = []
    for i, room, judged in ((far, slack, above), (one.levels.index(0.0), AT_ZERO, [one.levels.index(0.0)])):
        name = f"{what}, intervals hold {one.levels[i]:g} ug/L" + (" (worst level)" if i == far else "")
        shown = rate(limit.held[limit.levels.index(one.levels[i])])
        good, near = (all(_within(one.held[k], room + more * one.held[k][1]) for k in judged) for more in (0, 2))
        made.append(Target(name, f".95 +- {room:g}", rate(one.held[i]), shown, good, near, _whole(one)))
    return made


def _within(pair: Rate, room: float) -> bool:
    return abs(pair[0] - NOMINAL) <= room


def _whole(one: Figures) -> str:
    return f"over all levels {rate(one.coverage)}"


@dataclass(frozen=True, slots=True)
class Power:
    """A power that is wanted; at : place in POWER_AT."""

    case: str
    at: int
    wanted: float
    what: str
    who: str = US


POWERS = (
    Power("burned-2", 1, 0.90, "one electrode, two burned, power at 1 ug/L"),
    Power("base", 1, 0.90, "one electrode, three burned, power at 1 ug/L"),
    Power("three", 0, 0.90, "three electrodes of one batch, power at .5 ug/L"),
    Power("three-batches", 0, 0.90, "three electrodes of three batches, power at .5 ug/L"),
    Power("25-burned-2", 0, 0.65, "one electrode, two burned, 25 batches, power at .5 ug/L"),
    Power("portable", 1, 0.82, "portable noise, power at 1 ug/L"),
)


def _reach(one: Power, known: Rate, learned: Rate) -> str:
    """Whether the target can be had at all."""
    if known[0] + 2 * known[1] < one.wanted:
        return ": out of reach of anyone"
    return ": out of reach of anyone who must learn the batch so" if learned[0] + 2 * learned[1] < one.wanted else ""


def _power(found: Found, one: Power, limits: Limits, more: str = "") -> Target:
    """The rate itself is judged. Beside it the limit of one who must learn the batch, over many batches, and what the
    difference to that one on the same samples makes of it: an estimate free of the luck of few batches."""
    own = found[one.case, one.who]
    value, error = own.power[one.at]
    shown, remarks = rate(found[one.case, LIMIT].power[one.at]), [more] if more else []
    if (one.case, one.at) in limits:
        limit = limits[one.case, one.at]
        shown = f"{limit.known[0]:.3f}"
        reach = _reach(one, limit.known, limit.learned)
        remarks.append(f"population known, batch learned from the burned electrodes {rate(limit.learned)}{reach}")
        if one.who in limit.behind:
            behind, off = limit.behind[one.who]
            told = f"by its difference to that on the same samples {rate((limit.learned[0] + behind, off))}"
            remarks.append(told)
    elif (one.case, LEARNED) in found:
        remarks.append(f"population known, batch learned {rate(found[one.case, LEARNED].power[one.at])}")
    good, near = value >= one.wanted, value + 2 * error >= one.wanted
    return Target(one.what, f"at least {one.wanted:g}", rate((value, error)), shown, good, near, "; ".join(remarks))


EXPLAINED = {
    LEARNED: "population known, batch learned",
    SAME_WATER: "known to be in the standards' water",
    ALIKE: "and K known not to scatter between electrodes",
}


def _narrow(found: Found) -> list[Target]:
    """Folds: near K with pre-scan and spike, and of the ladder."""
    made = []
    added = "; siblings with an addition of 2 ug/L before the spike"
    for case, who, more in (("both", US, ""), ("rising", US, added), *(("rising", w, added) for w in MEASURED)):
        if (case, who) in found:
            made.append(_near_K(found, case, who, f"{more}, {who}" if who in MEASURED else more))
    if ("ladder", US) in found:
        one, limit = found["ladder", US], found["ladder", LIMIT]
        far = max(range(len(one.levels)), key=lambda i: one.folds[i][0])
        value, error = one.folds[far]
        good, near = value <= LARGEST_FOLD, value - 2 * error <= LARGEST_FOLD
        what = f"1, 10 and 100 times diluted, median fold at {one.levels[far]:g} ug/L (widest)"
        made.append(Target(what, "at most 8", rate((value, error), 2), rate(limit.folds[far], 2), good, near))
    return made


def _near_K(found: Found, case: str, who: str, more: str) -> Target:
    """The fold near K, and beside it that of those who know more."""
    value, error = found[case, who].near_K
    there = [(other, words) for other, words in EXPLAINED.items() if (case, other) in found and who == US]
    told = [f"{words} {rate(found[case, other].near_K, 2)}" for other, words in there]
    if who in MEASURED:
        told.append(f"{found[case, who].scatter:.2f} taken where .10 is held")
    what = f"pre-scan and closing spike, 1.5 to 2.5 ug/L, median fold{more}"
    good, near = value <= NARROW, value - 2 * error <= NARROW
    shown = rate(found[case, LIMIT].near_K, 2)
    return Target(what, f"at most {NARROW:g}", rate((value, error)), shown, good, near, "; ".join(told))


def _duds(found: Found, case: str, what: str, limits: Limits) -> list[Target]:
    """Without and with the component for defective films."""
    made = []
    for who, told in ((US, "without the component"), (COMPONENT, "with it")):
        if (case, who) not in found:
            continue
        one, limit = found[case, who], found[case, LIMIT]
        name = f"{what}, {told}"
        shown = [f"{rate(one.above[i], 2)} at {level:g}" for i, level in enumerate(ABOVE_AT)]
        made += [_blank(found, case, who, name), _over_all(one, limit, name)]
        above = f'"at or above" {", ".join(shown)} ug/L'
        made.append(_power(found, Power(case, 1, 0.90, f"{name}, power at 1 ug/L", who), limits, above))
    return made


def _over_all(one: Figures, limit: Figures, what: str) -> Target:
    value, error = one.coverage
    off = abs(value - NOMINAL)
    low = f"least {rate(one.worst[:2])} at {one.worst[2]:g} ug/L"
    return Target(
        f"{what}, intervals hold, all levels",
        ".95 +- .025",
        rate((value, error)),
        rate(limit.coverage),
        off <= DUD_SLACK,
        off <= DUD_SLACK + 2 * error,
        low,
    )
