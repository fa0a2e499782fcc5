"""From the signals of a sample's electrodes and a calibration to one of five statements."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from brinemark.records.reader import Reader
from brinemark.records.text import nearest
from brinemark.science.amount.predictive import DrawMemory
from brinemark.science.amount.reading import SampleReader
from brinemark.steps.answers import AdditionLine, ElectrodeUse, ReadingLine, SampleReading
from brinemark.steps.chosen import Chosen, current, named
from brinemark.steps.conditions import condition_findings
from brinemark.steps.definition_lock import lock_of, told
from brinemark.steps.gather import (
    CALIBRATION_ROLES,
    Gathered,
    gather,
    portion,
    sample_remarks,
    signal_at,
)
from brinemark.steps.identity import Recipe, difference
from brinemark.steps.kept_draws import draw_memory, keep_draws
from brinemark.steps.lives import Life, levels_identity, lives_of
from brinemark.steps.measure import RowSignals, Traces, measure_rows, signal_parents
from brinemark.steps.packing import pack_reading, unpack_calibration, unpack_reading, unpack_signal
from brinemark.steps.place import Place
from brinemark.steps.run_control import RunDesk, RunReport, runs_of
from brinemark.steps.straight_line import addition_lines
from brinemark.steps.waters import Parents, water_scatter
from brinemark.terms.amounts import Calibration, ElectrodeReadings, Reading, SamplePortion
from brinemark.terms.canonical import JsonValue
from brinemark.terms.curves import Flag, Signal
from brinemark.terms.errors import Refused
from brinemark.terms.runs import StoredRow
from brinemark.terms.stored import Record


@dataclass(slots=True, eq=False)
class _Bench:
    """What all readings of one call share."""

    place: Place
    reader: Reader
    chosen: Chosen
    record: Record
    calibration: Calibration
    traces: Traces
    calibration_rows: tuple[StoredRow, ...]
    science: SampleReader
    controls: dict[str, tuple[_Sample, Record]] = field(default_factory=dict)
    lock: Record | None = None

    def desk(self) -> RunDesk:
        """Who judges the runs; the records that it has read stand in controls."""
        settings = self.place.settings
        runs = runs_of(self.reader.rows(), settings.run.max_gap_h)
        unit, known = self.chosen.definition.level_unit, frozenset(self.calibration.instruments)
        return RunDesk(runs, unit, settings.run, settings.lot, known, lambda role, rows: _control(self, role, rows))


@dataclass(frozen=True, slots=True, eq=False)
class _Sample:
    """One sample ready to be read: its rows, their signals, and the calibration electrodes of their batches."""

    name: str
    rows: tuple[StoredRow, ...]
    lives: tuple[Life, ...]
    signals: Mapping[str, RowSignals]
    peers: Gathered
    peer_signals: Mapping[str, RowSignals]
    failures: Mapping[str, str]
    remarks: tuple[str, ...]
    kind: str = "reading"
    controls: tuple[tuple[str, str], ...] = ()


def read_samples(place: Place, names: Sequence[str] = (), calibration: str | None = None) -> list[SampleReading]:
    """Statements about the named samples or controls, or about every sample, in the order of their sheets.

    calibration : beginning of the id of the calibration to use; None takes the newest of the current definition.
    Raises Refused for an unknown sample, and when there is no such calibration.
    """
    with place.database.reading() as reader:
        bench = reading_bench(place, reader, calibration)
        desk = bench.desk()
        samples = [_accepted(_gathered(bench, name), desk) for name in _wanted(reader, names)]
        if any(_is_sample(sample) for sample in samples):
            bench.lock = lock_of(reader, bench.chosen.definition)
        knowing, waters = with_waters(bench, desk)
        samples = [_informed(sample, waters) for sample in samples]
        made = [_read(knowing if _is_sample(sample) else bench, sample) for sample in samples]
    return _store(place, bench, samples, made)


def judge_runs(
    place: Place, calibration: str | None = None, electrodes: Collection[str] | None = None
) -> list[RunReport]:
    """Every run whose instrument the calibration knows, with its blanks and controls, in order of time.

    electrodes : only the runs that any of them was in. Raises Refused when there is no such calibration.
    """
    with place.database.reading() as reader:
        bench = reading_bench(place, reader, calibration)
        desk = bench.desk()
        runs = [run for run in desk.runs if run.instrument in desk.instruments]
        if electrodes is not None:
            runs = [run for run in runs if any(row.row.electrode in electrodes for row in run.rows)]
        reports = [desk.judge(run) for run in runs]
    _store(place, bench, [], [])
    return reports


@dataclass(frozen=True, slots=True, eq=False)
class ReadyToRead:
    """A sample as `read` would take it now. stored : its reading by the newest calibration, None = there is none of
    just these rows; readings : calibration electrodes of its batches and of one more, batch."""

    name: str
    chosen: Chosen
    stored: Record | None
    calibration: Calibration
    readings: ElectrodeReadings
    memory: DrawMemory
    lives: tuple[Life, ...]
    signals: Mapping[str, RowSignals]
    portions: tuple[SamplePortion, ...]
    batch: str


def ready_to_read(place: Place, reader: Reader, name: str, choose: Callable[[Calibration], str]) -> ReadyToRead:
    """A sample ready to be read together with an electrode of one more batch, which choose names. Nothing is stored.

    Raises Refused for an unknown sample and without a calibration.
    """
    bench = reading_bench(place, reader, None)
    desk = bench.desk()
    sample = _accepted(_gathered(bench, _wanted(reader, [name])[0]), desk)
    knowing, waters = with_waters(bench, desk)
    sample, bench = _informed(sample, waters), knowing if _is_sample(sample) else bench
    batch = choose(bench.calibration)
    wider = sample if batch in {life.batch for life in sample.lives} else _of_rows(bench, name, sample.rows, more=batch)
    stored, portions = reader.record(_recipe(bench, sample).id), tuple(_portion(bench, o, sample) for o in sample.lives)
    known = bench.calibration, wider.peers.readings, bench.science.memory
    return ReadyToRead(name, bench.chosen, stored, *known, sample.lives, sample.signals, portions, batch)


def reading_bench(place: Place, reader: Reader, calibration: str | None) -> _Bench:
    chosen = current(place, reader) if calibration is None else named(reader, calibration)
    record = reader.record(chosen.record.id) or chosen.record
    known, made = reader.rows(roles=CALIBRATION_ROLES), unpack_calibration(record)
    science = SampleReader.of(made, place.settings.decision, made.seed, draw_memory(reader, record.id))
    return _Bench(place, reader, chosen, record, made, Traces(place, reader), known, science)


def with_waters(bench: _Bench, desk: RunDesk) -> tuple[_Bench, Parents]:
    """The bench with what spiked waters say of the scatter between waters, and the readings behind that."""
    water, parents = water_scatter(desk, bench.calibration.matrix_K_sd)
    if water is None:
        return bench, ()
    knowing = replace(bench.calibration, water=water)
    memory = bench.science.memory.for_other_water()
    science = SampleReader.of(knowing, bench.place.settings.decision, knowing.seed, memory)
    return replace(bench, calibration=knowing, science=science), parents


def _informed(sample: _Sample, waters: Parents) -> _Sample:
    return replace(sample, controls=(*sample.controls, *waters)) if _is_sample(sample) else sample


def _is_sample(sample: _Sample) -> bool:
    return sample.rows[0].row.role == "sample"


def _accepted(sample: _Sample, desk: RunDesk) -> _Sample:
    """The sample with what run control says of its runs; a control is not judged by itself."""
    if not _is_sample(sample):
        return sample
    failures, remarks, records = desk.findings(sample.rows)
    return replace(
        sample, failures={**failures, **sample.failures}, remarks=(*sample.remarks, *remarks), controls=records
    )


def _control(bench: _Bench, role: str, rows: Sequence[StoredRow]) -> Record:
    """A blank or control of a run read as if it were a sample."""
    sample = _of_rows(bench, role, rows, "control")
    recipe = _recipe(bench, sample)
    if recipe.id not in bench.controls:
        record = bench.reader.record(recipe.id) or _read(bench, sample)
        bench.controls[recipe.id] = (sample, record)
    return bench.controls[recipe.id][1]


def _wanted(reader: Reader, names: Sequence[str]) -> list[str]:
    there = {row.row.sample or "": row.row.role for row in reader.rows(roles=["sample", "control"])}
    for name in names:
        if name not in there:
            alike = nearest(name, list(there))
            hint = f"did you mean {alike!r}?" if alike else f"the logbook has {len(there)} samples and controls"
            raise Refused(f"no sample {name!r}", "a sample or control of this logbook", hint)
    if names:
        return list(dict.fromkeys(names))
    return [name for name, role in there.items() if role == "sample"]


def _gathered(bench: _Bench, name: str) -> _Sample:
    return _of_rows(bench, name, bench.reader.rows(samples=[name]))


def _of_rows(
    bench: _Bench, name: str, rows: Sequence[StoredRow], kind: str = "reading", more: str | None = None
) -> _Sample:
    definition, waves, settings = bench.chosen.definition, bench.chosen.waves, bench.place.settings
    batches = sorted({*(row.row.batch for row in rows), *([] if more is None else [more])})
    own = {row.row.electrode for row in rows}
    if rows[0].row.role != "blank":  # of a blank that is judged, the first reading alone
        rows = bench.reader.rows(electrodes=sorted(own))
    # A calibration knows nothing of an instrument that came after it; a blank that is judged does not speak for itself.
    near = [
        row
        for row in bench.reader.rows(batches=batches)
        if row.row.instrument in bench.calibration.instruments and row.row.electrode not in own
    ]
    near_lives = [life for life in lives_of(near, settings) if life.known]
    known = [row for life in near_lives for row in life.rows]
    signals = measure_rows(rows, definition, waves, bench.traces)
    peer_signals = measure_rows(known, definition, waves, bench.traces)
    peers = gather(near_lives, peer_signals, definition, settings, bench.calibration.covariate_ref)
    behind = {*bench.calibration.readings.electrode, *(row.row.electrode for row in known)}
    standards = [row for row in bench.calibration_rows if row.row.electrode in behind]
    failures, remarks = condition_findings(rows, standards, settings)
    lives = lives_of(rows, settings)
    return _Sample(name, tuple(rows), lives, signals, peers, peer_signals, failures, remarks, kind)


def _read(bench: _Bench, sample: _Sample) -> Record:
    portions = [_portion(bench, life, sample) for life in sample.lives]
    reading = bench.science.read(portions, sample.peers.readings)
    made = pack_reading(reading, _context(bench, sample, reading))
    return _recipe(bench, sample).record(made)


def _portion(bench: _Bench, life: Life, sample: _Sample) -> SamplePortion:
    made = portion(life, sample.signals, bench.chosen.definition, bench.calibration, bench.place.settings)
    wanted = bench.chosen.signal_unit
    strange = {unpack_signal(sample.signals[row.id].main).unit for row in life.rows} - {wanted}
    if strange:
        return replace(made, failure=f"its signal is in {strange.pop()}, the calibration in {wanted}")
    if made.covariate is not None and made.covariate <= 0 and made.failure is None:
        return replace(made, failure=f"pre-scan failed: {made.covariate:.3g} where a positive number is expected")
    return replace(made, failure=made.failure or sample.failures.get(made.electrode))


def _recipe(bench: _Bench, sample: _Sample) -> Recipe:
    parents = [("calibration", bench.record.id)]
    for row in sample.rows:
        parents += [("row", row.id), *signal_parents(sample.signals[row.id])]
    for row in sample.peers.rows:
        parents += [(f"batch {role}", one) for role, one in signal_parents(sample.peer_signals[row.id])]
    parents += sample.controls
    levels = levels_identity([*sample.lives, *sample.peers.lives], bench.place.settings)
    settings: dict[str, JsonValue] = {
        "levels": levels,
        "decision": bench.place.settings.decision.model_dump(mode="json"),
        "definition": bench.chosen.definition.identity,
        "conditions": bench.place.settings.conditions.model_dump(mode="json"),
        "allowance": bench.place.settings.allowance.model_dump(mode="json"),
    }
    if sample.kind != "reading":
        return Recipe(sample.kind, sample.name, tuple(parents), settings, bench.calibration.seed)
    settings["run"] = bench.place.settings.run.model_dump(mode="json")
    settings["lot"] = {name: lot.model_dump(mode="json") for name, lot in bench.place.settings.lot.items()}
    return Recipe("reading", f"sample {sample.name}", tuple(parents), settings, bench.calibration.seed)


def _context(bench: _Bench, sample: _Sample, reading: Reading) -> dict[str, JsonValue]:
    """What the answer needs beside the statement; stored with it, so that it can be shown again as it was."""
    uses = [
        _use(life, sample.signals, share)
        for life, share in zip(sample.lives, reading.shares or (0.0,) * len(sample.lives), strict=True)
    ]
    lines = addition_lines(sample.lives, sample.signals, sample.peers.readings, bench.calibration.spike_level)
    remarks = [
        *reading.warnings,
        *sample_remarks(sample.lives, sample.signals, bench.chosen.definition),
        *_left_out(sample),
        *sample.remarks,
        *_control_remarks(sample, reading, bench.chosen.definition.level_unit),
    ]
    return {
        "sample": sample.name,
        "analyte": bench.chosen.definition.analyte,
        "unit": bench.chosen.definition.level_unit,
        "electrodes": [use.to_dict() for use in uses],
        "warnings": list(dict.fromkeys(remarks)),
        "straight_lines": [line.to_dict() for line in lines],
    }


def _use(life: Life, signals: Mapping[str, RowSignals], share: float) -> ElectrodeUse:
    """The readings of an electrode in order; a pre-scan that has no reading of its own shows its covariate."""
    lines = []
    for dip in life.dips:
        seen, number = signal_at(dip, signals), dip.row.row.number
        covariate = signals[dip.row.id].prescan
        if seen is None and covariate is not None:
            seen = unpack_signal(covariate)
        if seen is not None:
            lines.append(ReadingLine(number, dip.role, dip.level, seen))
    return ElectrodeUse(life.electrode, life.batch, life.instrument, life.main.row.row.dilution, share, tuple(lines))


def _left_out(sample: _Sample) -> list[str]:
    return [
        f"calibration electrode {one.electrode} of batch {one.batch} was left out: {one.reason}"
        for one in sample.peers.left_out
    ]


def _control_remarks(sample: _Sample, reading: Reading, unit: str) -> list[str]:
    """How the reading of a control compares with the level it is known to hold."""
    expected = {row.row.expected_level for row in sample.rows if row.row.role == "control"} - {None}
    ends = reading.estimate
    if ends is None:
        return [f"control: expected {level:g} {unit}, no reading to compare" for level in expected]
    lower, upper = ends.lower or 0.0, ends.upper
    return [
        f"control: expected {level:g} {unit}, which the stated interval "
        f"{'holds' if level is not None and lower <= level and (upper is None or level <= upper) else 'does not hold'}"
        for level in expected
    ]


def _store(place: Place, bench: _Bench, samples: Sequence[_Sample], made: Sequence[Record]) -> list[SampleReading]:
    answers = []
    controls = list(bench.controls.values())
    with place.database.writing() as writer:
        stored = writer.reader.records([record.id for record in made], arrays=True)
        signals = [one for sample in (*(one for one, _ in controls), *samples) for one in _all_signals(sample)]
        new = [*writer.add_records(signals), *writer.add_records([record for _, record in controls])]
        new += writer.add_records(made)
        writer.cache_arrays(bench.traces.fresh)
        keep_draws(writer, bench.record.id, bench.science.memory)
        locked = writer.add_records([] if bench.lock is None else [bench.lock])
        if new or locked:
            said = [{"sample": sample.name, "reading": one.id} for sample, one in zip(samples, made, strict=True)]
            writer.seal(
                "samples read" if samples else "runs judged",
                bench.record.id[:12],
                {"readings": said, "records": len(new), "definition_locked": [one.id for one in locked]},
            )
    for record in made:
        kept = stored.get(record.id)
        apart = None if kept is None else difference(kept, record)
        answers.append(answer_of(kept or record, [apart] if apart else []))
    with place.database.reading() as reader:
        return told(reader, answers)


def _all_signals(sample: _Sample) -> list[Record]:
    both = (*sample.signals.values(), *sample.peer_signals.values())
    return [record for one in both for record in one.records]


def answer_of(record: Record, remarks: Sequence[str] = ()) -> SampleReading:
    """A stored reading as the answer that people and programs get."""
    results: Any = record.results
    context = results["context"]
    calibration = next(parent for role, parent in record.parents if role == "calibration")
    return SampleReading(
        id=record.id,
        sample=context["sample"],
        analyte=context["analyte"],
        unit=context["unit"],
        reading=unpack_reading(record),
        electrodes=tuple(_use_from(use) for use in context["electrodes"]),
        calibration=calibration,
        warnings=(*context["warnings"], *remarks),
        straight_lines=tuple(AdditionLine.from_dict(line) for line in context.get("straight_lines", ())),
    )


def _use_from(plain: Mapping[str, Any]) -> ElectrodeUse:
    lines = tuple(_line_from(line) for line in plain["readings"])
    return ElectrodeUse(
        plain["electrode"], plain["batch"], plain["instrument"], plain["dilution"], plain["share"], lines
    )


def _line_from(plain: Mapping[str, Any]) -> ReadingLine:
    flags = tuple(Flag(**flag) for flag in plain["flags"])
    signal = Signal(plain["signal"], plain["u"], plain["unit"], flags)
    return ReadingLine(plain["row"], plain["role"], plain["cell_level"], signal)
