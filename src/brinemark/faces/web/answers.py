"""What a page answers with: data and the template that shows it, another address, or a file."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, TypeAlias


@dataclass(frozen=True, slots=True, eq=False)
class Page:
    """data : plain JSON values; the template sees nothing else of the logbook, and a program gets the same."""

    template: str
    title: str
    data: Mapping[str, Any] = field(default_factory=dict)
    status: int = 200


@dataclass(frozen=True, slots=True)
class GoTo:
    """Another page, a line that it shows once, and the decimal style that the browser is to keep ("" = its own)."""

    address: str
    said: str = ""
    decimal: str | None = None


@dataclass(frozen=True, slots=True, eq=False)
class File:
    """Bytes. name : offered for saving under this name; None = shown. kept_s : how long a browser may keep it [s]."""

    body: bytes
    media: str
    name: str | None = None
    kept_s: int = 0


Answer: TypeAlias = Page | GoTo | File
