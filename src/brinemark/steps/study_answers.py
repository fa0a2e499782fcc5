"""What a study of signal definitions answers."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from brinemark.science.curve.proposing import WindowProposal
from brinemark.steps.answers import ANSWER_SCHEMA
from brinemark.steps.candidates import Candidate, definition_words, settings_block
from brinemark.steps.definition_lock import SeenAlready
from brinemark.steps.gather import LeftOut
from brinemark.terms.settings import SIGNAL_SECTIONS, family

HIDDEN = (
    "Samples were not looked at: no curve of a sample was read. Choose a definition before samples are read, and "
    "calibrate again after a change."
)
LEAKAGE = (
    "proposed windows rest on all blanks and standards, those that they are judged on included, which flatters them a "
    "little; waves and levels of a batch rest on the other batches alone"
)


@dataclass(frozen=True, slots=True, eq=False)
class RankedDefinition:
    """One definition of a ranking: the candidate, the id of its record, and what the ranking says of it.

    entry : reason, refused, by_curve, by_model, model_reason, behind as the record holds them.
    """

    candidate: Candidate
    id: str
    entry: Mapping[str, Any]

    @property
    def is_ranked(self) -> bool:
        return self.entry["by_curve"] is not None

    @property
    def shown(self) -> Mapping[str, Any]:
        """The errors that it is ranked by: those of the model where it was read by it."""
        found: Mapping[str, Any] = self.entry["by_model"] or self.entry["by_curve"]
        return found

    @property
    def told_apart(self) -> bool:
        """Whether its error is larger than the first one's beyond the standard error."""
        behind = self.entry["behind"]
        return behind is not None and bool(behind["told_apart"])

    def to_dict(self) -> dict[str, Any]:
        return {
            "id": self.id,
            "words": definition_words(self.candidate.section),
            "signal": self.candidate.section.model_dump(mode="json"),
            "window": self.candidate.window,
            "present": self.candidate.present,
            **{key: self.entry[key] for key in ("reason", "refused", "by_curve", "by_model", "model_reason", "behind")},
        }


@dataclass(frozen=True, slots=True, eq=False)
class SignalStudy:
    """The answer of `signals`: definitions by rank, then those that cannot be ranked with their reason.

    id : of the ranking's record, None when nothing was ranked; reason : why nothing can be said, else None; windows :
    None when none were asked of the curves; left_out : electrodes of known level that were not used; seen : what
    was read of samples before.
    """

    id: str | None
    new: bool
    reason: str | None
    unit: str
    definitions: tuple[RankedDefinition, ...]
    windows: WindowProposal | None
    left_out: tuple[LeftOut, ...]
    results: Mapping[str, Any]
    seen: SeenAlready

    @property
    def first(self) -> RankedDefinition | None:
        """The definition with the smallest error."""
        return self.definitions[0] if self.reason is None and self.definitions else None

    @property
    def sees(self) -> bool:
        """Whether the first definition reads nearer than one guess for all electrodes would."""
        return self.first is not None and self.first.shown["typical"] < self.results["guess"]

    @property
    def present(self) -> RankedDefinition | None:
        """The logbook's own definition."""
        return next((one for one in self.definitions if one.candidate.present), None)

    @property
    def verdict(self) -> str:
        """What the ranking says of the present definition, in one sentence."""
        first, present = self.first, self.present
        if first is None or present is None:
            return f"cannot say: {self.reason}"
        if not self.sees:
            guess = self.results["guess"]
            return (
                f"No definition reads nearer than one guess for all electrodes (error {guess:.3f}): look at the curves"
            )
        if first.candidate.present:
            return "The present definition ranks first: keep it"
        words = definition_words(first.candidate.section)
        if not present.is_ranked:
            return f"The present definition is not ranked ({present.entry['reason']}); first is {words}"
        behind = present.entry["behind"]
        size = f"{behind['difference']:.3f} +- {behind['u']:.3f}"
        if present.told_apart:
            return f"The first definition ({words}) reads nearer to the truth than the present one, by {size}"
        return (
            "No definition is told apart from the present one: keep it, unless something else speaks for another "
            f"(the first is ahead by {size})"
        )

    def to_dict(self) -> dict[str, Any]:
        """The shape of terms/schemas/signals.json."""
        first = self.first
        return {
            "schema": ANSWER_SCHEMA,
            "id": self.id,
            "new": self.new,
            "reason": self.reason,
            "verdict": self.verdict,
            "unit": self.unit,
            "electrodes": len(self.results.get("electrodes", ())),
            "batches": self.results.get("batches", 0),
            "controls": self.results.get("controls", 0),
            "step": self.results.get("step"),
            "guess": self.results.get("guess"),
            "highest_level": self.results.get("highest_level"),
            "scaled_by_covariate": self.results.get("scaled_by_covariate"),
            "whole_curve": self.results.get("whole_curve"),
            "windows": None if self.windows is None else _windows(self.windows),
            "definitions": [one.to_dict() for one in self.definitions],
            "settings": None if first is None or not self.sees else settings_block(first.candidate.section),
            "left_out": [{"electrode": o.electrode, "batch": o.batch, "reason": o.reason} for o in self.left_out],
            "samples_looked_at": 0,
            "readings_of_samples_already": self.seen.readings,
            "locked": self.seen.locked,
            "warnings": self.seen.warnings,
        }


