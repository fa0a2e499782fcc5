"""What is read for the sake of the fish: blanks, control tanks, a spiked tank, a trial, later consignments.

Levels of these waters are made by simple invented formulas, none of them a model of the program: a tank whose fish give
off nothing has a lognormal background, a fed one a higher one; exposed fish add a lognormal amount; a spiked tank loses
what was put in at a rate drawn once. The source water holds more than the tanks, which lose it.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta

from brinemark.demo.plan import SEASON_START, Part, Plan, Tank, planned, season

BACKGROUND = (0.08, 1.6)
"""Level of a tank of the quay's water whose fish give off nothing [ug/L], and its geometric standard deviation."""
FED_BACKGROUND = (0.35, 1.2)
"""The same of a tank that was fed shortly before. Two of the control tanks were."""
RELEASED = {"light": (0.9, 1.9), "heavy": (3.2, 1.7)}
"""What exposed fish add to the water of a small tank [ug/L] by exposure, with geometric standard deviations."""
SPIKE_LEVEL, SPIKE_SPREAD = 10.0, 1.02
"""Level of the spiked tank at once after the spike [ug/L], and how well it was put in."""
LOSS_PER_D, LOSS_SPREAD = 0.9, 1.3
"""Rate at which the spiked tank loses it [1/d]."""
SPIKE_DAYS = {"E1-start": 0.1, "E1-day-1": 1.0, "E1-day-2": 2.0}
"""When the spiked tank was sampled [d after the spike]."""

_Batches = dict[str, tuple[str, ...]]

CONTROL_TANKS, FED_TANKS = tuple(range(1, 7)), (2, 5)
UNEXPOSED, LIGHT, HEAVY = (1, 4, 6, 9, 11, 13), (2, 7, 10, 14), (3, 5, 8, 12)
TRIAL_TANKS = tuple(sorted((*UNEXPOSED, *LIGHT, *HEAVY)))
"""Tanks of the trial by what their fish went through, in no order that their numbers tell."""
LATER: dict[str, tuple[int, dict[int, str]]] = {
    "K2": (3, {2: "heavy"}),
    "K3": (3, {}),
    "K4": (3, {2: "heavy", 3: "light"}),
}
"""Later consignments: number of tanks, and those whose fish were really exposed."""


def keeping(name: str, exposure: str = "", fed: bool = False) -> Tank:
    """Water of a tank with fish of this exposure."""
    background = Part(f"{name} background", *(FED_BACKGROUND if fed else BACKGROUND))
    released = (Part(f"{name} released", *RELEASED[exposure]),) if exposure else ()
    return Tank(name, parts=(background, *released))


def trial_exposure(number: int) -> str:
    """What the fish of a trial's tank went through, "" for nothing."""
    return "light" if number in LIGHT else "heavy" if number in HEAVY else ""


def _spiked(name: str, days: float) -> Tank:
    spike = Part("E1 spike", SPIKE_LEVEL, SPIKE_SPREAD, LOSS_PER_D, LOSS_SPREAD, days)
    return Tank(name, parts=(spike, Part("E1 background", *BACKGROUND)))


FISH_WATERS = (
    Tank("K1-source", 0.15, 0.35, "source water of the quay"),
    Tank("K1-source-slip", 20.0, 40.0, "source water of the slip", same_as="K1-tank-8"),
    Tank("K1-field", note="bottle of clean seawater opened at the tanks"),
    Tank("K1-filter", note="clean seawater through a filter"),
    Tank("K1-feed", 0.2, 0.5, "feed in clean seawater for a day"),
    Tank("K1-tank-7-second", 0.05, 0.12, "tank 7 once more, by the other inspector"),
    *(keeping(f"C1-tank-{number}", fed=number in FED_TANKS) for number in CONTROL_TANKS),
    *(_spiked(name, days) for name, days in SPIKE_DAYS.items()),
    *(keeping(f"T1-tank-{number}", trial_exposure(number)) for number in TRIAL_TANKS),
    Tank("T1-source", 0.15, 0.35, "source water of the quay"),
    Tank("T1-field", note="bottle of clean seawater opened at the tanks"),
    *(
        keeping(f"{name}-tank-{number}", exposed.get(number, ""))
        for name, (tanks, exposed) in LATER.items()
        for number in range(1, tanks + 1)
    ),
    Tank("K2-field", note="bottle of clean seawater opened at the tanks"),
    Tank("K4-source", 0.15, 0.35, "source water of the quay"),
)
"""Every water that is read beside the season."""

