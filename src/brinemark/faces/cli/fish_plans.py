"""The verb plan-fish: how many fish of a consignment to test, which ones, and what to expect."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from brinemark.faces.cli.plain import amount, json_option, say, say_json, say_next, say_table, write_page
from brinemark.faces.cli.session import Session
from brinemark.terms.wording import counted

if TYPE_CHECKING:
    from brinemark.steps.plan_fish import FishPlanAnswer
    from brinemark.terms.fish_plans import FishPlan

_SHOWN = 30


@click.command("plan-fish", short_help="How many fish to test, and which.")
@click.argument("wish", type=click.Path(path_type=Path))
@click.option("--page", type=click.Path(path_type=Path), metavar="FILE", help="Write the plan as text to print.")
@json_option
@click.pass_obj
def plan_fish(session: Session, wish: Path, page: Path | None, as_json: bool) -> None:
    """Plan the tests of a consignment by the WISH, a small TOML file: how many fish for a prevalence and confidence,
    which ones by lot, pools of waters, a second test, holds in each world, false and missed findings, cost.

    A wish that cannot be met gets an answer that says what it would need. The plan is kept with its seed.

    \b
    Examples:
      brinemark --logbook my-logbook plan-fish harbour.toml
      brinemark --logbook my-logbook plan-fish harbour.toml --page plan.txt
    """
    with session.open() as logbook:
        answer = logbook.plan_fish(wish)
    hand_over(answer, page, as_json)
    if not as_json:
        say_next(session.line("tanks", "TANKS.csv"))


def hand_over(answer: FishPlanAnswer, page: Path | None, as_json: bool, head: str = "") -> None:
    """A plan that was made now or kept, as its page, as data, or as text under a head."""
    if page is not None:
        write_page(page, answer.page())
    if as_json:
        say_json(answer.to_dict())
        return
    if head:
        say(head)
    _tell(answer)
    if page is not None:
        say(f"Wrote {page}.")


def _tell(answer: FishPlanAnswer) -> None:
    plan = answer.plan
    there = "" if plan.wish.fish is None else f" of {plan.wish.fish}"
    say(f"Test {counted(plan.tested, 'fish', 'fish')}{there} (plan {answer.id[:12]}, seed {plan.seed}).")
    say(f"At a prevalence of {plan.wish.prevalence:.3g} at least one is found with probability {plan.reached:.3f}.")
    if plan.needed:
        say(f"Not as wished: {plan.needed}.")
    for pick in plan.picks:
        more = "" if len(pick.fish) <= _SHOWN else f" and {len(pick.fish) - _SHOWN} more (--page, --json)"
        bag = "" if pick.bag is None else f"bag {pick.bag}: "
        say(f"{bag}fish {', '.join(pick.fish[:_SHOWN])}{more}", 2)
    _tell_expected(plan)
    if plan.pool is not None:
        pools = f"pools of {plan.pool.members}" if plan.pool.members > 1 else "no pools"
        say(f"Waters: {pools}, {plan.pool.tests:.3g} tests to expect; {plan.pool.reason}.")
    if plan.holds:
        head = ("world", "best hold", "chance (error)", "what it asks for")
        rows = [(one.world, _hold(one.hold_d, one.volume_L), f"{one.chance:.2f} ({one.error:.2f})", one.said)
                for one in plan.holds]  # fmt: skip
        say_table(head, rows)
    say(f"Cost: {amount(plan.cost)}.")
    for text in plan.remarks:
        say(f"{text}.", 2)


def _hold(days: float | None, litres: float) -> str:
    return "none is better" if days is None else f"{days:g} d in {litres:g} L"


def _tell_expected(plan: FishPlan) -> None:
    found, screen = plan.expected, plan.screen
    say(
        f"To expect: {found.affected:.3g} affected fish among them, {found.true_findings:.3g} of these found, "
        f"{found.missed:.3g} missed, {found.false_findings:.3g} false findings; if no fish is affected, "
        f"{found.false_if_none:.3g} false findings, at least one with probability {found.any_false_if_none:.3f}."
    )
    if plan.wish.second is not None:
        say(
            f"Both tests: sensitivity {screen.sensitivity:.3g}, false rate {screen.false_rate:.2g}, "
            f"{screen.second_tests:.3g} second tests to expect."
        )
