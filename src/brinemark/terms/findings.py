"""What is wrong with an input, place by place, for answers that list every fault at once."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass
from typing import Any

from brinemark.terms.errors import Refused


@dataclass(frozen=True, slots=True)
class Finding:
    """One fault: where it is, what came, what is expected and what to do. Row 1 is the header of a table."""

    came: str
    expected: str
    remedy: str
    row: int | None = None
    column: str | None = None

    @classmethod
    def of(cls, fault: Refused) -> Finding:
        return cls(fault.came, fault.expected, fault.remedy, fault.row, fault.column)

    @property
    def sentence(self) -> str:
        return str(Refused(self.came, self.expected, self.remedy, row=self.row, column=self.column))

    def to_dict(self) -> dict[str, Any]:
        return asdict(self)


def findings_of(faults: Iterable[Refused]) -> tuple[Finding, ...]:
    """Each fault once, by row, those without a row first."""
    found = dict.fromkeys(Finding.of(fault) for fault in faults)
    return tuple(sorted(found, key=lambda one: -1 if one.row is None else one.row))


def first_fault(faults: Sequence[Refused]) -> Refused:
    """The first fault in the order of the file, with the other faulty rows in its remedy."""
    first, *others = sorted(faults, key=lambda fault: fault.row or 0)
    rows = sorted({fault.row for fault in others if fault.row is not None} - {first.row})
    if not rows:
        return first
    named = ", ".join(map(str, rows[:8])) + (", ..." if len(rows) > 8 else "")
    remedy = f"{first.remedy} (and {len(rows)} more faulty {'row' if len(rows) == 1 else 'rows'}: {named})"
    return Refused(first.came, first.expected, remedy, file=first.file, row=first.row, column=first.column)
