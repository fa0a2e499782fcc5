"""What a look at a signal definition answers: readings of known electrodes by it, beside those by the present one."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np

from brinemark.science.amount.sibling_scatter import LevelScatter, sibling_scatter, typical_share
from brinemark.steps.answers import ANSWER_SCHEMA, flag_dict
from brinemark.steps.candidates import Candidate, definition_words
from brinemark.steps.definition_lock import SeenAlready
from brinemark.steps.gather import LeftOut
from brinemark.terms.curves import Signal

BY_CHANCE = (
    "Which of two definitions gives the smaller error of the amount, and whether by more than chance, only the ranking "
    "says: it reads every batch by what the others teach, and takes the pre-scan into account."
)


@dataclass(frozen=True, slots=True)
class KnownReading:
    """The main reading of an electrode of known level by a definition; signal None: not read, with the reason.

    level [level unit]; teaches : a blank or standard, else a control; row : id of the sheet's row.
    """

    electrode: str
    batch: str
    instrument: str
    role: str
    row: str
    level: float
    teaches: bool
    signal: Signal | None
    reason: str | None = None

    def to_dict(self) -> dict[str, Any]:
        names = ("electrode", "batch", "instrument", "role", "row", "level", "reason")
        signal = self.signal
        told: dict[str, Any] = {name: getattr(self, name) for name in names} | {"signal": None}
        if signal is not None:
            told |= {"signal": signal.value, "u": signal.u, "unit": signal.unit}
            told |= {"u_noise": signal.u_noise, "u_baseline": signal.u_baseline}
            told |= {"flags": [flag_dict(flag) for flag in signal.flags]}
        return told


@dataclass(frozen=True)
class DefinitionLook:
    """One definition and what it reads; id : of its record."""

    candidate: Candidate
    id: str
    readings: tuple[KnownReading, ...]

    @property
    def words(self) -> str:
        return definition_words(self.candidate.section)

    @property
    def unit(self) -> str:
        return self.candidate.curve.unit

    @property
    def read(self) -> tuple[KnownReading, ...]:
        """Those that have a signal."""
        return tuple(one for one in self.readings if one.signal is not None)

    @property
    def unread(self) -> Mapping[str, int]:
        """Reasons why electrodes have none, and how many have each."""
        return Counter(one.reason or "not read" for one in self.readings if one.signal is None)

    @cached_property
    def scatter(self) -> tuple[LevelScatter, ...]:
        """Of blanks and standards, by level."""
        pairs = [(one, one.signal.value) for one in self.readings if one.signal is not None and one.teaches]
        level = np.array([one.level for one, _ in pairs], dtype=np.float64)
        signal = np.array([value for _, value in pairs], dtype=np.float64)
        return sibling_scatter(level, signal, [one.instrument for one, _ in pairs])

    @property
    def u_share(self) -> float | None:
        """Standard uncertainty of a curve's own over the rise to the highest standard, the middle one of all."""
        rise = max((one.rise for one in self.scatter), default=0.0)
        u = [one.signal.u for one in self.readings if one.signal is not None]
        return float(np.median(u)) / rise if u and rise > 0.0 else None

    @property
    def flags(self) -> list[dict[str, Any]]:
        """Each flag once, most frequent first: how many curves have it, and on how many it is severe."""
        every = [flag for one in self.readings if one.signal is not None for flag in one.signal.flags]
        meaning = {flag.name: flag.meaning for flag in every}
        count, severe = Counter(flag.name for flag in every), Counter(flag.name for flag in every if flag.severe)
        return [
            {"name": name, "count": number, "severe": severe[name], "meaning": meaning[name]}
            for name, number in count.most_common()
        ]

    def to_dict(self) -> dict[str, Any]:
        share = typical_share(self.scatter)
        return {
            "id": self.id,
            "words": self.words,
            "signal": self.candidate.section.model_dump(mode="json"),
            "present": self.candidate.present,
            "unit": self.unit,
            "electrodes": len(self.readings),
            "read": len(self.read),
            "unread": [{"reason": reason, "count": count} for reason, count in self.unread.items()],
            "u_share": self.u_share,
            "scatter_share": None if share is None else {"share": share[0], "relative_u": share[1]},
            "scatter": [
                {"level": one.level, "count": one.count, "scatter": one.scatter, "rise": one.rise, "share": one.share}
                for one in self.scatter
            ],
            "flags": self.flags,
            "readings": [one.to_dict() for one in self.readings],
        }


