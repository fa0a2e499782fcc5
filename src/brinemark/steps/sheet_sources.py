"""Where a run sheet and its files come from: a folder, or uploads that lie in a spool under names of our own."""

from __future__ import annotations

import unicodedata
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path
from typing import Protocol

from brinemark.records.files import checked_bytes, read_source, relative_parts
from brinemark.records.sheet_table import RUN_SHEET, TANK_RECORD, Form, is_sheet_header
from brinemark.records.text import nearest, shown
from brinemark.terms.errors import Refused

LONGEST_TITLE = 120
_HINTS = 20  # names for which a near one is looked up; among thousands that takes long
_NAMED = 8
_HEAD = 4096  # bytes that hold the header of a sheet


@dataclass(frozen=True, slots=True)
class Held:
    """A file's bytes as they came: data now, load when they are needed again."""

    name: str
    data: bytes
    load: Callable[[], bytes]


class SheetSource(Protocol):
    """A run sheet with the files that it may name. title : what the sheet is called."""

    @property
    def title(self) -> str: ...

    def sheet(self) -> bytes:
        """Bytes of the sheet. Raises Refused."""

    def file(self, name: str, row: int, column: str) -> Held:
        """The file that a cell of the sheet names. Raises Refused."""

    def remarks(self) -> Iterator[str]:
        """What is odd about the files, once every row has been asked for."""


@dataclass(frozen=True, slots=True)
class FolderSource:
    """A sheet on the disk, with its files beside it."""

    path: Path

    @property
    def title(self) -> str:
        return self.path.name

    def sheet(self) -> bytes:
        """Bytes of the sheet. Raises Refused."""
        return read_source(self.path.parent, self.path.name)

    def file(self, name: str, row: int, column: str) -> Held:
        """The file of a cell, kept in memory so that what was checked is what is stored. Raises Refused."""
        data = read_source(self.path.parent, name, sheet=self.path.name, row=row, column=column)
        return Held(name, data, lambda: data)

    def remarks(self) -> Iterator[str]:
        """None: what else lies in the folder is not ours."""
        yield from ()


def safe_title(name: str) -> str:
    """What an uploaded sheet is called in the logbook: the last part of its name, printable and not too long."""
    last = name.replace("\\", "/").rstrip("/").rpartition("/")[2]
    text = "".join(sign if sign.isprintable() else " " for sign in unicodedata.normalize("NFC", last))
    return " ".join(text.split())[-LONGEST_TITLE:] or "sheet"


