"""Answers as plain text: wrapped sentences, tables without lines, numbers, and JSON."""

from __future__ import annotations

import json
import math
import shutil
import textwrap
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any

import click

from brinemark.terms.errors import Refused

WIDEST = 100
PREFIXES = ("f", "p", "n", "u", "m", "", "k")

json_option = click.option("--json", "as_json", is_flag=True, help="Print the answer as data (JSON) instead of text.")


def say_json(answer: Any) -> None:
    """The answer as JSON, in ASCII; every number is finite."""
    click.echo(json.dumps(answer, indent=2, allow_nan=False))


def write_page(file: Path, text: str) -> None:
    """A page to print. Raises Refused where it cannot be written."""
    try:
        file.write_text(text, encoding="utf-8", newline="\n")
    except OSError as error:
        came = f"cannot write {file} ({error.strerror})"
        raise Refused(came, "a file in a folder that can be written", "choose another --page") from error


def width() -> int:
    """Columns to write in: those of the terminal, 80 on a pipe, never more than a line that is pleasant to read."""
    return min(shutil.get_terminal_size((80, 24)).columns, WIDEST)


def say(text: str = "", indent: int = 0) -> None:
    """A sentence, wrapped; later lines stand two columns further in."""
    margin = " " * indent
    lines = textwrap.wrap(
        text,
        max(width(), 30),
        initial_indent=margin,
        subsequent_indent=margin + "  ",
        break_long_words=False,
        break_on_hyphens=False,
    )
    click.echo("\n".join(lines))


def say_next(*lines: str) -> None:
    """What to do next; a command stays in one piece so that it can be copied."""
    click.echo()
    for place, line in enumerate(lines):
        mark = "Next: " if place == 0 else "      "
        click.echo(f"{mark}{line}")


def say_table(head: Sequence[str], rows: Iterable[Sequence[str]], indent: int = 2, right: Sequence[int] = ()) -> None:
    """Columns two blanks apart that wrap inside the terminal; right : columns of numbers, set to the right."""
    table = [list(head), *(list(row) for row in rows)]
    room = max(width() - indent, 30)
    widths = [max(len(row[place]) for row in table) for place in range(len(head))]
    plain = sum(widths) + 2 * len(widths) <= room and all(_one_wide(cell) for row in table for cell in row)
    for line in _set(table, widths, right) if plain else _wrapped(table, room, right):
        click.echo((" " * indent + line).rstrip())


def _one_wide(cell: str) -> bool:
    """Whether every character of a cell is one line's and one column wide."""
    return cell.isascii() and cell.isprintable()


def _set(table: Sequence[Sequence[str]], widths: Sequence[int], right: Sequence[int]) -> list[str]:
    """Lines of a table that fits, without the library that wraps, whose import a reading would wait for."""
    return [
        "  ".join(
            cell.rjust(room) if place in right else cell.ljust(room)
            for place, (cell, room) in enumerate(zip(row, widths, strict=True))
        )
        for row in table
    ]


def _wrapped(table: Sequence[Sequence[str]], room: int, right: Sequence[int]) -> list[str]:
    """Lines of a table whose cells wrap."""
    from rich.console import Console
    from rich.table import Table
    from rich.text import Text

    made = Table(box=None, padding=(0, 2, 0, 0), pad_edge=False, header_style="")
    for place, name in enumerate(table[0]):
        made.add_column(Text(name), justify="right" if place in right else "left", vertical="top", overflow="fold")
    for row in table[1:]:
        made.add_row(*(Text(cell) for cell in row))
    console = Console(width=room, color_system=None, force_terminal=False, legacy_windows=False)
    with console.capture() as captured:
        console.print(made)
    return captured.get().splitlines()


def amount(value: float | None, none: str = "none") -> str:
    """Three significant digits, or the word for no value."""
    from brinemark.terms import wording

    return none if value is None else wording.amount(value)


def span(lower: float | None, upper: float | None) -> str:
    """Two ends, or "none"."""
    return "none" if lower is None or upper is None else f"{amount(lower)} to {amount(upper)}"


def scale(unit: str, values: Iterable[float]) -> tuple[float, str]:
    """Factor and unit with the prefix (ASCII) that brings the largest value of A, C, V or s between 1 and 1000."""
    largest = max((abs(value) for value in values if math.isfinite(value)), default=0.0)
    if unit not in ("A", "C", "V", "s") or largest == 0.0:
        return 1.0, unit
    step = min(max(math.floor(math.log10(largest) / 3.0), -5), 1)
    return 10.0 ** (-3 * step), PREFIXES[step + 5] + unit


def with_u(value: float, u: float) -> str:
    """A signal with its standard uncertainty, two digits of the uncertainty."""
    if not (math.isfinite(u) and u > 0.0):
        return f"{value:.3g}"
    places = min(max(1 - math.floor(math.log10(u)), 0), 12)
    return f"{value:z.{places}f} +- {u:.{places}f}"
