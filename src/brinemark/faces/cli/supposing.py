"""The verb one-more: what one more electrode would change about a sample."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from brinemark.faces.cli.plain import amount, json_option, say, say_json, say_next, say_table
from brinemark.faces.cli.progress import working
from brinemark.faces.cli.session import Session

if TYPE_CHECKING:
    from brinemark.steps.one_more_answers import OneMore

BRIEF = {
    "cannot say": "cannot say",
    "not detected": "less than {upper}",
    "at or above": "at or above {lower}",
    "quantified": "{lower} to {upper}, quantified",
    "detected, amount uncertain": "{lower} to {upper}",
}
PLACES = {
    "below the critical value": "not seen",
    "below the working range": "below range",
    "in the working range": "in range",
    "above the working range": "above range",
    "no working range": "no range",
    "above the highest standard": "above standards",
}


@click.command(short_help="What one more electrode would change.")
@click.argument("sample")
@click.option("--batch", metavar="BATCH", help="Batch of the electrode; without it, the newest with ready electrodes.")
@click.option(
    "--dilution",
    "dilutions",
    type=float,
    multiple=True,
    metavar="TIMES",
    help="A dilution to suppose, 1 for none; may be repeated. Without it, 1 to 100.",
)
@json_option
@click.pass_obj
def one_more(session: Session, sample: str, batch: str | None, dilutions: tuple[float, ...], as_json: bool) -> None:
    """Suppose one more electrode for a SAMPLE that was read, and say what would come of it at each dilution.

    Its signal is the typical one at the present estimate; where there is only a limit, at a few levels beyond or below
    it. That is a supposition and no promise. Nothing is stored.

    \b
    Example:
      brinemark --logbook my-logbook one-more S001
    """
    with session.open() as logbook, working("supposing one more electrode"):
        answer = logbook.one_more(sample, batch, dilutions or None)
    if as_json:
        say_json(answer.to_dict())
        return
    say(f"{answer}.")
    if answer.rows:
        _tell(answer)
    for text in answer.remarks():
        say(f"{text}.", 2)
    say_next(session.line("plan-sample", sample), session.line("lay-out", "RUN.toml"))


def _tell(answer: OneMore) -> None:
    """One line for each dilution and level; the level is left out where it is one."""
    several = len({row.level for row in answer.rows}) > 1
    head = ("dilution", *(["level"] if several else []), "in cell", "where", "would be", "fold", "")
    rows = []
    for row in answer.rows:
        level = [amount(row.level)] if several else []
        would = BRIEF[row.would.statement].format(lower=amount(row.would.lower), upper=amount(row.would.upper))
        mark = "narrowest" if row.best else ""
        where = PLACES[row.place]
        rows.append(
            (f"{row.dilution:g}", *level, amount(row.cell_level), where, would, amount(row.would.fold, ""), mark)
        )
    say_table(head, rows, right=(0, 1, 2, 5) if several else (0, 1, 4))
