"""The invented tank records: the season's consignment, captive-bred controls, a spiked tank, a trial, three more."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any

from brinemark.demo.fish_plan import CONTROL_TANKS, FED_TANKS, HEAVY, LATER, LIGHT, SPIKE_DAYS, UNEXPOSED
from brinemark.demo.tank_rows import (
    CARBON,
    QUAY,
    SLIP,
    Days,
    Kept,
    arrival,
    blank,
    moment,
    numbered,
    row,
    taken,
    tank_name,
)
from brinemark.terms import tanks as words
from brinemark.terms.tanks import TankRow

REEF, BANK = "Orrowick Reef", "Tesselin Bank"
"""Where the invented fish were caught."""
CLOWNFISH, DAMSELFISH, TANG = "clownfish", "damselfish", "blue tang"
_BOATS = {
    "K1": (REEF, Days(moment(7, 6, 10), moment(7, 10), moment(7, 15, 15), 1.5)),
    "K2": (REEF, Days(moment(10, 2, 10), moment(10, 7), moment(10, 12, 15), 1.5)),
    "K3": (BANK, Days(moment(8, 11, 10), moment(8, 16), moment(8, 20, 15), 1.0)),
    "K4": (BANK, Days(moment(10, 26, 10), moment(10, 31), moment(11, 4, 15), 2.0)),
}
"""Where the fish of each boat come from and when; catches are told by dealers, to a day or two."""
_K1 = (
    Kept(1, 60.0, DAMSELFISH, 4, 6.0, CARBON, filter="activated carbon"),
    Kept(2, 60.0, DAMSELFISH, 3, 6.0, CARBON, filter="activated carbon"),
    Kept(3, 40.0, DAMSELFISH, 5, 4.0, filter="sponge", renewal_L_per_d=10.0),
    Kept(4, 2.0, CLOWNFISH, 1, 10.0),
    Kept(5, 200.0, CLOWNFISH, 2, 10.0, filter="sponge"),
    Kept(6, 3.0, CLOWNFISH, 3, 12.0),
    Kept(7, 30.0, TANG, 2, 18.0, filter="sponge"),
    Kept(8, 80.0, TANG, 4, 15.0, SLIP, renewal_L_per_d=240.0, near="outflow of a works at the shore, 60 m away"),
    Kept(9, 25.0, DAMSELFISH, 6, 5.0),
    Kept(10, 1.5, CLOWNFISH, 1, 9.0),
    Kept(11, 2.5, CLOWNFISH, 2, 8.0),
    Kept(12, 2.0, CLOWNFISH, 1, 11.0),
)
"""Tanks of the season's consignment; all of its fish came on one boat from one reef."""
SPIKE_ug = 600.0
"""Put into the spiked tank of 60 L [ug]."""
_SPLIT = (4, 6)
"""Tanks of which a sealed part was kept for another laboratory."""


def tank_records() -> dict[str, tuple[TankRow, ...]]:
    """Every record by the name of its consignment, in the order in which they are added."""
    made = {"K1": _season(), "C1": _controls(), "E1": _spiked(), "T1": _trial()}
    made |= {name: _later(name) for name in LATER}
    return {name: numbered(rows) for name, rows in made.items()}


def _season() -> list[TankRow]:
    """K1: its tanks, and what happened there."""
    origin, days = _BOATS["K1"]
    rows = [one for kept in _K1 for one in arrival("K1", replace(kept, origin=origin), days)]
    for kept in _K1:
        if kept.number != 7:
            split = {"split_seal": f"IQ split {kept.number}"} if kept.number in _SPLIT else {}
            rows.append(taken("K1", kept.number, days.sampled, **split))
    return [*rows, *_happenings(), *_duplicates(days.sampled), *_blanks(days.sampled)]


def _happenings() -> list[TankRow]:
    """A dead fish, feed, renewals, a treatment, a tank drained, fish moved with some of their water."""
    k = "K1"
    return [
        row(k, moment(7, 12, 8), words.OUT, fish=f"{CLOWNFISH} 6", tank=tank_name(k, 6), count=1, dead=True),
        row(k, moment(7, 12, 9), words.FED, tank=tank_name(k, 6), substance="pellets", amount_g=0.4),
        row(k, moment(7, 13, 9), words.RENEWED, tank=tank_name(k, 4), share=0.25),
        row(k, moment(7, 13, 9), words.RENEWED, tank=tank_name(k, 10), share=0.25),
        row(k, moment(7, 13, 10), words.TREATED, tank=tank_name(k, 12), substance="copper"),
        row(k, moment(7, 14, 10), words.VOLUME, tank=tank_name(k, 9), volume_L=15.0, note="drained to clean the glass"),
        row(k, moment(7, 11, 9), words.FILLED, tank=tank_name(k, 13), volume_L=8.0, system=QUAY),
        row(k, moment(7, 11, 10), words.IN, fish=f"{CLOWNFISH} 11", tank=tank_name(k, 13), carried_L=0.1),
        row(k, moment(7, 13, 16), words.IN, fish=f"{CLOWNFISH} 11", tank=tank_name(k, 11), carried_L=0.2),
        row(k, moment(7, 14, 17), words.NOTE, tank=tank_name(k, 7), note="slime on the surface; nets lay in the tank"),
    ]


