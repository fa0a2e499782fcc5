"""Serve the pages of one logbook to browsers on this machine, until a signal ends it."""

from __future__ import annotations

import asyncio
import logging
import signal
import socket
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import uvicorn

from brinemark.faces.web.app import build_app
from brinemark.faces.web.desk import Desk
from brinemark.faces.web.places import PLACES
from brinemark.terms.errors import Refused

LOOPBACK = "127.0.0.1"
NAMES = ("127.0.0.1", "localhost")
SEVERAL = 64
SETTINGS: dict[str, Any] = {
    "log_level": "warning",
    "access_log": False,
    "timeout_graceful_shutdown": 5,
    "lifespan": "off",
    "ws": "none",
    "server_header": False,
}


def serve(folder: Path, port: int, on_ready: Callable[[str], None]) -> None:
    """Serve until SIGINT or SIGTERM; jobs are stopped then, and what they had begun is rolled back.

    port : 0 = any free one. on_ready : told the address once pages are answered. Raises Refused for a port in use and
    for a folder without a logbook.
    """
    with _ended_in_order(), _listening(port) as listener:
        desk = Desk(folder)
        number = listener.getsockname()[1]
        try:
            app = build_app(desk, [f"{name}:{number}" for name in NAMES], PLACES)
            config = uvicorn.Config(app, **SETTINGS)
            logging.getLogger("uvicorn.error").addFilter(_is_no_cut)
            _Server(config, lambda: on_ready(f"http://{LOOPBACK}:{number}/")).run(sockets=[listener])
        finally:
            desk.close()


def _is_no_cut(record: logging.LogRecord) -> bool:
    """False of what is said when the end cuts a request off: a form half sent was not stored, and is sent again."""
    fault = record.exc_info[1] if record.exc_info else None
    return not (isinstance(fault, asyncio.CancelledError) or str(record.msg).startswith("Cancel %s running task"))


@contextmanager
def _ended_in_order() -> Iterator[None]:
    """The server stops on a signal and then raises it again, which would end the process before its jobs."""
    before = {one: signal.signal(one, lambda *_: None) for one in (signal.SIGINT, signal.SIGTERM)}
    try:
        yield
    finally:
        for one, handler in before.items():
            signal.signal(one, handler)


class _Server(uvicorn.Server):
    """One that says when it is ready."""

    def __init__(self, config: uvicorn.Config, on_ready: Callable[[], None]) -> None:
        super().__init__(config)
        self._on_ready = on_ready

    async def startup(self, sockets: list[socket.socket] | None = None) -> None:
        await super().startup(sockets)
        if self.started:
            self._on_ready()


def is_free(port: int) -> bool:
    """Whether a port of this machine can be listened on."""
    with socket.socket(socket.AF_INET, socket.SOCK_STREAM) as trial:
        trial.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            trial.bind((LOOPBACK, port))
        except OSError:
            return False
    return True


def _listening(port: int) -> socket.socket:
    """A socket on the loopback address only."""
    listener = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    try:
        listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listener.bind((LOOPBACK, port))
        listener.listen(SEVERAL)
    except OSError as error:
        listener.close()
        raise Refused(
            f"port {port} cannot be used ({error.strerror})", "a free port", "choose another with --port, or 0 for any"
        ) from error
    return listener
