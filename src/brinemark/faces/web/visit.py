"""One request as a page sees it: the desk, what was asked, and what a form brought."""

from __future__ import annotations

import shutil
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any, BinaryIO
from urllib.parse import urlencode

from brinemark.faces.web.desk import Desk
from brinemark.faces.web.numbers import POINT, number_from
from brinemark.terms.errors import Refused
from brinemark.terms.findings import Finding

if TYPE_CHECKING:
    from brinemark.logbook import Logbook
    from brinemark.terms.settings import Settings

PAGE_ROWS = 100
CHUNK = 2**20


class Faulty(Refused):
    """A form with several faults, each with the field that it stands in; nothing was stored."""

    def __init__(self, findings: Sequence[Finding]) -> None:
        first = findings[0]
        super().__init__(first.came, first.expected, first.remedy, row=first.row, column=first.column)
        self.findings = tuple(findings)


@dataclass(frozen=True, slots=True, eq=False)
class Upload:
    """A file that a form brought: its field, the name that the browser gave it, and its bytes, to be read once."""

    field: str
    name: str
    stream: BinaryIO

    def body(self) -> bytes:
        """All of it, for a small file."""
        self.stream.seek(0)
        return self.stream.read()

    def save(self, path: Path) -> None:
        """Copy the bytes to a place of ours."""
        self.stream.seek(0)
        with path.open("wb") as kept:
            shutil.copyfileobj(self.stream, kept, CHUNK)


@dataclass(frozen=True, slots=True, eq=False)
class Visit:
    """asked : what stands behind the ? of the address; given : fields of a form; both as lists of texts.

    path : parts of the address by name; style : decimal style; chosen_style : "" when it is the browser's own;
    part : only the changing part of a page is wanted.
    """

    desk: Desk
    method: str
    address: str
    path: Mapping[str, str]
    asked: Mapping[str, Sequence[str]]
    given: Mapping[str, Sequence[str]] = field(default_factory=dict)
    files: Sequence[Upload] = ()
    style: str = POINT
    chosen_style: str = ""
    wants_json: bool = False
    part: bool = False

    @property
    def book(self) -> Logbook:
        return self.desk.book

    @property
    def settings(self) -> Settings:
        return self.desk.book.settings

    def ask(self, name: str, default: str = "") -> str:
        """One value from the address."""
        values = self.asked.get(name, ())
        return values[0].strip() if values else default

    def get(self, name: str, default: str = "") -> str:
        """One field of the form, without blanks around it."""
        values = self.given.get(name, ())
        return values[0].strip() if values else default

    def all(self, name: str) -> list[str]:
        """Every value of a field of the form that is not empty."""
        return [value.strip() for value in self.given.get(name, ()) if value.strip()]

    def need(self, name: str, what: str) -> str:
        """A field that must be filled. Raises Refused."""
        value = self.get(name)
        if not value:
            raise Refused(f"no {what}", f"{what}", "fill in the field and send the form again", column=what)
        return value

    def number(self, name: str, what: str) -> float | None:
        """A number from a field, with decimal point or comma; None when it is empty. Raises Refused."""
        text = self.get(name)
        if not text:
            return None
        try:
            return number_from(text)
        except ValueError:
            raise Refused(f"{text!r} as {what}", "a number", "write it with digits", column=what) from None

    def with_asked(self, **changes: str) -> str:
        """This address with other values behind the ?."""
        values = {name: list(texts) for name, texts in self.asked.items()} | {k: [v] for k, v in changes.items()}
        pairs = [(name, text) for name, texts in values.items() for text in texts if text]
        return self.address + (f"?{urlencode(pairs)}" if pairs else "")


def sliced(visit: Visit, total: int, size: int = PAGE_ROWS) -> tuple[slice, dict[str, Any]]:
    """The rows that the address asks for ("from" counts from 1), size at once: a slice, and for the template first and
    last shown, of how many, and the addresses before and after. Raises Refused."""
    text = visit.ask("from", "1")
    if not text.isdecimal() or not 1 <= int(text) <= max(total, 1):
        raise Refused(f"row {text!r}", f"a row from 1 to {max(total, 1)}", "follow the links below the table")
    first = int(text)
    last = min(first + size - 1, total)
    before = visit.with_asked(**{"from": str(max(1, first - size))}) if first > 1 else None
    after = visit.with_asked(**{"from": str(last + 1)}) if last < total else None
    shown = {"first": first if total else 0, "last": last, "total": total, "before": before, "after": after}
    return slice(first - 1, last), shown