# As in plan.py; every electrode that reads a water gets a closing spike.
_CONTROLS: _Batches = {
    "H16": ("B 0", "B 4", "B K1-source", "B K1-source-slip/16", "B K1-field", "B K1-feed"),
    "H17": ("B 0", "B 1", "B K1-filter", "B K1-tank-7-second", "B C1-tank-1", "B C1-tank-2"),
    "H18": ("B 0.5", "B 8", "B C1-tank-3", "B C1-tank-4", "B C1-tank-5", "B E1-start/4"),
    "H19": ("B 0", "B 2", "B C1-tank-6", "B E1-day-1/2", "B E1-day-2"),
}
_TRIAL: _Batches = {
    "H20": ("B 0", "B 4", "B T1-tank-1", "B T1-tank-2", "B T1-tank-3", "B T1-tank-4"),
    "H21": ("B 1", "B 8", "B T1-tank-5", "B T1-tank-6", "B T1-tank-7", "B T1-tank-8"),
    "H22": ("B 0", "B 2", "B T1-tank-9", "B T1-tank-10", "B T1-tank-11", "B T1-tank-12"),
    "H23": ("B 0", "B 20", "B T1-tank-13", "B T1-tank-14", "B T1-source", "B T1-field"),
}
_LATER: tuple[tuple[int, _Batches], ...] = (
    (136, {"H24": ("B 0", "B 2", "B K3-tank-1", "B K3-tank-2", "B K3-tank-3")}),
    (189, {"H25": ("B 0", "B 4", "B K2-tank-1", "B K2-tank-2", "B K2-tank-3", "B K2-field")}),
    (212, {"H26": ("B 0", "B 1", "B K4-tank-1", "B K4-tank-2", "B K4-tank-3", "B K4-source")}),
)
"""Days after the season's start, and what was read then."""


def fish_season() -> Plan:
    """The season, and after its three sheets those of controls, of the trial and of later consignments."""
    first = season()
    tanks = {**first.tanks, **{tank.name: tank for tank in FISH_WATERS}}
    later = tuple(one for days, batches in _LATER for one in planned(_closed(batches), tanks, _after(days), 1))
    return replace(
        first,
        tanks=tanks,
        sheets={
            **first.sheets,
            "controls": planned(_closed(_CONTROLS), tanks, _after(107), 1),
            "trial": planned(_closed(_TRIAL), tanks, _after(120), 1),
            "later": later,
        },
    )


def _after(days: int) -> datetime:
    return SEASON_START + timedelta(days=days)


def _closed(batches: _Batches) -> _Batches:
    """With a closing spike for every water."""
    return {
        batch: tuple(f"{note} spike" if "-" in note else note for note in notes) for batch, notes in batches.items()
    }


_SOURCES = {
    "K1-tank-3": "feed that nobody recorded",
    "K1-tank-5": "a hose that leaches thiocyanate",
    "K1-tank-6": "fish that met cyanide, and feed",
    "K1-tank-7": "saliva in the sample; the tank's water is like its second sample",
    "K1-tank-8": "the outflow at the shore, through the slip's water",
    "K1-tank-10": "a drop of saliva, days before the sample",
    "C1-tank-2": "feed",
    "C1-tank-5": "feed",
    "E1-start": "put in on purpose",
}
_K1_EXPOSED = {4: "light", 6: "heavy", 9: "heavy", 11: "heavy", 12: "heavy"}


def true_fish() -> dict[str, object]:
    """For truth.json: which fish were exposed, and where thiocyanate comes from that no exposed fish gave off."""
    trial = {f"T1-tank-{number}": trial_exposure(number) or "none" for number in TRIAL_TANKS}
    boats = {
        f"{name}-tank-{number}": exposed.get(number, "none")
        for name, (tanks, exposed) in {"K1": (12, _K1_EXPOSED), **LATER}.items()
        for number in range(1, tanks + 1)
    }
    return {"where it comes from": _SOURCES, "exposure": trial | boats}
