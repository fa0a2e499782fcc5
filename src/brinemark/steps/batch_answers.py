"""What is answered about batches and their electrodes: plain records that give themselves as JSON."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from typing import Any

from brinemark.steps.answers import ANSWER_SCHEMA
from brinemark.terms.making import BY_NAME, SPENT, STATES, Making


@dataclass(frozen=True, slots=True)
class MadeElectrode:
    """One electrode and its state.

    made : whether a making names it (else only a run sheet does); reason : why it was set aside; plan : id of the open
    run plan that it is laid out in; sheet, used_for : title of the sheet it was spent in, and what for.
    """

    electrode: str
    batch: str
    state: str
    made: bool
    position: str | None = None
    reason: str | None = None
    plan: str | None = None
    sheet: str | None = None
    used_for: str | None = None

    def to_dict(self) -> dict[str, Any]:
        return asdict(self)

    @property
    def words(self) -> str:
        """Its state in a few words."""
        more = {SPENT: f" on {self.used_for} in {self.sheet}", "laid out": f" in run plan {(self.plan or '')[:12]}"}
        return self.state + more.get(self.state, f": {self.reason}" if self.reason else "")


@dataclass(frozen=True, slots=True)
class EarlierMaking:
    """A making that was corrected: what it said, when it was recorded, and why it was corrected."""

    id: str
    made_at: str
    reason: str
    making: Making


@dataclass(frozen=True, slots=True)
class Batch:
    """A batch: how it was made (None when only run sheets tell of it) and its electrodes.

    id, recorded_at : of the record of its making; earlier : makings that this one corrects, newest first.
    """

    name: str
    making: Making | None
    electrodes: tuple[MadeElectrode, ...]
    id: str | None = None
    recorded_at: str | None = None
    earlier: tuple[EarlierMaking, ...] = ()

    def count(self, state: str) -> int:
        return sum(one.state == state for one in self.electrodes)

    def to_dict(self) -> dict[str, Any]:
        """One batch in the JSON of `batches --json`."""
        return {
            "schema": ANSWER_SCHEMA,
            "batch": self.name,
            "id": self.id,
            "recorded_at": self.recorded_at,
            "making": None if self.making is None else making_dict(self.making),
            "electrodes": [one.to_dict() for one in self.electrodes],
            "counts": {state: self.count(state) for state in STATES},
            "earlier": [
                {"id": one.id, "recorded_at": one.made_at, "reason": one.reason, "making": making_dict(one.making)}
                for one in self.earlier
            ],
        }


@dataclass(frozen=True, slots=True)
class RecordedMaking:
    """What recording a making did; new is False when the same was there already; supersedes : the one it corrects."""

    id: str
    new: bool
    batch: Batch
    supersedes: str | None = None

    def to_dict(self) -> dict[str, Any]:
        """The JSON of `make --json`."""
        plain = {"id": self.id, "new": self.new, "supersedes": self.supersedes}
        return {"schema": ANSWER_SCHEMA, **plain, "batch": self.batch.to_dict()}


def making_dict(making: Making) -> dict[str, Any]:
    """A making as JSON, with the unit of every factor."""
    return {
        "made_on": making.made_on,
        "maker": making.maker,
        "recipe": making.recipe,
        "electrodes": list(making.electrodes),
        "positions": dict(making.positions),
        "factors": [
            {"name": name, "value": value, "unit": BY_NAME[name].unit or None} for name, value in making.factors
        ],
        "further": dict(making.further),
        "note": making.note,
    }


def batch_order(batches: Mapping[str, Batch]) -> list[Batch]:
    """Batches by the day they were made, those of unknown day first; then by name."""
    return sorted(batches.values(), key=lambda one: (one.making.made_on if one.making else "", one.name))
