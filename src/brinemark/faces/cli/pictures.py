"""The verb chart: pictures of a calibration, a curve, a reading, or all statements."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, cast

import click

from brinemark.faces.cli.amounts import calibration_option
from brinemark.faces.cli.plain import json_option, say, say_json, say_next
from brinemark.faces.cli.progress import working
from brinemark.faces.cli.session import Session
from brinemark.terms.errors import Refused

if TYPE_CHECKING:
    from brinemark.logbook import Logbook
    from brinemark.outputs.charts import Kind

KINDS = ("svg", "png", "pdf")
WHOLE = ("calibration", "fit", "residuals", "statements")
STEMS = {
    "batch": "calibration",
    "electrode": "curve",
    "prescan": "prescan",
    "life": "life",
    "sample": "reading",
    "curves": "curves",
    "study": "study",
}
"""What has a name, and how the file of its picture begins."""
WORDS = {
    "calibration": "the calibration",
    "fit": "the fit of the model",
    "residuals": "the residuals of the calibration",
    "statements": "the statements about all samples",
    "curves": "the curves of batch {}",
    "batch": "the calibration of batch {}",
    "electrode": "the curve of electrode {}",
    "prescan": "the pre-scan of electrode {}",
    "life": "the life of electrode {}",
    "sample": "the reading of {}",
    "study": "study {}",
}
OF_ELECTRODES = ("prescan", "life")
"""What is drawn of an electrode when the word stands before its name, as in life:B01-3."""


@dataclass(frozen=True, slots=True)
class Picture:
    """What to draw: of is one of WHOLE or STEMS; name : its id, or ""."""

    of: str
    name: str
    calibration: str | None
    covariate: str = ""
    prescans: str = "none"
    above_baseline: bool = False

    @property
    def file(self) -> str:
        """The file's name without its suffix, when none is given."""
        parts = [STEMS.get(self.of, self.of), self.name, self.covariate]
        return "-".join(re.sub(r"[^\w.+-]+", "_", part) for part in parts if part)


@click.command(short_help="Draw a calibration, curve or reading.")
@click.argument("what", default="calibration", metavar="[WHAT]")
@click.option(
    "--to",
    type=click.Path(path_type=Path, dir_okay=False),
    metavar="FILE",
    help="The file to write; its suffix .svg, .png or .pdf says how. Without it, an SVG in the current directory.",
)
@click.option("--replace", is_flag=True, help="Write over the file when it is there already.")
@click.option("--covariate", default="", metavar="NAME", help="Of a pre-scan: the one of [further_covariate.NAME].")
@click.option(
    "--prescans",
    type=click.Choice(["none", "with", "only"]),
    default="none",
    help="Of many curves: leave the pre-scans away, draw them too, or draw them alone.",
)
@click.option("--above-baseline", is_flag=True, help="Of many curves: in the window, with their baselines taken off.")
@calibration_option
@json_option
@click.pass_obj
def chart(session: Session, /, what: str, to: Path | None, covariate: str, **options: Any) -> None:
    """Draw WHAT as SVG, PNG or PDF.

    \b
    calibration         signal against level, all batches (or leave WHAT out)
    a batch             the same, this batch
    an electrode        its curve with baseline and wave
    prescan:ELECTRODE   its pre-scan with the covariate
    life:ELECTRODE      all its readings in order of time
    curves:BATCH        all curves of a batch over one another
    a sample            its reading: how well each level fits
    statements          all samples on one axis
    fit                 what standards and batches would have beyond the model
    residuals           how far each calibration electrode lies from its batch
    study:ID            what a study states, and how often its intervals hold

    \b
    Examples:
      brinemark --logbook my-logbook chart calibration
      brinemark --logbook my-logbook chart B01-3 --to curve.png
      brinemark --logbook my-logbook chart sample:S001 --to S001.pdf
    """
    kind = _kind(to)
    with session.open() as logbook, working("drawing"):
        picture = _picture(logbook, what, options["calibration"], covariate)
        if picture.of == "curves":
            picture = replace(picture, prescans=options["prescans"], above_baseline=options["above_baseline"])
        elif options["prescans"] != "none" or options["above_baseline"]:
            raise Refused(f"--prescans or --above-baseline with {what}", "curves:BATCH", "leave them out")
        file = to or Path(f"{picture.file}.{kind}")
        if file.exists() and not options["replace"]:
            raise Refused(f"{file} is already there", "a new file", "give another with --to, or write --replace")
        _write(file, _draw(logbook, picture, kind))
    if options["as_json"]:
        say_json({"schema": 1, "file": str(file), "kind": kind, "of": picture.of, "name": picture.name or None})
        return
    say(f"Drew {WORDS[picture.of].format(picture.name)} into {file}.")
    say_next(f"open {file}")


