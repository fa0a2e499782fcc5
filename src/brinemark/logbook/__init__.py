"""The public face: a logbook on disk, and what can be done with it."""

from __future__ import annotations

from pathlib import Path

from brinemark.logbook.amounts import Amounts
from brinemark.logbook.drawing import Drawing
from brinemark.logbook.fish import FishSide
from brinemark.logbook.fish_drawing import FishDrawing
from brinemark.logbook.looking import Looking
from brinemark.logbook.making import Making
from brinemark.logbook.studies import Studies
from brinemark.steps.create import create, open_place


class Logbook(Making, Amounts, FishSide, FishDrawing, Looking, Drawing, Studies):
    """A directory with logbook.toml, logbook.db and originals/. Use `create` or `open`, and close it (or `with`)."""

    @classmethod
    def create(cls, path: str | Path, name: str | None = None, timezone: str = "UTC") -> Logbook:
        """A new, empty logbook in a new or empty folder. Raises Refused."""
        return cls(create(Path(path), name, timezone))

    @classmethod
    def open(cls, path: str | Path) -> Logbook:
        """The logbook in a folder. Raises Refused when there is none, or it is not sound."""
        return cls(open_place(Path(path)))
