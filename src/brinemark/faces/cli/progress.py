"""Progress on the error stream, only when it is a terminal; never a word on a pipe."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from rich.progress import Progress, TaskID


class Work:
    """What a verb tells while it works. Without a terminal it tells nothing."""

    def __init__(self, bar: Progress | None = None, task: TaskID | None = None) -> None:
        self._bar, self._task = bar, task

    def step(self, done: int, total: int) -> bool:
        """Draws of a calibration done; never asks to stop, since Ctrl-C does."""
        share = "what each batch can do" if done >= total else f"{done} of {total} draws"
        self.now(f"calibrating: {share}")
        return True

    def now(self, what: str) -> None:
        """What is being done."""
        if self._bar is not None and self._task is not None:
            self._bar.update(self._task, description=what)

    def tell(self, line: str) -> None:
        """A line that stays."""
        if self._bar is not None:
            self._bar.console.print(line, markup=False, highlight=False, soft_wrap=True)


@contextmanager
def working(what: str) -> Iterator[Work]:
    """Show what is being done and for how long, and take the line away at the end."""
    if not sys.stderr.isatty():
        yield Work()
        return
    from rich.console import Console
    from rich.progress import Progress, SpinnerColumn, TextColumn, TimeElapsedColumn

    columns = (SpinnerColumn("line"), TextColumn("{task.description}", markup=False), TimeElapsedColumn())
    console = Console(stderr=True, color_system=None)
    with Progress(*columns, console=console, transient=True) as bar:
        yield Work(bar, bar.add_task(what))
