"""Rank signal definitions by the error of the amount on blanks, standards and controls; samples stay hidden."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from typing import Any

from brinemark.records.reader import Reader
from brinemark.steps.candidates import Candidate, Wanted, candidates_of
from brinemark.steps.definition_lock import DEFINITION, STUDY, SeenAlready, seen_already
from brinemark.steps.gather import LeftOut
from brinemark.steps.identity import Definition, Recipe, definition_of
from brinemark.steps.measure import Traces
from brinemark.steps.place import Place
from brinemark.steps.study_answers import RankedDefinition, SignalStudy, TriedDefinition
from brinemark.steps.study_electrodes import (
    KnownElectrode,
    covariates_of,
    further_covariates_of,
    known_electrodes,
    sound,
    why_not,
)
from brinemark.steps.study_ranking import RANKING, OnWork, Studied, ranked, ranking_recipe
from brinemark.steps.study_signals import Lessons, definition_recipe, signals_of, tried
from brinemark.steps.study_windows import proposal_of, propose, whole_curves, windows_recipe
from brinemark.terms.stored import Record


@dataclass(frozen=True, slots=True, eq=False)
class _Study:
    """Everything that a study has made or found: records to keep, and what the answer is told from."""

    definition: Definition
    windows: Record | None
    candidates: tuple[Candidate, ...]
    definitions: tuple[Record, ...]
    ranking: Record
    left_out: tuple[LeftOut, ...]
    traces: Traces
    new: bool

    @property
    def records(self) -> list[Record]:
        windows = [] if self.windows is None else [self.windows]
        return [*windows, *self.definitions, self.ranking]


def rank_signals(place: Place, wanted: Wanted, on_work: OnWork | None = None) -> SignalStudy:
    """Try signal definitions and rank them; every one is kept as a record, in one transaction.

    on_work : told what is being done. What was tried before with the same rows and settings is taken from the logbook.
    Too few batches and no curves are answers with a reason; then nothing is stored. Raises Refused for what cannot be
    tried, and as `calibrate` for levels and pre-scans that cannot be worked out.
    """
    definition = definition_of(place.settings)
    with place.database.reading() as reader:
        seen = seen_already(reader, definition)
        known, left = known_electrodes(reader.rows(), place.settings)
        reason = why_not(known)
        if reason is None:
            made = _study(_Bench(place, reader, definition, on_work or _silent), known, left, wanted)
    if reason is not None:
        candidates_of(definition.signal, (), wanted)
        return SignalStudy(None, False, reason, definition.level_unit, (), None, tuple(left), {}, seen)
    _keep(place, made)
    return _answer(made, seen)


def _silent(_: str) -> None:
    return


class _Bench:
    """Reader, curves and settings of one study."""

    def __init__(self, place: Place, reader: Reader, definition: Definition, on_work: OnWork) -> None:
        self.place, self.reader, self.definition, self.on_work = place, reader, definition, on_work
        self.traces = Traces(place, reader)

    def stored(self, recipe: Recipe) -> Record | None:
        return self.reader.record(recipe.id)


def _study(bench: _Bench, known: list[KnownElectrode], left: list[LeftOut], wanted: Wanted) -> _Study:
    bench.traces.remember_prescans([one.row for one in known])
    bench.on_work("looking for the wave")
    covariates = covariates_of(known, bench.definition, bench.traces)
    known, failed = sound(known, covariates, bench.definition)
    windows = None if wanted.windows else _windows(bench, known)
    proposed = () if windows is None else proposal_of(windows).windows
    candidates = candidates_of(bench.definition.signal, proposed, wanted)
    definitions = _definitions(bench, known, candidates)
    ids = [record.id for record in definitions]
    recipe = ranking_recipe(known, ids, bench.definition, bench.place.settings)
    ranking = bench.stored(recipe)
    new = ranking is None
    if ranking is None:
        whole = partial(whole_curves, known, bench.definition.curve, bench.traces)
        further = further_covariates_of(known, bench.definition, bench.traces)
        studied = Studied(
            known, covariates, further, candidates, ids, [signals_of(record) for record in definitions], whole
        )
        ranking = ranked(recipe, studied, bench.place.settings, bench.on_work)
    return _Study(
        bench.definition, windows, candidates, tuple(definitions), ranking, (*left, *failed), bench.traces, new
    )


def _windows(bench: _Bench, known: Sequence[KnownElectrode]) -> Record:
    recipe = windows_recipe(known, bench.definition, bench.traces)
    return bench.stored(recipe) or propose(recipe, known, bench.definition.curve, bench.traces)


def _definitions(bench: _Bench, known: Sequence[KnownElectrode], candidates: Sequence[Candidate]) -> list[Record]:
    """The record of each candidate, in their order."""
    recipes = [definition_recipe(candidate, known, bench.traces) for candidate in candidates]
    stored = bench.reader.records([recipe.id for recipe in recipes], arrays=True)
    lessons, found = Lessons(known, bench.traces), []
    for place, (recipe, candidate) in enumerate(zip(recipes, candidates, strict=True), start=1):
        bench.on_work(f"measuring by {place} of {len(candidates)} definitions")
        found.append(stored.get(recipe.id) or tried(recipe, candidate, lessons))
    return found


def _keep(place: Place, made: _Study) -> None:
    with place.database.writing() as writer:
        new = writer.add_records(made.records)
        writer.cache_arrays(made.traces.fresh)
        if new:
            tried_now = [record.id for record in new if record.role == DEFINITION]
            detail = {"ranking": made.ranking.id, "content": made.ranking.content, "tried": tried_now}
            writer.seal("signal definitions tried", made.ranking.id[:12], detail)


def _answer(made: _Study, seen: SeenAlready) -> SignalStudy:
    results: Any = made.ranking.results
    by_id = {record.id: candidate for record, candidate in zip(made.definitions, made.candidates, strict=True)}
    return SignalStudy(
        made.ranking.id,
        made.new,
        results["reason"],
        made.definition.level_unit,
        tuple(RankedDefinition(by_id[entry["definition"]], entry["definition"], entry) for entry in results["ranked"]),
        None if made.windows is None else proposal_of(made.windows),
        made.left_out,
        results,
        seen,
    )


def tried_definitions(place: Place) -> tuple[TriedDefinition, ...]:
    """Every definition that was ever tried in this logbook, oldest first, with its newest ranking."""
    with place.database.reading() as reader:
        definitions = list(reader.newest_first(STUDY, DEFINITION))[::-1]
        newest: dict[str, tuple[int, int, Mapping[str, Any]]] = {}
        for ranking in list(reader.newest_first(STUDY, RANKING))[::-1]:
            results: Any = ranking.results
            count = sum(1 for entry in results["ranked"] if entry["by_curve"] is not None)
            for rank, entry in enumerate(results["ranked"], start=1):
                newest[entry["definition"]] = rank, count, entry
    return tuple(_tried(record, newest.get(record.id)) for record in definitions)


def _tried(record: Record, newest: tuple[int, int, Mapping[str, Any]] | None) -> TriedDefinition:
    results: Any = record.results
    settings: Any = record.settings
    rank, count, entry = newest or (0, 0, {})
    by = next((name for name in ("model", "curve") if entry.get(f"by_{name}") is not None), None)
    return TriedDefinition(
        record.id,
        record.made_at,
        settings["signal"],
        len(results["electrodes"]),
        len(results["refused"]),
        None if by is None else entry[f"by_{by}"]["typical"],
        by,
        None if by is None else rank,
        count,
    )
