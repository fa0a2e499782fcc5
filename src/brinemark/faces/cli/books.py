"""The verbs that make a logbook and fill it: new, add."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from brinemark.faces.cli.checking import tell_check
from brinemark.faces.cli.plain import json_option, say, say_json, say_next, say_table, scale, with_u
from brinemark.faces.cli.progress import working
from brinemark.faces.cli.session import Session, command_line
from brinemark.terms.wording import counted

if TYPE_CHECKING:
    from brinemark.steps.answers import Added


@click.command(short_help="Make an empty logbook.")
@click.argument("logbook", type=click.Path(path_type=Path))
@click.option("--name", metavar="TEXT", help="Name of the logbook; without it, that of its directory.")
@click.option(
    "--timezone",
    metavar="ZONE",
    default="UTC",
    show_default=True,
    help="Zone of times that are written without one, for example Europe/Lisbon.",
)
@json_option
def new(logbook: Path, name: str | None, timezone: str, as_json: bool) -> None:
    """Make the empty logbook LOGBOOK: a directory with settings, records and a place for your files.

    \b
    Example:
      brinemark new my-logbook
    """
    from brinemark.logbook import Logbook

    with Logbook.create(logbook, name, timezone) as made:
        title = made.settings.logbook.name
        unit = made.settings.analyte.level_unit
    if as_json:
        say_json({"schema": 1, "logbook": str(logbook), "name": title, "timezone": timezone})
        return
    say(f"Made the logbook {title!r} in {logbook}: levels in {unit}, times without a zone are {timezone}.")
    say_next(
        f"look into {logbook / 'logbook.toml'} ([signal] must fit your curves), then",
        command_line("--logbook", str(logbook), "add", "RUNSHEET.csv"),
    )


@click.command(short_help="Add a run sheet with its curves.")
@click.argument("runsheet", type=click.Path(path_type=Path))
@click.option("--corrects", metavar="OLD", help="The sheet that this one takes the place of: its id or file name.")
@click.option("--reason", metavar="TEXT", help="Why it is corrected; needed with --corrects.")
@click.option("--check", "only_check", is_flag=True, help="Tell every fault, row by row, and store nothing.")
@json_option
@click.pass_obj
def add(
    session: Session, runsheet: Path, corrects: str | None, reason: str | None, only_check: bool, as_json: bool
) -> None:
    """Check RUNSHEET and every curve that it names, then store all of it or nothing.

    The same content again changes nothing. With --check nothing is stored, and faults end with status 1.

    \b
    Examples:
      brinemark --logbook my-logbook add run-2031-03-02.csv
      brinemark --logbook my-logbook add run-2031-03-02.csv --check
      brinemark --logbook my-logbook add corrected.csv \\
          --corrects run-2031-03-02.csv --reason "level of row 4 was wrong"
    """
    if only_check:
        with session.open() as logbook, working(f"checking {runsheet.name} and its curves"):
            checked = logbook.check_sheet(runsheet, corrects, reason)
        there = "the logbook has it already" if checked.there is not None else "nothing is wrong"
        sound = f"{counted(checked.rows, 'row')}, {counted(checked.files, 'file')}; {there}"
        tell_check(checked, sound, session.line("add", str(runsheet)), as_json)
        return
    with session.open() as logbook, working(f"checking {runsheet.name} and its curves"):
        added = logbook.add(runsheet, corrects, reason)
    if as_json:
        say_json(added.to_dict())
        return
    _tell(added, logbook.settings.analyte.level_unit)
    say_next(session.line("calibrate"))


def _tell(added: Added, unit: str) -> None:
    if not added.new:
        say(str(added) + ".")
        for remark in added.warnings:
            say(remark, 2)
        return
    electrodes = counted(added.electrodes, "electrode")
    say(
        f"Added {added.title} (sheet {added.sheet[:12]}): {counted(added.rows, 'row')}, {electrodes} of "
        f"{counted(len(added.batches), 'batch')}, {counted(added.originals, 'new file')} kept."
    )
    if added.supersedes is not None:
        say(f"It takes the place of sheet {added.supersedes[:12]}, which stays on record.")
    _tell_signals(added, unit)
    for remark in added.warnings:
        say(f"warning: {remark}", 2)
    if added.swept:
        say(f"{counted(added.swept, 'file')} left behind by an add that broke off: taken away.", 2)


def _tell_signals(added: Added, unit: str) -> None:
    """Signals as they are now, each with its flags: the first look at a run."""
    lines = [(one.electrode, one.line, one.line.signal) for one in added.signals]
    if not lines:
        return
    factor, shown = scale(lines[0][2].unit, [signal.value for _, _, signal in lines])
    same = {signal.unit for _, _, signal in lines} == {lines[0][2].unit}
    source = "with the theoretical wave" if added.wave == "theoretical" else f"with the wave {added.wave}"
    say(f"Signals, provisional, read {source}:")
    rows = []
    for electrode, line, signal in lines:
        level = "" if line.cell_level is None else f"{line.cell_level:g}"
        value = with_u(signal.value * factor, signal.u * factor) if same else with_u(signal.value, signal.u)
        flags = "; ".join(flag.name for flag in signal.flags)
        rows.append((str(line.row), electrode, line.role, level, value if same else f"{value} {signal.unit}", flags))
    head = ("row", "electrode", "role", f"level, {unit}", f"signal, {shown}" if same else "signal", "flags")
    say_table(head, rows, right=(0, 3))
