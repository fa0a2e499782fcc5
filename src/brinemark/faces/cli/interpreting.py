"""The verb consignment: what the waters of a consignment say of its fish, tank by tank, both worlds side by side."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import UTC
from typing import TYPE_CHECKING

import click

from brinemark.faces.cli.beside import say_beside
from brinemark.faces.cli.plain import amount, json_option, say, say_json, say_next, say_table
from brinemark.faces.cli.progress import working
from brinemark.faces.cli.session import Session
from brinemark.terms.wording import as_sentence, counted

if TYPE_CHECKING:
    from brinemark.steps.fish_answers import ConsignmentAnswer, FishLot, TankAnswer, WaterAnswer, WorldAnswer

MOST_MOVES, LEAST_MOVE = 3, 0.05
"""So many assumptions are told, and none that moves log10 of the ratio by less."""


@click.command(short_help="What waters say of the fish of a consignment.")
@click.argument("name")
@click.option("--tank", "tanks", multiple=True, metavar="TANK", help="Only this tank (repeatable); nothing is kept.")
@click.option("--priors", is_flag=True, help="Show priors from .05 to .5 and what the readings make of each.")
@json_option
@click.pass_obj
def consignment(session: Session, name: str, tanks: tuple[str, ...], priors: bool, as_json: bool) -> None:
    """Say what the waters of consignment NAME, its tanks and blanks say of its fish, and what they cannot say.

    The two published accounts of thiocyanate in holding water contradict each other. Both stand side by side and are
    never averaged. The interpretation is kept with everything that it rests on.

    \b
    Examples:
      brinemark --logbook my-logbook consignment K7
      brinemark --logbook my-logbook consignment K7 --tank T2 --priors
    """
    with session.open() as logbook, working("weighing"):
        answer = logbook.consider(name, tanks) if tanks else logbook.interpret(name)
    if as_json:
        say_json(answer.to_dict())
        return
    tell_consignment(answer, priors)
    more = [session.line("exposures", name, answer.tanks[0].tank)] if answer.tanks else []
    say_next(session.line("report", "consignment", name), *more)


def tell_consignment(answer: ConsignmentAnswer, priors: bool) -> None:
    """Fish, tanks one after the other, then what holds for all of them, with the cautions once at the end."""
    fish = sum(one.count for one in answer.lots)
    kept = f"kept as {answer.id[:12]}" if answer.id else "some tanks only, nothing was kept"
    say(f"Consignment {answer.name}: {fish} fish, {counted(len(answer.tanks), 'tank')}; {kept}.")
    for one in answer.lots:
        say(_lot(one), 2)
    for tank in answer.tanks:
        click.echo()
        _tell_tank(tank, answer.scale, priors)
    click.echo()
    for text in for_all(answer):
        say(text)
    say("Cautions:")
    for text in answer.cautions:
        say(as_sentence(text), 2)


def for_all(answer: ConsignmentAnswer) -> Iterator[str]:
    """What holds for all tanks: backgrounds, expected false detections, where the words are from, the third world."""
    for one in answer.systems:
        if one.median is None or one.gsd is None:
            yield f"Water of {one.system} has no background: {one.reason}."
        else:
            yield (
                f"Background of the water of {one.system}, from {counted(one.waters, 'water')}: median "
                f"{amount(one.median[0])} {answer.unit} ({amount(one.median[1])} to {amount(one.median[2])})."
            )
    false = answer.false_alarms
    yield (
        f"Thiocyanate was found in {false.found} of {counted(false.tested, 'water')} tested at alpha {false.alpha:g}; "
        f"{false.mean:.2g} such finds are expected when none holds any, and at least one with probability "
        f"{false.at_least_one:.2g}."
    )
    yield f"Words for ratios: {answer.scale}."
    if answer.own is not None:
        yield f"No world of this laboratory's own experiments: {answer.own}."


def _lot(one: FishLot) -> str:
    what = f"{one.fish}: {one.count} of {one.mass_g:g} g"
    what += f", {one.species}" if one.species else ""
    what += f", from {one.origin}" if one.origin else ""
    sure = f" (standard uncertainty {one.at_u_d:g} d)" if one.at_u_d else ""
    told = f"{what}, history {one.history}, {one.at.astimezone(UTC):%Y-%m-%d %H:%M} UTC{sure}"
    gone = [f"{count} {word}" for count, word in ((one.dead, "dead"), (one.removed, "taken out")) if count]
    return f"{told}{'; ' if gone else ''}{' and '.join(gone)}"


def _tell_tank(tank: TankAnswer, scale: str, priors: bool) -> None:
    say(f"Tank {tank.tank} ({amount(tank.volume_L)} L, water of {tank.system}): {tank.headline}.")
    for text in _not_of_worlds(tank):
        say(text, 2)
    for water in tank.samples:
        for text in water.remarks:
            say(f"{water.sample}: {text}.", 2)
    for text in (*tank.missing, *tank.remarks):
        say(f"missing: {text}." if text in tank.missing else as_sentence(text), 2)
    say_beside([(f"world '{one.world}'", _column(one, scale)) for one in tank.worlds])
    _tell_expected(tank)
    if priors:
        _tell_priors(tank.worlds)


def _not_of_worlds(tank: TankAnswer) -> list[str]:
    """The sentences about readings, amount and other accounts; those of the worlds stand side by side."""
    of_worlds = {text for one in tank.worlds for text in one.told}
    return [text for text in tank.words if text not in of_worlds]


def _column(world: WorldAnswer, scale: str) -> list[str]:
    """What one world says; the source of the words is told once for all."""
    told = [as_sentence(world.holds), *(text.replace(f" ({scale})", "") for text in world.told)]
    most = [one for one in world.moves if one.move >= LEAST_MOVE][:MOST_MOVES]
    if most:
        moved = ", ".join(_moved(one.assumption, one.at_low, one.at_high) for one in most)
        told.append(f"What moves the ratio most: {moved}.")
    return told


def _moved(assumption: str, at_low: float, at_high: float) -> str:
    return f"{assumption} ({_times(at_low)} to {_times(at_high)})"


def _times(log10_ratio: float) -> str:
    return f"{10.0**log10_ratio:.2g}"


def _tell_expected(tank: TankAnswer) -> None:
    """What each world expects of exposed fish, beside what was read."""
    if not any(one.expected for one in tank.worlds):
        return
    click.echo()
    say("Levels that each world expects if the fish were exposed, ug/L (95 %), beside what was read:", 2)
    head = ("water", "taken, UTC", *(f"world '{one.world}'" for one in tank.worlds), "read")
    say_table(head, [_expected_row(water, tank.worlds) for water in tank.samples])


def _expected_row(water: WaterAnswer, worlds: Sequence[WorldAnswer]) -> tuple[str, ...]:
    cells = []
    for world in worlds:
        found = next((one for one in world.expected if one.sample == water.sample), None)
        cells.append("none" if found is None else f"{amount(found.lower)} to {amount(found.upper)}")
    return water.sample, f"{water.at.astimezone(UTC):%Y-%m-%d %H:%M}", *cells, _read(water)


def _read(water: WaterAnswer) -> str:
    if water.reading is None:
        return "not read yet"
    low, high = water.lower, water.upper
    if low is None and high is None:
        return "cannot say"
    if low is None:
        return f"below {amount(high)}"
    return f"{amount(low)} and above" if high is None else f"{amount(low)} to {amount(high)}"


def _tell_priors(worlds: Sequence[WorldAnswer]) -> None:
    """Posterior over priors; the prior is not the program's to choose."""
    told = [one for one in worlds if one.posterior]
    if not told:
        return
    click.echo()
    told_first = "Probability of exposure at capture after the readings."
    say(f"{told_first} The prior is for a court to say, not for this program:", 2)
    rows = []
    for place, row in enumerate(told[0].posterior):
        after = [one.posterior[place] for one in told]
        rows.append((f"{row.prior:g}", *(f"{one.posterior:.2g} ({one.lower:.2g} to {one.upper:.2g})" for one in after)))
    say_table(("prior", *(f"world '{one.world}'" for one in told)), rows)
