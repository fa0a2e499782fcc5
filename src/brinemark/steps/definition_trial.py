"""What one signal definition does on blanks, standards and controls, beside the present one; samples stay hidden.

A look at a definition is a trial of it: it is kept as `signals` keeps its definitions, so that nothing is tried unseen.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict, replace
from typing import Any

from brinemark.records.reader import Reader
from brinemark.science.curve.sweeps import DIRECTIONS
from brinemark.steps.candidates import BASELINES, QUANTITIES, Candidate, Ends, Wanted, candidates_of, own_window
from brinemark.steps.definition_lock import DEFINITION, STUDY, SeenAlready, seen_already, tried_until_now
from brinemark.steps.gather import LeftOut
from brinemark.steps.identity import Definition, Made, Recipe, definition_of
from brinemark.steps.measure import Traces, stored_covariates
from brinemark.steps.place import Place
from brinemark.steps.study_electrodes import KnownElectrode, covariates_of, known_electrodes, sound
from brinemark.steps.study_signals import (
    Lessons,
    TriedSignals,
    definition_recipe,
    read_known,
    signals_of,
    tried_record,
)
from brinemark.steps.study_windows import whole_curves
from brinemark.steps.trial_answers import DefinitionLook, DefinitionTrial, KnownReading
from brinemark.terms.canonical import JsonValue
from brinemark.terms.curves import BAND, Flag, Signal, SignalDefinition
from brinemark.terms.errors import Refused
from brinemark.terms.pictures import OverlaidCurve
from brinemark.terms.settings import CurveSection, SignalSection
from brinemark.terms.stored import Record

LOOK = "look"
NOBODY = "no blank, standard or control with a curve"


def only(
    present: SignalSection, window: Ends | None, quantity: str = "", baseline: str = "", sweep: str = ""
) -> Wanted:
    """The one definition that a look asks for; what is left out is as the present one has it. Raises Refused."""
    of_waves = isinstance(present, CurveSection)
    own = own_window(present)
    if window is None and own is None:
        raise Refused("no window", "its low and its high end", "name both: a difference of wavelengths has none")
    ends = window or own or (0.0, 0.0)
    usual = (present.quantity if present.quantity in QUANTITIES else QUANTITIES[0]) if of_waves else BAND
    baseline = baseline or getattr(present, "baseline", BASELINES[0])
    if baseline not in BASELINES:
        raise Refused(f"baseline {baseline!r}", f"one of {', '.join(BASELINES)}", "name one of them")
    if of_waves and sweep and sweep not in DIRECTIONS:
        raise _no_sweep(sweep)
    return Wanted((quantity or usual,), (baseline,), (ends,), (sweep,) if sweep else ())


def _no_sweep(sweep: str) -> Refused:
    return Refused(f"sweep {sweep!r}", " or ".join(DIRECTIONS), "name one of them")


def try_definition(place: Place, wanted: Wanted) -> DefinitionTrial:
    """Read blanks, standards and controls by a definition, and keep it as tried. Raises Refused.

    wanted : one definition, as `only` gives it. What was tried before on the same curves is taken from the logbook.
    """
    with place.database.reading() as reader:
        bench = _Bench(place, reader)
        if not bench.known:
            raise Refused(NOBODY, "electrodes of known level", "add a run sheet with blanks and standards")
        pairs = [bench.look(candidate) for candidate in bench.candidates(wanted)]
    new = _keep(place, [record for _, records in pairs for record in records], bench.traces, pairs[-1][0].id)
    with place.database.reading() as reader:
        return bench.trial([look for look, _ in pairs], new, reader)


def tried_already(place: Place, wanted: Wanted | None) -> DefinitionTrial | None:
    """The same of a definition that was tried on the present curves, else None; nothing is stored.

    wanted : None is the present definition, which is read when it was not: it is the one that everything rests on.
    """
    with place.database.reading() as reader:
        bench = _Bench(place, reader)
        candidates = [Candidate(bench.definition.signal, present=True)] if wanted is None else bench.candidates(wanted)
        if not bench.known or not all(one.present or bench.is_kept(one) for one in candidates):
            return None
        looks = [bench.look(candidate)[0] for candidate in candidates]
        return bench.trial(looks, False, reader)


def curves_to_try(place: Place, sweep: str = "", most: int = 60) -> tuple[tuple[OverlaidCurve, ...], str]:
    """Curves of blanks and standards, the newest `most`, wave upwards, on the stretch that they share; or why none.

    sweep : anodic or cathodic; "" is that of the present definition. Raises Refused for another one.
    """
    definition = definition_of(place.settings)
    curve = definition.curve
    if sweep and isinstance(curve, SignalDefinition):
        if sweep not in DIRECTIONS:
            raise _no_sweep(sweep)
        curve = replace(curve, sweep=sweep)
    with place.database.reading() as reader:
        known, _ = known_electrodes(reader.rows(), place.settings)
        teaching = sorted((one for one in known if one.teaches), key=lambda one: one.row.row.measured_at)[-most:]
        traces = Traces(place, reader)
        traces.remember_prescans([one.row for one in teaching])
        found = whole_curves(teaching, curve, traces)
    if found.reason is not None:
        return (), found.reason
    unit = definition.level_unit
    pairs = zip(found.of, found.rows, strict=True)
    return tuple(OverlaidCurve(o.life.electrode, _held(o, unit), o.level, found.grid, row) for o, row in pairs), ""


def _held(one: KnownElectrode, unit: str) -> str:
    return "blank" if one.level == 0.0 else f"{one.level:g} {unit}"


def seen_so_far(place: Place) -> SeenAlready:
    """What was read of samples until now, and whether the present definition is locked."""
    with place.database.reading() as reader:
        return seen_already(reader, definition_of(place.settings))


def known_count(place: Place) -> int:
    """How many electrodes a look reads, those whose pre-scan failed included."""
    with place.database.reading() as reader:
        return len(known_electrodes(reader.rows(), place.settings)[0])


class _Bench:
    """Known electrodes with their curves, for the time of one reader."""

    def __init__(self, place: Place, reader: Reader) -> None:
        self.place, self.reader = place, reader
        self.definition: Definition = definition_of(place.settings)
        self.traces = Traces(place, reader)
        known, left = known_electrodes(reader.rows(), place.settings)
        self.traces.remember_prescans([one.row for one in known])
        stored = stored_covariates([one.row for one in known], self.definition, self.traces)
        covariates = covariates_of(known, self.definition, self.traces, stored)
        known, failed = sound(known, covariates, self.definition)
        self.known: Sequence[KnownElectrode] = known
        self.left_out: tuple[LeftOut, ...] = (*left, *failed)
        self.lessons = Lessons(known, self.traces)

    def candidates(self, wanted: Wanted) -> tuple[Candidate, ...]:
        """The present definition and, unless it is the same, the wanted one."""
        return candidates_of(self.definition.signal, (), wanted)

    def is_kept(self, candidate: Candidate) -> bool:
        recipe = definition_recipe(candidate, self.known, self.traces)
        return self.reader.records([recipe.id]).keys() == {recipe.id}

    def look(self, candidate: Candidate) -> tuple[DefinitionLook, list[Record]]:
        """What a definition gives, from the logbook where it is there, and the records behind it."""
        recipe = definition_recipe(candidate, self.known, self.traces)
        seen = Recipe(STUDY, LOOK, (("definition", recipe.id),), {})
        stored = self.reader.records([recipe.id, seen.id], arrays=True)
        if len(stored) < 2:
            signals, refused = read_known(candidate, self.lessons)
            definition = stored.get(recipe.id) or tried_record(recipe, candidate, signals, refused)
            stored = {recipe.id: definition, seen.id: seen.record(Made(_told(signals), {}))}
        records = [stored[recipe.id], stored[seen.id]]
        return DefinitionLook(candidate, recipe.id, self._readings(*records)), records

    def _readings(self, definition: Record, seen: Record) -> tuple[KnownReading, ...]:
        tried, told = signals_of(definition), _told_of(seen)
        return tuple(_reading(one, tried, told) for one in self.known)

    def trial(self, looks: Sequence[DefinitionLook], new: bool, reader: Reader) -> DefinitionTrial:
        seen, count = seen_already(reader, self.definition), tried_until_now(reader, self.definition)
        return DefinitionTrial(looks[0], looks[-1], self.definition.level_unit, new, self.left_out, seen, count)


def _told(signals: Mapping[str, Signal]) -> JsonValue:
    """What the record of a definition does not hold of its signals: the parts of u, and the flags."""
    return {
        name: {"u_noise": one.u_noise, "u_baseline": one.u_baseline, "flags": [asdict(flag) for flag in one.flags]}
        for name, one in signals.items()
    }


def _told_of(seen: Record) -> dict[str, tuple[float, float, tuple[Flag, ...]]]:
    results: Any = seen.results
    return {
        name: (one["u_noise"], one["u_baseline"], tuple(Flag(**flag) for flag in one["flags"]))
        for name, one in results.items()
    }


def _reading(
    one: KnownElectrode, tried: TriedSignals, told: Mapping[str, tuple[float, float, tuple[Flag, ...]]]
) -> KnownReading:
    name, life = one.life.electrode, one.life
    signal = None
    if name in tried.signals:
        u_noise, u_baseline, flags = told.get(name, (0.0, 0.0, ()))
        signal = Signal(*tried.signals[name], tried.unit, flags, u_noise, u_baseline)
    place = (life.batch, life.instrument, life.main.role, one.row.id)
    return KnownReading(name, *place, one.level, one.teaches, signal, tried.refused.get(name))


def _keep(place: Place, records: Sequence[Record], traces: Traces, tried: str) -> bool:
    """Store what is new; whether the definition that was asked for is."""
    with place.database.writing() as writer:
        new = writer.add_records(records)
        writer.cache_arrays(traces.fresh)
        if new:
            definitions: list[JsonValue] = [record.id for record in new if record.role == DEFINITION]
            writer.seal("signal definitions tried", tried[:12], {"look": tried, "tried": definitions})
    return any(record.id == tried for record in new)
