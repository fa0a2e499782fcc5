"""From a stock to wanted levels, or a sample to a wanted dilution, with the pipettes and flasks at hand.

A search, not an optimum. Working solutions of round dilution are tried one after another, and none; from there levels
are made from the highest down. Among ways whose volumes alone reach the wanted relative uncertainty the one that costs
least diluent and work is taken; where none reaches it, the least uncertain, and a further step only if it lowers the
uncertainty by a tenth. Solutions made for one level serve the next ones.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from brinemark.science.amount.dilution_budget import (
    budget,
    contributions,
    correlation,
    level_after,
    ratio_of,
    uncertainty,
)
from brinemark.science.amount.dilution_draws import Draw, cost_of, draw_of, plain_draws, settable, working_solutions
from brinemark.terms.dilutions import (
    CLEAN,
    SHAPES,
    USUAL,
    Diluent,
    Flask,
    Kit,
    Pipette,
    Prepared,
    SampleDilution,
    Scheme,
    Step,
    Stock,
    Wish,
)
from brinemark.terms.errors import Refused

WORTH_A_STEP = 0.9
TRIED = 200  # schemes of each length whose shared errors are worked out


@dataclass(frozen=True, slots=True)
class Source:
    """A solution to draw from: name, its steps from the stock, its level, what may still be taken [mL]."""

    name: str
    steps: tuple[Step, ...]
    level: float
    left_mL: float


@dataclass(frozen=True, slots=True)
class Candidate:
    """Draws that lead from a source to a wanted level; variance as in Draw."""

    source: Source
    draws: tuple[Draw, ...]
    variance: float


def dilution_scheme(
    stock: Stock, wanted: Sequence[float], kit: Kit, diluent: Diluent = CLEAN, wish: Wish = USUAL
) -> Scheme:
    """A way to each wanted level [level unit] with its uncertainty budget.

    Raises Refused for a kit, stock, diluent or level that makes no sense: a wanted level at or below the diluent's own
    or at or above the stock's. A level that this kit does not reach is an answer with a reason.
    """
    _check_kit(kit)
    _check_wish(wish)
    _check_solutions(stock, diluent, wanted)
    bench, levels = _best_bench(stock, wanted, kit, diluent, wish)
    parts = [contributions(one.steps, stock, diluent) for one in levels if one.level is not None]
    return Scheme(
        levels=levels,
        solutions=tuple(bench.solutions),
        correlation=tuple(tuple(1.0 if a is b else correlation(a, b) for b in parts) for a in parts),
        diluent_mL=math.fsum(step.flask.volume_mL - step.volume_mL for step in bench.solutions),
        stock_mL=math.fsum(step.volume_mL for step in bench.solutions if step.source == "stock"),
    )


def _best_bench(
    stock: Stock, wanted: Sequence[float], kit: Kit, diluent: Diluent, wish: Wish
) -> tuple[_Bench, tuple[Prepared, ...]]:
    """The bench on which most levels are reached, then most with the wanted uncertainty, at the least cost."""
    order = sorted(range(len(wanted)), key=lambda place: -wanted[place])
    highest = (wanted[order[0]] - diluent.level) / (stock.level - diluent.level)
    tried: list[tuple[tuple[int, int, float], _Bench, tuple[Prepared, ...]]] = []
    for chain in ((), *working_solutions(kit, highest, wish)):
        bench = _Bench(stock, diluent, kit, wish)
        if chain:
            bench.put(bench.steps_of(Candidate(bench.sources[0], chain, 0.0)), 0, 0.0)
        made = {place: bench.make(wanted[place]) for place in order}
        levels = tuple(made[place] for place in range(len(wanted)))
        missing = sum(one.level is None for one in levels)
        loose = sum(one.level is not None and one.u_volumes > wish.rel_u * one.level for one in levels)
        cost = cost_of([draw_of(step) for step in bench.solutions], wish)
        tried.append(((missing, loose, cost), bench, levels))
    _, bench, levels = min(tried, key=lambda one: one[0])
    return bench, levels


def sample_dilution(
    factor: float, kit: Kit, diluent: Diluent = CLEAN, wish: Wish = USUAL, sample_mL: float = math.inf
) -> SampleDilution:
    """A way to dilute a sample by a wanted factor, with at most sample_mL of it; c_cell = c / factor + added.

    Raises Refused for a factor that is not above 1 and as dilution_scheme does. A factor that is not reached is an
    answer with a reason.
    """
    if not (math.isfinite(factor) and factor > 1.0):
        raise Refused(f"dilution {factor:g}", "a factor above 1", "leave the sample as it is, or give another factor")
    if not sample_mL > 0.0:
        raise Refused(f"{sample_mL:g} mL of sample", "a volume above 0", "say how much there is, or leave it out")
    _check_diluent(diluent)
    _check_kit(kit)
    _check_wish(wish)
    bench = _Bench(Stock(1.0), CLEAN, kit, wish, sample_mL, "sample")
    made = bench.make(1.0 / factor)
    water = math.fsum(step.flask.volume_mL - step.volume_mL for step in made.steps)
    sample = made.steps[0].volume_mL if made.steps else 0.0
    if made.level is None or made.u is None:
        return SampleDilution(factor, None, None, 0.0, 0.0, (), (), 0.0, 0.0, made.reason)
    rest = 1.0 - made.level
    # What the volumes' errors do to the diluent's part is of second order in the share of the sample.
    added_u = math.hypot(rest * diluent.u, made.u * diluent.level)
    return SampleDilution(
        wanted=factor,
        factor=1.0 / made.level,
        rel_u=made.u / made.level,
        added=rest * diluent.level,
        added_u=added_u,
        steps=made.steps,
        budget=made.budget,
        sample_mL=sample,
        diluent_mL=water,
    )


class _Bench:
    """What has been made so far; grows level by level."""

    def __init__(
        self,
        stock: Stock,
        diluent: Diluent,
        kit: Kit,
        wish: Wish,
        stock_mL: float = math.inf,
        first: str = "stock",
    ) -> None:
        self.stock, self.diluent, self.kit, self.wish = stock, diluent, kit, wish
        self.sources = [Source(first, (), stock.level, stock_mL)]
        self.solutions: list[Step] = []
        self.on_the_way = plain_draws(kit)

    def make(self, wanted: float) -> Prepared:
        good: list[tuple[Candidate, float]] = []
        best: tuple[Candidate, float] | None = None
        for count in range(1, self.wish.steps + 1):
            candidates = list(self._candidates(wanted, count))
            good.extend(self._good_enough(candidates))
            if good and count > 1:
                break
            found = self._least_uncertain(candidates) if not good else None
            if found is not None and (best is None or found[1] < WORTH_A_STEP * best[1]):
                best = found
        if good:
            best = min(good, key=lambda pair: (cost_of(pair[0].draws, self.wish), pair[1]))
        return self._not_reached(wanted) if best is None else self._take(wanted, best[0])

    def _good_enough(self, candidates: list[Candidate]) -> list[tuple[Candidate, float]]:
        """The cheapest candidate whose volumes are as certain as wanted, shared errors included; or none."""
        likely = [one for one in candidates if one.variance <= self.wish.rel_u**2]
        for one in sorted(likely, key=lambda one: (cost_of(one.draws, self.wish), one.variance))[:TRIED]:
            error = self._volume_error(one)
            if error <= self.wish.rel_u:
                return [(one, error)]
        return []

    def _least_uncertain(self, candidates: list[Candidate]) -> tuple[Candidate, float] | None:
        likely = sorted(candidates, key=lambda one: one.variance)[:TRIED]
        return min(((one, self._volume_error(one)) for one in likely), key=lambda pair: pair[1], default=None)

    def _volume_error(self, one: Candidate) -> float:
        steps = self.steps_of(one)
        parts = contributions(steps, self.stock, self.diluent)
        return uncertainty(parts, "volume") / level_after(steps, self.stock, self.diluent)

    def _candidates(self, wanted: float, count: int) -> Iterator[Candidate]:
        # A long way starts at the stock: solutions on the bench are there to shorten it.
        sources = self.sources if count < 3 else self.sources[:1]
        for source in sources:
            needed = (wanted - self.diluent.level) / (source.level - self.diluent.level)
            before = math.fsum(draw_of(step).variance for step in source.steps)
            if 0.0 < needed < 1.0:
                for draws in self._ways(needed, count, source.left_mL):
                    yield Candidate(source, draws, before + math.fsum(draw.variance for draw in draws))

    def _ways(self, needed: float, count: int, left_mL: float) -> Iterator[tuple[Draw, ...]]:
        if count == 1:
            for draw in self._last(needed, left_mL):
                yield (draw,)
            return
        for draw in self.on_the_way:
            if draw.volume <= left_mL and draw.ratio > needed:
                for rest in self._ways(needed / draw.ratio, count - 1, draw.flask.volume_mL):
                    yield (draw, *rest)

    def _last(self, needed: float, left_mL: float) -> Iterator[Draw]:
        """Draws that reach the wanted ratio closely enough in a flask that is large enough."""
        for flask in self.kit.flasks:
            if flask.volume_mL < self.wish.volume_mL:
                continue
            for pipette in self.kit.pipettes:
                volume = settable(pipette, needed * flask.volume_mL, self.kit.smallest_mL)
                if volume is None or volume > left_mL or volume >= flask.volume_mL:
                    continue
                if abs(volume / (needed * flask.volume_mL) - 1.0) <= self.wish.within:
                    yield Draw(pipette, volume, flask)

    def steps_of(self, one: Candidate) -> tuple[Step, ...]:
        steps, name = list(one.source.steps), one.source.name
        for place, draw in enumerate(one.draws, len(self.solutions) + 1):
            step = Step(f"solution {place}", name, draw.pipette, draw.volume, draw.flask, 0.0)
            level = level_after([*steps, step], self.stock, self.diluent)
            steps.append(replace(step, level=level))
            name = step.name
        return tuple(steps)

    def _take(self, wanted: float, one: Candidate) -> Prepared:
        steps = self.steps_of(one)
        self.put(steps, len(one.source.steps), self.wish.volume_mL)
        parts = contributions(steps, self.stock, self.diluent)
        level = level_after(steps, self.stock, self.diluent)
        return Prepared(
            wanted=wanted,
            level=level,
            u=uncertainty(parts),
            u_stock=uncertainty(parts, "stock"),
            u_volumes=uncertainty(parts, "volume"),
            u_diluent=uncertainty(parts, "diluent"),
            diluent_share=1.0 - ratio_of(steps),
            steps=steps,
            budget=budget(parts, level, self.stock, self.diluent),
        )

    def put(self, steps: tuple[Step, ...], old: int, kept_mL: float) -> None:
        """Put the solutions after the first old ones on the bench; kept_mL of the last one is not to be drawn from."""
        new = steps[old:]
        drawn = {step.source: step.volume_mL for step in new}
        for place, step in enumerate(new, old + 1):
            kept = kept_mL if step is new[-1] else 0.0
            self.sources.append(Source(step.name, steps[:place], step.level, step.flask.volume_mL - kept))
        self.sources = [replace(s, left_mL=s.left_mL - drawn.get(s.name, 0.0)) for s in self.sources]
        self.solutions.extend(new)

    def _not_reached(self, wanted: float) -> Prepared:
        reason = (
            f"at most {self.wish.steps} dilutions with these vessels do not come within {self.wish.within:.0%} of it, "
            f"no volume below {self.kit.smallest_mL:g} mL and at least {self.wish.volume_mL:g} mL of the solution; "
            "allow another step, a smaller volume to pipette or to finish, or add a larger pipette or flask"
        )
        return Prepared(wanted, None, None, 0.0, 0.0, 0.0, 0.0, (), (), reason)


def _check_kit(kit: Kit) -> None:
    if not kit.pipettes or not kit.flasks:
        came = f"{len(kit.pipettes)} pipettes and {len(kit.flasks)} flasks"
        raise Refused(came, "at least one of each", "name what is at hand")
    for pipette in kit.pipettes:
        low = pipette.nominal_mL if pipette.smallest_mL is None else pipette.smallest_mL
        _check_vessel(pipette, low, pipette.nominal_mL)
        step = pipette.step_mL
        if step is not None and not (math.isfinite(step) and 0.0 < step <= pipette.nominal_mL):
            raise Refused(
                f"{pipette.name} set in steps of {step:g} mL", "a step above 0 within its volume", "correct it"
            )
    for flask in kit.flasks:
        _check_vessel(flask, flask.volume_mL, flask.volume_mL)
    if not (math.isfinite(kit.smallest_mL) and kit.smallest_mL > 0.0):
        raise Refused(f"smallest volume {kit.smallest_mL:g} mL", "a volume above 0", "correct it")


def _check_vessel(one: Pipette | Flask, low: float, high: float) -> None:
    sound = math.isfinite(high) and 0.0 < low <= high
    if not (sound and all(0.0 <= error < low for error in (one.tolerance_mL, one.repeat_mL))):
        came = f"{one.name}, tolerance {one.tolerance_mL:g} mL, scatter {one.repeat_mL:g} mL"
        raise Refused(came, "volumes above 0 and errors from 0 below the smallest volume", "correct the vessel")
    if one.shape not in SHAPES:
        raise Refused(f"{one.name} with a tolerance of shape {one.shape!r}", " or ".join(SHAPES), "name one of them")


def _check_wish(wish: Wish) -> None:
    sizes = (wish.volume_mL, wish.rel_u, wish.within)
    if not (all(math.isfinite(size) and size > 0.0 for size in sizes) and wish.steps >= 1 and wish.work_mL >= 0.0):
        came = f"finished volume {wish.volume_mL:g} mL, uncertainty {wish.rel_u:g}, {wish.steps} steps"
        raise Refused(came, "numbers above 0 and at least one step", "correct them")


def _check_solutions(stock: Stock, diluent: Diluent, wanted: Sequence[float]) -> None:
    if not (math.isfinite(stock.level) and stock.level > 0.0 and math.isfinite(stock.rel_u) and stock.rel_u >= 0.0):
        came = f"stock of level {stock.level:g}, relative uncertainty {stock.rel_u:g}"
        raise Refused(came, "a level above 0 and an uncertainty from 0", "correct the stock")
    _check_diluent(diluent)
    if not wanted:
        raise Refused("no wanted level", "at least one level", "say which levels to make")
    for level in wanted:
        if not (math.isfinite(level) and diluent.level < level < stock.level):
            raise Refused(
                f"wanted level {level:g}",
                f"a level above the diluent's own ({diluent.level:g}) and below the stock's ({stock.level:g})",
                "choose another level, a cleaner lot of diluent or another stock",
            )


def _check_diluent(diluent: Diluent) -> None:
    if not (math.isfinite(diluent.level) and diluent.level >= 0.0 and math.isfinite(diluent.u) and diluent.u >= 0.0):
        raise Refused(f"diluent {diluent.level:g} +- {diluent.u:g}", "finite numbers from 0", "correct the diluent")
