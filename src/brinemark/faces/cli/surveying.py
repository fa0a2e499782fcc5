"""The verbs holds and survey: what tests of tank water can show, and what they showed over consignments."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any, TypeVar

import click

from brinemark.faces.cli.plain import amount, json_option, say, say_json, say_next, say_table
from brinemark.faces.cli.progress import working
from brinemark.faces.cli.session import Session
from brinemark.terms.wording import counted, opened

if TYPE_CHECKING:
    from brinemark.steps.holds import BestHold, HeldWorld, HoldAnswer
    from brinemark.steps.survey_answers import SurveyAnswer, SurveyedWorld
    from brinemark.terms.surveillance import PrevalenceStatement


REMARKABLE = 0.002  # beyond the outer limits of a funnel, which hold 99.8 %
_Verb = TypeVar("_Verb", bound=Callable[..., Any])


def _several(name: str, target: str, unit: str, words: str) -> Callable[[_Verb], _Verb]:
    return click.option(name, target, type=float, multiple=True, metavar=unit, help=f"{words}; may be repeated.")


@click.command(short_help="Would a hold in clean water show it?")
@click.option("--fish", "count", type=int, default=1, metavar="NUMBER", show_default=True, help="Fish in the tank.")
@click.option("--mass-g", type=float, default=5.0, metavar="G", show_default=True, help="Mass of one fish.")
@_several("--days", "days", "DAYS", "Days between capture and the hold")
@_several("--litres", "volumes_L", "L", "Volume of the hold")
@_several("--hours", "hours", "H", "Length of the hold")
@json_option
@click.pass_obj
def holds(session: Session, /, count: int, mass_g: float, as_json: bool, **several: tuple[float, ...]) -> None:
    """Tell the chance that thiocyanate is found in a tank of exposed fish, held in clean water, in each world apart.

    It is that of one electrode of this logbook, by its newest calibration. What is not named is tried at a few common
    values. Nothing is stored.

    \b
    Examples:
      brinemark --logbook my-logbook holds --fish 3 --mass-g 8
      brinemark --logbook my-logbook holds --days 2 --litres 0.5 --litres 2
    """
    with session.open() as logbook, working("following the fish"):
        answer = logbook.holds(count, mass_g, **{name: values for name, values in several.items() if values})
    if as_json:
        say_json(answer.to_dict())
        return
    _tell_holds(answer)
    say_next(session.line("survey"))


def _tell_holds(answer: HoldAnswer) -> None:
    text = str(answer)
    say(f"{opened(text)}.")
    for world in answer.worlds:
        click.echo()
        say(f'World "{world.world}": {world.words}.')
        _tell_world(world)
    click.echo()
    for caution in answer.cautions:
        say(f"{caution}.", 2)


def _tell_world(world: HeldWorld) -> None:
    if all(one.hours is None for one in world.best):
        say(f"Every hold has the chance of a false alarm, {world.false_alarm:.2g}: {world.best[0].reason}.", 2)
        return
    lengths = sorted({one.hours for one in world.places})
    chances = {(one.days, one.volume_L, one.hours): one.probability for one in world.places}
    rows = [
        (
            f"{best.days:g}",
            f"{best.volume_L:g}",
            *(_chance(chances[best.days, best.volume_L, hours]) for hours in lengths),
            _best_words(best, lengths[-1]),
        )
        for best in world.best
    ]
    head = ("days", "litres", *(f"{hours:g} h" for hours in lengths), "best hold")
    say_table(head, rows, right=range(2 + len(lengths)))


def _best_words(best: BestHold, longest: float) -> str:
    if best.hours is None:
        return "none"
    return f"{amount(best.hours)} h" + (" or longer" if best.hours == longest else "")


def _chance(probability: float) -> str:
    return f"{probability:.2f}" if probability <= 0.99 else ">.99"


@click.command(short_help="Prevalence over consignments, or why none.")
@json_option
@click.pass_obj
def survey(session: Session, as_json: bool) -> None:
    """Tell how many tanks of fish of unknown history had thiocyanate in their water, and what that says of the
    prevalence by origin and season, in each world apart.

    A tank counts once, with its newest sample that was read with an outcome. Where no prevalence can be stated, the
    reason stands in its place. Nothing is stored.

    \b
    Example:
      brinemark --logbook my-logbook survey
    """
    with session.open() as logbook, working("following the fish of every tank"):
        answer = logbook.survey()
    if as_json:
        say_json(answer.to_dict())
        return
    _tell_survey(answer)
    say_next(session.line("holds"))


def _tell_survey(answer: SurveyAnswer) -> None:
    text = str(answer)
    say(f"{opened(text)} (p at most {answer.alpha:g}).")
    if answer.reason is not None:
        say(f"No prevalence: {answer.reason}.")
    else:
        _tell_consignments(answer)
        _tell_false(answer)
    for world in answer.worlds:
        click.echo()
        say(f'World "{world.world}": {world.words}.')
        for statement in world.statements:
            _tell_statement(statement)
        _tell_remarkable(world)
    click.echo()
    for one in answer.not_counted:
        say(f"not counted: tank {one.tank} of {one.consignment}: {one.reason}", 2)
    for caution in answer.cautions:
        say(f"{caution}.", 2)


def _tell_consignments(answer: SurveyAnswer) -> None:
    sensitivity = [world.sensitivity for world in answer.worlds]
    head = ("consignment", "origin", "season", "found", "of", "days", "litres", *("chance" for _ in sensitivity))
    rows = [
        (
            one.name,
            one.origin,
            one.season,
            str(one.positive),
            str(one.tested),
            amount(one.days),
            amount(one.volume_L),
            *(_chance(world[place]) for world in sensitivity),
        )
        for place, one in enumerate(answer.consignments)
    ]
    say_table(head, rows, right=range(3, len(head)))
    worlds = " and ".join(f'"{world.world}"' for world in answer.worlds)
    say(f"Chance: that a test finds fish that were exposed, in the worlds {worlds}.", 2)
    if answer.power is not None:
        say(f"Test: {answer.power.words}.", 2)


def _tell_false(answer: SurveyAnswer) -> None:
    nominal, known, behind = answer.nominal, answer.known, answer.false_findings
    tanks = counted(answer.tested, "tank")
    say(
        f"Of {tanks} of fish that were not exposed, {nominal.mean:.2g} would be found by the error of the first kind "
        f"alone (at least one with probability {nominal.at_least_one:.2g})."
    )
    if known is None or behind is None:
        say("What the rate of false findings is in fish is not known: no tank of unexposed fish was read.")
        return
    say(
        f"By the {behind.found} of {behind.tested} tanks of {behind.population} in which it was found: "
        f"{known.mean:.2g}, at most {known.upper:.2g} at 95 % (at least one with probability {known.at_least_one:.2g})."
    )


def _tell_statement(one: PrevalenceStatement) -> None:
    head = f"{one.origin}, {one.season}: found in {one.positive} of {one.tested}"
    if one.estimate is None or one.interval is None:
        say(f"{head}; no prevalence can be stated: {one.reason}.", 2)
    else:
        low, high = one.interval
        say(f"{head}; prevalence {one.estimate:.2f} ({low:.2f} to {high:.2f}).", 2)
    for caution in one.cautions:
        say(f"{caution}.", 4)


def _tell_remarkable(world: SurveyedWorld) -> None:
    """Consignments that lie outside what the funnel expects of them."""
    for point in world.funnel.points:
        if point.p < REMARKABLE:
            say(
                f"{point.name} lies apart from the others: {point.share:.0%} found where {point.expected:.0%} is "
                f"expected of it (p = {point.p:.2g}).",
                2,
            )
