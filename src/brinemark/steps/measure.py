"""From traces to signals: which wave reads which electrode, and one signal record per reading."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from brinemark.records.files import read_original
from brinemark.records.reader import Reader
from brinemark.steps.curves import (
    Seen,
    columns_of,
    curve_from,
    definition_json,
    is_against_prescan,
    parse_curve,
    read_signal,
    spectrometer,
    stated_shape,
)
from brinemark.steps.identity import Definition, Recipe, instrument_identity, signal_definition
from brinemark.steps.packing import pack_signal, pack_wave, unpack_signal, unpack_wave
from brinemark.steps.place import Place
from brinemark.terms.canonical import JsonValue, canonical_bytes, sha256_hex
from brinemark.terms.curves import Curve, CurveDefinition, Flag, Shape, Signal, SpectrumDefinition
from brinemark.terms.errors import Refused
from brinemark.terms.runs import StoredRow
from brinemark.terms.settings import InstrumentSection
from brinemark.terms.stored import Record

if TYPE_CHECKING:
    from brinemark.terms.arrays import FloatArray

MAIN, PRESCAN, ZERO = "main", "prescan", "zero"
COVARIATE_USES, ZERO_USES = ("covariate", "both"), ("zero", "both")
OF_ALL = "of all"
NO_CURVE = Flag("no curve kept", 0.0, 0.0, "the value was read off a curve elsewhere")


def without_batch(batch: str) -> str:
    """Role of the wave that was learned without a batch."""
    return f"without batch {batch}"


def without_electrode(electrode: str) -> str:
    """Role of the wave that was learned without one electrode of the only batch."""
    return f"without electrode {electrode}"


@dataclass(frozen=True, slots=True, eq=False)
class WaveSet:
    """Waves by role, as records with their arrays."""

    waves: Mapping[str, Record]

    def for_row(self, row: StoredRow) -> Record:
        """The wave that reads a row: one that its own batch (or electrode) did not teach."""
        for role in (without_electrode(row.row.electrode), without_batch(row.row.batch)):
            if role in self.waves:
                return self.waves[role]
        return self.waves[OF_ALL]


def theoretical_waves(definition: Definition) -> WaveSet:
    """The wave of theory, for everything, while none has been learned."""
    return WaveSet({OF_ALL: theoretical_record(definition)})


def theoretical_record(definition: Definition) -> Record:
    """The wave of theory as a record without parents."""
    recipe = Recipe("wave", "theoretical", (), definition.signal.model_dump(mode="json"))
    return recipe.record(pack_wave(stated_shape(definition.curve)))


@dataclass(slots=True, eq=False)
class Traces:
    """Traces of originals, from memory, from the cache, or read anew; fresh ones are to be cached."""

    place: Place
    reader: Reader
    fresh: dict[tuple[str, str], dict[str, FloatArray]] = field(default_factory=dict)
    _known: dict[tuple[str, str], Curve] = field(default_factory=dict)
    _waves: dict[str, Shape] = field(default_factory=dict)
    _before: dict[str, str | None] = field(default_factory=dict)

    def get(self, sha256: str, instrument: str) -> Curve:
        """The curve of a kept original as its instrument's settings read it."""
        key = self.key(sha256, instrument)
        if key not in self._known:
            columns = self.reader.cached_arrays(*key)
            if columns is None:
                original = self.reader.original(sha256)
                name = sha256 if original is None else original.name
                self.take(read_original(self.place.originals, sha256), sha256, instrument, name)
            else:
                self._known[key] = curve_from(columns)
        return self._known[key]

    def take(self, data: bytes, sha256: str, instrument: str, name: str) -> Curve:
        """Read bytes as a curve and remember it. Raises Refused."""
        key = self.key(sha256, instrument)
        if key not in self._known:
            curve = parse_curve(data, self.section(instrument), name, self.place.settings.of_spectra)
            self._known[key] = curve
            self.fresh[key] = columns_of(curve)
        return self._known[key]

    def seen(self, row: StoredRow, sha256: str, definition: CurveDefinition) -> Seen:
        """A curve of a row with all that reading it by a definition needs."""
        before = self.prescan_sha256(row) if is_against_prescan(definition) else None
        return Seen(
            self.get(sha256, row.row.instrument),
            None if before is None else self.get(before, row.row.instrument),
            scan_rate(row, self),
            spectrometer(self.section(row.row.instrument)),
        )

    def remember_prescans(self, rows: Sequence[StoredRow]) -> None:
        """Which pre-scan each electrode has: a life has one, on its first row."""
        for row in rows:
            if row.prescan_sha256 is not None:
                self._before[row.row.electrode] = row.prescan_sha256

    def prescan_sha256(self, row: StoredRow) -> str | None:
        """The pre-scan of the row's electrode, from the row, the rows at hand, or the logbook."""
        electrode = row.row.electrode
        if row.prescan_sha256 is not None:
            return row.prescan_sha256
        if electrode not in self._before:
            found = [one.prescan_sha256 for one in self.reader.rows(electrodes=[electrode])]
            self._before[electrode] = next((one for one in found if one is not None), None)
        return self._before[electrode]

    def wave(self, record: Record) -> Shape:
        """The wave of a wave record, whose arrays are fetched when it came without them."""
        if record.id not in self._waves:
            loaded = record if record.arrays else self.reader.record(record.id)
            self._waves[record.id] = unpack_wave(loaded or record)
        return self._waves[record.id]

    def theory(self, curve: CurveDefinition) -> Shape:
        """The wave of theory for a definition."""
        name = canonical_bytes(definition_json(curve)).decode()
        if name not in self._waves:
            self._waves[name] = stated_shape(curve)
        return self._waves[name]

    def section(self, instrument: str) -> InstrumentSection:
        return self.place.settings.instrument.get(instrument, InstrumentSection())

    def key(self, sha256: str, instrument: str) -> tuple[str, str]:
        identity = instrument_identity(self.place.settings, instrument)
        identity |= {"curve": "spectrum"} if self.place.settings.of_spectra else {}
        return sha256, sha256_hex(canonical_bytes(identity))


