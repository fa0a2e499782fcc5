"""The verb serve: the bench pages of a logbook, in the browser of this machine."""

from __future__ import annotations

from pathlib import Path

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
    serve_pages(Path(logbook) if logbook else session.folder(), port, open_browser=not quiet)


def serve_pages(folder: Path, port: int, *, open_browser: bool) -> None:
    """Serve until a signal ends it; when the usual port is taken, on any free one."""
    from brinemark.faces.web.server import is_free
    from brinemark.faces.web.server import serve as run

    def ready(address: str) -> None:
        click.echo(f"Serving {folder} at {address}")
        say("Only browsers on this machine reach it. Ctrl-C ends.")
        if open_browser:
            import webbrowser

            webbrowser.open(address)

    run(folder, port if port != PORT or is_free(port) else 0, ready)
