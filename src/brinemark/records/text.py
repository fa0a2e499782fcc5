"""Bytes to text and text to numbers, for every table that is read; each fault is a `Refused`."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable
from dataclasses import dataclass

from brinemark.terms.errors import Refused

LONGEST_LINE = 65_536
SHOWN = 60

_MAGIC = (
    (b"PK\x03\x04", "a zip archive or a spreadsheet workbook"),
    (b"\xd0\xcf\x11\xe0", "an old spreadsheet workbook"),
    (b"%PDF", "a PDF document"),
    (b"{\\rtf", "a word processor's document"),
    (b"\x89PNG", "a picture"),
    (b"\xff\xd8\xff", "a picture"),
    (b"GIF8", "a picture"),
    (b"\x1f\x8b", "a compressed file"),
    (b"SQLite format 3", "a database"),
)
_MARKS = (
    (b"\xef\xbb\xbf", "utf-8-sig"),
    (b"\xff\xfe\x00\x00", "utf-32"),
    (b"\x00\x00\xfe\xff", "utf-32"),
    (b"\xff\xfe", "utf-16"),
    (b"\xfe\xff", "utf-16"),
)
_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?", re.ASCII)
_COMMA_NUMBER = re.compile(r"[+-]?(\d+,\d*|,\d+)([eE][+-]?\d+)?", re.ASCII)
_GROUPED = re.compile(r"[+-]?[1-9]\d{0,2}(,\d{3})+", re.ASCII)
_NOT_FINITE = {"nan", "inf", "infinity"}


def shown(value: object) -> str:
    """A value as it may stand in a one-line message: quoted, escaped, cut to 60 characters."""
    text = str(value)
    cut = text if len(text) <= SHOWN else f"{text[:SHOWN]}... ({len(text):,} characters)"
    return repr(cut)


def nearest(name: str, known: Iterable[str]) -> str | None:
    """The known name most like this one, or None when none is alike."""
    import difflib

    by_fold = {candidate.casefold(): candidate for candidate in known}
    found = difflib.get_close_matches(name.casefold(), by_fold, n=1, cutoff=0.5)
    return by_fold[found[0]] if found else None


def decode(data: bytes, name: str) -> tuple[str, str]:
    """Text of data with line ends as \\n, and the name of its encoding.

    UTF-8, UTF-16 and UTF-32 with a byte order mark; UTF-8 and UTF-16 without; else Latin-1 (as Windows
    writes it). Raises Refused for empty and binary content and for lines longer than LONGEST_LINE.
    """
    _refuse_known_formats(data, name)
    encoding = _encoding(data, name)
    try:
        text = data.decode(encoding)
    except UnicodeDecodeError as error:
        raise _not_text(f"byte {error.start + 1} is not {encoding.upper()} text", name) from None
    if "\x00" in text:
        raise _not_text(f"it holds a zero byte at character {text.index(chr(0)) + 1}", name)
    text = text.replace("\r\n", "\n").replace("\r", "\n")
    if not text.strip():
        raise Refused(
            "the file holds no text", "a table with a header", "give the file that has the numbers", file=name
        )
    _refuse_long_lines(text, name)
    return text, encoding.removesuffix("-sig")


def _refuse_known_formats(data: bytes, name: str) -> None:
    for magic, what in _MAGIC:
        if data.startswith(magic):
            raise _not_text(f"it is {what}", name)


def _not_text(what: str, name: str) -> Refused:
    return Refused(
        f"not a text file: {what}",
        "delimited text (UTF-8, UTF-16 or Latin-1)",
        "save the table as delimited text and add that file",
        file=name,
    )


def _encoding(data: bytes, name: str) -> str:
    for mark, encoding in _MARKS:
        if data.startswith(mark):
            return encoding
    head = data[:4096]
    if b"\x00" in head:
        return _unmarked_utf16(head, name)
    try:
        data.decode("utf-8")
    except UnicodeDecodeError:
        # Bytes 128-159 are letters and signs on Windows, unprintable in Latin-1 itself.
        return "cp1252" if re.search(rb"[\x80-\x9f]", data) else "latin-1"
    return "utf-8"


def _unmarked_utf16(head: bytes, name: str) -> str:
    """Numbers and plain letters have one zero byte per character in UTF-16; the side tells the byte order."""
    pairs = max(1, len(head) // 2)
    even, odd = head[0::2].count(0) / pairs, head[1::2].count(0) / pairs
    if odd > 0.8 and even < 0.05:
        return "utf-16-le"
    if even > 0.8 and odd < 0.05:
        return "utf-16-be"
    raise _not_text(f"it holds a zero byte at byte {head.index(0) + 1}", name)


def _refuse_long_lines(text: str, name: str) -> None:
    lengths = [len(line) for line in text.split("\n")]
    longest = max(lengths)
    if longest > LONGEST_LINE:
        raise Refused(
            f"one line of {longest:,} characters",
            f"lines of at most {LONGEST_LINE:,} characters, one for each row of a table",
            "check that the file is the table and that its line ends were kept",
            file=name,
            row=lengths.index(longest) + 1,
        )


@dataclass(frozen=True, slots=True)
class Unclear:
    """Why the decimal sign of a file is not clear, and the first cell that shows it."""

    phrase: str
    cell: str


def decimal_comma(cells: Iterable[str]) -> bool | Unclear:
    """Whether the numbers among cells are written with a decimal comma.

    One file has one decimal sign. A comma before exactly three digits could part thousands: it is read as
    a decimal comma only when another number of the same file shows that commas are decimal signs.
    """
    point, comma, grouped = "", "", ""
    for cell in cells:
        if "." in cell and _NUMBER.fullmatch(cell):
            point = point or cell
        elif "," in cell and _GROUPED.fullmatch(cell):
            grouped = grouped or cell
        elif "," in cell and _COMMA_NUMBER.fullmatch(cell):
            comma = comma or cell
    if point and (comma or grouped):
        other = comma or grouped
        return Unclear(f"both {shown(point)} and {shown(other)}, so the decimal sign is not clear", other)
    if grouped and not comma:
        return Unclear(f"{shown(grouped)}, where the comma could part thousands or be a decimal sign", grouped)
    return bool(comma)


def number(text: str, *, comma: bool = False) -> float | str:
    """The finite number that text writes, or the phrase that says why it is none."""
    cell = text.strip().replace("\u2212", "-")
    if not cell:
        return "an empty cell"
    if cell.lstrip("+-").casefold() in _NOT_FINITE:
        return f"{shown(cell)}, which is not a finite number"
    plain = cell.replace(",", ".") if comma and _COMMA_NUMBER.fullmatch(cell) else cell
    if not _NUMBER.fullmatch(plain):
        return f"{shown(cell)}, which is not a number"
    value = float(plain)
    return value if math.isfinite(value) else f"{shown(cell)}, which is not a finite number"


def cell_number(text: str, *, comma: bool, file: str, row: int, column: str) -> float:
    """The finite number in a cell of a curve file. Raises Refused with the place of the cell."""
    value = number(text, comma=comma)
    if isinstance(value, str):
        remedy = "correct the cell or remove the whole row"
        raise Refused(value, "a number", remedy, file=file, row=row, column=column)
    return value


def unclear_sign(found: Unclear, *, file: str, row: int, column: str) -> Refused:
    """The fault of a table whose decimal sign cannot be told, at the cell that shows it."""
    expected, remedy = "one decimal sign and no sign between thousands", "write the numbers plainly"
    return Refused(found.phrase, expected, remedy, file=file, row=row, column=column)
