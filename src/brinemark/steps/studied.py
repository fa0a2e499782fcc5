"""A kept study looked at again: what was asked in words, what was stated about its samples, and its picture."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from brinemark.outputs.charts import Kind, render, shown_unit, study_chart
from brinemark.records.study_request import study_text
from brinemark.science.planning.study_figures import Figure, statement_shares
from brinemark.science.planning.study_laboratory import STATEMENTS, Chunk
from brinemark.steps.chosen import FEWEST_DIGITS
from brinemark.steps.place import Place
from brinemark.steps.plan_batch_answers import levels_in_words
from brinemark.steps.study import ROLE, STUDY, StudyAnswer, answer_of
from brinemark.terms.arrays import FloatArray
from brinemark.terms.errors import Refused
from brinemark.terms.planning_pictures import StudyPicture
from brinemark.terms.wording import amount

ONCE = "read once"


@dataclass(frozen=True, slots=True, eq=False)
class KeptStudy:
    """A study with what its figures leave out. interval : share of truths that its intervals promise to hold;
    statements : for each level of the figures, the share of each kind in the order of STATEMENTS."""

    answer: StudyAnswer
    interval: float
    statements: tuple[tuple[Figure, ...], ...]

    @property
    def text(self) -> str:
        """The file that asks for it."""
        return study_text(self.answer.request)

    @property
    def name(self) -> str:
        """As people call it: its title, else the beginning of its id."""
        return self.answer.request["title"] or f"study {self.answer.id[:12]}"

    @property
    def sentence(self) -> str:
        """The main figures in one sentence."""
        found, fold = self.answer.figures, amount(self.answer.max_fold)
        needed = found["electrodes_per_answer"]
        each = "" if needed["value"] is None else f", one for {_told(needed)} electrodes made"
        holds = "no interval was said" if found["interval"]["value"] is None else _holds(self)
        return f"{_told(found['answered_per_batch'])} samples of a batch answered to a fold of {fold}{each}; {holds}"


def kept_study(place: Place, study: str) -> KeptStudy:
    """The study whose id begins so. Raises Refused when none or several do."""
    with place.database.reading() as reader:
        found = reader.records_named(STUDY, study) if len(study) >= FEWEST_DIGITS else ()
        found = tuple(one for one in found if one.role == ROLE)
        record = reader.record(found[0].id) if len(found) == 1 else None
    if record is None:
        came = f"{len(found)} studies with an id that begins with {study[:64]!r}"
        raise Refused(came, f"one, named by at least {FEWEST_DIGITS} digits", "take the id that study printed")
    settings: Any = record.settings
    shares = statement_shares(Chunk(record.arrays["rows"], record.arrays["made"]))
    return KeptStudy(answer_of(record, False), settings["decision"]["interval"], shares)


def asked_words(request: Mapping[str, Any], unit: str) -> tuple[str, str, str]:
    """What was asked: of which batches, what is burned, and how samples are read."""
    batch, samples, past = request["batch"], request["samples"], request.get("past")
    whose = "as this logbook makes them" if past is None else f"of an invented making, after {past['batches']} batches"
    seen = samples["dilutions"]
    each = "one electrode" if len(seen) == 1 else f"{len(seen)} electrodes"
    diluted = "" if set(seen) == {1.0} else f" at {', '.join(f'{one:g}' for one in seen)}x"
    levels = ", ".join(amount(one) for one in samples["levels"])
    waters = f"; their waters differ in ln K by {samples['water_K_sd']:g}" if samples["water_K_sd"] else ""
    return (
        f"{request['batches']} batches of {batch['electrodes']} electrodes {whose}",
        _burned_words(batch, samples, unit),
        f"samples of {levels} {unit}, {each}{diluted} for each, {way_words(samples['way'], unit)}{waters}",
    )


def _burned_words(batch: Mapping[str, Any], samples: Mapping[str, Any], unit: str) -> str:
    if not batch["burned"]:
        return "none burned"
    levels, read = levels_in_words(batch["burned"]), way_words(batch["way"], unit)
    same = batch["way"] == samples["way"] and read != ONCE
    return f"{len(batch['burned'])} burned ({levels} {unit}), {'read as the samples are' if same else read}"


def way_words(way: Mapping[str, Any], unit: str) -> str:
    """How electrodes are read."""
    rises = [f"{one:g}" for one in way["additions"]]
    parts = ["with a pre-scan"] if way["prescan"] else []
    parts += [f"additions of {', '.join(rises)} {unit}"] if rises else []
    parts += [f"a closing spike of {way['spike']:g} {unit}"] if way["spike"] is not None else []
    return f"read {', '.join(parts)}" if parts else ONCE


def draw_study(study: KeptStudy, kind: Kind) -> bytes:
    """What was stated, how often intervals held, and how wide they were, against the true level. Raises Refused."""
    if not study.statements:
        raise Refused("a study in which nothing was read", "one with samples", "see its remarks")
    return render(study_chart(study_picture(study)), kind)


def study_picture(study: KeptStudy) -> StudyPicture:
    """The figures by level as a picture shows them."""
    answer, levels = study.answer, study.answer.figures["levels"]
    unit = shown_unit(answer.unit)
    return StudyPicture(
        title=f"What a plan would state: {study.name}",
        unit=unit,
        level=np.array([one["level"] for one in levels]),
        kinds=STATEMENTS,
        shares=np.array([[one.value or 0.0 for one in kinds] for kinds in study.statements]),
        holds=_column(levels, "interval"),
        promised=study.interval,
        fold=_column(levels, "fold"),
        max_fold=answer.max_fold,
        notes=(f"{'; '.join(asked_words(answer.request, unit))}.",),
    )


def _column(levels: Sequence[Mapping[str, Any]], name: str) -> tuple[FloatArray, FloatArray]:
    """Values of a figure and their errors, nan = none."""
    found = [
        [math.nan if one[name][part] is None else one[name][part] for one in levels] for part in ("value", "error")
    ]
    return np.array(found[0], dtype=float), np.array(found[1], dtype=float)


def _holds(study: KeptStudy) -> str:
    one = study.answer.figures["interval"]
    error = "" if one["error"] is None else f" ({100 * one['error']:.2g} %)"
    return f"{100 * study.interval:g} % intervals hold {100 * one['value']:.3g} %{error} of truths"


def _told(one: Mapping[str, Any]) -> str:
    if one["value"] is None:
        return "no"
    return f"{one['value']:.3g}" + ("" if one["error"] is None else f" ({one['error']:.2g})")
