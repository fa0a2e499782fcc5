"""The verb report: a result as a PDF to hand over."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any, cast

import click

from brinemark.faces.cli.amounts import calibration_option
from brinemark.faces.cli.plain import json_option, say, say_json, say_next
from brinemark.faces.cli.progress import working
from brinemark.faces.cli.session import Session
from brinemark.terms.errors import Refused

if TYPE_CHECKING:
    from typing import Literal

    from brinemark.steps.report import Report

KINDS = ("samples", "batch", "calibration", "consignment", "trials")
SHORT = 12
"""Digits of an id that are shown."""


@click.command(short_help="A PDF to hand over, with its data.")
@click.argument("what", type=click.Choice(KINDS), metavar="WHAT")
@click.argument("names", nargs=-1, metavar="[NAME ...]")
@click.option(
    "--to",
    type=click.Path(path_type=Path, dir_okay=False),
    metavar="FILE",
    help="The PDF file to write. Without it, one in the current directory, named by the report's id.",
)
@click.option("--replace", is_flag=True, help="Write over the file when it is there already.")
@click.option("--decimal", type=click.Choice(("point", "comma")), help="The decimal sign; without it as in [report].")
@calibration_option
@json_option
@click.pass_obj
def report(session: Session, /, what: str, names: tuple[str, ...], to: Path | None, **options: Any) -> None:
    """Make a report as PDF/A: the answer first, what it rests on, the way back to the files, and cautions.

    \b
    samples [NAME ...]   samples and controls, or all samples
    batch NAME           what one electrode of the batch can do
    calibration [ID]     what all blanks and standards say
    consignment NAME     what waters say of its fish, tank by tank
    trials               how ratios did on fish of known history

    The data behind it are attached as JSON. The logbook keeps the report; asked for again, it is the same file, byte
    by byte.

    \b
    Examples:
      brinemark --logbook my-logbook report samples S001 S002
      brinemark --logbook my-logbook report batch B01 --to B01.pdf
      brinemark --logbook my-logbook report calibration --decimal comma
      brinemark --logbook my-logbook report consignment K7
    """
    decimal = cast("Literal['point', 'comma'] | None", options["decimal"])
    kind = cast("Literal['samples', 'batch', 'calibration', 'consignment', 'trials']", what)
    if to is not None:
        _refuse_other_kind(to)
        _refuse_standing(to, options["replace"])
    with session.open() as logbook, working("making the report"):
        made = logbook.report(kind, *names, calibration=options["calibration"], decimal=decimal)
    file = to or Path(made.file_name)
    if to is None and not _is_same(file, made.pdf):
        _refuse_standing(file, options["replace"])
    _write(file, made.pdf)
    if options["as_json"]:
        say_json({**made.to_dict(), "file": str(file)})
        return
    _tell(made, file)
    say_next(f"open {file}")


def _refuse_other_kind(file: Path) -> None:
    if file.suffix.lower() != ".pdf":
        raise click.BadParameter(
            f"{str(file)!r} should end in .pdf", param_hint="--to", ctx=click.get_current_context()
        )


def _refuse_standing(file: Path, replace: bool) -> None:
    if file.exists() and not replace:
        raise Refused(f"{file} is already there", "a new file", "give another with --to, or write --replace")


def _is_same(file: Path, data: bytes) -> bool:
    """Whether the very report is there already: writing it again changes nothing."""
    return file.is_file() and file.read_bytes() == data


def _write(file: Path, data: bytes) -> None:
    try:
        file.write_bytes(data)
    except OSError as error:
        raise Refused(
            f"cannot write {file} ({error.strerror})", "a file in a folder that can be written", "choose another --to"
        ) from error


def _tell(made: Report, file: Path) -> None:
    again = "" if made.new else " It had been made before; this is the same file."
    say(f"Report {made.id[:SHORT]} of {_of(made)} into {file}.{again}")
    say(f"id {made.id}", 2)
    for note in made.notes:
        say(f"note: {note}", 2)


def _of(made: Report) -> str:
    if made.kind == "samples":
        return f"{len(made.names)} samples" if len(made.names) > 1 else made.names[0]
    if made.kind == "trials":
        return "the trial of fish of known history"
    return f"{made.kind} {made.names[0][:SHORT] if made.kind == 'calibration' else made.names[0]}"
