"""The verbs that give amounts: calibrate, read."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from brinemark.faces.cli.plain import json_option, say, say_json, say_next
from brinemark.faces.cli.progress import working
from brinemark.faces.cli.session import Session

if TYPE_CHECKING:
    from brinemark.steps.answers import SampleReading

calibration_option = click.option(
    "--calibration", metavar="ID", help="An older calibration, by the first digits of its id; without it, the newest."
)


@click.command(short_help="Learn from all blanks and standards.")
@json_option
@click.pass_obj
def calibrate(session: Session, as_json: bool) -> None:
    """Learn from all blanks and standards how signals follow levels, and how far batches and electrodes lie apart.

    Prints what one electrode of each batch can detect and quantify. Ctrl-C stops; nothing is stored then.

    \b
    Example:
      brinemark --logbook my-logbook calibrate
    """
    from brinemark.faces.cli.telling import tell_calibration

    with session.open() as logbook, working("learning the wave and measuring every curve") as work:
        report = logbook.calibrate(work.step)
        decision = logbook.settings.decision
    if as_json:
        say_json(report.to_dict())
        return
    tell_calibration(report, decision)
    say_next(session.line("read"), session.line("chart", "calibration"))


@click.command(short_help="One of five statements about each sample.")
@click.argument("samples", nargs=-1, metavar="[SAMPLE ...]")
@calibration_option
@click.option("--unit", metavar="UNIT", help="State levels in this unit instead, for example nmol/L or nmol/kg.")
@json_option
@click.pass_obj
def read(session: Session, samples: tuple[str, ...], calibration: str | None, unit: str | None, as_json: bool) -> None:
    """Say one of five things about each SAMPLE or control, or about every sample when none is named.

    "cannot say", "not detected" with an upper limit, "at or above" a lower limit, "quantified" with an interval, or
    "detected, amount uncertain". All five are answers, and end with status 0.

    \b
    Examples:
      brinemark --logbook my-logbook read S001 S002
      brinemark --logbook my-logbook read --json
    """
    from brinemark.faces.cli.telling import tell_reading

    with session.open() as logbook, working("reading"):
        answers = logbook.read(*samples, calibration=calibration, unit=unit)
    if as_json:
        say_json([answer.to_dict() for answer in answers])
        return
    if not answers:
        say("No sample in this logbook.")
        say_next(session.line("add", "RUNSHEET.csv"))
        return
    for place, answer in enumerate(answers):
        if place:
            click.echo()
        tell_reading(answer)
    say_next(*_what_next(session, answers))


def _what_next(session: Session, answers: list[SampleReading]) -> list[str]:
    """The way back to the files, and what would help the first sample without an amount."""
    lines = [session.line("show", answers[0].sample), session.line("chart", answers[0].sample)]
    helps = {
        "cannot say": "to be able to say, read on a fresh electrode",
        "at or above": "for an upper end, dilute and read again, best at two dilutions",
        "detected, amount uncertain": "for an amount, read on more electrodes, best of other batches",
    }
    for statement, what in helps.items():
        names = [answer.sample for answer in answers if answer.statement == statement]
        if names:
            lines.append(f"{what}: {', '.join(names)}")
    return lines
