"""The signals of rows as the present definition reads them, with the records that hold them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from brinemark.steps.chosen import newest_waves
from brinemark.steps.identity import Definition, definition_of
from brinemark.steps.measure import (
    MAIN,
    PRESCAN,
    ZERO,
    RowSignals,
    Traces,
    WaveSet,
    further_role,
    measure_rows,
    value_of,
)
from brinemark.steps.place import Place
from brinemark.terms.curves import Signal
from brinemark.terms.errors import Refused
from brinemark.terms.runs import StoredRow


@dataclass(frozen=True, slots=True, eq=False)
class RowSignal:
    """One signal. role : main, prescan, zero, or "prescan NAME"; record : id of the record that holds it, and wave :
    that of the wave that read it, both "" where none does."""

    role: str
    signal: Signal
    record: str
    wave: str


@dataclass(frozen=True, slots=True, eq=False)
class ReadRow:
    """A row with its signals; reason : why it has none."""

    row: StoredRow
    signals: tuple[RowSignal, ...]
    reason: str = ""

    def of(self, role: str) -> RowSignal | None:
        return next((one for one in self.signals if one.role == role), None)


def signals_of(place: Place, rows: Sequence[StoredRow]) -> tuple[ReadRow, ...]:
    """What the newest waves of the present definition read in rows; a row that cannot be read says why."""
    definition = definition_of(place.settings)
    with place.database.reading() as reader:
        waves, traces = newest_waves(place, reader)[0], Traces(place, reader)
        pairs = list(_measured(rows, definition, waves, traces))
        made = [record.id for _, found in pairs if not isinstance(found, str) for record in found.records]
        stored = reader.known_record_ids(made)
    return tuple(
        ReadRow(row, (), found) if isinstance(found, str) else ReadRow(row, tuple(_told(found, stored)))
        for row, found in pairs
    )


def _measured(
    rows: Sequence[StoredRow], definition: Definition, waves: WaveSet, traces: Traces
) -> Iterator[tuple[StoredRow, RowSignals | str]]:
    """All at once, since the logbook is asked once then; one by one when one of them cannot be read."""
    try:
        found = measure_rows(rows, definition, waves, traces)
    except Refused as fault:
        if len(rows) == 1:
            yield rows[0], str(fault)
        else:
            for row in rows:
                yield from _measured([row], definition, waves, traces)
        return
    for row in rows:
        yield row, found[row.id]


def _told(found: RowSignals, stored: frozenset[str]) -> Iterator[RowSignal]:
    further = ((further_role(name), record) for name, record in found.further)
    for role, record in ((MAIN, found.main), (PRESCAN, found.prescan), (ZERO, found.zero), *further):
        if record is not None:
            wave = next((parent for name, parent in record.parents if name == "wave"), "")
            yield RowSignal(role, value_of(record), record.id if record.id in stored else "", wave)
