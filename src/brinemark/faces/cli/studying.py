"""The verbs study and studies: plans simulated from making to statement, listed and told again."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from brinemark.faces.cli.plain import amount, json_option, say, say_json, say_next, say_table
from brinemark.faces.cli.progress import Work, working
from brinemark.faces.cli.session import INTERRUPTED, Session, end
from brinemark.terms.errors import Stopped

if TYPE_CHECKING:
    from brinemark.steps.study import StudyAnswer

STOPPED = "stopped; what is finished is kept, and the same command goes on from there"


@click.command(short_help="Simulate a plan thousands of times.")
@click.argument("plan", type=click.Path(path_type=Path))
@click.option("--workers", type=click.IntRange(0), metavar="N", help="Processes; without it, one for each core.")
@click.option("--scheduler", metavar="ADDRESS", help="A Dask scheduler here or behind TLS, in place of processes.")
@json_option
@click.pass_obj
def study(session: Session, plan: Path, workers: int | None, scheduler: str | None, as_json: bool) -> None:
    """Simulate the PLAN, a small TOML file, from making to statement: batches are drawn, some electrodes burned, the
    others read samples of known level, and the program states what it would state.

    Told are how often intervals hold, how narrow they are, what is detected, how many samples an electrode answers, and
    false detections, each with its Monte Carlo error. The figures are the same on any number of workers. Ctrl-C stops;
    the same command goes on from what is finished. What was found is kept.

    \b
    Examples:
      brinemark --logbook my-logbook study two-burned.toml
      brinemark --logbook my-logbook study two-burned.toml --workers 2
      brinemark --logbook my-logbook study two-burned.toml \\
          --scheduler tcp://127.0.0.1:8786
    """
    try:
        with session.open() as logbook, working("simulating") as work:
            answer = logbook.study(plan, workers, scheduler, _told(work))
    except (KeyboardInterrupt, Stopped):
        end(STOPPED, INTERRUPTED)
    if as_json:
        say_json(answer.to_dict())
        return
    _tell(answer)
    say_next(session.line("chart", f"study:{answer.id[:12]}"), session.line("lay-out", "RUN.toml"))


@click.command(short_help="Studies that were made.")
@click.argument("study", required=False, metavar="[STUDY]")
@json_option
@click.pass_obj
def studies(session: Session, study: str | None, as_json: bool) -> None:
    """List the studies that were made, or tell STUDY again, named by the first digits of its id.

    \b
    Examples:
      brinemark --logbook my-logbook studies
      brinemark --logbook my-logbook studies 6f2d81c0
    """
    with session.open() as logbook:
        found = logbook.studies() if study is None else [logbook.kept_study(study).answer]
    if as_json:
        say_json(found[0].to_dict() if study is not None else {"schema": 1, "studies": [one.head() for one in found]})
    elif study is not None:
        _tell(found[0])
        say_next(session.line("chart", f"study:{found[0].id[:12]}"))
    elif found:
        _list(found)
    else:
        say("No study was made in this logbook.")
        say_next(session.line("study", "PLAN.toml"))


def _list(found: list[StudyAnswer]) -> None:
    rows = [
        (
            one.id[:12],
            one.request["title"] or "",
            one.made_at[:10],
            str(one.figures["batches"]),
            figure(one.figures["answered_per_batch"]),
            figure(one.figures["interval"]),
        )
        for one in found
    ]
    say("Newest first; answered: samples of a batch to the wanted fold; in brackets Monte Carlo standard errors.")
    say_table(("study", "title", "made", "batches", "answered", "intervals hold"), rows, right=(3,))


def _told(work: Work) -> Any:
    def step(done: int, total: int) -> bool:
        work.now(f"simulating: {done} of {total} batches")
        return True

    return step


def _tell(answer: StudyAnswer) -> None:
    found = answer.figures
    counts = f"{found['batches']} batches of {found['laboratories']} histories, {found['samples']} samples"
    say(f"{counts} (study {answer.id[:12]}{'' if answer.new else ', made before'}).")
    if answer.resumed:
        say(f"{answer.resumed} batches were finished before; the rest was done now.", 2)
    fold = f"to a fold of {answer.max_fold:g}"
    say(f"Samples answered {fold}: {figure(found['answered_per_batch'])} a batch, that is one for")
    say(f"{figure(found['electrodes_per_answer'], 'no answer to count electrodes for')} electrodes made.", 2)
    say(f"Intervals hold the truth: {figure(found['interval'])}; what is stated: {figure(found['stated'])}.")
    say(f"False detections among samples without: {figure(found['false_detections'])}.")
    head = (answer.unit, "samples", "detected", "holds", "fold", "answered", "electrodes")
    rows = [
        (
            amount(one["level"]),
            str(one["samples"]),
            figure(one["detected"]),
            figure(one["interval"]),
            figure(one["fold"], "open"),
            figure(one["answered"]),
            figure(one["electrodes"]),
        )
        for one in found["levels"]
    ]
    say_table(head, rows, right=(0, 1))
    say("In brackets: Monte Carlo standard errors.", 2)
    for text in answer.remarks:
        say(f"{text}.", 2)


def figure(one: dict[str, Any], none: str = "none") -> str:
    """A figure with its error in brackets."""
    if one["value"] is None:
        return none
    error = "" if one["error"] is None else f" ({one['error']:.2g})"
    return f"{one['value']:.3g}{error}"
