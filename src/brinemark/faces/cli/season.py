"""The verb demo: the whole job on an invented season."""

from __future__ import annotations

import sys
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from brinemark.faces.cli.plain import json_option, say, say_json, say_next, say_table
from brinemark.faces.cli.progress import Work, working
from brinemark.faces.cli.session import INTERRUPTED, command_line, end
from brinemark.terms.errors import Stopped
from brinemark.terms.wording import counted

if TYPE_CHECKING:
    from brinemark.demo.run import DemoResult, DemoRow


AFTER = {"wrote": "adding run sheets", "added": "measuring curves", "made": "reading the waters and drawing charts"}
"""What the demo does after a line that begins so."""


@click.command(short_help="The whole job on an invented season.")
@click.option(
    "--folder",
    type=click.Path(path_type=Path),
    metavar="DIRECTORY",
    default="brinemark-demo",
    show_default=True,
    help="Where to make it. What an earlier demo made there is made anew.",
)
@click.option(
    "--seed",
    type=click.IntRange(min=0),
    metavar="NUMBER",
    help="Another invented season; without it, always the same one.",
)
@click.option("--spectra", is_flag=True, help="A smaller season of the same films, read by their absorbance.")
@click.option(
    "--pages/--no-pages",
    default=None,
    help="Serve the bench pages of its logbook at the end; without either, on a terminal only.",
)
@json_option
def demo(folder: Path, seed: int | None, spectra: bool, pages: bool | None, as_json: bool) -> None:
    """Invent a harbour laboratory, 26 batches of electrodes, and tanks of fish; then do the whole job on them.

    It writes run sheets with curves and tank records, adds them to a logbook, calibrates, reads every water and draws
    charts. It takes about a minute. The true levels are kept in a file of their own, which nothing reads. With
    --spectra the electrodes are read by a spectrometer: 6 batches, 5 tanks and no fish.

    \b
    Example:
      brinemark demo --folder harbour --seed 7
    """
    from brinemark.demo.fish import write_with_fish
    from brinemark.demo.folder import make_ready
    from brinemark.demo.optical import write_optical
    from brinemark.demo.run import run_demo
    from brinemark.demo.scenario import DEFAULT_SEED

    chosen = DEFAULT_SEED if seed is None else seed
    make_ready(folder, chosen)
    try:
        with working("inventing curves") as work:
            write = write_optical if spectra else write_with_fish
            result = run_demo(folder, chosen, work.step, partial(_heard, work), True, write)
    except (KeyboardInterrupt, Stopped):
        end(f"stopped; what is in {folder} is unfinished, and the next demo makes it anew", INTERRUPTED)
    if as_json:
        say_json(_data(result, folder))
    else:
        _tell(result, folder)
    if pages or (pages is None and not as_json and sys.stdout.isatty()):
        from brinemark.faces.cli.serving import PORT, serve_pages

        click.echo()
        serve_pages(result.logbook, PORT, open_browser=sys.stdout.isatty())


def _heard(work: Work, line: str) -> None:
    """Keep the line, and say what comes after it."""
    work.tell(line)
    work.now(AFTER.get(line.partition(" ")[0], "working"))


def _data(result: DemoResult, folder: Path) -> dict[str, Any]:
    return {
        "schema": 1,
        "folder": str(folder),
        "seed": result.scenario.seed,
        "sheets": [str(sheet) for sheet in result.scenario.sheets],
        "tanks": [str(record) for record in result.scenario.tank_files],
        "logbook": str(result.logbook),
        "truth": str(result.scenario.truth_file),
        "charts": [str(chart) for chart in result.charts],
        "calibration": result.calibration.id,
        "readings": [reading.to_dict() for reading in result.readings],
    }


def _tell(result: DemoResult, folder: Path) -> None:
    made = result.calibration.calibration
    say(
        f"An invented season: {counted(len(made.readings.electrode), 'electrode')} of "
        f"{counted(len(set(made.readings.batch)), 'batch')} calibrate, "
        f"{counted(len(result.rows), 'water')} are read."
    )
    click.echo()
    rows = [(row.sample, _how(row), row.sentence.removeprefix(f"{row.sample}: ")) for row in result.season]
    say_table(("water", "electrodes", "statement"), rows, indent=0)
    click.echo()
    _tell_consignments(result, folder)
    charts = folder / "charts"
    say(f"Charts: {charts} (open calibration.svg and statements.svg first).")
    lives = sorted(chart.name for chart in result.charts if chart.name.startswith("life-"))
    if lives:
        say(f"Lives of electrodes read more than once, up to a closing spike: {', '.join(lives)}.")
    say(f"True levels of the waters, which nothing here has read: {result.scenario.truth_file}.")
    book = ("--logbook", str(result.logbook))
    say_next(
        command_line("serve", str(result.logbook)),
        *(command_line(*book, *words) for words in _of_fish(result)),
        command_line(*book, "show", _told(result)),
        command_line(*book, "chart", _told(result), "--to", "tank.png"),
    )


def _tell_consignments(result: DemoResult, folder: Path) -> None:
    """What was taken in about fish and tanks."""
    if result.consignments:
        tanks = sum(len(one.tanks) for one in result.consignments)
        names = ", ".join(one.name for one in result.consignments)
        say(
            f"Tank records of {counted(len(result.consignments), 'consignment')} ({names}) with "
            f"{counted(tanks, 'tank')}: {folder / 'tanks'}. "
            f"{counted(len(result.scenario.beside), 'more water')} are read for them: blanks, captive-bred controls, "
            "a spiked tank, a trial, later consignments."
        )


def _of_fish(result: DemoResult) -> tuple[tuple[str, ...], ...]:
    """What tells more of the fish: the trial first, since interpretations use what it says of ratios."""
    return (("trials", "--keep"), ("consignment", result.consignments[0].name)) if result.consignments else ()


def _told(result: DemoResult) -> str:
    """A sample worth a look: one that was quantified, the first of them."""
    quantified = [row.sample for row in result.season if row.statement == "quantified"]
    return (quantified or [row.sample for row in result.season])[0]


def _how(row: DemoRow) -> str:
    diluted = sorted(set(row.dilutions))
    return (
        f"{row.electrodes}"
        if diluted == [1.0]
        else f"{row.electrodes}, diluted {', '.join(map('{:g}'.format, diluted))}"
    )
