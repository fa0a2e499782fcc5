"""The pieces that a report is built from, as plain tables for the layout."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any, TypeAlias

Block: TypeAlias = dict[str, Any]


def heading(text: str, level: int = 1) -> Block:
    return {"kind": "heading", "level": level, "text": text}


def statement(text: str) -> Block:
    """An answer, set larger than the rest."""
    return {"kind": "statement", "text": text}


def prose(text: str) -> Block:
    return {"kind": "prose", "text": text}


def quiet(text: str) -> Block:
    """A remark in small print."""
    return {"kind": "quiet", "text": text}


def items(texts: Iterable[str]) -> Block:
    return {"kind": "items", "texts": list(texts)}


def framed(texts: Iterable[str]) -> Block:
    """Sentences that nobody should overlook, inside a line."""
    return {"kind": "framed", "texts": list(texts)}


def facts(pairs: Iterable[tuple[str, str]]) -> Block:
    """Names and what they are, side by side."""
    return {"kind": "facts", "pairs": [list(pair) for pair in pairs]}


def table(
    head: Sequence[str],
    rows: Iterable[Sequence[str]],
    *,
    right: Sequence[int] = (),
    widths: Sequence[int] = (),
    caption: str = "",
) -> Block:
    """A table whose head is repeated on every page; right : columns of numbers; widths : parts of the line that the
    columns get, 0 for as much as their text needs, none = all 0."""
    aligned = ["right" if place in right else "left" for place in range(len(head))]
    return {
        "kind": "table",
        "head": list(head),
        "rows": [list(row) for row in rows],
        "align": aligned,
        "widths": list(widths) or [0] * len(head),
        "caption": caption,
    }


def files(entries: Iterable[tuple[str, Sequence[tuple[str, str]]]], caption: str = "") -> Block:
    """The way back: for each place what it is, and under it lines of a name with a hash, set in even widths."""
    listed = [{"what": what, "lines": [list(line) for line in lines]} for what, lines in entries]
    return {"kind": "files", "entries": listed, "caption": caption}


def picture(name: str, caption: str = "") -> Block:
    """A picture by its name among the drawn ones."""
    return {"kind": "picture", "name": name, "caption": caption}
