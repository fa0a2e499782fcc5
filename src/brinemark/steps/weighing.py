"""One tank in one world: what exposed fish would have added, and how the readings weigh that against other accounts."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from brinemark.science.fish.alternatives import FED, OUTFLOW, TOUCHED, of_feed, of_outflow, of_touching
from brinemark.science.fish.evidence import (
    capped,
    moves_of,
    posterior_table,
    sensitivity_table,
    table_over_backgrounds,
    weigh_series_against,
    weigh_worlds,
)
from brinemark.science.fish.released import Case, Released, released
from brinemark.science.fish.trials import with_recalibration
from brinemark.science.fish.wording import sentences, support
from brinemark.science.fish.worlds import Drawing, World
from brinemark.steps.fish_answers import Expected, WaterAnswer, WorldAnswer, most_telling
from brinemark.steps.tank_history import TankStory
from brinemark.steps.trial_lines import KeptTrial
from brinemark.steps.water_readings import likelihood_of
from brinemark.terms.arrays import FloatArray
from brinemark.terms.evidence import (
    AssumptionMove,
    BackgroundFit,
    Cap,
    LevelLikelihood,
    Proposition,
    Recalibration,
    VerbalScale,
    Weight,
)

AT_CAPTURE, NOT_AT_CAPTURE = "exposed at capture", "no exposure at capture"
NO_READING = "no water of this tank was read"
NO_FISH = "no fish came into this tank"
NAMES = {
    "absorbed_dose": "dose that the fish absorbed",
    "converted": "share of cyanide that becomes thiocyanate",
    "to_water": "share that reaches the water",
    "slow_share": "share that leaves slowly",
    "slow_half_life": "half-life of the slow share",
    "body_half_life": "half-life in the body",
    "water_loss": "loss in the water",
    "capture": "moment of capture",
}
"""Assumptions behind what exposed fish add, in words; others are not told."""


@dataclass(frozen=True, slots=True, eq=False)
class Scales:
    """What all tanks of a consignment are judged by.

    cap : of what was found in tanks of known fish, which holds where no trial was kept; trial : the newest that was,
    with the lines and caps of ratios that it supports.
    """

    worlds: tuple[World, ...]
    drawing: Drawing
    cap: Cap
    scale: VerbalScale
    trial: KeptTrial = field(default_factory=KeptTrial)

    def cap_of(self, weight: Weight) -> Cap:
        """What one ratio may count for at most and at least."""
        return self.trial.cap(weight) or self.cap


@dataclass(frozen=True, slots=True, eq=False)
class Question:
    """What is asked of one tank.

    story : what it saw; exposed : fish whose exposure is supposed; waters : its samples in order of time; background :
    of its system, or why there is none; open : other accounts that are not excluded, with the reason; smoker, sample_mL
    : of the samples; moves : whether what each assumption changes is worked out.
    """

    story: TankStory
    exposed: tuple[str, ...]
    waters: tuple[WaterAnswer, ...]
    background: BackgroundFit | str
    open: tuple[tuple[str, str], ...]
    smoker: bool
    sample_mL: float | None
    moves: bool = True

    def days(self) -> FloatArray:
        return np.array([self.story.day(one.at) for one in self.waters])


def weighed(question: Question, world: World, scales: Scales) -> WorldAnswer:
    """What one world makes of a tank's readings."""
    bare = WorldAnswer(world.name, world.words, None, None, None, ())
    if not question.exposed:
        return _without(bare, NO_FISH)
    days = question.days()
    if not days.size:
        return _without(bare, NO_READING)
    added = released(world, question.story.history, _case(question), days, scales.drawing)
    expected = _expected(question, added)
    read = [(n, found) for n, one in enumerate(question.waters) if (found := likelihood_of(one)) is not None]
    if not read:
        return _without(bare, NO_READING, expected)
    columns, likelihoods = [n for n, _ in read], [found for _, found in read]
    levels = added.water_ug_L[:, columns]
    telling = most_telling([question.waters[n] for n in columns])
    if isinstance(question.background, str):
        return _tabled(bare, question.background, (likelihoods[telling], levels[:, telling]), expected)
    others = [(NOT_AT_CAPTURE, np.zeros_like(levels)), *_others(question, world, days[columns], scales.drawing)]
    known = question.background, scales.drawing.seed
    main, *against = _weights(likelihoods, known, [_pair(world, levels, other, name) for name, other in others])
    moves: dict[str, tuple[float, float]] = {}
    if question.moves and levels.any():
        pair = _pair(world, *_column(levels, telling))
        told = {NAMES[name]: values for name, values in added.drawn.items() if name in NAMES}
        moves = moves_of(likelihoods[telling], question.background, pair, told)
    return _told(bare, main, tuple(against), scales, (sensitivity_table(moves), expected))


def _case(question: Question) -> Case:
    return Case(question.story.tank, question.exposed, question.story.capture_u_d)


def _without(bare: WorldAnswer, reason: str, expected: tuple[Expected, ...] = ()) -> WorldAnswer:
    return WorldAnswer(bare.world, bare.holds, None, None, reason, (f"No ratio: {reason}.",), expected=expected)


