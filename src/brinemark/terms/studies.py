"""What is asked of a study of a plan, in plain values."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from typing import Any


@dataclass(frozen=True, slots=True)
class Way:
    """What an electrode goes through: a pre-scan, its main reading, additions and a closing spike, each the rise of the
    cell level [level unit]."""

    prescan: bool = False
    additions: tuple[float, ...] = ()
    spike: float | None = None


@dataclass(frozen=True, slots=True)
class PastWanted:
    """The history of every simulated laboratory, where it is not the logbook's own: batches with electrodes at levels;
    lived : how many of the last batches went through way, None = all."""

    batches: int = 9
    levels: tuple[float, ...] = (0.0, 0.0, 0.5, 1.0, 2.0, 8.0)
    lived: int | None = None
    way: Way = field(default_factory=Way)


@dataclass(frozen=True, slots=True)
class BatchWanted:
    """electrodes of a new batch, and the levels of those that are burned."""

    electrodes: int = 6
    burned: tuple[float, ...] = (0.0, 2.0)
    way: Way = field(default_factory=Way)


@dataclass(frozen=True, slots=True)
class SamplesWanted:
    """True levels of samples, taken in turn; dilutions : of each, one electrode for one; water_K_sd : scatter of ln K
    between their waters."""

    levels: tuple[float, ...] = (0.0, 0.5, 1.0, 2.0, 5.0)
    dilutions: tuple[float, ...] = (1.0,)
    water_K_sd: float = 0.0
    way: Way = field(default_factory=Way)


@dataclass(frozen=True, slots=True)
class StudyRequest:
    """batches : simulated in all; per_history : of them after one history. population : numbers of an invented one,
    None = what the logbook's calibration has learned, whose electrodes then are the history."""

    batches: int
    per_history: int = 20
    seed: int = 1
    title: str | None = None
    population: Mapping[str, float] | None = None
    past: PastWanted = field(default_factory=PastWanted)
    batch: BatchWanted = field(default_factory=BatchWanted)
    samples: SamplesWanted = field(default_factory=SamplesWanted)

    def to_dict(self) -> dict[str, Any]:
        """As JSON takes it; what plays no part is left out."""
        plain: dict[str, Any] = _lists(asdict(self))
        if self.population is None:
            del plain["past"]
        return plain


def _lists(value: Any) -> Any:
    if isinstance(value, Mapping):
        return {key: _lists(part) for key, part in value.items()}
    return [_lists(part) for part in value] if isinstance(value, tuple | list) else value