def _windows(found: WindowProposal) -> dict[str, Any]:
    return {
        "proposed": [list(window) for window in found.windows],
        "place": found.place,
        "low": found.low,
        "high": found.high,
        "t": found.t,
        "moves": found.moves,
        "reason": found.reason,
        "taught_by": "all blanks and standards",
    }


@dataclass(frozen=True, slots=True)
class TriedDefinition:
    """A definition that was ever tried: its record, when, and its newest error with the rank it had then.

    rank : 1 is the first, None when it was not ranked; of : how many were ranked.
    """

    id: str
    made_at: str
    signal: Mapping[str, Any]
    electrodes: int
    refused: int
    typical: float | None
    by: str | None
    rank: int | None
    of: int

    @property
    def words(self) -> str:
        section = SIGNAL_SECTIONS[family(self.signal)].model_validate(self.signal)
        return definition_words(section)

    def to_dict(self) -> dict[str, Any]:
        return {
            "id": self.id,
            "words": self.words,
            "made_at": self.made_at,
            "signal": dict(self.signal),
            "electrodes": self.electrodes,
            "refused": self.refused,
            "typical": self.typical,
            "by": self.by,
            "rank": self.rank,
            "of": self.of,
        }


def proposal_words(found: WindowProposal, unit: str) -> str:
    """What the curves say of the wave's place, in one sentence."""
    if found.reason is not None:
        return f"The curves propose no window: {found.reason}."
    digits = 2 if unit == "V" else 0
    where = f"from {found.low:.{digits}f} to {found.high:.{digits}f} {unit}, summit {found.place:.{digits}f} {unit}"
    if found.moves is None:
        moves = "with one batch left out no wave is found, so it rests on few curves"
    else:
        scale, small = (1e3, "mV") if unit == "V" else (1.0, unit)
        moves = f"leaving out any one batch moves a window's end by at most {found.moves * scale:.2g} {small}"
    return f"Standards rise above the blanks of their batch {where}; {moves}."


def whole_curve_words(found: Mapping[str, Any]) -> str:
    """What partial least squares on whole curves make of the same electrodes, in one sentence or two."""
    name = "Whole curves by partial least squares"
    if found["error"] is None:
        return f"{name} were not scored: {found['reason']}."
    ahead = found["ahead"]
    said = f"{name}: error {found['error']['typical']:.3f}"
    if not ahead["wins"]:
        return f"{said}; they do not read nearer than the best definition by curve, beyond chance, and are not offered."
    return (
        f"{said}, nearer than the best definition by curve by {ahead['difference']:.3f} +- {ahead['u']:.3f}: curves "
        "tell more than one number of them does. [signal] cannot hold that; look for what else follows the level."
    )
