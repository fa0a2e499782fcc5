"""The verbs plan-batch and what-helps: which electrodes to burn, and where the maker's next month is best spent."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import click

from brinemark.faces.cli.plain import amount, json_option, say, say_json, say_next, say_table
from brinemark.faces.cli.progress import working
from brinemark.faces.cli.session import Session

if TYPE_CHECKING:
    from brinemark.science.planning.figures import Figure
    from brinemark.steps.plan_batch_answers import BatchPlanned, PlannedBatch
    from brinemark.steps.what_helps_answers import Helps

WISHES = ("answers", "narrow", "power", "cost")
WAYS = {"single": "once", "pre-scan": "pre-scan", "pre-scan and spike": "and spike", "rising additions": "rising"}

electrodes_option = click.option(
    "--electrodes", type=int, required=True, metavar="N", help="How many electrodes the new batch has."
)
level_option = click.option(
    "--level",
    "levels",
    type=float,
    multiple=True,
    metavar="LEVEL",
    help="A level of samples to plan for; may be repeated. Without it, around K.",
)


@click.command(short_help="Which electrodes of a new batch to burn.")
@electrodes_option
@click.option(
    "--wish",
    type=click.Choice(WISHES),
    default="answers",
    show_default=True,
    help="Most samples answered, narrowest intervals, best power, or least cost.",
)
@level_option
@click.option("--samples", type=int, default=1, metavar="N", help="How many samples the batch has to serve at least.")
@click.option(
    "--detectable", type=float, metavar="LEVEL", help="Minimum detectable value that is wanted; with the wish cost."
)
@click.option("--instrument", metavar="ID", help="Instrument that reads them; without it, the one used most.")
@click.option("--keep", metavar="TITLE", help="Keep the plan under this title; lay-out can carry it out.")
@json_option
@click.pass_obj
def plan_batch(session: Session, /, electrodes: int, wish: str, keep: str | None, as_json: bool, **more: Any) -> None:
    """Plan a new batch: which electrodes read blanks and standards, and how samples are read on the rest.

    Batches are simulated from what this logbook's history knows and does not know, and read as samples are. The best
    plan comes with those behind it, ties called ties, and with what each number of burned electrodes gives. Nothing is
    stored without --keep.

    \b
    Examples:
      brinemark --logbook my-logbook plan-batch --electrodes 6 --level 1 --level 2
      brinemark --logbook my-logbook plan-batch --electrodes 6 \\
          --keep "six of June"
    """
    with session.open() as logbook, working("planning the batch"):
        levels = more.pop("levels") or None
        answer = logbook.plan_batch(electrodes, wish, levels, **more)
        kept = None if keep is None else logbook.keep_batch_plan(answer, keep)
    if as_json:
        say_json(answer.to_dict() if kept is None else kept.to_dict())
        return
    tell_plan(answer)
    if kept is not None:
        there = "Kept" if kept.new else "Kept already"
        say(f"{there} as {kept.title!r} (plan {kept.id[:12]}).")
    if answer.plans and answer.plans[0].meets:
        say_next(session.line("lay-out", "RUN.toml"))


def tell_plan(answer: BatchPlanned) -> None:
    """What a plan for a batch says, whether it was worked out now or kept."""
    say(f"{answer}.")
    if answer.plans:
        _tell(answer)
    for text in answer.remarks():
        say(f"{text}.", 2)


def _tell(answer: BatchPlanned) -> None:
    """The plans, then the best for each number of burned electrodes, then what full knowledge would give."""
    say()
    _table(answer, answer.plans)
    say()
    say("The best for each number of burned electrodes:", 2)
    _table(answer, answer.by_burned)
    if answer.limit is not None:
        folds = " ".join(_short(one) for one in answer.limit.fold)
        say(
            f"If the batch were known exactly, none burned: fold {folds}, answered {_short(answer.limit.answers)}.",
            2,
        )
    say()


def _table(answer: BatchPlanned, plans: Sequence[PlannedBatch]) -> None:
    """One line for each plan."""
    head = ("burn", "read", "each", "samples", "fold", "answered", "least", "h", "")
    rows = []
    for one in plans:
        seen = one.figures
        mark = "" if one.meets else "short"
        fold = " ".join(_short(f) for f in seen.fold)
        answered = f"{seen.answers.value:.2f} ({seen.answers.error:.2f})"
        rows.append(
            (
                one.burned_words(WAYS),
                WAYS.get(one.protocol, one.protocol),
                one.dilutions,
                str(one.plan.samples),
                fold,
                answered,
                _short(seen.detectable),
                f"{seen.hours:g}",
                mark or ("tie" if one.tie and one is not answer.plans[0] else ""),
            )
        )
    say_table(head, rows, right=(3, 7))


def _short(one: Figure) -> str:
    return amount(float(f"{one.value:.2g}")) if math.isfinite(one.value) else "open"


@click.command(short_help="What a better batch would buy.")
@electrodes_option
@click.option("--factor", type=float, default=2.0, show_default=True, help="By what a part is divided.")
@click.option(
    "--wish",
    type=click.Choice(WISHES[:3]),
    default="answers",
    show_default=True,
    help="What counts: samples answered, narrow intervals, or power.",
)
@level_option
@json_option
@click.pass_obj
def what_helps(
    session: Session, electrodes: int, factor: float, wish: str, levels: tuple[float, ...], as_json: bool
) -> None:
    """Say what a better batch would buy: less scatter, noise, floor, drift, fewer defects, or more electrodes.

    The best plan of today is worked out again with one part divided by the factor, on the same simulated batches. What
    buys most comes first. Nothing is stored.

    \b
    Example:
      brinemark --logbook my-logbook what-helps --electrodes 6
    """
    with session.open() as logbook, working("supposing better batches"):
        answer = logbook.what_helps(electrodes, factor, wish, levels or None)
    if as_json:
        say_json(answer.to_dict())
        return
    say(f"{answer}.")
    if answer.gains:
        _tell_gains(answer)
    for text in answer.remarks():
        say(f"{text}.", 2)
    say_next(session.line("plan-batch", "--electrodes", str(electrodes)))


def _tell_gains(answer: Helps) -> None:
    from brinemark.steps.what_helps_answers import electrodes_per_answer

    rows = []
    for one in answer.gains:
        seen = one.figures
        fold, power = (" ".join(_short(f) for f in values) for values in (seen.fold, seen.power))
        gain = "" if one is answer.gains[0] else f"{one.gain.value:.2f} ({one.gain.error:.2f})"
        rows.append((one.part, fold, power, _short(seen.detectable), electrodes_per_answer(one), gain))
    say()
    say_table(("part", "fold", "power", "least", "electrodes per answer", "gain"), rows)
    say()