@dataclass(frozen=True, slots=True, eq=False)
class RowSignals:
    """The signal records of one row: its own reading, and from its pre-scan the covariate and the zero reading.

    prescan : the quantity of [covariate]; zero : the pre-scan read as the row itself is, at the analyte's own place;
    further : by name, the quantities of [further_covariate.NAME]. Each is None (or left out) when there is no
    pre-scan, and when [prescan] use does not ask for it.
    """

    main: Record
    prescan: Record | None
    zero: Record | None = None
    further: tuple[tuple[str, Record], ...] = ()

    @property
    def records(self) -> tuple[Record, ...]:
        """All that there are."""
        further = (record for _, record in self.further)
        return tuple(one for one in (self.main, self.prescan, self.zero, *further) if one is not None)


def signal_parents(signals: RowSignals) -> list[tuple[str, str]]:
    """The signals of a row as parents."""
    further = ((further_role(name), record) for name, record in signals.further)
    named = (("signal", signals.main), ("prescan", signals.prescan), ("zero", signals.zero), *further)
    return [(role, record.id) for role, record in named if record is not None]


@dataclass(frozen=True, slots=True, eq=False)
class _Task:
    """One signal to be read from a trace."""

    row: StoredRow
    role: str
    sha256: str
    curve: CurveDefinition
    wave: Record | None
    recipe: Recipe


def measure_rows(
    rows: Sequence[StoredRow],
    definition: Definition,
    waves: WaveSet,
    traces: Traces,
    on_fault: Callable[[Refused], None] | None = None,
    on_curve: Callable[[], None] | None = None,
) -> dict[str, RowSignals]:
    """Signal records of rows by row id: those in the logbook as they are, the others made now.

    on_fault : hears of every trace that cannot be read by the definition, and its row is left out; without it the
    first raises Refused, with the sheet's row and column. on_curve : called after every row's own curve.
    """
    traces.remember_prescans(rows)
    tasks = [task for row in rows for task in _tasks(row, definition, waves, traces)]
    stored = traces.reader.records([task.recipe.id for task in tasks])
    found: dict[tuple[str, str], Record] = {}
    spoilt: set[str] = set()
    for task in tasks:
        try:
            found[task.row.id, task.role] = stored.get(task.recipe.id) or _measured(task, traces)
        except Refused as fault:
            if on_fault is None:
                raise
            spoilt.add(task.row.id)
            on_fault(fault)
        if on_curve is not None and task.role == MAIN:
            on_curve()
    return {row.id: _signals(row, definition, found) for row in rows if row.id not in spoilt}


def _signals(row: StoredRow, definition: Definition, found: Mapping[tuple[str, str], Record]) -> RowSignals:
    return RowSignals(
        found.get((row.id, MAIN)) or _written_signal(row, definition),
        found.get((row.id, PRESCAN)),
        found.get((row.id, ZERO)) or _written_zero(row, definition),
        tuple((name, one) for name, _ in definition.further if (one := found.get((row.id, further_role(name))))),
    )


def stored_covariates(rows: Sequence[StoredRow], definition: Definition, traces: Traces) -> dict[str, float]:
    """The raw covariates of pre-scans that the logbook holds already, by row id; no curve is read."""
    if definition.covariate is None or not _asked(COVARIATE_USES, definition):
        return {}
    curve = signal_definition(definition.covariate)
    tasks = [_task(row, PRESCAN, row.prescan_sha256, curve, None, traces) for row in rows if row.prescan_sha256]
    stored = traces.reader.records([task.recipe.id for task in tasks])
    return {task.row.id: value_of(stored[task.recipe.id]).value for task in tasks if task.recipe.id in stored}


