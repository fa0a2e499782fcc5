"""An opened logbook as the steps see it: its folder, settings and database."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from brinemark.records.database import Database
from brinemark.terms.settings import Settings

SETTINGS_FILE = "logbook.toml"
DATABASE_FILE = "logbook.db"
ORIGINALS_FOLDER = "originals"


@dataclass(frozen=True, slots=True, eq=False)
class Place:
    """folder : the logbook's directory, with logbook.toml, logbook.db and originals/."""

    folder: Path
    settings: Settings
    database: Database

    @property
    def originals(self) -> Path:
        return self.folder / ORIGINALS_FOLDER
