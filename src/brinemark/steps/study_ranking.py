"""From the signals of candidate definitions to their ranking by the error of the amount."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict, dataclass

import numpy as np

from brinemark.science.amount.compiled import compiled_loops
from brinemark.science.amount.definition_errors import (
    amount_error,
    difference,
    guess_error,
    log_errors,
    step_of,
    told_apart,
)
from brinemark.science.amount.left_out import ModelSections, by_curve, by_model, has_charges
from brinemark.science.amount.whole_curve import by_whole_curve, is_there
from brinemark.steps.candidates import Candidate, definition_words
from brinemark.steps.definition_lock import STUDY
from brinemark.steps.identity import Definition, Made, Recipe
from brinemark.steps.study_electrodes import KnownElectrode, readings_of, why_not
from brinemark.steps.study_signals import TriedSignals
from brinemark.steps.study_windows import WholeCurves
from brinemark.terms.amounts import ElectrodeReadings
from brinemark.terms.arrays import BoolArray, FloatArray
from brinemark.terms.canonical import JsonValue
from brinemark.terms.errors import GateFailed, Refused
from brinemark.terms.settings import Settings
from brinemark.terms.stored import Record

RANKING = "ranking"
FINALISTS = 3
"""The best so many by the classical curve, and the present definition, are read by the response model as well."""

UNREAD_MOST = 0.10
"""A definition that cannot read more than this share of the electrodes is listed and not ranked: else the electrodes
that all definitions share would be few."""

OnWork = Callable[[str], None]


@dataclass(frozen=True, slots=True, eq=False)
class Studied:
    """What a ranking is made from: electrodes, their covariates (the first, and further ones by name), candidates with
    records and signals, and how to get the whole curves, which are wanted when the extra `pls` is there."""

    known: Sequence[KnownElectrode]
    covariates: Mapping[str, float | None]
    further: Mapping[str, Mapping[str, float | None]]
    candidates: Sequence[Candidate]
    records: Sequence[str]
    signals: Sequence[TriedSignals]
    whole: Callable[[], WholeCurves]


def ranking_recipe(
    known: Sequence[KnownElectrode], candidates: Sequence[str], definition: Definition, settings: Settings
) -> Recipe:
    """candidates : ids of the definitions' records, the present one first."""
    covariate = definition.covariate
    said: dict[str, JsonValue] = {
        "level_unit": definition.level_unit,
        "levels": [[one.life.electrode, one.level, one.teaches] for one in known],
        "covariate": None if covariate is None else covariate.model_dump(mode="json"),
        "prescan": definition.prescan.model_dump(mode="json"),
        "analyte": settings.analyte.model_dump(mode="json"),
        "prior": settings.prior.model_dump(mode="json"),
        "calibration": settings.calibration.model_dump(mode="json"),
        "conditions": settings.conditions.model_dump(mode="json"),
        "whole_curves": is_there(),
    }
    if definition.further:
        said["further_covariate"] = {name: section.model_dump(mode="json") for name, section in definition.further}
    parents = [("definition", one) for one in candidates]
    parents += [("prescan", one.row.prescan_sha256) for one in known if one.row.prescan_sha256 is not None]
    return Recipe(STUDY, RANKING, tuple(parents), said, settings.calibration.seed)


def ranked(recipe: Recipe, studied: Studied, settings: Settings, on_work: OnWork) -> Record:
    """The record of a ranking; when nothing can be ranked it holds the reason."""
    usable = [k for k, one in enumerate(studied.signals) if _unread(one, studied.known) is None]
    shared = [one for one in studied.known if all(one.life.electrode in studied.signals[k].signals for k in usable)]
    reason = "no definition can read these curves" if not usable else why_not(shared)
    if reason is not None:
        return recipe.record(Made({"reason": reason, "ranked": _none_of(studied), "electrodes": []}, {}))
    table = _Table(shared, studied, settings, on_work)
    results, arrays = table.judged(usable)
    return recipe.record(Made(results, arrays))


def _unread(signals: TriedSignals, known: Sequence[KnownElectrode]) -> str | None:
    """Why a definition is not ranked."""
    if len(signals.refused) <= UNREAD_MOST * len(known):
        return None
    reasons = list(signals.refused.values())
    often = max(dict.fromkeys(reasons), key=reasons.count)
    return f"cannot read {len(reasons)} of {len(known)} curves: {often}"


def _none_of(studied: Studied, others: str | None = None) -> list[JsonValue]:
    """Entries when nothing is ranked; others : the reason of those that can read the curves."""
    return [_entry(studied, k, _unread(one, studied.known) or others) for k, one in enumerate(studied.signals)]


def _entry(studied: Studied, k: int, reason: str | None) -> dict[str, JsonValue]:
    return {
        "definition": studied.records[k],
        "words": definition_words(studied.candidates[k].section),
        "reason": reason,
        "refused": len(studied.signals[k].refused),
        "by_curve": None,
        "by_model": None,
        "model_reason": None,
        "behind": None,
    }


