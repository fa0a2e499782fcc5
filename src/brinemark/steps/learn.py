"""From traces of known electrodes to the waves: one for each batch that did not teach it, and one of all."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from brinemark.steps.curves import Seen, is_against_prescan, learned_shape, learns_a_shape, stated_shape
from brinemark.steps.identity import Definition, Recipe, instrument_identity
from brinemark.steps.measure import OF_ALL, Traces, WaveSet, without_batch, without_electrode
from brinemark.steps.packing import pack_wave
from brinemark.terms.canonical import JsonValue
from brinemark.terms.runs import StoredRow
from brinemark.terms.stored import Record


def learn_waves(rows: Sequence[StoredRow], definition: Definition, traces: Traces) -> WaveSet:
    """Waves of the calibration rows, by role; those already in the logbook are taken from there.

    With several batches each is left out once; with one batch each of its electrodes is.
    """
    if not learns_a_shape(definition.curve):
        recipe = Recipe("wave", OF_ALL, (), definition.signal.model_dump(mode="json"))
        return WaveSet({OF_ALL: recipe.record(pack_wave(stated_shape(definition.curve)))})
    traces.remember_prescans(rows)
    recipes = {role: _recipe(role, taught, definition, traces) for role, taught in _lessons(rows)}
    stored = traces.reader.records([recipe.id for recipe in recipes.values()], arrays=True)
    lessons = dict(_lessons(rows))
    return WaveSet(
        {
            role: stored.get(recipe.id) or _learned(recipe, lessons[role], definition, traces)
            for role, recipe in recipes.items()
        }
    )


def _lessons(rows: Sequence[StoredRow]) -> Iterator[tuple[str, list[StoredRow]]]:
    """Role of each wave and the rows that teach it."""
    curves = [row for row in rows if row.trace_sha256 is not None]
    yield OF_ALL, curves
    batches = sorted({row.row.batch for row in rows})
    if len(batches) > 1:
        for batch in batches:
            yield without_batch(batch), [row for row in curves if row.row.batch != batch]
        return
    for electrode in sorted({row.row.electrode for row in curves}):
        yield without_electrode(electrode), [row for row in curves if row.row.electrode != electrode]


def _recipe(role: str, rows: Sequence[StoredRow], definition: Definition, traces: Traces) -> Recipe:
    parents = [(row.row.role, row.id) for row in rows]
    parents += [("trace", row.trace_sha256) for row in rows if row.trace_sha256 is not None]
    if is_against_prescan(definition.curve):
        before = [traces.prescan_sha256(row) for row in rows]
        parents += [("before", one) for one in dict.fromkeys(before) if one is not None]
    instruments = sorted({row.row.instrument for row in rows})
    settings: dict[str, JsonValue] = {
        "definition": definition.signal.model_dump(mode="json"),
        "instruments": {name: instrument_identity(traces.place.settings, name) for name in instruments},
    }
    return Recipe("wave", role, tuple(parents), settings)


def _learned(recipe: Recipe, rows: Sequence[StoredRow], definition: Definition, traces: Traces) -> Record:
    standards = [_seen(row, definition, traces) for row in rows if row.row.role == "standard"]
    blanks = [_seen(row, definition, traces) for row in rows if row.row.role == "blank"]
    return recipe.record(pack_wave(learned_shape(standards, definition.curve, blanks)))


def _seen(row: StoredRow, definition: Definition, traces: Traces) -> Seen:
    return traces.seen(row, row.trace_sha256 or "", definition.curve)
