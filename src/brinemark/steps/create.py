"""Make a new logbook, or open one."""

from __future__ import annotations

from pathlib import Path

from brinemark.records.database import Database
from brinemark.records.settings_file import read_settings, settings_text, write_settings
from brinemark.steps.place import DATABASE_FILE, ORIGINALS_FOLDER, SETTINGS_FILE, Place
from brinemark.terms.errors import Refused


def create(folder: Path, name: str | None = None, timezone: str = "UTC") -> Place:
    """A new logbook in folder, which must be absent or empty.

    Raises Refused for a folder with something in it, a path that is a file, and a bad name or time zone.
    """
    _check_empty(folder)
    text = settings_text(name=name or folder.resolve().name, timezone=timezone)
    new_folder = not folder.exists()
    try:
        return _make(folder, text)
    except BaseException as error:
        _take_away(folder, new_folder)
        if isinstance(error, OSError):
            raise Refused(
                f"cannot make {folder} ({error.strerror})", "a folder that can be written", "choose another place"
            ) from error
        raise


def _make(folder: Path, text: str) -> Place:
    folder.mkdir(parents=True, exist_ok=True)
    (folder / ORIGINALS_FOLDER).mkdir()
    settings = write_settings(folder / SETTINGS_FILE, text)
    return Place(folder, settings, Database.create(folder / DATABASE_FILE, settings.logbook.name))


def open_place(folder: Path) -> Place:
    """The logbook in folder. Raises Refused when there is none, or when its settings or database are not sound."""
    if not (folder / SETTINGS_FILE).is_file() or not (folder / DATABASE_FILE).is_file():
        raise Refused(
            f"no logbook in {folder}",
            f"a folder with {SETTINGS_FILE} and {DATABASE_FILE}",
            "give the logbook's folder, or make a logbook with 'new'",
        )
    settings = read_settings(folder / SETTINGS_FILE)
    return Place(folder, settings, Database.open(folder / DATABASE_FILE))


def _check_empty(folder: Path) -> None:
    if folder.is_file() or (folder.is_symlink() and not folder.exists()):
        raise Refused(f"{folder} is a file", "a new or empty folder", "choose another name for the logbook")
    if folder.is_dir() and any(folder.iterdir()):
        there = sorted(path.name for path in folder.iterdir())
        what = "a logbook" if DATABASE_FILE in there else f"{there[0]!r}"
        raise Refused(f"{folder} is not empty: it holds {what}", "a new or empty folder", "choose another folder")


def _take_away(folder: Path, new_folder: bool) -> None:
    if not folder.is_dir():
        return
    # The folder was empty a moment ago, so these are ours.
    for name in (SETTINGS_FILE, DATABASE_FILE, f"{DATABASE_FILE}-wal", f"{DATABASE_FILE}-shm"):
        (folder / name).unlink(missing_ok=True)
    if (folder / ORIGINALS_FOLDER).is_dir():
        (folder / ORIGINALS_FOLDER).rmdir()
    if new_folder:
        folder.rmdir()
