"""A table that is looked through before it is taken in: how that is told, the same for every kind of table."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Protocol

import click

from brinemark.faces.cli.plain import say, say_json, say_next, say_table
from brinemark.faces.cli.session import REFUSED
from brinemark.terms.wording import counted

if TYPE_CHECKING:
    from brinemark.terms.findings import Finding


class Checked(Protocol):
    """A table that was looked through and is not stored yet."""

    @property
    def title(self) -> str: ...
    @property
    def sound(self) -> bool: ...
    @property
    def findings(self) -> tuple[Finding, ...]: ...
    @property
    def remarks(self) -> tuple[str, ...]: ...
    def to_dict(self) -> dict[str, Any]: ...


def tell_check(checked: Checked, sound: str, next_line: str, as_json: bool) -> None:
    """What came of looking a table through: every fault in a table, with status 1 when there is one; sound : the
    sentence when there is none."""
    if as_json:
        say_json(checked.to_dict())
    elif checked.sound:
        say(f"{checked.title}: {sound}.")
    else:
        say(f"{checked.title}: {counted(len(checked.findings), 'fault')}; nothing was stored.")
        rows = [
            ("" if one.row is None else str(one.row), one.column or "", one.came, one.expected, one.remedy)
            for one in checked.findings
        ]
        say_table(("row", "column", "what came", "expected", "what to do"), rows, right=(0,))
    for remark in () if as_json else checked.remarks:
        say(f"warning: {remark}", 2)
    if not checked.sound:
        raise click.exceptions.Exit(REFUSED)
    if not as_json:
        say_next(next_line)
