"""Results of other methods on the same fish or on split samples, as the laboratory reported them."""

from __future__ import annotations

from dataclasses import dataclass

NOT_FOUND = "not found"


@dataclass(frozen=True, slots=True)
class MarkerRow:
    """One checked result of another method.

    number : row in the file (1 is the header); sample : id as on run sheets and tank records; marker : what was looked
    for, with where when that is not the water of the sample ("thiocyanate", "cyanide in tissue"); value [unit], None =
    not found above limit_of_detection [unit]; u : standard uncertainty [unit]; fish : which one it was found in, None =
    the water; measured_at : ISO 8601 date, or date and time in UTC; split_seal : of the part that was read.
    """

    number: int
    sample: str
    marker: str
    method: str
    unit: str
    value: float | None
    fish: str | None = None
    limit_of_detection: float | None = None
    u: float | None = None
    measured_at: str | None = None
    laboratory: str | None = None
    split_seal: str | None = None
    note: str | None = None

    @property
    def kind(self) -> tuple[str, str]:
        """Method and marker, within which the unit is one and a sample stands once."""
        return self.method, self.marker


COLUMNS = (
    *("sample", "fish", "marker", "method", "unit", "value", "limit_of_detection", "u"),
    *("measured_at", "laboratory", "split_seal", "note"),
)
"""Columns of a table of other methods, in the order of the table."""
NEEDED = ("sample", "marker", "method", "unit", "value")


@dataclass(frozen=True, slots=True)
class MarkerTable:
    """A checked table of other methods: rows in file order, and remarks that do not refuse it."""

    title: str
    rows: tuple[MarkerRow, ...]
    warnings: tuple[str, ...] = ()
