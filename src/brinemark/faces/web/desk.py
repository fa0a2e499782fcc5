"""What the pages share: the opened logbook, what was worked out of it lately, pictures, and jobs."""

from __future__ import annotations

import secrets
import threading
from collections import OrderedDict
from collections.abc import Callable, Hashable
from pathlib import Path
from typing import Any, TypeVar

from brinemark.faces.web.jobs import Jobs
from brinemark.logbook import Logbook
from brinemark.steps.place import SETTINGS_FILE

Made = TypeVar("Made")
KEPT, SAID = 400, 200


class Desk:
    """One logbook served to any number of browser tabs. Its methods may be called from several threads at once."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.jobs = Jobs(folder)
        self.secret = secrets.token_bytes(32)
        self._lock = threading.RLock()
        self._kept: OrderedDict[Hashable, Any] = OrderedDict()
        self._said: OrderedDict[str, str] = OrderedDict()
        self._book = Logbook.open(folder)
        self._settings = self._settings_state()

    @property
    def book(self) -> Logbook:
        """The logbook; opened anew when its settings have changed on disk. Raises Refused when they are not sound."""
        with self._lock:
            state = self._settings_state()
            if state != self._settings:
                fresh = Logbook.open(self.folder)
                # The old one's connections belong to requests that may still be running; they are closed with it.
                self._book, self._settings = fresh, state
            return self._book

    def kept(self, key: Hashable, make: Callable[[], Made]) -> Made:
        """What make gives, remembered until anything in the logbook or its settings changes."""
        full = (key, self.state())
        with self._lock:
            if full in self._kept:
                self._kept.move_to_end(full)
                found: Made = self._kept[full]
                return found
        made = make()
        with self._lock:
            self._kept[full] = made
            while len(self._kept) > KEPT:
                self._kept.popitem(last=False)
        return made

    def state(self) -> str:
        """Changes with every entry of the audit list and every change of the settings."""
        book = self.book
        with self._lock:
            return f"{book.audit_head()}-{self._settings[0]}"

    def say_once(self, text: str) -> str:
        """Keep a line for the next page; the key to ask for it."""
        key = secrets.token_urlsafe(6)
        with self._lock:
            self._said[key] = text
            while len(self._said) > SAID:
                self._said.popitem(last=False)
        return key

    def said(self, key: str) -> str:
        """A line that was kept; it is shown once."""
        with self._lock:
            return self._said.pop(key, "")

    def close(self) -> None:
        """Stop the jobs and release the files."""
        self.jobs.close()
        self._book.close()

    def _settings_state(self) -> tuple[int, int]:
        found = (self.folder / SETTINGS_FILE).stat()
        return found.st_mtime_ns, found.st_size
