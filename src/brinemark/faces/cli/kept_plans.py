"""The verbs batch-plans and fish-plans: plans that were kept, listed and told again."""

from __future__ import annotations

from pathlib import Path

import click

from brinemark.faces.cli.plain import json_option, say, say_json, say_next, say_table
from brinemark.faces.cli.session import Session


@click.command(name="batch-plans", short_help="Plans for batches that were kept.")
@click.argument("plan", required=False)
@json_option
@click.pass_obj
def batch_plans(session: Session, plan: str | None, as_json: bool) -> None:
    """List the plans for batches that plan-batch --keep kept, or show PLAN, by its title or the first digits of its id.

    A plan says what was expected when it was kept; a file of lay-out may name it.

    \b
    Examples:
      brinemark --logbook my-logbook batch-plans
      brinemark --logbook my-logbook batch-plans "six of June"
    """
    if plan is not None:
        _tell_batch_plan(session, plan, as_json)
        return
    with session.open() as logbook:
        found = logbook.batch_plans()
    if as_json:
        say_json({"schema": 1, "plans": [one.head() for one in found]})
        return
    if not found:
        say("No plan for a batch was kept in this logbook.")
        say_next(session.line("plan-batch", "--electrodes", "N", "--keep", "TITLE"))
        return
    rows = [
        (one.id[:12], one.title, one.kept_at[:10], str(one.answer.electrodes), one.answer.plans[0].burned,
         str(one.answer.plans[0].plan.samples))
        for one in found
    ]  # fmt: skip
    say_table(("plan", "title", "kept", "electrodes", "burn", "samples"), rows, right=(3, 5))


def _tell_batch_plan(session: Session, plan: str, as_json: bool) -> None:
    from brinemark.faces.cli.planning import tell_plan

    with session.open() as logbook:
        one = logbook.batch_plan(plan)
    if as_json:
        say_json(one.to_dict())
        return
    say(f"{one.title} (plan {one.id[:12]}, kept {one.kept_at[:10]}, calibration {one.answer.calibration[:12]}):")
    tell_plan(one.answer)
    say_next(session.line("lay-out", "RUN.toml"))


@click.command(name="fish-plans", short_help="Plans for consignments.")
@click.argument("plan", required=False)
@click.option("--page", type=click.Path(path_type=Path), metavar="FILE", help="Write PLAN as text to print.")
@json_option
@click.pass_obj
def fish_plans(session: Session, plan: str | None, page: Path | None, as_json: bool) -> None:
    """List the plans that plan-fish made, or show PLAN, by its title or the first digits of its id.

    \b
    Examples:
      brinemark --logbook my-logbook fish-plans
      brinemark --logbook my-logbook fish-plans harbour --page plan.txt
    """
    if plan is not None:
        _tell_fish_plan(session, plan, page, as_json)
        return
    if page is not None:
        raise click.UsageError("--page needs a PLAN", click.get_current_context())
    with session.open() as logbook:
        found = logbook.fish_plans()
    if as_json:
        from brinemark.steps.kept_plans import fish_plan_head

        say_json({"schema": 1, "plans": [fish_plan_head(one) for one in found]})
        return
    if not found:
        say("No plan for a consignment in this logbook.")
        say_next(session.line("plan-fish", "WISH.toml"))
        return
    rows = [
        (one.id[:12], one.title, one.made_at[:10], "many" if one.plan.wish.fish is None else str(one.plan.wish.fish),
         str(one.plan.tested), f"{one.plan.wish.prevalence:.3g}", f"{one.plan.reached:.3f}")
        for one in found
    ]  # fmt: skip
    say_table(("plan", "title", "kept", "fish", "test", "prevalence", "found with"), rows, right=(3, 4, 5, 6))


def _tell_fish_plan(session: Session, plan: str, page: Path | None, as_json: bool) -> None:
    from brinemark.faces.cli.fish_plans import hand_over

    with session.open() as logbook:
        one = logbook.fish_plan(plan)
    hand_over(one, page, as_json, f"{one.title}, kept {one.made_at[:10]}:")
