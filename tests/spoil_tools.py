"""Tools to spoil a good run: every tool gives a function that changes the folder it is given."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from build import SHEET, Row, sheet_csv, small_run

Spoil = Callable[[Path], object]
CURVE = "curves/B1-1.csv"  # the trace of row 2; its header is line 1 and its points are lines 2 to 521


@dataclass(frozen=True)
class Fault:
    """A named way to spoil a good run, and what the refusal must say."""

    name: str
    spoil: Spoil
    phrase: str
    row: int | None = None
    column: str | None = None


@dataclass(frozen=True)
class Oddity:
    """A named way to write a run unusually that must be accepted, under the family of faults it is next to."""

    family: str
    name: str
    change: Spoil


def rows(change: Callable[[list[Row]], object]) -> Spoil:
    """Change the rows of the sheet (row 2 of the file is rows[0])."""

    def spoil(folder: Path) -> None:
        run = small_run()
        change(run)
        (folder / SHEET).write_text(sheet_csv(run), encoding="utf-8")

    return spoil


def cell(row: int, **cells: str) -> Spoil:
    """Write cells into one row of the sheet."""
    return rows(lambda run: run[row - 2].update(cells))


def again(row: int, **cells: str) -> Spoil:
    """Append a copy of a row with other cells."""
    return rows(lambda run: run.append(run[row - 2] | cells))


def without(column: str) -> Spoil:
    """Take columns out of the sheet, by their name."""

    def change(text: str) -> str:
        lines = [line.split(",") for line in text.splitlines()]
        gone = [place for place, name in enumerate(lines[0]) if name in column.split()]
        kept = [[field for place, field in enumerate(line) if place not in gone] for line in lines]
        return "\n".join(",".join(line) for line in kept)

    return sheet(change)


def sheet(change: Callable[[str], str]) -> Spoil:
    """Change the text of the sheet."""
    return _text(SHEET, change)


def sheet_bytes(change: Callable[[bytes], bytes]) -> Spoil:
    return _bytes(SHEET, change)


def curve(change: Callable[[str], str]) -> Spoil:
    """Change the text of the first curve."""
    return _text(CURVE, change)


def curve_bytes(change: Callable[[bytes], bytes]) -> Spoil:
    return _bytes(CURVE, change)


def curve_lines(change: Callable[[list[str]], list[str]]) -> Spoil:
    """Change the lines of the first curve; lines[0] is its header."""
    return curve(lambda text: "\n".join(change(text.splitlines())) + "\n")


def point(line: int, text: str) -> Spoil:
    """Put another text on one line of the first curve."""

    def change(lines: list[str]) -> list[str]:
        return [*lines[: line - 1], text, *lines[line:]]

    return curve_lines(change)


def header(text: str) -> Spoil:
    """Put another header on the first curve."""
    return point(1, text)


def delimited(delimiter: str, decimal: str = ".") -> Callable[[str], str]:
    """Text with another delimiter and decimal sign."""
    return lambda text: text.replace(",", "\0").replace(".", decimal).replace("\0", delimiter)


def column_added(name: str, value: Callable[[int], object]) -> Spoil:
    """Append a column to the first curve; value gives its cell by point, from 0."""

    def change(lines: list[str]) -> list[str]:
        return [f"{lines[0]},{name}", *(f"{line},{value(place)}" for place, line in enumerate(lines[1:]))]

    return curve_lines(change)


def scaled(name: str, factor: float) -> Spoil:
    """Write the potentials of the first curve times factor, under another name."""

    def change(lines: list[str]) -> list[str]:
        fields = [line.split(",", 1) for line in lines[1:]]
        return [re.sub("potential_V", name, lines[0]), *(f"{factor * float(e):.6g},{rest}" for e, rest in fields)]

    return curve_lines(change)


def _text(name: str, change: Callable[[str], str]) -> Spoil:
    return _bytes(name, lambda data: change(data.decode()).encode())


def _bytes(name: str, change: Callable[[bytes], bytes]) -> Spoil:
    def spoil(folder: Path) -> None:
        (folder / name).write_bytes(change((folder / name).read_bytes()))

    return spoil