def _kind(to: Path | None) -> Kind:
    suffix = "svg" if to is None else to.suffix.lower().removeprefix(".")
    if suffix not in KINDS:
        raise click.BadParameter(
            f"{str(to)!r} should end in .svg, .png or .pdf", param_hint="--to", ctx=click.get_current_context()
        )
    return cast("Kind", suffix)


def _picture(logbook: Logbook, what: str, calibration: str | None, covariate: str) -> Picture:
    if covariate and not what.startswith("prescan:"):
        raise Refused(f"--covariate with {what}", "a pre-scan as prescan:ELECTRODE", "leave --covariate out")
    if what in WHOLE:
        return Picture(what, "", calibration)
    word, _, name = what.partition(":")
    if word == "curves" and name:
        if calibration is not None:
            raise Refused("--calibration with curves", "no calibration for curves", "leave --calibration out")
        return Picture(word, logbook.show(f"batch:{name}").name, None)
    if word == "study" and name:
        if calibration is not None:
            raise Refused("--calibration with a study", "no calibration for a study", "leave --calibration out")
        return Picture(word, logbook.kept_study(name).answer.id[:12], None)
    of = word if word in OF_ELECTRODES and name else None
    shown = logbook.show(f"electrode:{name}" if of else what)
    if calibration is not None and shown.kind == "electrode":
        raise Refused("--calibration with an electrode", "no calibration for a curve", "leave --calibration out")
    return Picture(of or shown.kind, shown.name, calibration, covariate)


def _draw(logbook: Logbook, picture: Picture, kind: Kind) -> bytes:
    if picture.of == "calibration":
        return logbook.draw_calibration(kind, picture.calibration)
    if picture.of == "fit":
        return logbook.draw_fit(kind, picture.calibration)
    if picture.of == "residuals":
        return logbook.draw_residuals(kind, picture.calibration)
    if picture.of == "statements":
        return logbook.draw_statements(kind=kind, calibration=picture.calibration)
    if picture.of == "batch":
        return logbook.draw_calibration(kind, picture.calibration, [picture.name])
    if picture.of == "sample":
        return logbook.draw_reading(picture.name, kind, picture.calibration)
    if picture.of == "study":
        return logbook.draw_study(picture.name, kind)
    if picture.of == "life":
        return logbook.draw_life(picture.name, kind)
    if picture.of == "curves":
        rows = [row for row in logbook.rows() if row.row.batch == picture.name]
        return logbook.draw_overlay(rows, kind, picture.prescans, picture.above_baseline)
    for row in logbook.rows():
        if row.row.electrode == picture.name:
            return logbook.draw_trace(row, kind, picture.of == "prescan", picture.covariate)
    raise Refused(f"electrode {picture.name} only on corrected sheets", "a row that still stands", "name another")


def _write(file: Path, data: bytes) -> None:
    try:
        file.write_bytes(data)
    except OSError as error:
        raise Refused(
            f"cannot write {file} ({error.strerror})", "a file in a folder that can be written", "choose another --to"
        ) from error