@dataclass(frozen=True, slots=True, eq=False)
class DefinitionTrial:
    """The present definition beside the one that was tried (the same when that is the present one).

    unit : of levels; new : whether it was tried for the first time on these curves; seen : what was read of samples
    before; definitions : how many different ones were used or tried so far.
    """

    present: DefinitionLook
    tried: DefinitionLook
    unit: str
    new: bool
    left_out: tuple[LeftOut, ...]
    seen: SeenAlready
    definitions: int

    @property
    def differs(self) -> bool:
        return not self.tried.candidate.present

    @property
    def looks(self) -> tuple[DefinitionLook, ...]:
        return (self.present, self.tried) if self.differs else (self.present,)

    @property
    def sentences(self) -> list[str]:
        """How many were read, u, and scatter against rise, in words."""
        return [*_read_words(self), *_u_words(self), *_scatter_words(self)]

    def to_dict(self) -> dict[str, Any]:
        return {
            "schema": ANSWER_SCHEMA,
            "unit": self.unit,
            "new": self.new,
            "present": self.present.to_dict(),
            "tried": self.tried.to_dict(),
            "differs": self.differs,
            "sentences": self.sentences,
            "left_out": [{"electrode": o.electrode, "batch": o.batch, "reason": o.reason} for o in self.left_out],
            "samples_looked_at": 0,
            "definitions_tried": self.definitions,
            "readings_of_samples_already": self.seen.readings,
            "locked": self.seen.locked,
            "warnings": self.seen.warnings,
        }


def _beside(trial: DefinitionTrial, tried: str, present: str) -> str:
    return f"{tried} ({present} by the present one)" if trial.differs else tried


def _read_words(trial: DefinitionTrial) -> list[str]:
    every = len(trial.tried.readings)
    read = _beside(trial, str(len(trial.tried.read)), str(len(trial.present.read)))
    why = "; ".join(f"{count}: {reason}" for reason, count in trial.tried.unread.items())
    return [f"It reads {read} of {every} curves.", *([f"Not read: {why}."] if why else [])]


def _u_words(trial: DefinitionTrial) -> list[str]:
    if trial.tried.u_share is None:
        return []
    said = _beside(trial, _percent(trial.tried.u_share), _percent(trial.present.u_share))
    return [f"The standard uncertainty of a single curve is typically {said} of the rise to the highest standard."]


def _scatter_words(trial: DefinitionTrial) -> list[str]:
    found = trial.tried.scatter
    if not trial.tried.read:
        return []
    if not found:
        return ["No two electrodes of one instrument have the same level beside a blank: their scatter is not known."]
    flat = [one.level for one in found if one.level > 0.0 and one.rise <= 0.0]
    told = [f"At {level:g} {trial.unit} the signals do not rise above the blanks." for level in flat]
    tried, present = typical_share(found), typical_share(trial.present.scatter)
    if tried is None:
        return told
    said = _beside(trial, _percent(tried[0]), _percent(present and present[0]))
    return [
        f"Electrodes at one level differ by {said} of their rise above the blanks; so few electrodes tell such a share "
        f"to about {_percent(tried[1])} of itself. On this, not on u alone, the error of the amount rests.",
        *told,
        *([BY_CHANCE] if trial.differs else []),
    ]


def _percent(share: float | None) -> str:
    return "an unknown part" if share is None else f"{100.0 * share:.2g} %"
