"""The verbs exposures and kinetics: which exposures agree with waters, and the parameters behind every world."""

from __future__ import annotations

from itertools import groupby
from typing import TYPE_CHECKING

import click

from brinemark.faces.cli.plain import amount, json_option, say, say_json, say_next, say_table
from brinemark.faces.cli.progress import working
from brinemark.faces.cli.session import Session
from brinemark.terms.wording import counted

if TYPE_CHECKING:
    from brinemark.science.fish.inverse import Exposures
    from brinemark.science.fish.parameters import Parameter
    from brinemark.steps.exposures import ExposuresAnswer
    from brinemark.steps.kinetics_in_use import KineticsAnswer


@click.command(short_help="Doses and times that agree with a tank's waters.")
@click.argument("consignment")
@click.argument("tank")
@json_option
@click.pass_obj
def exposures(session: Session, consignment: str, tank: str, as_json: bool) -> None:
    """Show which exposures of the fish of TANK agree with its waters: doses, and days before the first water.

    Under each world apart, with no exposure beside them. A range that agrees does not show that there was an exposure.

    \b
    Example:
      brinemark --logbook my-logbook exposures K7 T2
    """
    with session.open() as logbook, working("following doses and times"):
        answer = logbook.exposures(consignment, tank)
    if as_json:
        say_json(answer.to_dict())
        return
    _tell_exposures(answer)
    say_next(session.line("consignment", consignment, "--tank", tank))


def _tell_exposures(answer: ExposuresAnswer) -> None:
    say(f"Consignment {answer.consignment}, tank {answer.tank}, {counted(len(answer.samples), 'water')}:")
    for fish in answer.caught:
        sure = "" if fish.u_d is None else f", standard uncertainty {fish.u_d:g} d"
        say(f"recorded: {fish.fish} caught {amount(fish.days_d)} d before the first water{sure}", 2)
    if answer.reason is not None:
        say(f"no background: {answer.reason}", 2)
    for one in answer.worlds:
        click.echo()
        say(one.words)
        for text in one.cautions:
            say(f"caution: {text}", 2)
        if one.agrees.any():
            _tell_cells(one)


def _tell_cells(one: Exposures) -> None:
    """The doses that agree at each time; times with the same doses are told together."""
    doses = [one.dose_mg_kg[one.agrees[:, place]] for place in range(one.days_d.size)]
    pairs = zip(one.days_d.tolist(), doses, strict=True)
    told = [(day, float(each.min()), float(each.max())) for day, each in pairs if each.size]
    if len({row[1:] for row in told}) <= 1 and one.agrees.any(axis=1).all():
        return
    rows = []
    for ends, group in groupby(told, key=lambda row: row[1:]):
        days = [row[0] for row in group]
        when = amount(days[0]) if len(days) == 1 else f"{amount(days[0])} to {amount(days[-1])}"
        rows.append((when, f"{amount(ends[0])} to {amount(ends[1])}"))
    say_table(("days before the first water", "doses that agree, mg CN per kg"), rows)


@click.command(short_help="Parameters behind every world, with sources.")
@click.option("--fit", is_flag=True, help="Fit spiked tanks and tanks of known exposure, and keep the fit.")
@json_option
@click.pass_obj
def kinetics(session: Session, fit: bool, as_json: bool) -> None:
    """Show the parameters that interpretations use, world by world: law, median, spread, unit, and where it is from.

    With --fit, own experiments (spiked tanks, fish of known exposure) are fitted and kept. Where they measure enough,
    interpretations show them as a third world from then on.

    \b
    Examples:
      brinemark --logbook my-logbook kinetics
      brinemark --logbook my-logbook kinetics --fit
    """
    with session.open() as logbook, working("fitting own experiments" if fit else "looking"):
        answer = logbook.fit_experiments() if fit else logbook.kinetics()
    if as_json:
        say_json(answer.to_dict())
        return
    _tell_kinetics(answer)
    say_next(session.line("consignment", "NAME") if fit else session.line("kinetics", "--fit"))


def _tell_kinetics(answer: KineticsAnswer) -> None:
    for world in answer.worlds:
        say(f"World '{world.name}': {world.words}.")
        rows = [_row(answer.words_of(one.name), one) for one in world.parameters.values()]
        say_table(("parameter", "median", "spread", "unit", "law", "standing"), rows, right=(1, 2))
        click.echo()
    say("Sources:")
    told: dict[tuple[str, str], list[str]] = {}
    for world in answer.worlds:
        for one in world.parameters.values():
            told.setdefault((answer.words_of(one.name), str(one.source)), []).append(world.name)
    for (name, source), worlds in told.items():
        of = "" if len(worlds) == len(answer.worlds) else f", {' and '.join(repr(world) for world in worlds)}"
        say(f"{name}{of}: {source}", 2)
    click.echo()
    _tell_own(answer)


def _row(name: str, one: Parameter) -> tuple[str, ...]:
    spread = "" if one.law == "fixed" else amount(one.spread)
    return name, amount(one.median), spread, "" if one.unit == "1" else one.unit, one.law, one.source.standing


def _tell_own(answer: KineticsAnswer) -> None:
    say("Own experiments:")
    for one in answer.tanks:
        why = counted(one.waters, "water") if one.left_out is None else one.left_out
        say(f"{one.consignment}, tank {one.tank}, {one.kind}: {why}", 2)
    if not answer.tanks:
        say("no tank was spiked, and none holds fish known to have been exposed", 2)
    if answer.fit is not None and answer.record is not None:
        say(f"Fit {answer.record[:12]}:")
        for text in (*answer.fit.words, *answer.fit.cautions):
            say(f"{text}", 2)
    if answer.reason is not None:
        say(f"No world of own experiments: {answer.reason}.")
