"""A table that a form brought: a file, or what its page carried since the table was looked through."""

from __future__ import annotations

import base64
import binascii

from brinemark.faces.web.visit import Visit
from brinemark.terms.errors import Refused

LOOK, TAKE = "look", "take"
MOST_CARRIED = 2 * 2**20
"""Bytes of a table that a page carries from looking through to taking in; a longer one is chosen again."""


def table_of(visit: Visit, field: str, noun: str) -> tuple[str, bytes]:
    """Name and bytes of the one table of a form. Raises Refused."""
    files = [one for one in visit.files if one.field == field]
    if len(files) == 1:
        return files[0].name, files[0].body()
    carried = visit.get("carried")
    if files or not carried:
        raise Refused(f"{len(files)} {noun}s", "one", "choose the table", column=field)
    try:
        return visit.get("called") or "table.csv", base64.b64decode(carried, validate=True)
    except binascii.Error:
        raise Refused("a table that cannot be read back", "the table", "choose it again", column=field) from None


def carried(body: bytes) -> str:
    """A table as the field of a form, "" for one that is too long for it."""
    return base64.b64encode(body).decode() if len(body) <= MOST_CARRIED else ""
