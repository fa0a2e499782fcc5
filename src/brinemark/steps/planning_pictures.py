"""Pictures of plans, from their answers."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from brinemark.outputs.charts import Kind, dilutions_chart, helps_chart, render, shown_unit, trade_chart
from brinemark.science.planning.figures import SIGMAS, Figure
from brinemark.science.planning.gains import MORE_ELECTRODES, TODAY, Gain
from brinemark.steps.plan_batch_answers import BatchPlanned
from brinemark.steps.plan_sample_answers import PlannedSample
from brinemark.steps.what_helps_answers import Helps
from brinemark.terms.errors import Refused
from brinemark.terms.planning_pictures import (
    DilutionLine,
    DilutionsPicture,
    HelpsBar,
    HelpsPicture,
    TradeLine,
    TradePanel,
    TradePicture,
)
from brinemark.terms.wording import amount


def draw_trade(answer: BatchPlanned, kind: Kind) -> bytes:
    """What burning electrodes buys. Raises Refused for an answer without plans."""
    return render(trade_chart(trade_picture(answer)), kind)


def draw_helps(answer: Helps, kind: Kind) -> bytes:
    """What a better batch would buy. Raises Refused for an answer without parts, or when nothing can be drawn."""
    return render(helps_chart(helps_picture(answer)), kind)


def draw_dilutions(answer: PlannedSample, kind: Kind) -> bytes:
    """What each choice for the next electrode of a sample is expected to tell."""
    return render(dilutions_chart(dilutions_picture(answer)), kind)


def trade_picture(answer: BatchPlanned) -> TradePicture:
    """The best plan for each number burned: first what is wished, then what it is traded for. Raises Refused."""
    if not answer.by_burned:
        raise Refused("an answer without plans", "one with plans", "see what it says would be needed")
    made = {
        "answers": _answers(answer),
        "narrow": _folds(answer),
        "power": _power(answer),
        "cost": _detectable(answer),
    }
    first = made[answer.wish.aim]
    second = made["narrow" if answer.wish.aim == "answers" else "answers"]
    return TradePicture(
        f"What burning electrodes buys, of {answer.electrodes} made",
        answer.electrodes,
        np.array([len(one.plan.burned) for one in answer.by_burned]),
        len(answer.plans[0].plan.burned),
        (first, second),
    )


def _line(name: str, figures: Sequence[Figure], known: Figure | None) -> TradeLine:
    value, error = (np.array([getattr(one, part) for one in figures], dtype=float) for part in ("value", "error"))
    return TradeLine(name, value, error, None if known is None else known.value)


def _answers(answer: BatchPlanned) -> TradePanel:
    figures = [one.figures.answers for one in answer.by_burned]
    known = None if answer.limit is None else answer.limit.answers
    return TradePanel(f"samples answered to a fold of {answer.max_fold:g}", (_line("answered", figures, known),))


def _folds(answer: BatchPlanned) -> TradePanel:
    limit = answer.limit
    lines = [
        _line(name, [one.figures.fold[k] for one in answer.by_burned], None if limit is None else limit.fold[k])
        for k, name in enumerate(_levels(answer))
    ]
    return TradePanel("median fold of the interval", tuple(lines), log=True)


def _power(answer: BatchPlanned) -> TradePanel:
    limit = answer.limit
    lines = [
        _line(name, [one.figures.power[k] for one in answer.by_burned], None if limit is None else limit.power[k])
        for k, name in enumerate(_levels(answer))
    ]
    return TradePanel("chance that a sample is found", tuple(lines))


def _detectable(answer: BatchPlanned) -> TradePanel:
    figures = [one.figures.detectable for one in answer.by_burned]
    known = None if answer.limit is None else answer.limit.detectable
    what = f"minimum detectable value, {shown_unit(answer.unit)}"
    return TradePanel(what, (_line("minimum detectable", figures, known),), log=True)


def _levels(answer: BatchPlanned) -> list[str]:
    return [f"{amount(one)} {shown_unit(answer.unit)}" for one in answer.wish.levels]


AXES = {
    "answers": "samples answered per electrode made, times today's",
    "narrow": "width of intervals as a fold, divided by this",
    "power": "chance that a sample is found, mean over levels, more than today",
}


def helps_bars(answer: Helps) -> tuple[HelpsBar, ...]:
    """What each part buys, on the axis of AXES, with two Monte Carlo standard errors to each side."""
    return tuple(_bar(one, answer.planned.wish.aim) for one in answer.gains if one.part != TODAY)


def helps_picture(answer: Helps) -> HelpsPicture:
    """What each part, better by the factor, buys; the most first. Raises Refused."""
    bars = helps_bars(answer)
    if all(one.value is None for one in bars):
        raise Refused("an answer without a gain that can be drawn", "one with gains", "see its table")
    title = f"What would help: one part divided by {answer.factor:g}"
    if any(one.part == MORE_ELECTRODES for one in bars):
        title += ", or more electrodes"
    aim = answer.planned.wish.aim
    return HelpsPicture(title, AXES[aim], 0.0 if aim == "power" else 1.0, bars)


def _bar(one: Gain, aim: str) -> HelpsBar:
    """Gains are differences; those of logs are shown as factors."""
    value, error = one.gain.value, one.gain.error
    sure = value - SIGMAS * error > 0 or value + SIGMAS * error < 0
    if not math.isfinite(value):
        return HelpsBar(one.part, None, math.nan, math.nan, sure)
    shown = (value, value - SIGMAS * error, value + SIGMAS * error)
    if aim != "power":
        shown = (math.exp(shown[0]), math.exp(shown[1]), math.exp(shown[2]))
    return HelpsBar(one.part, *shown, sure)


def dilutions_picture(answer: PlannedSample) -> DilutionsPicture:
    """Each way of reading over the dilutions, as a single electrode; what the plan names is marked."""
    dilutions = tuple(sorted({row.dilution for row in answer.rows}))
    ways = dict.fromkeys(row.way for row in answer.rows)
    count = len(answer.chosen)
    what = "Next electrode" if count == 1 else f"Next {count} electrodes"
    lines = tuple(_dilution_line(answer, way, dilutions) for way in ways)
    return DilutionsPicture(f"{what} of sample {answer.sample}", dilutions, answer.max_fold, lines)


def _dilution_line(answer: PlannedSample, way: str, dilutions: Sequence[float]) -> DilutionLine:
    told = {row.dilution: row.told for row in answer.rows if row.way == way}
    there = [told.get(one) for one in dilutions]
    narrower = np.array([math.nan if one is None else one.narrower for one in there])
    # d exp(information) = exp(information) d information
    error = np.array([math.nan if one is None else one.narrower * one.information_error for one in there])
    chance = np.array([math.nan if one is None else one.chance for one in there])
    chosen = frozenset(dilutions.index(row.dilution) for row in answer.chosen if row.way == way)
    return DilutionLine(way, narrower, error, chance, chosen)