def _duplicates(at: datetime) -> list[TankRow]:
    """Tank 7 sampled badly, and beside it by somebody else; tank 10 sampled twice."""
    badly: dict[str, Any] = {"taker": "dealer's helper", "smoker": True, "container": "jam jar", "filtration_um": None}
    badly |= {"seal": None, "storage": "on the desk", "retained_mL": None, "note": "taken from the slime by mouth tube"}
    return [
        taken("K1", 7, at, **badly),
        taken("K1", 7, at + timedelta(minutes=1), "K1-tank-7-second", duplicate="K1-tank-7", taker="second inspector"),
        taken(
            "K1", 10, at + timedelta(minutes=1), "K1-tank-10-spiked", duplicate="K1-tank-10", note="read with a spike"
        ),
    ]


def _blanks(at: datetime) -> list[TankRow]:
    """No source water of the carbon loop was taken, and no field blank but one at tank 6."""
    return [
        blank("K1", at - timedelta(hours=1), "K1-source", words.SOURCE_WATER, system=QUAY),
        blank("K1", at - timedelta(minutes=50), "K1-source-slip", words.SOURCE_WATER, system=SLIP),
        blank("K1", at + timedelta(minutes=25), "K1-field", words.FIELD, tank=tank_name("K1", 6)),
        blank("K1", at - timedelta(minutes=40), "K1-filter", words.FILTER),
        blank("K1", at + timedelta(hours=1), "K1-feed", words.FEED_LEACH, tank=tank_name("K1", 6)),
    ]


def _controls() -> list[TankRow]:
    """C1: captive-bred fish in the water of the quay."""
    days = Days(moment(5, 20), moment(7, 1), moment(7, 21, 10), 3.0)
    rows = []
    for number in CONTROL_TANKS:
        kept = Kept(number, 20.0, CLOWNFISH, 4, 5.0, history=words.CAPTIVE_BRED, filter="sponge")
        rows += [*arrival("C1", kept, days), taken("C1", number, days.sampled)]
    for number in FED_TANKS:
        rows.append(row("C1", moment(7, 21, 8), words.FED, tank=tank_name("C1", number), substance="pellets"))
    return rows


def _spiked() -> list[TankRow]:
    """E1: a tank of captive-bred fish, spiked on purpose."""
    days, at = Days(moment(5, 20), moment(7, 19), moment(7, 20), 3.0), moment(7, 20, 9)
    rows = arrival("E1", Kept(1, 60.0, CLOWNFISH, 2, 5.0, history=words.CAPTIVE_BRED, filter="sponge"), days)
    rows.append(row("E1", at, words.SPIKED, tank=tank_name("E1", 1), amount_ug=SPIKE_ug, stock="KSCN-2"))
    rows += [taken("E1", 1, at + timedelta(days=days), name) for name, days in SPIKE_DAYS.items()]
    return rows


def _trial() -> list[TankRow]:
    """T1: fish of known history, one in each small tank."""
    exposed, filled, sampled = moment(8, 2, 10), moment(8, 2, 9, 30), moment(8, 3, 10, 30)
    rows = [
        blank("T1", filled, "T1-source", words.SOURCE_WATER, system=QUAY),
        blank("T1", sampled, "T1-field", words.FIELD, tank=tank_name("T1", 1)),
    ]
    for numbers, history in ((UNEXPOSED, words.CAPTIVE_BRED), (LIGHT, words.LIGHT), (HEAVY, words.HEAVY)):
        for number in numbers:
            kept = Kept(number, 1.5, CLOWNFISH, 1, 8.0, history=history)
            rows += arrival("T1", kept, Days(exposed, filled, sampled))
            rows.append(taken("T1", number, sampled))
    return rows


_BLANKS_OF = {
    "K2": (blank("K2", moment(10, 12, 15), "K2-field", words.FIELD, tank=tank_name("K2", 1)),),
    "K4": (blank("K4", moment(11, 4, 14), "K4-source", words.SOURCE_WATER, system=QUAY),),
}
"""Blanks of the later consignments; the third has none."""


def _later(name: str) -> list[TankRow]:
    """K2, K3, K4: a few small tanks each, of which nothing is known but what dealers say."""
    origin, days = _BOATS[name]
    rows = list(_BLANKS_OF.get(name, ()))
    for number in range(1, LATER[name][0] + 1):
        rows += arrival(name, Kept(number, 3.0, CLOWNFISH, 2, 9.0, origin=origin), days)
        rows.append(taken(name, number, days.sampled))
    return rows
