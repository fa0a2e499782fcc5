"""The verbs about the whole logbook: next, check."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from brinemark.faces.cli.plain import json_option, say, say_json, say_next
from brinemark.faces.cli.progress import working
from brinemark.faces.cli.session import REFUSED, Session
from brinemark.terms.wording import counted, opened

if TYPE_CHECKING:
    from brinemark.steps.next_steps import NextStep

WORDS = {
    "make": ("make", "BATCH.toml"),
    "lay-out": ("lay-out", "RUN.toml"),
    "fill": ("add", "RUNSHEET.csv"),
    "calibrate": ("calibrate",),
    "read": ("read",),
    "controls": ("controls",),
    "check": ("check",),
}


@click.command(name="next", short_help="What waits, and what to do about it.")
@json_option
@click.pass_obj
def next_(session: Session, as_json: bool) -> None:
    """Tell what waits in the logbook and what looks wrong, most pressing first, each with the sensible next step.

    Nothing is computed anew and nothing is stored.

    \b
    Example:
      brinemark --logbook my-logbook next
    """
    with session.open() as logbook:
        steps = logbook.next_steps()
    if as_json:
        say_json([step.to_dict() for step in steps])
        return
    if not steps:
        say("Nothing waits.")
        return
    for step in steps:
        say(f"{opened(step.sentence)}.")
        click.echo(f"  {_line(session, step)}")


def _line(session: Session, step: NextStep) -> str:
    """The command of a step."""
    if step.step == "look" and step.kind == "consignment":
        return session.line("consignment", step.about[0])
    if step.step == "look" and step.about:
        plan = step.kind == "plan"
        return (
            session.line("plans", step.about[0][:12]) if plan else session.line("show", f"{step.kind}:{step.about[0]}")
        )
    return session.line(*WORDS[step.step])


@click.command(short_help="Whether nothing was changed or lost.")
@click.option("--keep", is_flag=True, help="Note in the audit list what came of it.")
@json_option
@click.pass_obj
def check(session: Session, keep: bool, as_json: bool) -> None:
    """Work out every hash of the logbook again: the audit list, every record, every sheet, every original file.

    Ends with status 1 when anything was changed or lost, and says what.

    \b
    Example:
      brinemark --logbook my-logbook check --keep
    """
    with session.open() as logbook, working("checking every record and file"):
        report = logbook.verify(keep)
    if as_json:
        say_json(report.to_dict())
    elif report.sound:
        say(
            f"Sound: {counted(report.entries, 'audit entry', 'audit entries')}, {counted(report.records, 'record')}, "
            f"{counted(report.originals, 'original')}; the audit list ends in {report.head[:12]}."
        )
        say_next(f"keep that number elsewhere ({report.head}), so that a shortened list can be seen")
    else:
        for fault in report.faults:
            say(f"fault: {fault}")
    if not report.sound:
        raise click.exceptions.Exit(REFUSED)
