"""The verb scan-rates: whether a wave diffuses or sits on the surface."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from brinemark.faces.cli.plain import json_option, say, say_json, say_next, say_table, scale, with_u
from brinemark.faces.cli.session import Session
from brinemark.terms.wording import counted

if TYPE_CHECKING:
    from brinemark.steps.scan_rates import ScanRates

MEANINGS = {
    "diffusing": "The height goes with the square root of the scan rate: what reacts diffuses to the electrode.",
    "surface-bound": "The height goes with the scan rate: what reacts is bound to the surface.",
    "in between": "The slope lies between 1/2 and 1: part diffuses, or a film thicker than what one sweep reaches.",
    "cannot say": "These curves do not tell which.",
}


@click.command(name="scan-rates", short_help="Is a wave diffusing or surface-bound?")
@click.argument("table", type=click.Path(path_type=Path, dir_okay=False))
@json_option
@click.pass_obj
def scan_rates(session: Session, table: Path, as_json: bool) -> None:
    """Fit the height of a wave against the scan rate, on a log scale, from curves of one electrode.

    TABLE has a row for each curve: trace (a file beside the table), scan_rate_V_per_s and, if you like, instrument.
    Window, sweep, cycle and baseline are those of [signal] in the logbook; nothing is stored. A slope of 1/2 means
    diffusing, of 1 surface-bound.

    \b
    Example:
      brinemark --logbook my-logbook scan-rates rates.csv
    """
    with session.open() as logbook:
        answer = logbook.scan_rates(table)
    if as_json:
        say_json(answer.to_dict())
        return
    _tell(answer)
    say_next("for another wave, change window_V in logbook.toml and ask again")


def _tell(answer: ScanRates) -> None:
    factor, unit = scale("A", [point.signal.value for point in answer.points])
    say(f"{counted(len(answer.points), 'curve')}, wave at {answer.place_V:.3f} V:")
    rows = [
        (
            f"{point.row.scan_rate_V_per_s:g}",
            with_u(point.signal.value * factor, point.signal.u * factor),
            point.row.trace,
            ", ".join(flag.name for flag in point.signal.flags),
        )
        for point in sorted(answer.points, key=lambda point: point.row.scan_rate_V_per_s)
    ]
    say_table(("V/s", f"height, {unit}", "curve", "flags"), rows, right=(0, 1))
    study, (low, high) = answer.study, answer.study.interval
    click.echo()
    say(f"Slope of log height against log scan rate: {study.slope:.3f}, 95 % interval {low:.3f} to {high:.3f}.")
    say(f"{study.couple.capitalize()}: {study.reason}. {MEANINGS[study.couple]}")
