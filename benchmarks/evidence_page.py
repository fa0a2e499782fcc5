"""The page of evidence.py: what likelihood ratios are worth, world by world and bin by bin."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from typing import Protocol

from brinemark.terms.evidence import RatioBin, Recalibration, TrialResult


class Named(Protocol):
    @property
    def name(self) -> str: ...


class Found(Protocol):
    """As evidence.Judged."""

    @property
    def world(self) -> Named: ...
    @property
    def raw(self) -> TrialResult: ...
    @property
    def lined(self) -> TrialResult: ...
    @property
    def capped(self) -> TrialResult: ...
    @property
    def line(self) -> Recalibration: ...
    @property
    def cap(self) -> float: ...
    @property
    def beyond(self) -> tuple[int, int]: ...
    @property
    def excess(self) -> tuple[float, float]: ...


HEAD = """# What likelihood ratios are worth

Written by `python benchmarks/evidence.py --write docs`; do not edit. {systems} systems in each world, each with 20
control tanks; of its other tanks one half is a trial and the other half is judged: {judged} tanks of exposed and as
many of unexposed fish in each world. The whole path is run: tank record, readings with their curves, background of the
system, kinetics of the world "released", ratio; then the line through the ratios that the trial supports, and the cap
of each ratio by how many of the trial's tanks of unexposed fish reached it. In the world "not released" every ratio is
1.

Cllr is the cost of the ratios in bits: 0 is perfect, 1 says nothing. *above*: how far it lies above what the best
rising recalibration leaves, which is what separation allows (wanted after the line: {wanted:.0%}). *misleading*: share
of unexposed tanks with a ratio of 10 or more, and of exposed ones with 1/10 or less. *largest cap*: the most that any
ratio counts for; *cut*: share of unexposed tanks whose ratio the cap lowers.

| world | Cllr | above | after the line | above | slope | misleading | with line and cap | largest cap | cut |
|---|---|---|---|---|---|---|---|---|---|
"""
BINS = """
## Bin by bin

log10 of the share of exposed over the share of unexposed tanks in each bin of log10 ratio, with exact 95 % limits; it
should lie in the bin. Without a line, and with it.

"""


def page(found: Sequence[Found], systems: int, wanted: float) -> str:
    judged = found[0].raw.exposed
    lines = [HEAD.format(systems=systems, judged=judged, wanted=wanted)]
    lines += [_row(one) for one in found]
    lines.append(BINS)
    for one in found:
        lines.append(f"### {one.world.name[0].upper()}{one.world.name[1:]}\n\n")
        lines.append("| log10 ratio | exposed, unexposed | observed | agrees | with the line | observed | agrees |\n")
        lines.append("|---|---|---|---|---|---|---|\n")
        lines += [_bin(raw, lined) for raw, lined in zip(one.raw.bins, one.lined.bins, strict=True)]
        agree = [_agreeing(result.bins) for result in (one.raw, one.lined)]
        lines.append(f"\nBins that agree: {agree[0]} without the line, {agree[1]} with it.\n\n")
    return "".join(lines).rstrip() + "\n"


def _row(one: Found) -> str:
    raw, lined = one.excess
    wrong, capped = (_misleading(result) for result in (one.raw, one.capped))
    cells = [
        one.world.name,
        f"{one.raw.cost:.2f}",
        f"{raw:.0%}",
        f"{one.lined.cost:.2f}",
        f"{lined:.0%}",
        f"{one.line.slope:.2f}",
        wrong,
        capped,
        f"{one.cap:.2g}",
        f"{one.beyond[0] / one.beyond[1]:.1%}",
    ]
    return f"| {' | '.join(cells)} |\n"


def _misleading(result: TrialResult) -> str:
    ten = next(one for one in result.misleading if one.factor == 10.0)
    return f"{ten.unexposed.count / ten.unexposed.of:.1%}, {ten.exposed.count / ten.exposed.of:.1%}"


def _bin(raw: RatioBin, lined: RatioBin) -> str:
    cells = [_range(raw)]
    for one in (raw, lined):
        observed = "" if math.isnan(one.log10_observed) else _observed(one)
        cells += [f"{one.exposed}, {one.unexposed}", observed, "yes" if one.agrees else "no"]
    return f"| {' | '.join(cells)} |\n"


def _observed(one: RatioBin) -> str:
    return f"{_signed(one.log10_observed)} ({_signed(one.log10_lower)} to {_signed(one.log10_upper)})"


def _signed(value: float) -> str:
    if math.isinf(value):
        return "no end" if value > 0 else "none"
    return f"{value:.1f}"


def _range(one: RatioBin) -> str:
    if math.isinf(one.low):
        return f"below {one.high:g}"
    return f"{one.low:g} and above" if math.isinf(one.high) else f"{one.low:g} to {one.high:g}"


def _agreeing(bins: Iterable[RatioBin]) -> str:
    used = [one for one in bins if one.exposed + one.unexposed]
    return f"{sum(one.agrees for one in used)} of {len(used)}"