def _expected(question: Question, added: Released) -> tuple[Expected, ...]:
    lower, median, upper = np.quantile(added.water_ug_L, [0.025, 0.5, 0.975], axis=0)
    return tuple(
        Expected(one.sample, float(lower[n]), float(median[n]), float(upper[n]))
        for n, one in enumerate(question.waters)
    )


def _pair(
    world: World, first: FloatArray, second: FloatArray, name: str = NOT_AT_CAPTURE
) -> tuple[Proposition, Proposition]:
    return Proposition(AT_CAPTURE, world.name, first), Proposition(name, world.name, second)


def _column(levels: FloatArray, place: int) -> tuple[FloatArray, FloatArray]:
    """What is added at one water, and nothing."""
    return levels[:, place], np.zeros(len(levels))


def _weights(
    likelihoods: Sequence[LevelLikelihood],
    known: tuple[BackgroundFit, int],
    pairs: Sequence[tuple[Proposition, Proposition]],
) -> list[Weight]:
    """Of pairs of propositions that add (draws, waters) [ug/L]; known : background and seed."""
    background, seed = known
    if len(likelihoods) > 1:
        others = [other for _, other in pairs]
        return list(weigh_series_against(likelihoods, background, pairs[0][0], others, seed))
    single = [(replace(one, added=one.added[:, 0]), replace(other, added=other.added[:, 0])) for one, other in pairs]
    return [one for one in weigh_worlds(likelihoods[0], background, single, seed) if isinstance(one, Weight)]


def _others(question: Question, world: World, days: FloatArray, drawing: Drawing) -> list[tuple[str, FloatArray]]:
    """What each other account that is open adds (draws, waters) [ug/L]."""
    story, found = question.story, []
    for name, _ in question.open:
        if name == OUTFLOW:
            found.append((name, of_outflow(world, story.history, story.tank, days, drawing)))
        elif name == FED:
            found.append((name, of_feed(world, story.history, story.tank, days, story.meals, drawing)))
        elif name == TOUCHED:
            each = [
                of_touching(question.smoker, question.sample_mL, Drawing(drawing.count, drawing.seed + number))
                for number in range(len(days))
            ]
            found.append((name, np.stack(each, axis=1)))
    return found


def _tabled(
    bare: WorldAnswer, reason: str, one: tuple[LevelLikelihood, FloatArray], expected: tuple[Expected, ...]
) -> WorldAnswer:
    world = World(bare.world, bare.holds, {})
    table = table_over_backgrounds(one[0], _pair(world, one[1], np.zeros_like(one[1])), reason)
    least = table.least_favourable
    told = (
        f"No ratio in the world '{bare.world}': {reason}.",
        f"Over supposed backgrounds, the least support for '{table.first}' is a ratio of {10.0**least.log10_ratio:.2g} "
        f"(background of median {least.median:g} ug/L, spread {least.gsd:g} times).",
    )
    return WorldAnswer(bare.world, bare.holds, None, table, reason, told, expected=expected)


def _told(
    bare: WorldAnswer,
    main: Weight,
    against: tuple[Weight, ...],
    scales: Scales,
    more: tuple[tuple[AssumptionMove, ...], tuple[Expected, ...]],
) -> WorldAnswer:
    line, cap = scales.trial.lines.get(main.world), scales.cap_of(main)
    judged = main if line is None else _on_line(main, line)
    least = min((judged, *against), key=lambda one: one.log10_ratio)
    told = list(sentences(judged, scales.scale, cap))
    if line is not None:
        told.insert(1, _line_words(main, line))
    for one in against:
        told.append(
            f"Against '{one.second}', which the record does not exclude: {support(one, scales.scale, cap)} "
            f"(ratio {10.0**one.log10_ratio:.2g}, 95 %: {10.0**one.lower:.2g} to {10.0**one.upper:.2g})."
        )
    ends = [capped(value, cap) for value in (least.log10_ratio, least.lower, least.upper)]
    moves, expected = more
    return WorldAnswer(
        bare.world,
        bare.holds,
        main,
        None,
        None,
        tuple(told),
        against,
        least.log10_ratio,
        moves,
        posterior_table(ends[0], ends[1], ends[2]),
        expected,
        None if line is None else judged,
        cap,
    )


def _on_line(weight: Weight, line: Recalibration) -> Weight:
    """The weight as the line of a trial has it; a ratio of exactly 1 that no reading can change stays one."""
    if weight.log10_ratio == weight.lower == weight.upper == 0.0:
        return weight
    middle, lower, upper = with_recalibration(np.array([weight.log10_ratio, weight.lower, weight.upper]), line).tolist()
    return replace(weight, log10_ratio=middle, lower=lower, upper=upper)


def _line_words(before: Weight, line: Recalibration) -> str:
    return (
        f"This is the ratio as the trial of {line.exposed} tanks of exposed and {line.unexposed} of unexposed fish "
        f"({line.population}) has it; the model alone gives {10.0**before.log10_ratio:.2g}."
    )
