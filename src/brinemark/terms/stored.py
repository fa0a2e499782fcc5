"""What the logbook keeps: originals, sheets, and records with their parents."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from brinemark.terms.arrays import FloatArray
from brinemark.terms.canonical import JsonValue


@dataclass(frozen=True, slots=True)
class Original:
    """A file's bytes as they came: sha256, size in bytes, and the name it came with."""

    sha256: str
    size: int
    name: str


@dataclass(frozen=True, slots=True)
class StoredSheet:
    """A run sheet as the logbook keeps it.

    canonical : canonical JSON of its rows and file hashes; file_sha256 : original of the sheet file itself;
    supersedes, reason : the sheet it corrects and why. added_at : ISO 8601 UTC, outside the id.
    """

    id: str
    title: str
    canonical: str
    file_sha256: str
    warnings: tuple[str, ...] = ()
    supersedes: str | None = None
    reason: str | None = None
    added_at: str = ""


@dataclass(frozen=True, slots=True, eq=False)
class Record:
    """One made thing. id comes from kind, schema, parents, role, settings, engine and seed, never from results.

    parents : (role, id) pairs, rows and originals included; content : sha256 of results and arrays.
    made_at : ISO 8601 UTC, outside id and content.
    """

    id: str
    kind: str
    schema: int
    role: str
    parents: tuple[tuple[str, str], ...]
    settings: JsonValue
    engine: str
    seed: int | None
    results: JsonValue
    content: str
    arrays: Mapping[str, FloatArray] = field(default_factory=dict)
    made_at: str = ""
