"""From the current blanks and standards to waves, signals, a calibration and the limits of every batch."""

from __future__ import annotations

import os
from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from typing import Any

from brinemark.science.amount.calibration import calibrate
from brinemark.science.amount.compiled import compiled_loops
from brinemark.science.amount.lack_of_fit import batch_steepness, class_gains, fit_words
from brinemark.science.amount.life_checks import falls_of
from brinemark.science.amount.limits import batch_limits
from brinemark.science.amount.predictive import DrawMemory
from brinemark.steps.answers import CalibrationReport, WaveNote
from brinemark.steps.gather import CALIBRATION_ROLES, Gathered, LeftOut, gather
from brinemark.steps.identity import Definition, Recipe, definition_of, difference, instrument_identity
from brinemark.steps.kept_draws import keep_draws
from brinemark.steps.learn import learn_waves
from brinemark.steps.lives import Life, levels_identity, lives_of
from brinemark.steps.measure import RowSignals, Traces, WaveSet, measure_rows, signal_parents
from brinemark.steps.packing import pack_calibration, pack_limits, unpack_calibration, unpack_limits
from brinemark.steps.place import Place
from brinemark.terms.amounts import Calibration, Limits
from brinemark.terms.canonical import JsonValue
from brinemark.terms.errors import Refused
from brinemark.terms.stored import Record

OnStep = Callable[[int, int], bool]
THREADS = min(2, os.cpu_count() or 1)  # that share the compiled loops; results do not depend on how many


@dataclass(frozen=True, slots=True, eq=False)
class _Prepared:
    """Everything that a calibration is made from, measured anew."""

    definition: Definition
    waves: WaveSet
    lives: tuple[Life, ...]
    signals: Mapping[str, RowSignals]
    gathered: Gathered
    fresh: Mapping[tuple[str, str], Any]


def run_calibration(place: Place, on_step: OnStep | None = None) -> CalibrationReport:
    """Learn the waves, measure every current row anew, calibrate, and store it all in one transaction.

    on_step : called with (done, total); False stops. Raises Refused, GateFailed or Stopped; then nothing is stored.
    """
    prepared = _prepare(place)
    settings = place.settings
    watch = on_step or (lambda _done, _total: True)
    with compiled_loops(THREADS):
        made = calibrate(prepared.gathered.readings, settings.analyte, settings.prior, settings.calibration, watch)
        checks = (*class_gains(made), *batch_steepness(made))
    memory = DrawMemory()
    falls = falls_of(made, made.seed, memory)
    made = replace(made, fit=checks, weaknesses=(*made.weaknesses, *fit_words(checks), *falls))
    record = _calibration_recipe(place, prepared).record(pack_calibration(made, _context(prepared.gathered)))
    limits = limits_record(place, record.id, made, _all_limits(place, made, memory))
    return _store(place, prepared, record, limits, memory)


def _prepare(place: Place) -> _Prepared:
    definition = definition_of(place.settings)
    with place.database.reading() as reader:
        rows = reader.rows()
        known = [row for row in rows if row.row.role in CALIBRATION_ROLES]
        if not known:
            raise Refused(
                "no blank or standard in this logbook", "electrodes whose level is known", "add their run sheet first"
            )
        traces = Traces(place, reader)
        waves = learn_waves(known, definition, traces)
        signals = measure_rows(rows, definition, waves, traces)
    lives = tuple(life for life in lives_of(rows, place.settings) if life.known)
    gathered = gather(lives, signals, definition, place.settings)
    if not gathered.rows:
        raise Refused(
            f"{len(gathered.left_out)} calibration electrodes, all with a failed pre-scan",
            "electrodes with a sound pre-scan",
            "check [covariate] and [prescan] max_ratio",
        )
    return _Prepared(definition, waves, lives, signals, gathered, traces.fresh)


