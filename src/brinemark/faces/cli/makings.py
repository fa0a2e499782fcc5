"""The verbs about batches before they are measured: make, batches, set-aside."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from brinemark.faces.cli.plain import json_option, say, say_json, say_next, say_table
from brinemark.faces.cli.session import Session
from brinemark.terms.wording import counted

if TYPE_CHECKING:
    from brinemark.steps.batch_answers import Batch
    from brinemark.terms.making import Making


@click.command(short_help="Record how a batch was made.")
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--corrects", metavar="BATCH", help="The batch whose making this one takes the place of.")
@click.option("--reason", metavar="TEXT", help="Why it is corrected; needed with --corrects.")
@json_option
@click.pass_obj
def make(session: Session, file: Path, corrects: str | None, reason: str | None, as_json: bool) -> None:
    """Record the making of one batch from FILE, a small TOML file, before its electrodes are used.

    It needs batch, made_on and electrodes (their names, or electrode_count); everything else may be left out. The same
    making again changes nothing.

    \b
    Examples:
      brinemark --logbook my-logbook make H16.toml
      brinemark --logbook my-logbook make H16.toml --corrects H16 \\
          --reason "thickness was in nm"
    """
    from brinemark.records.files import read_source
    from brinemark.records.making_file import checked_making, read_making

    values = read_making(read_source(file.parent, file.name), file.name)
    checked_making(values, file.name)  # so that a fault names the file
    with session.open() as logbook:
        recorded = logbook.record_making(values, corrects, reason)
    if as_json:
        say_json(recorded.to_dict())
        return
    batch = recorded.batch
    if not recorded.new:
        say(f"Batch {batch.name}: nothing new, the logbook has this making already.")
    else:
        say(f"Recorded batch {batch.name}: {counted(len(batch.electrodes), 'electrode')}.")
        if recorded.supersedes is not None:
            say(f"It takes the place of making {recorded.supersedes[:12]}, which stays on record.")
    tell_batch(batch)
    say_next(session.line("batches"))


@click.command(short_help="Batches, and the state of each electrode.")
@click.argument("names", nargs=-1, metavar="[BATCH ...]")
@json_option
@click.pass_obj
def batches(session: Session, names: tuple[str, ...], as_json: bool) -> None:
    """List all batches, or show each BATCH: how it was made, and whether its electrodes are ready, laid out, spent or
    set aside.

    \b
    Examples:
      brinemark --logbook my-logbook batches
      brinemark --logbook my-logbook batches H16
    """
    with session.open() as logbook:
        found = [logbook.batch(name) for name in names] if names else logbook.batches()
    if as_json:
        say_json([batch.to_dict() for batch in found])
        return
    if names:
        for place, batch in enumerate(found):
            if place:
                click.echo()
            say(f"Batch {batch.name}")
            tell_batch(batch)
        return
    if not found:
        say("No batch in this logbook.")
        say_next(session.line("make", "BATCH.toml"))
        return
    _tell_list(found)


def _tell_list(found: list[Batch]) -> None:
    from brinemark.terms.making import STATES

    rows = [
        (
            batch.name,
            batch.making.made_on if batch.making else "from sheets",
            (batch.making.maker or "") if batch.making else "",
            *(str(batch.count(state) or "") for state in STATES),
        )
        for batch in found
    ]
    say_table(("batch", "made on", "maker", *STATES), rows, right=(3, 4, 5, 6))


def tell_batch(batch: Batch) -> None:
    """How a batch was made, its electrodes, and what was corrected."""
    if batch.making is None:
        say("Known from run sheets only: no making recorded.", 2)
    else:
        _tell_making(batch.making)
    rows = [(one.electrode, one.position or "", one.words) for one in batch.electrodes]
    say_table(("electrode", "position", "state"), rows)
    for earlier in batch.earlier:
        say(f"corrected: {earlier.reason} (making {earlier.id[:12]} of {earlier.made_at[:10]})", 2)


def _tell_making(making: Making) -> None:
    from brinemark.terms.making import BY_NAME

    by = f" by {making.maker}" if making.maker else ""
    recipe = f", recipe {making.recipe}" if making.recipe else ""
    say(f"made on {making.made_on}{by}{recipe}", 2)
    for name, value in making.factors:
        unit = BY_NAME[name].unit
        shown = f"{value:g}" if isinstance(value, float) else value
        say(f"{name} = {shown}{'' if unit in ('', '1') else ' ' + unit}", 4)
    for name, value in making.further:
        say(f"{name} = {f'{value:g}' if isinstance(value, float) else value}", 4)
    if making.note:
        say(f"note: {making.note}", 2)


@click.command(name="set-aside", short_help="Set an electrode aside, or take it back.")
@click.argument("electrode")
@click.option("--reason", metavar="TEXT", required=True, help="Why; it is kept on record.")
@click.option("--back", is_flag=True, help="Take it back instead.")
@json_option
@click.pass_obj
def set_aside(session: Session, electrode: str, reason: str, back: bool, as_json: bool) -> None:
    """Set ELECTRODE aside, so that no run lays it out; it must be named in a making and not be spent.

    \b
    Examples:
      brinemark --logbook my-logbook set-aside H16-3 --reason "film lifted"
      brinemark --logbook my-logbook set-aside H16-3 --back \\
          --reason "mistaken for H16-4"
    """
    with session.open() as logbook:
        state = logbook.set_aside(electrode, reason, back)
    if as_json:
        say_json({"schema": 1, **state.to_dict()})
        return
    say(f"Electrode {state.electrode} of batch {state.batch}: {state.words}.")
    say_next(session.line("batches", state.batch))
