"""What is answered about tank records and consignments: plain records that give themselves as JSON."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from typing import Any

from brinemark.records.tank_json import tank_row_to_json
from brinemark.steps.answers import ANSWER_SCHEMA
from brinemark.terms.findings import Finding
from brinemark.terms.tanks import BLANK, CATCH, Consignment


@dataclass(frozen=True, slots=True)
class TakenConsignment:
    """What a tank record says of one consignment. record : id, None when it is not stored (yet); new, known : rows;
    supersedes : the record it corrects."""

    consignment: str
    record: str | None
    new: int
    known: int
    supersedes: str | None = None

    def to_dict(self) -> dict[str, Any]:
        return {
            "consignment": self.consignment,
            "record": self.record,
            "new": self.new,
            "known": self.known,
            "supersedes": self.supersedes,
        }


@dataclass(frozen=True, slots=True)
class TanksTaken:
    """What taking in a tank record did; new is False when the logbook had every row already."""

    title: str
    new: bool
    consignments: tuple[TakenConsignment, ...]
    warnings: tuple[str, ...] = ()

    def to_dict(self) -> dict[str, Any]:
        """The JSON of `tanks --json`."""
        return {
            "schema": ANSWER_SCHEMA,
            "title": self.title,
            "new": self.new,
            "consignments": [one.to_dict() for one in self.consignments],
            "warnings": list(self.warnings),
        }


@dataclass(frozen=True, slots=True)
class CheckedTanks:
    """A tank record that was looked through; nothing is stored.

    findings : every fault, by row; empty when it would be taken in. remarks : what is odd but not refused.
    """

    title: str
    rows: int
    findings: tuple[Finding, ...]
    consignments: tuple[TakenConsignment, ...] = ()
    remarks: tuple[str, ...] = ()

    @property
    def sound(self) -> bool:
        return not self.findings

    @property
    def new(self) -> bool:
        """Whether taking it in would change anything."""
        return self.sound and any(one.new or one.supersedes for one in self.consignments)

    def to_dict(self) -> dict[str, Any]:
        """The JSON of `tanks --check --json`."""
        return {
            "schema": ANSWER_SCHEMA,
            "title": self.title,
            "sound": self.sound,
            "rows": self.rows,
            "new": self.new,
            "consignments": [one.to_dict() for one in self.consignments],
            "findings": [one.to_dict() for one in self.findings],
            "remarks": list(self.remarks),
        }


def consignment_dict(one: Consignment, read: Collection[str]) -> dict[str, Any]:
    """One consignment in the JSON of `consignments --json`; read : names of the samples that run sheets read."""
    samples = [row for tank in one.tanks for row in one.samples_of(tank)]
    return {
        "consignment": one.name,
        "record": one.id,
        "recorded_at": one.recorded_at,
        "earlier": one.earlier,
        "titles": list(one.titles),
        "caught": [_caught(tank_row_to_json(row)) for row in one.of(CATCH)],
        "tanks": [{"tank": tank, "samples": [row.sample for row in one.samples_of(tank)]} for tank in one.tanks],
        "blanks": [{"sample": row.sample, "blank": row.blank} for row in one.of(BLANK)],
        "fish": sum(row.count or 0 for row in one.of(CATCH)),
        "samples": len(samples),
        "samples_read": sum(row.sample in read for row in samples),
    }


def _caught(said: Mapping[str, Any]) -> dict[str, Any]:
    names = ("fish", "at", "species", "count", "mass_g", "origin", "history", "at_u_d")
    return {name: said.get(name) for name in names}
