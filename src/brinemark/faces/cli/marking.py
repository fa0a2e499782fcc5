"""The verb markers: results of other methods, taken in and compared."""

from __future__ import annotations

import math
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from brinemark.faces.cli.checking import tell_check
from brinemark.faces.cli.plain import amount, json_option, say, say_json, say_next, say_table
from brinemark.faces.cli.session import Session
from brinemark.terms.wording import counted

if TYPE_CHECKING:
    from brinemark.steps.marker_answers import Compared, MarkersAnswer, MarkersTaken
    from brinemark.terms.surveillance import Agreement, FittedLine, Interval, MarkerComparison


@click.command(short_help="Results of other methods, compared.")
@click.argument("file", type=click.Path(path_type=Path), required=False)
@click.option("--at", type=float, metavar="LEVEL", help="Ask found or not found at this level, for all methods alike.")
@click.option("--check", "only_check", is_flag=True, help="Tell every fault of FILE, row by row, and store nothing.")
@click.option("--corrects", metavar="OLD", help="The file whose results FILE replaces: its name or id.")
@click.option("--reason", metavar="TEXT", help="Why it is corrected; needed with --corrects.")
@json_option
@click.pass_obj
def markers(session: Session, /, file: Path | None, at: float | None, as_json: bool, **taking: Any) -> None:
    """Take in results of other methods on the same fish or on split samples from FILE, a table; without FILE, compare
    what was taken in with the readings of this logbook and with each other.

    The table has the columns sample, marker, method, unit and value (a number, or "not found" with a
    limit_of_detection), and if you like fish, u, measured_at, laboratory, split_seal and note.

    \b
    Examples:
      brinemark --logbook my-logbook markers split-samples.csv
      brinemark --logbook my-logbook markers --at 1
    """
    only_check, correction = taking.pop("only_check"), {name: text for name, text in taking.items() if text}
    if file is None:
        if only_check or correction:
            raise click.UsageError("--check, --corrects and --reason need a FILE")
        _compare(session, at, as_json)
        return
    if at is not None:
        raise click.UsageError("--at is for comparisons, which take no FILE")
    with session.open() as logbook:
        if only_check:
            checked = logbook.check_markers(file, **correction)
        else:
            taken = logbook.add_markers(file, **correction)
    if only_check:
        sound = f"{counted(checked.rows, 'result')}, {checked.new} of them new; nothing is wrong"
        tell_check(checked, sound, session.line("markers", str(file)), as_json)
    elif as_json:
        say_json(taken.to_dict())
    else:
        _tell_taken(taken)
        say_next(session.line("markers"))


def _tell_taken(taken: MarkersTaken) -> None:
    if not taken.new:
        say(f"{taken.title}: nothing new, the logbook has {counted(taken.known, 'result')} of it already.")
    else:
        known = f", {taken.known} were there" if taken.known else ""
        say(f"Took in {taken.title}: {counted(taken.rows, 'result')} of other methods{known}.")
        if taken.supersedes is not None:
            say(f"They take the place of results {taken.supersedes[:12]}, which stay on record.")
    for warning in taken.warnings:
        say(f"warning: {warning}", 2)


def _compare(session: Session, at: float | None, as_json: bool) -> None:
    with session.open() as logbook:
        answer = logbook.compare_markers(at=at)
    if as_json:
        say_json(answer.to_dict())
        return
    if not answer.methods:
        say("No results of other methods in this logbook.")
        say_next(session.line("markers", "FILE.csv"))
        return
    _tell_methods(answer)
    for one in answer.comparisons:
        click.echo()
        _tell_compared(one)
    click.echo()
    for caution in answer.cautions:
        say(f"{caution.words}.", 2)
    say_next(session.line("read"))


def _tell_methods(answer: MarkersAnswer) -> None:
    rows = [(one.method, one.marker, one.unit, str(one.found), str(one.samples)) for one in answer.methods]
    say_table(("method", "marker", "unit", "found", "of"), rows, indent=0, right=(3, 4))


def _tell_compared(one: Compared) -> None:
    say(f"{one.first} beside {one.second}")
    for reason, count in one.left_out:
        say(f"left out: {counted(count, 'sample')}: {reason}.", 2)
    if one.comparison is None:
        say(f"{one.reason}.", 2)
        return
    said = one.comparison
    _tell_agreement(said.agreement, said.pairs)
    if one.same_quantity:
        _tell_amounts(said)
    for remark in said.remarks:
        say(f"{remark}.", 2)


def _tell_agreement(one: Agreement, pairs: int) -> None:
    undecided = f", {one.undecided} undecided" if one.undecided else ""
    say(
        f"{counted(pairs, 'sample')}: found by both {one.both}, by the first alone {one.first_only}, by the second "
        f"alone {one.second_only}, by neither {one.neither}{undecided} (exact McNemar p = {one.p:.2g})",
        2,
    )


def _tell_amounts(one: MarkerComparison) -> None:
    for name, line in (("line with errors in both", one.line), ("ranked line", one.ranked_line)):
        if line is not None:
            say(f"{name}, second against first: {_line(line)}", 2)
    if one.ratio is not None:
        say(
            f"mean ratio, second over first, with what was not found: {amount(one.ratio.ratio)} "
            f"({_ends(one.ratio.interval)})",
            2,
        )
    if one.limits is not None:
        say(
            f"mean difference, second minus first: {amount(one.limits.bias)} ({_ends(one.limits.bias_interval)}); "
            f"limits of agreement {amount(one.limits.lower)} to {amount(one.limits.upper)}",
            2,
        )


def _line(line: FittedLine) -> str:
    return (
        f"intercept {amount(line.intercept)} ({_ends(line.intercept_interval)}), "
        f"slope {amount(line.slope)} ({_ends(line.slope_interval)})"
    )


def _ends(interval: Interval) -> str:
    return f"{_end(interval.lower)} to {_end(interval.upper)}"


def _end(end: float) -> str:
    return amount(end) if math.isfinite(end) else "no end"