@dataclass(slots=True)
class Uploads:
    """An uploaded sheet and uploaded files. Their names are compared with those in the sheet, and never used as paths.

    title : of the sheet; data : its bytes; files : each name as it was uploaded, with the place of its bytes in a
    spool; a name may come twice.
    A name fits a cell when both are the same after slashes are turned; else when one is the end of the other, part
    by part (a browser leaves out folders, or puts one in front), and no other upload fits as well.
    """

    title: str
    data: bytes
    files: Sequence[tuple[str, Path]]
    _by_end: dict[str, list[tuple[tuple[str, ...], int]]] = field(default_factory=dict)
    _fits: dict[int, str] = field(default_factory=dict)
    _hints: int = 0

    @classmethod
    def of(cls, files: Sequence[tuple[str, Path]], sheet: str | None = None) -> Uploads:
        """Uploads of which one is the run sheet: the one named, else the only one with the header of one.

        Raises Refused when there is none, or several.
        """
        wanted = [_looks_like_sheet(path) if sheet is None else name == sheet for name, path in files]
        found = [file for file, is_sheet in zip(files, wanted, strict=True) if is_sheet]
        tanks = [name for name, path in files if not found and _looks_like_sheet(path, TANK_RECORD)]
        if tanks:
            came = f"a tank record, {shown(tanks[0])}, and no run sheet"
            raise Refused(came, "a run sheet with its curves", "use 'tanks FILE' for a tank record")
        if len(found) != 1:
            names = f": {', '.join(shown(name) for name, _ in found[:3])}" if found else ""
            came = f"{len(found)} run sheets among {len(files):,} uploaded files{names}"
            raise Refused(came, "one, with columns such as electrode, batch, role", "upload one sheet with its curves")
        name, path = found[0]
        rest = [file for file, is_sheet in zip(files, wanted, strict=True) if not is_sheet]
        return cls(name, checked_bytes(path, safe_title(name)), rest)

    def __post_init__(self) -> None:
        self.title = safe_title(self.title)
        for number, (name, _) in enumerate(self.files):
            parts = _parts(name)
            if parts:
                self._by_end.setdefault(parts[-1], []).append((parts, number))

    def sheet(self) -> bytes:
        """Bytes of the sheet."""
        if not self.data:
            raise Refused(f"{self.title}, which is empty", "a run sheet", "choose the sheet", file=self.title)
        return self.data

    def file(self, name: str, row: int, column: str) -> Held:
        """The uploaded file of a cell. Raises Refused."""
        try:
            load = partial(checked_bytes, self.files[self._fitting(name)][1], name)
            data = load()
        except Refused as fault:
            raise Refused(fault.came, fault.expected, fault.remedy, file=self.title, row=row, column=column) from None
        return Held(name, data, load)

    def remarks(self) -> Iterator[str]:
        """Uploaded files that no row names."""
        unused = [name for number, (name, _) in enumerate(self.files) if number not in self._fits]
        if unused:
            named = ", ".join(shown(name) for name in unused[:_NAMED]) + (", ..." if len(unused) > _NAMED else "")
            files = "1 uploaded file" if len(unused) == 1 else f"{len(unused):,} uploaded files"
            yield f"{files} that no row names, left out: {named}"

    def _fitting(self, name: str) -> int:
        """Number of the one upload that fits a name of the sheet. Raises Refused."""
        parts = tuple(unicodedata.normalize("NFC", part) for part in relative_parts(name) if part not in ("", "."))
        alike = self._by_end.get(parts[-1], []) if parts else []
        found = [upload for there, upload in alike if there == parts]
        found = found or [upload for there, upload in alike if _ends_alike(there, parts)]
        if len(found) != 1:
            raise self._none(name, parts, [self.files[one][0] for one in found])
        taken = self._fits.setdefault(found[0], name)
        if _parts(taken) != parts:
            upload = shown(self.files[found[0]][0])
            came = f"{shown(name)}, where the uploaded {upload} already stands for {shown(taken)}"
            raise Refused(came, "a file of its own", "upload the folder as it is, or give the files names that differ")
        return found[0]

    def _none(self, name: str, parts: tuple[str, ...], found: list[str]) -> Refused:
        if found:
            came = f"{len(found)} uploaded files that could be {shown(name)}: {', '.join(map(shown, found[:3]))}"
            return Refused(came, "one of that name", "upload it once, in the folder that the sheet names")
        self._hints += 1
        alike = nearest(parts[-1], self._by_end) if parts and self._hints <= _HINTS else None
        remedy = f"did you mean {shown(alike)}?" if alike else "upload it too, or correct the name"
        return Refused(f"no file {shown(name)} among {len(self.files):,} uploaded", "an uploaded file", remedy)


def _looks_like_sheet(path: Path, form: Form = RUN_SHEET) -> bool:
    """Whether a file begins with the header of a run sheet, or of such a table."""
    with path.open("rb") as file:
        return is_sheet_header(file.read(_HEAD), form)


def _parts(name: str) -> tuple[str, ...]:
    """A name part by part, in one spelling: slashes turned, accents composed, no empty parts."""
    plain = unicodedata.normalize("NFC", name).replace("\\", "/")
    return tuple(part for part in plain.split("/") if part not in ("", "."))


def _ends_alike(one: tuple[str, ...], other: tuple[str, ...]) -> bool:
    shared = min(len(one), len(other))
    return one[-shared:] == other[-shared:]
