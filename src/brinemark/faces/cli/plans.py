"""The verbs about runs before they are measured: lay-out, plans."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from brinemark.faces.cli.plain import json_option, say, say_json, say_next, say_table
from brinemark.faces.cli.session import Session
from brinemark.terms.errors import Refused
from brinemark.terms.wording import counted

if TYPE_CHECKING:
    from brinemark.logbook import Logbook
    from brinemark.steps.run_plans import RunPlan
    from brinemark.terms.run_plans import PlannedRow

key_option = click.option(
    "--key", is_flag=True, help="Show which sample each code stands for, for whoever fills the cells."
)
comma_option = click.option(
    "--decimal-comma", "comma", is_flag=True, help="Write the sheet with decimal commas, parted by semicolons."
)
replace_option = click.option("--replace", is_flag=True, help="Write over the file when it is there already.")


@click.command(name="lay-out", short_help="Draw by lot what each electrode reads.")
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--seed", type=int, metavar="N", help="Draw from this number; without it, from one that is drawn.")
@click.option(
    "--to",
    type=click.Path(path_type=Path, dir_okay=False),
    metavar="SHEET.csv",
    help="Where to write the run sheet; without it, named by the plan, in the current directory.",
)
@comma_option
@replace_option
@key_option
@json_option
@click.pass_obj
def lay_out(session: Session, /, file: Path, seed: int | None, to: Path | None, as_json: bool, **options: bool) -> None:
    """Lay out a run from FILE, a small TOML file that says what is wanted, and write its run sheet.

    Which electrode is blank, standard, control or sample, and the order of all, are drawn by lot; every batch gets its
    blanks and standards, blanks stand first and last, samples go by codes. The file may name a kept plan for a batch,
    which says whatever the file does not.

    \b
    Examples:
      brinemark --logbook my-logbook lay-out run-14.toml
      brinemark --logbook my-logbook lay-out run-14.toml --seed 7 \\
          --to run-14.csv
    """
    from brinemark.records.files import read_source
    from brinemark.records.run_request import checked_request, read_request

    values = read_request(read_source(file.parent, file.name), file.name)
    if to is not None:
        _check_free(to, options["replace"])
    with session.open() as logbook:
        values = logbook.planned_run(values)
        checked_request(values, file.name)  # so that a fault names the file
        plan = logbook.lay_out(values, seed)
    target = to or Path(f"run-{plan.id[:8]}.csv")
    _write_sheet(plan, target, options["comma"], options["replace"])
    if as_json:
        say_json({**plan.to_dict(with_key=options["key"]), "sheet_file": str(target)})
        return
    say(f"Laid out {plan.title!r} (plan {plan.id[:12]}, seed {plan.seed}): {_size(plan)}.")
    _tell_rows(plan.rows, plan.unit)
    _tell_rest(plan, options["key"])
    say(f"The run sheet is {target}: fill in measured_at, and save the curves under the names in it.")
    say_next(session.line("add", str(target)))


@click.command(short_help="Runs laid out, and what became of them.")
@click.argument("plan", required=False)
@click.option(
    "--to",
    type=click.Path(path_type=Path, dir_okay=False),
    metavar="SHEET.csv",
    help="Write the run sheet of PLAN once more.",
)
@comma_option
@replace_option
@key_option
@click.option("--withdraw", metavar="REASON", help="Withdraw PLAN, so that its electrodes are ready again.")
@json_option
@click.pass_obj
def plans(session: Session, /, plan: str | None, to: Path | None, as_json: bool, **options: bool) -> None:
    """List the runs laid out, or show PLAN, by its title or the first digits of its id.

    A plan is open until half of its electrodes are on a sheet; then it is taken in, and departures are told.

    \b
    Examples:
      brinemark --logbook my-logbook plans
      brinemark --logbook my-logbook plans "run 14" --key
      brinemark --logbook my-logbook plans "run 14" \\
          --withdraw "instrument out of order"
    """
    with session.open() as logbook:
        found = _found(logbook, plan, str(options["withdraw"] or ""), to)
    if to is not None:
        _write_sheet(found[0], to, options["comma"], options["replace"])
    if as_json:
        say_json([one.to_dict(with_key=options["key"]) for one in found])
        return
    if plan is None:
        _tell_list(found, session)
        return
    one = found[0]
    say(f"{one.title} (plan {one.id[:12]}, seed {one.seed}): {_size(one)}; {_state(one)}.")
    _tell_rows(one.rows, one.unit)
    _tell_rest(one, options["key"])
    if to is not None:
        say(f"Wrote its run sheet into {to}.")


def _found(logbook: Logbook, plan: str | None, withdraw: str, to: Path | None) -> list[RunPlan]:
    if plan is None and (withdraw or to is not None):
        raise click.UsageError("--withdraw and --to need a PLAN", click.get_current_context())
    if withdraw and plan is not None:
        return [logbook.withdraw_plan(plan, withdraw)]
    return logbook.run_plans() if plan is None else [logbook.run_plan(plan)]


def _check_free(target: Path, replace: bool) -> None:
    if target.exists() and not replace:
        raise Refused(f"{target} is already there", "a new file", "give another with --to, or write --replace")


def _write_sheet(plan: RunPlan, target: Path, comma: bool, replace: bool) -> None:
    _check_free(target, replace)
    try:
        target.write_bytes(plan.sheet_bytes(comma=comma))
    except OSError as error:
        remedy = f"the plan is kept: write its sheet with plans {plan.id[:12]} --to FILE"
        raise Refused(f"cannot write {target} ({error.strerror})", "a place to write to", remedy) from error


def _size(plan: RunPlan) -> str:
    return f"{counted(len(plan.electrodes), 'electrode')}, {counted(len(plan.rows), 'reading')}"


def _state(plan: RunPlan) -> str:
    """Open, taken in or withdrawn, with what is missing."""
    if plan.reason is not None:
        return f"withdrawn: {plan.reason}"
    by = f" by {', '.join(plan.sheets)}" if plan.sheets else ""
    return f"{plan.state}{by}, {plan.filled} of {len(plan.rows)} rows filled"


def _tell_list(found: list[RunPlan], session: Session) -> None:
    if not found:
        say("No run laid out in this logbook.")
        say_next(session.line("lay-out", "RUN.toml"))
        return
    rows = [
        (
            one.id[:12],
            one.title,
            one.made_at[:10],
            str(len(one.electrodes)),
            _state(one),
            str(len(one.departures) or ""),
        )
        for one in found
    ]
    say_table(("plan", "title", "laid out", "electrodes", "state", "departures"), rows, right=(3, 5))


def _tell_rows(rows: tuple[PlannedRow, ...], unit: str) -> None:
    """The order at the bench; an electrode is named once."""
    told: list[tuple[str, ...]] = []
    before = ""
    for row in rows:
        named = (str(row.place), row.electrode) if row.electrode != before else ("", "")
        before = row.electrode
        level = "" if row.level is None or row.role == "blank" else f"{row.level:g}"
        dilution = "" if row.dilution in (None, 1.0) else f"{row.dilution:g}"
        told.append((*named, row.role, level, row.sample or "", dilution, row.trace))
    head = ("", "electrode", "role", f"level, {unit}", "sample", "dilution", "file")
    say_table(head, told, right=(0, 3, 5))


def _tell_rest(plan: RunPlan, key: bool) -> None:
    if key:
        rows = [(one.label, one.name, f"{one.dilution:g}", str(one.electrodes)) for one in plan.to_fill()]
        say("To be filled:", 2)
        say_table(("label", "sample or control", "dilution", "electrodes"), rows, indent=4, right=(2, 3))
    if plan.request.plan is not None:
        say(f"laid out from the plan for a batch {plan.request.plan[:12]}", 2)
    if plan.left:
        say(f"nothing to do for: {', '.join(plan.left)}", 2)
    for departure in plan.departures:
        say(f"departure: {departure.sentence}", 2)
    for text in plan.remarks:
        say(f"warning: {text}", 2)
