"""The verbs about tanks of fish: tanks, consignments."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from brinemark.faces.cli.checking import tell_check
from brinemark.faces.cli.plain import json_option, say, say_json, say_next, say_table
from brinemark.faces.cli.session import Session
from brinemark.terms.wording import counted

if TYPE_CHECKING:
    from brinemark.steps.tank_answers import TanksTaken

_NAMED = 3


@click.command(short_help="Add a tank record of fish.")
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--corrects", metavar="CONSIGNMENT", help="The consignment whose rows FILE takes the place of.")
@click.option("--reason", metavar="TEXT", help="Why it is corrected; needed with --corrects.")
@click.option("--check", "only_check", is_flag=True, help="Tell every fault, row by row, and store nothing.")
@json_option
@click.pass_obj
def tanks(
    session: Session, file: Path, corrects: str | None, reason: str | None, only_check: bool, as_json: bool
) -> None:
    """Check FILE, a table of what happened to consignments of fish and their tanks, then store all of it or nothing.

    Rows that the logbook has already change nothing, so a record that grows is added again. Rows that tell it another
    way are refused unless they correct a consignment. With --check nothing is stored, and faults end with status 1.

    \b
    Examples:
      brinemark --logbook my-logbook tanks april.csv
      brinemark --logbook my-logbook tanks april.csv --check
      brinemark --logbook my-logbook tanks april.csv --corrects C7 \\
          --reason "tank 2 holds 80 L"
    """
    with session.open() as logbook:
        if only_check:
            checked = logbook.check_tanks(file, corrects, reason)
            there = "nothing is wrong" if checked.new else "the logbook has every row already"
            sound = f"{counted(checked.rows, 'row')}; {there}"
            tell_check(checked, sound, session.line("tanks", str(file)), as_json)
            return
        taken = logbook.add_tanks(file, corrects, reason)
    if as_json:
        say_json(taken.to_dict())
        return
    _tell(taken)
    say_next(session.line("consignments"))


def _tell(taken: TanksTaken) -> None:
    if not taken.new:
        say(f"{taken.title}: nothing new, the logbook has every row already.")
    for one in taken.consignments if taken.new else ():
        known = f", {counted(one.known, 'row')} known already" if one.known else ""
        say(f"Consignment {one.consignment}: {counted(one.new, 'new row')}{known} (record {(one.record or '')[:12]}).")
        if one.supersedes is not None:
            say(f"It takes the place of record {one.supersedes[:12]}, which stays.", 2)
    for remark in taken.warnings:
        say(f"warning: {remark}", 2)


@click.command(short_help="Consignments of fish, their tanks and samples.")
@json_option
@click.pass_obj
def consignments(session: Session, as_json: bool) -> None:
    """List the consignments: when and where their fish were caught, how many there are, their tanks, and how many of
    the water samples were read.

    \b
    Example:
      brinemark --logbook my-logbook consignments
    """
    from brinemark.steps.tank_answers import consignment_dict

    with session.open() as logbook:
        read = logbook.samples_read()
        found = [consignment_dict(one, read) for one in logbook.consignments()]
    if as_json:
        say_json({"schema": 1, "consignments": found})
        return
    if not found:
        say("No consignment in this logbook.")
        say_next(session.line("tanks", "TANKS.csv"))
        return
    head = ("consignment", "caught", "where", "fish", "tanks", "samples", "read", "not read")
    say_table(head, [_line(one) for one in found], right=(3, 4, 5, 6, 7))


def _line(one: dict[str, Any]) -> tuple[str, ...]:
    days = sorted({lot["at"][:10] for lot in one["caught"]})
    origins = list(dict.fromkeys(lot["origin"] for lot in one["caught"] if lot["origin"]))
    where = ", ".join(origins[:_NAMED]) + (f" and {len(origins) - _NAMED} more" if len(origins) > _NAMED else "")
    caught = days[0] if len(days) == 1 else f"{days[0]} to {days[-1]}" if days else "not recorded"
    counts = (one["fish"], len(one["tanks"]), one["samples"], one["samples_read"])
    left = one["samples"] - one["samples_read"]
    return (one["consignment"], caught, where or "not recorded", *map(str, counts), str(left))
