"""Columns of sentences side by side in a terminal, or one below the other where it is narrow."""

from __future__ import annotations

from collections.abc import Sequence

import click

from brinemark.faces.cli.plain import say, width

NARROWEST = 34
"""Columns of text narrower than that are not pleasant to read."""
INDENT, GAP = 2, 3


def say_beside(columns: Sequence[tuple[str, Sequence[str]]]) -> None:
    """Each column under its head; the columns are of one width and are never joined."""
    room = width() - INDENT
    each = (room - GAP * (len(columns) - 1)) // max(len(columns), 1)
    click.echo()
    if len(columns) > 1 and each >= NARROWEST:
        _beside(columns, each)
        return
    for place, (head, texts) in enumerate(columns):
        if place:
            click.echo()
        say(f"{head}:", INDENT)
        for text in texts:
            say(text, INDENT + 2)


def _beside(columns: Sequence[tuple[str, Sequence[str]]], each: int) -> None:
    """With the library that knows how wide characters of all scripts are."""
    from rich.console import Console
    from rich.table import Table
    from rich.text import Text

    made = Table(box=None, padding=(0, GAP, 0, 0), pad_edge=False, header_style="")
    for head, _ in columns:
        made.add_column(Text(head), width=each, vertical="top", overflow="fold")
    made.add_row(*(Text("-" * min(len(head), each)) for head, _ in columns))
    made.add_row(*(Text("\n".join(texts)) for _, texts in columns))
    console = Console(width=width() - INDENT + GAP, color_system=None, force_terminal=False, legacy_windows=False)
    with console.capture() as captured:
        console.print(made)
    for line in captured.get().splitlines():
        click.echo((" " * INDENT + line).rstrip())
