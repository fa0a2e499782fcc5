"""Every known electrode read by a candidate definition, on waves that its own batch did not teach."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from brinemark.steps.candidates import Candidate
from brinemark.steps.curves import (
    Cut,
    definition_json,
    learned_shape,
    learns_a_shape,
    read_signal,
    remembering_cut,
    stated_shape,
)
from brinemark.steps.definition_lock import DEFINITION, STUDY
from brinemark.steps.identity import Made, Recipe
from brinemark.steps.measure import Traces, scan_rate
from brinemark.steps.study_electrodes import KnownElectrode
from brinemark.steps.study_windows import instruments_of, parents_of
from brinemark.terms.canonical import JsonValue
from brinemark.terms.curves import CurveDefinition, Shape, Signal, SignalDefinition
from brinemark.terms.errors import Refused
from brinemark.terms.stored import Record


@dataclass(frozen=True, slots=True, eq=False)
class TriedSignals:
    """What a definition read: (value, u) by electrode, why it could not read others, and the unit."""

    signals: Mapping[str, tuple[float, float]]
    refused: Mapping[str, str]
    unit: str


@dataclass(slots=True, eq=False)
class Lessons:
    """Waves by definition and the batch that did not teach them; quantities of one window share them."""

    known: Sequence[KnownElectrode]
    traces: Traces
    _learned: dict[tuple[CurveDefinition, str], Shape] = field(default_factory=dict)
    _cut: Cut = field(default_factory=remembering_cut)

    def shape(self, curve: CurveDefinition, batch: str) -> Shape:
        """The wave that reads a batch, learned from the blanks and standards of all others. Raises Refused."""
        if not learns_a_shape(curve):
            return stated_shape(curve)
        key = (replace(curve, quantity="height") if isinstance(curve, SignalDefinition) else curve), batch
        if key not in self._learned:
            taught = [one for one in self.known if one.teaches and one.life.batch != batch]
            standards = [self._seen(one, curve) for one in taught if one.life.main.role == "standard"]
            blanks = [self._seen(one, curve) for one in taught if one.life.main.role == "blank"]
            self._learned[key] = learned_shape(standards, curve, blanks, self._cut)
        return self._learned[key]

    def _seen(self, one: KnownElectrode, curve: CurveDefinition) -> Any:
        return self.traces.seen(one.row, one.trace, curve)


def definition_recipe(candidate: Candidate, known: Sequence[KnownElectrode], traces: Traces) -> Recipe:
    """What the signals of a candidate are made from. Who named or proposed it is no part of it."""
    curve = candidate.curve
    said: dict[str, JsonValue] = {
        "definition": definition_json(curve),
        "signal": candidate.section.model_dump(mode="json"),
        "instruments": instruments_of(known, traces),
    }
    if isinstance(curve, SignalDefinition):
        said["scan_rates_V_per_s"] = [scan_rate(one.row, traces) for one in known]
    return Recipe(STUDY, DEFINITION, tuple(parents_of(known, curve, traces)), said)


def tried(recipe: Recipe, candidate: Candidate, lessons: Lessons) -> Record:
    """The record of a candidate's signals; an electrode that it cannot read is kept with the reason."""
    return tried_record(recipe, candidate, *read_known(candidate, lessons))


def read_known(candidate: Candidate, lessons: Lessons) -> tuple[dict[str, Signal], dict[str, str]]:
    """The signal of every known electrode, and why others have none."""
    curve, signals, refused = candidate.curve, dict[str, Signal](), dict[str, str]()
    for one in lessons.known:
        name = one.life.electrode
        try:
            shape = lessons.shape(curve, one.life.batch)
            signals[name] = read_signal(lessons.traces.seen(one.row, one.trace, curve), curve, shape)
        except Refused as fault:
            refused[name] = f"{fault.came}; expected {fault.expected}"
    return signals, refused


def tried_record(
    recipe: Recipe, candidate: Candidate, signals: Mapping[str, Signal], refused: Mapping[str, str]
) -> Record:
    """What a candidate read as its record."""
    unread: list[JsonValue] = [{"electrode": name, "reason": reason} for name, reason in refused.items()]
    results: dict[str, JsonValue] = {"electrodes": list(signals), "refused": unread, "unit": candidate.curve.unit}
    pairs = np.array([(one.value, one.u) for one in signals.values()], dtype=np.float64).reshape(-1, 2)
    return recipe.record(Made(results, {"signal": pairs[:, 0], "u": pairs[:, 1]}))


def signals_of(record: Record) -> TriedSignals:
    """What a definition's record (with arrays) holds."""
    results: Any = record.results
    pairs = zip(record.arrays["signal"].tolist(), record.arrays["u"].tolist(), strict=True)
    return TriedSignals(
        dict(zip(results["electrodes"], pairs, strict=True)),
        {one["electrode"]: one["reason"] for one in results["refused"]},
        results["unit"],
    )
