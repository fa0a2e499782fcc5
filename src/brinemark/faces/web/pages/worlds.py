"""The page of worlds: parameters that interpretations use, with their sources, and what own experiments say of them."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from brinemark.faces.web.answers import Answer, GoTo, Page
from brinemark.faces.web.visit import Visit

if TYPE_CHECKING:
    from brinemark.steps.kinetics_in_use import KineticsAnswer


def show(visit: Visit) -> Answer:
    """Every parameter of every world, and own experiments."""
    answer = visit.desk.kept("kinetics", visit.book.kinetics)
    return Page("worlds.html", "Worlds and own experiments", visit.desk.kept("worlds page", lambda: _data(answer)))


def fit(visit: Visit) -> Answer:
    """Fit own experiments, and keep the fit."""
    return GoTo(f"/jobs/{visit.desk.jobs.begin('fit own', 'Fit own experiments').id}")


def _data(answer: KineticsAnswer) -> dict[str, Any]:
    plain: Mapping[str, Any] = answer.to_dict()
    return {
        "kinetics": plain,
        "worlds": [
            {
                "world": world.name,
                "words": world.words,
                "parameters": [
                    {
                        "words": answer.words_of(name),
                        "unit": "" if one.unit == "1" else one.unit,
                        "median": one.median,
                        "spread": None if one.law == "fixed" else one.spread,
                        "law": one.law,
                        "standing": one.source.standing,
                        "source": str(one.source),
                    }
                    for name, one in world.parameters.items()
                ],
            }
            for world in answer.worlds
        ],
        "usable": any(one.left_out is None for one in answer.tanks),
    }