def further_role(name: str) -> str:
    """Role of the signal records of a further covariate."""
    return f"{PRESCAN} {name}"


def _tasks(row: StoredRow, definition: Definition, waves: WaveSet, traces: Traces) -> Iterator[_Task]:
    if row.trace_sha256 is not None:
        yield _task(row, MAIN, row.trace_sha256, definition.curve, waves.for_row(row), traces)
    if row.prescan_sha256 is None:
        return
    if _asked(COVARIATE_USES, definition) and definition.covariate is not None:
        for role, section in ((PRESCAN, definition.covariate), *((further_role(n), s) for n, s in definition.further)):
            yield _task(row, role, row.prescan_sha256, signal_definition(section), None, traces)
    if _asked(ZERO_USES, definition):
        yield _task(row, ZERO, row.prescan_sha256, definition.curve, waves.for_row(row), traces)


def _asked(uses: tuple[str, ...], definition: Definition) -> bool:
    return definition.prescan.use in uses


def _task(row: StoredRow, role: str, sha256: str, curve: CurveDefinition, wave: Record | None, traces: Traces) -> _Task:
    settings: dict[str, JsonValue] = {
        "definition": definition_json(curve),
        "instrument": instrument_identity(traces.place.settings, row.row.instrument),
    }
    if not isinstance(curve, SpectrumDefinition):
        settings["scan_rate_V_per_s"] = scan_rate(row, traces)
    parents = [("row", row.id), ("trace", sha256)]
    before = traces.prescan_sha256(row) if is_against_prescan(curve) else None
    if before is not None:
        parents.append(("before", before))
    if wave is not None:
        parents.append(("wave", wave.id))
    return _Task(row, role, sha256, curve, wave, Recipe("signal", role, tuple(parents), settings))


def _measured(task: _Task, traces: Traces) -> Record:
    shape = traces.theory(task.curve) if task.wave is None else traces.wave(task.wave)
    try:
        seen = traces.seen(task.row, task.sha256, task.curve)
        return task.recipe.record(pack_signal(read_signal(seen, task.curve, shape)))
    except Refused as fault:
        raise _of_task(fault, task) from fault


def _of_task(fault: Refused, task: _Task) -> Refused:
    if task.role == ZERO:
        remedy = f'{fault.remedy}; or write [prescan] use = "covariate" when pre-scans do not reach that window'
        fault = Refused(fault.came, fault.expected, remedy, file=fault.file)
    return at_row(fault, task.row, "trace" if task.role == MAIN else "prescan")


def at_row(fault: Refused, row: StoredRow, column: str) -> Refused:
    """The same refusal, with electrode and file named within and the sheet's row and column outside."""
    inside = fault.came if fault.file is None else f"{fault.file}: {fault.came}"
    inside = f"electrode {row.row.electrode}: {inside}"
    return Refused(inside, fault.expected, fault.remedy, row=row.row.number, column=column)


def _written_signal(row: StoredRow, definition: Definition) -> Record:
    given = row.row
    if given.signal is None:
        raise Refused("a row without trace and without signal", "one of the two", "complete the row", row=given.number)
    unit, u = given.signal_unit or definition.curve.unit, given.signal_u or 0.0
    return _written(row, MAIN, Signal(given.signal, u, unit, (NO_CURVE,), u), {})


def _written_zero(row: StoredRow, definition: Definition) -> Record | None:
    """A pre-scan that was read off a curve elsewhere, as the row's signal was: with its unit and uncertainty."""
    given = row.row
    if given.prescan_signal is None or not _asked(ZERO_USES, definition):
        return None
    unit, u = given.signal_unit or definition.curve.unit, given.signal_u or 0.0
    return _written(row, ZERO, Signal(given.prescan_signal, u, unit, (NO_CURVE,), u), {"unit": unit})


def _written(row: StoredRow, role: str, signal: Signal, settings: Mapping[str, JsonValue]) -> Record:
    recipe = Recipe("signal", role, (("row", row.id),), {"definition": "as written", **settings})
    return recipe.record(pack_signal(signal))


def scan_rate(row: StoredRow, traces: Traces) -> float | None:
    """As the row says, else the instrument's settings, else the general conditions [V/s]."""
    written = dict(row.row.conditions).get("scan_rate_V_per_s")
    section = traces.section(row.row.instrument).scan_rate_V_per_s
    general = traces.place.settings.conditions.scan_rate_V_per_s
    for value in (written, section, general):
        if isinstance(value, int | float):
            return float(value)
    return None


def value_of(record: Record) -> Signal:
    """The signal that a signal record holds."""
    return unpack_signal(record)
