"""The verb plan-sample: which electrode to read next of a sample."""

from __future__ import annotations

import math
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from brinemark.faces.cli.dilutions import kit_of
from brinemark.faces.cli.plain import amount, json_option, say, say_json, say_next, say_table, write_page
from brinemark.faces.cli.progress import working
from brinemark.faces.cli.session import Session
from brinemark.terms.sample_plans import SampleWish, TooLittleWater

if TYPE_CHECKING:
    from brinemark.steps.plan_sample_answers import PlannedRow, PlannedSample

FOLLOWS = {
    "read once": "nothing",
    "with a closing spike": "spike",
    "with an addition and a closing spike": "addition, spike",
}


@click.command(short_help="Which electrode to read next of a sample.")
@click.argument("sample")
@click.option("--water-mL", "water_mL", type=float, metavar="ML", help="What is left of the sample.")
@click.option("--electrodes", type=int, metavar="N", help="How many to read together, 1 to 4; without it, the next.")
@click.option("--unread", is_flag=True, help="Nothing has been read of the sample yet.")
@click.option("--cell-mL", "cell_mL", type=float, metavar="ML", help="Volume of a cell; without it, as last time.")
@click.option("--read-once", is_flag=True, help="Without additions after the main reading.")
@click.option("--highest", type=float, metavar="LEVEL", help="The most that the sample may hold; without it, 250 K.")
@click.option("--batch", metavar="BATCH", help="Batch of the electrodes; without it, the newest with ready ones.")
@click.option("--lot", metavar="ID", help="Seawater to dilute with, of the settings; without it, as last time.")
@click.option("--pipette", multiple=True, metavar="ML:TOL", help="A pipette that is at hand, as in dilute.")
@click.option("--flask", multiple=True, metavar="ML:TOL", help="A flask that is at hand, as in dilute.")
@click.option("--smallest", type=float, metavar="ML", help="Pipette nothing below this volume.")
@click.option("--page", type=click.Path(path_type=Path), metavar="FILE", help="Write a list for the bench, to print.")
@json_option
@click.pass_obj
def plan_sample(session: Session, /, sample: str, page: Path | None, as_json: bool, **given: Any) -> None:
    """Say which dilution of a SAMPLE to read next, whether to add a closing spike, and when to stop.

    Every dilution that the vessels and the water allow is weighed by what an electrode is expected to tell, over all
    levels that the sample may have by what was read of it. With --unread nothing is known yet. Nothing is stored.

    \b
    Examples:
      brinemark --logbook my-logbook plan-sample S001 --water-mL 60
      brinemark --logbook my-logbook plan-sample S009 --unread --electrodes 3
      brinemark --logbook my-logbook plan-sample S001 --page bench.txt
    """
    wish = _wish(given)
    try:
        with session.open() as logbook, working("planning the next electrode"):
            answer = logbook.plan_sample(sample, wish)
    except TooLittleWater as little:
        _tell_impossible(sample, little, as_json)
        return
    if page is not None:
        from brinemark.steps.plan_sample_bench import SampleBench

        write_page(page, SampleBench.of(answer).page())
    if as_json:
        say_json(answer.to_dict())
        return
    say(f"{answer}.")
    say_table(("dilution", "then", "sample, mL", "narrower", "fold", f"within {answer.max_fold:g}", ""), _rows(answer))
    for text in answer.remarks():
        say(f"{text}.", 2)
    if page is not None:
        say(f"Wrote {page}.")
    say_next(session.line("lay-out", "RUN.toml"))


def _tell_impossible(sample: str, little: TooLittleWater, as_json: bool) -> None:
    """A wish that the water does not allow is answered with what would be needed."""
    if as_json:
        say_json({"schema": 1, "sample": sample, "not_as_wished": str(little)})
    else:
        say(f"Not as wished: {little}.")


def _wish(given: dict[str, Any]) -> SampleWish:
    names = ("unread", "cell_mL", "batch", "lot", "highest", "read_once")
    water = math.inf if given["water_mL"] is None else given["water_mL"]
    electrodes = 1 if given["electrodes"] is None else given["electrodes"]
    plain = {name: given[name] for name in names}
    return SampleWish(electrodes=electrodes, water_mL=water, kit=kit_of(given), **plain)


def _rows(answer: PlannedSample) -> list[tuple[str, ...]]:
    return [
        (
            f"{row.dilution:g}",
            FOLLOWS[row.way],
            f"{row.sample_mL:g}",
            f"{amount(row.told.narrower)} times",
            amount(row.told.fold, "open"),
            f"{100.0 * row.told.chance:.0f} %",
            _mark(row),
        )
        for row in answer.rows
    ]


def _mark(row: PlannedRow) -> str:
    return "most" if row.best else "as much" if row.alike else ""
