"""The folder of a demo: marked, so that the next demo knows what it may take away."""

from __future__ import annotations

import shutil
from pathlib import Path

from brinemark.terms.errors import Refused

MARK = "about-this-demo.txt"
FIRST_LINE = "Made by `brinemark demo`; the next demo in this folder makes these parts anew:"
PARTS = {
    "sheets": "run sheets with their curves, as a laboratory would write them",
    "tanks": "tank records: what happened to fish and to their water",
    "logbook": "an ordinary logbook, made from them with the ordinary commands",
    "charts": "pictures of the calibration, the curves and the readings",
    "truth.json": "what the waters really hold; nothing reads it",
}


def make_ready(folder: Path, seed: int) -> None:
    """Make folder ready for a demo: it must be new, empty, or made by an earlier demo, whose parts are taken away.

    Raises Refused for a file, and for a folder that holds anything else and no demo.
    """
    if folder.is_file():
        raise Refused(f"{folder} is a file", "a new or empty folder", "choose another --folder")
    if folder.is_dir() and any(folder.iterdir()) and not _is_ours(folder):
        raise Refused(
            f"{folder} is not empty and was not made by a demo",
            "a new or empty folder, or that of an earlier demo",
            "choose another --folder",
        )
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for name in PARTS:
            _take_away(folder / name)
        lines = [FIRST_LINE, *(f"  {name}: {what}" for name, what in PARTS.items()), f"Seed: {seed}"]
        (folder / MARK).write_text("\n".join(lines) + "\n", encoding="utf-8", newline="\n")
    except OSError as error:
        raise Refused(
            f"cannot write in {folder} ({error.strerror or error})", "a folder that can be written", "choose another"
        ) from error


def _is_ours(folder: Path) -> bool:
    mark = folder / MARK
    return mark.is_file() and mark.read_text(encoding="utf-8", errors="replace").startswith(FIRST_LINE)


def _take_away(part: Path) -> None:
    if not part.is_dir():
        part.unlink(missing_ok=True)
        return
    for path in part.rglob("*"):
        # Originals are read-only, which on Windows also keeps them from being deleted.
        if path.is_file() and not path.is_symlink():
            path.chmod(0o600)
    shutil.rmtree(part)
