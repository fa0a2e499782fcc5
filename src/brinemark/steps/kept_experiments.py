"""What the newest fit of own experiments that was kept says: the third world, or why there is none."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any

from brinemark.records.reader import Reader
from brinemark.science.fish.parameters import Parameter, Source
from brinemark.science.fish.worlds import World, published_worlds
from brinemark.steps.fish_answers import finite
from brinemark.steps.identity import Made

if TYPE_CHECKING:
    from brinemark.science.fish.own_experiments import OwnFit

EXPERIMENTS = "own experiments"
NONE_YET = "no own experiments have been fitted yet"


@dataclass(frozen=True, slots=True, eq=False)
class KeptExperiments:
    """record : id, None while nothing is kept; fit : None with it; world : of own controls, or why there is none."""

    record: str | None
    fit: OwnFit | None
    world: World | str

    @property
    def worlds(self) -> tuple[World, ...]:
        """The published worlds, and that of own controls where there is one."""
        return (*published_worlds(), self.world) if isinstance(self.world, World) else published_worlds()


def newest_experiments(reader: Reader) -> KeptExperiments:
    """The newest fit that was kept."""
    newest = next(iter(reader.newest_first(EXPERIMENTS)), None)
    if newest is None:
        return KeptExperiments(None, None, NONE_YET)
    from brinemark.science.fish.own_experiments import own_world

    record = reader.records([newest.id], arrays=True)[newest.id]
    fit = unpacked(record.results, record.arrays)
    return KeptExperiments(record.id, fit, own_world(fit))


def packed(fit: OwnFit) -> Made:
    """A fit as a record holds it: of the draws, those of the parameters that were measured."""
    draws = {one.name: fit.draws[one.name] for one in fit.measured}
    return Made(finite(fit_dict(fit)), draws)


def fit_dict(fit: OwnFit) -> dict[str, Any]:
    """A fit as data, without its draws."""
    return {
        "experiments": list(fit.experiments),
        "counts": asdict(fit.counts),
        "measured": [asdict(one) for one in fit.measured],
        "reasons": dict(fit.reasons),
        "ends": {name: list(ends) for name, ends in fit.ends.items()},
        "effective": fit.effective,
        "rounds": fit.rounds,
        "words": list(fit.words),
        "cautions": list(fit.cautions),
    }


def unpacked(results: Any, arrays: Mapping[str, Any]) -> OwnFit:
    """The fit that a record holds."""
    from brinemark.science.fish.own_experiments import Counts, OwnFit

    counts: dict[str, Any] = {
        name: tuple((one, two) for one, two in part) if isinstance(part, list) else part
        for name, part in results["counts"].items()
    }
    return OwnFit(
        experiments=tuple(results["experiments"]),
        counts=Counts(**counts),
        measured=tuple(Parameter(**{**one, "source": Source(**one["source"])}) for one in results["measured"]),
        reasons=results["reasons"],
        ends={name: (low, middle, high) for name, (low, middle, high) in results["ends"].items()},
        draws=dict(arrays),
        effective=results["effective"],
        rounds=results["rounds"],
        words=tuple(results["words"]),
        cautions=tuple(results["cautions"]),
    )