def _calibration_recipe(place: Place, prepared: _Prepared) -> Recipe:
    settings = place.settings
    known = [row for life in prepared.lives for row in life.rows]
    parents = [("wave", wave.id) for _, wave in sorted(prepared.waves.waves.items())]
    for row in known:
        parents += signal_parents(prepared.signals[row.id])
    instruments = sorted({row.row.instrument for row in known})
    said: dict[str, JsonValue] = {
        "definition": prepared.definition.identity,
        "analyte": settings.analyte.model_dump(mode="json"),
        "prior": settings.prior.model_dump(mode="json"),
        "calibration": settings.calibration.model_dump(mode="json"),
        "levels": levels_identity(prepared.gathered.lives, settings),
        "instruments": {name: instrument_identity(settings, name) for name in instruments},
    }
    return Recipe("calibration", "population", tuple(parents), said, settings.calibration.seed)


def _context(gathered: Gathered) -> dict[str, JsonValue]:
    return {
        "signal_unit": gathered.signal_unit,
        "left_out": [asdict(one) for one in gathered.left_out],
        "warnings": [*(_left_out(one) for one in gathered.left_out), *gathered.warnings],
    }


def _left_out(one: LeftOut) -> str:
    return f"electrode {one.electrode} of batch {one.batch} was left out: {one.reason}"


def _all_limits(place: Place, made: Calibration, memory: DrawMemory) -> tuple[Limits, ...]:
    """Limits of every batch on every instrument that read it; memory keeps the draws of the batches."""
    pairs = sorted(set(zip(made.readings.batch, made.readings.instrument, strict=True)))
    decision = place.settings.decision
    found: list[Limits] = []
    for batch, instrument in pairs:
        draws = memory.draws(made, made.readings, [batch], made.seed)
        found += batch_limits(made, made.readings, batch, instrument, decision, draws)
    return tuple(found)


def limits_record(place: Place, calibration_id: str, made: Calibration, limits: Sequence[Limits]) -> Record:
    """Limits beside their calibration: they change with [decision], the calibration does not."""
    decision: dict[str, JsonValue] = {"decision": place.settings.decision.model_dump(mode="json")}
    recipe = Recipe("limits", "batches", (("calibration", calibration_id),), decision, made.seed)
    return recipe.record(pack_limits(limits))


def _store(place: Place, prepared: _Prepared, record: Record, limits: Record, memory: DrawMemory) -> CalibrationReport:
    remarks: list[str] = []
    with place.database.writing() as writer:
        stored = writer.reader.record(record.id)
        if stored is not None:
            remarks += [text for text in [difference(stored, record)] if text]
        new = [*writer.add_records(prepared.waves.waves.values())]
        new += writer.add_records(_signals(prepared))
        new += writer.add_records([record])
        new += writer.add_records([limits])
        writer.cache_arrays(prepared.fresh)
        keep_draws(writer, record.id, memory)
        kept = writer.reader.record(limits.id) or limits
        if new:
            action = "calibration made" if stored is None else "calibration completed"
            detail: dict[str, JsonValue] = {"calibration": record.id, "content": record.content, "records": len(new)}
            writer.seal(action, record.id[:12], detail)
    return report_of(stored or record, kept, tuple(prepared.waves.waves.values()), stored is None, remarks)


def _signals(prepared: _Prepared) -> list[Record]:
    return [record for one in prepared.signals.values() for record in one.records]


def report_of(
    record: Record, limits: Record | None, waves: Sequence[Record], new: bool, remarks: Sequence[str] = ()
) -> CalibrationReport:
    """A stored calibration (with arrays) as the answer that people and programs get."""
    results: Any = record.results
    settings: Any = record.settings
    context = results["context"]
    return CalibrationReport(
        id=record.id,
        new=new,
        analyte=settings["definition"]["analyte"],
        unit=settings["definition"]["level_unit"],
        signal_unit=context["signal_unit"],
        calibration=unpack_calibration(record),
        limits=() if limits is None else unpack_limits(limits),
        waves=tuple(_wave_note(wave) for wave in sorted(waves, key=lambda one: one.role)),
        left_out=tuple(context["left_out"]),
        warnings=(*context["warnings"], *remarks),
    )


def _wave_note(wave: Record) -> WaveNote:
    results: Any = wave.results
    place_V, place_nm = results.get("place_V"), results.get("place_nm")
    return WaveNote(wave.id, wave.role, results["source"], results["traces"], place_V, place_nm)
