"""The verb show: the way back from a statement to the files."""

from __future__ import annotations

import click

from brinemark.faces.cli.plain import json_option, say_json, say_next
from brinemark.faces.cli.session import Session


@click.command(short_help="A batch, electrode or sample, back to its files.")
@click.argument("what")
@json_option
@click.pass_obj
def show(session: Session, what: str, as_json: bool) -> None:
    """Show everything about a batch, an electrode or a sample: rows, files, signals, and what was said about it.

    Files are named by their place in the logbook's directory. An id that is used twice is written with its kind.

    \b
    Examples:
      brinemark --logbook my-logbook show S001
      brinemark --logbook my-logbook show batch:B01
    """
    from brinemark.faces.cli.telling import tell_shown

    with session.open() as logbook:
        shown = logbook.show(what)
    if as_json:
        say_json(shown.to_dict())
        return
    tell_shown(shown)
    say_next(session.line("chart", what))
