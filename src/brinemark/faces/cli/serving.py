"""The verb serve: the bench pages of a logbook, in the browser of this machine."""

from __future__ import annotations

import click

from brinemark.faces.cli.plain import say
from brinemark.faces.cli.session import Session

PORT = 8731


@click.command(short_help="The bench pages of a logbook, in a browser on this machine.")
@click.argument("logbook", required=False, type=click.Path(path_type=str))
@click.option("--port", type=click.IntRange(0, 65535), default=PORT, show_default=True, help="0 takes any free one.")
@click.option("--quiet", is_flag=True, help="Do not open a browser.")
@click.pass_obj
def serve(session: Session, logbook: str | None, port: int, quiet: bool) -> None:
    """Serve the pages of a logbook until Ctrl-C: the whole job by mouse and keyboard.

    Only browsers on this machine can reach them, and nothing is fetched from elsewhere. LOGBOOK is the folder; it may
    be left out as with the other verbs.

    \b
    Example:
      brinemark serve harbour/logbook
    """
    from pathlib import Path

    from brinemark.faces.web.server import serve as run

    folder = Path(logbook) if logbook else session.folder()

    def ready(address: str) -> None:
        click.echo(f"Serving {folder} at {address}")
        say("Only browsers on this machine reach it. Ctrl-C ends.")
        if not quiet:
            import webbrowser

            webbrowser.open(address)

    run(folder, port, ready)
