"""The verbs holds and survey: what tests of tank water can show, and what they showed over consignments."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any, TypeVar

import click

from brinemark.faces.cli.plain import amount, json_option, say, say_json, say_next, say_table
from brinemark.faces.cli.progress import working
from brinemark.faces.cli.session import Session

if TYPE_CHECKING:
    from brinemark.steps.holds import BestHold, HeldWorld, HoldAnswer


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
    """Tell the chance that thiocyanate is found in a tank of exposed fish, held in clean water, under each of the two
    published worlds.

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
    say(f"{text[0].upper()}{text[1:]}.")
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