class _Table:
    """Errors of every candidate on the electrodes that all of them read."""

    def __init__(self, shared: Sequence[KnownElectrode], studied: Studied, settings: Settings, on_work: OnWork) -> None:
        self.shared, self.studied, self.settings, self.on_work = shared, studied, settings, on_work
        self.level = np.array([one.level for one in shared], dtype=np.float64)
        self.batch = [one.life.batch for one in shared]
        self.teaches: BoolArray = np.array([one.teaches for one in shared], dtype=bool)
        self.highest, self.step = float(self.level[self.teaches].max()), step_of(self.level[self.teaches])

    def judged(self, usable: Sequence[int]) -> tuple[dict[str, JsonValue], dict[str, FloatArray]]:
        """Results and arrays of the ranking."""
        read = {}
        for place, k in enumerate(usable, start=1):
            self.on_work(f"reading left-out batches by {place} of {len(usable)} definitions")
            read[k] = by_curve(self._readings(k), self.teaches)
        if all(np.isnan(one).all() for one in read.values()):
            reason = "no saturating curve can be laid through the signals of any definition"
            return {
                "reason": reason,
                "ranked": _none_of(self.studied, "no curve fits its signals"),
                "electrodes": [],
            }, {}
        order = sorted(usable, key=lambda k: (self._typical(read[k]), k))
        model, failed = self._by_model([*dict.fromkeys([*order[:FINALISTS], *(k for k in usable if k == 0)])])
        order.sort(key=lambda k: (k not in model, self._typical(model.get(k, read[k])), k))
        entries = [self._one(k, order[0], read, model) | {"model_reason": failed.get(k)} for k in order]
        left = [k for k in range(len(self.studied.signals)) if k not in usable]
        entries += [_entry(self.studied, k, _unread(self.studied.signals[k], self.studied.known)) for k in left]
        results: dict[str, JsonValue] = {
            "reason": None,
            "ranked": entries,
            "electrodes": [one.life.electrode for one in self.shared],
            "batches": len(set(self.batch)),
            "controls": int((~self.teaches).sum()),
            "highest_level": self.highest,
            "step": self.step,
            "guess": guess_error(self.level, self.step),
            "scaled_by_covariate": has_charges(self._readings(usable[0])),
        }
        whole, read_whole = self._whole_curve(read)
        results["whole_curve"] = whole
        return results, {
            "level": self.level,
            "read_by_curve": np.array([read[k] for k in order]),
            "read_by_model": np.array([model[k] for k in order if k in model]).reshape(-1, self.level.size),
            **read_whole,
        }

    def _by_model(self, finalists: Sequence[int]) -> tuple[dict[int, FloatArray], dict[int, str]]:
        sections = ModelSections(self.settings.analyte, self.settings.prior, self.settings.calibration)
        found: dict[int, FloatArray] = {}
        failed: dict[int, str] = {}
        with compiled_loops():
            for place, k in enumerate(finalists, start=1):
                self.on_work(f"reading by the response model, {place} of {len(finalists)} definitions")
                try:
                    found[k] = by_model(self._readings(k), self.teaches, sections)
                except (Refused, GateFailed) as fault:
                    failed[k] = str(fault)
        return found, failed

    def _whole_curve(self, read: Mapping[int, FloatArray]) -> tuple[dict[str, JsonValue], dict[str, FloatArray]]:
        """Error of whole curves by partial least squares, beside the best definition by one curve."""
        if not is_there():
            return {"reason": 'the extra "pls" is not installed', "error": None, "ahead": None}, {}
        self.on_work("reading from whole curves")
        whole = self.studied.whole()
        rows = dict(zip((one.life.electrode for one in whole.of), whole.rows, strict=True))
        missing = sum(one.life.electrode not in rows for one in self.shared)
        if missing:
            reason = whole.reason or f"{missing} curves do not reach over what the others share"
            return {"reason": reason, "error": None, "ahead": None}, {}
        curves = np.array([rows[one.life.electrode] for one in self.shared])
        readings = self._readings(next(iter(read)))
        charge = readings.covariate if has_charges(readings) else None
        found = by_whole_curve(curves, self.level, self.batch, self.teaches, charge)
        best = min(read.values(), key=self._typical)
        ahead, u = difference(self._errors(best), self._errors(found), self.batch)
        wins = ahead > 0.0 and told_apart(ahead, u, len(set(self.batch)), len(read))
        told: dict[str, JsonValue] = {"difference": ahead, "u": u, "wins": wins}
        return {"reason": None, "error": self._error(found), "ahead": told}, {"read_by_whole_curve": found}

    def _readings(self, k: int) -> ElectrodeReadings:
        studied = self.studied
        return readings_of(self.shared, studied.signals[k].signals, studied.covariates, studied.further, self.settings)

    def _errors(self, read: FloatArray) -> FloatArray:
        return log_errors(read, self.level, self.highest, self.step)

    def _typical(self, read: FloatArray) -> float:
        return float(self._errors(read).mean())

    def _one(
        self, k: int, first: int, read: Mapping[int, FloatArray], model: Mapping[int, FloatArray]
    ) -> dict[str, JsonValue]:
        by = model if k in model and first in model else read
        apart, u = difference(self._errors(by[k]), self._errors(by[first]), self.batch)
        behind: dict[str, JsonValue] = {
            "by": "model" if by is model else "curve",
            "difference": apart,
            "u": u,
            "told_apart": told_apart(apart, u, len(set(self.batch)), len(read) - 1),
        }
        return _entry(self.studied, k, None) | {
            "by_curve": self._error(read[k]),
            "by_model": self._error(model[k]) if k in model else None,
            "behind": behind,
        }

    def _error(self, read: FloatArray) -> dict[str, JsonValue]:
        return asdict(amount_error(read, self._errors(read), self.batch))
