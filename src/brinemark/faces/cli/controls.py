"""The verb controls: the runs, and what their blanks and controls say of them."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from brinemark.faces.cli.amounts import calibration_option
from brinemark.faces.cli.plain import amount, json_option, say, say_json, say_next, say_table
from brinemark.faces.cli.progress import working
from brinemark.faces.cli.session import Session
from brinemark.terms.wording import counted

if TYPE_CHECKING:
    from brinemark.science.amount.run_control import ControlFinding
    from brinemark.steps.run_control import RunReport

VERDICTS = {True: "passed", False: "FAILED", None: "tells nothing"}
COUNTS = {True: "counts", False: "does not count", None: "no run control"}


@click.command(short_help="Whether the runs count.")
@calibration_option
@json_option
@click.pass_obj
def controls(session: Session, calibration: str | None, as_json: bool) -> None:
    """Show every run with its blanks and controls, their limits, and whether the run counts.

    A run is what one instrument measured in one sheet at one sitting. Samples of a run that does not count are "cannot
    say".

    \b
    Example:
      brinemark --logbook my-logbook controls
    """
    with session.open() as logbook, working("judging the runs"):
        reports = logbook.controls(calibration)
    if as_json:
        say_json([report.to_dict() for report in reports])
        return
    for place, report in enumerate(reports):
        if place:
            click.echo()
        _tell(report)
    say_next(session.line("read"))


def _tell(report: RunReport) -> None:
    run, decision = report.run, report.decision
    samples = len({row.row.sample for row in run.rows if row.row.role == "sample"})
    say(
        f"Run of {run.name}, {counted(len({row.row.electrode for row in run.rows}), 'electrode')}, "
        f"{counted(samples, 'sample')}: {COUNTS[decision.accepted]}."
    )
    if report.findings:
        head = ("what", "id", f"level, {report.unit}", "found", "limits", "")
        say_table(head, [_row(one) for one in report.findings], right=(2,))
    if decision.reason is not None:
        say(f"{decision.reason}.", 2)


def _row(one: ControlFinding) -> tuple[str, ...]:
    if one.limits is None:
        found = "" if one.value is None else f"p = {one.value:.2g}"
        return one.kind, one.name, amount(one.expected), found, f"p >= {one.least:g}", VERDICTS[one.passed]
    value = "no amount" if one.value is None else f"{one.value:.0%}"
    limits = f"{one.limits.low:.0%} to {one.limits.high:.0%}"
    return one.kind, one.name, amount(one.expected), value, limits, VERDICTS[one.passed]
