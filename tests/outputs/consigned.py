"""Invented data of reports of consignments, from readings of invented electrodes."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from reported import hash_of

from brinemark.records.tank_json import tank_row_to_json
from brinemark.steps.fish_heads import words_of_worlds
from brinemark.steps.interpret import FishDesk, considered
from brinemark.steps.kinetics_in_use import KineticsAnswer
from brinemark.steps.trials import trial_of
from brinemark.terms.tanks import Consignment
from fish_bench import consignment, controls, desk, lognormal_signals

LONG = "the-long-pier-holding-tank-with-a-name-that-has-no-blank-in-it-at-all"


def several_tanks(count: int, names: Mapping[str, str] | None = None) -> Consignment:
    """So many tanks of two fish, each with two waters; a source-water and a field blank. names : instead of T1, ..."""
    lines = [
        "2031-07-02T07:00 blank blank=source_water system=quay1.5 sample=S taker=night-watch container=glass seal=s-1",
        "2031-07-03T09:05 blank blank=field sample=F1.5",
    ]
    for number in range(1, count + 1):
        tank = (names or {}).get(f"T{number}", f"T{number}")
        lines += [
            f"2031-07-01T08:00 catch fish=lot{number} count=2 mass_g=20.5 at_u_d=0.5 near=sewage_outflow",
            f"2031-07-02T08:00 filled tank={tank} volume_L=4.5 renewal_L_per_d=1.5 system=quay1.5",
            f"2031-07-02T09:00 in tank={tank} fish=lot{number} carried_L=0.25",
            f"2031-07-02T12:00 out fish=lot{number} count=1 dead=yes",
            f"2031-07-02T14:00 renewed tank={tank} share=0.3",
            f"2031-07-03T09:00 sample tank={tank} sample=W{number}.1 filtration_um=0.2 retained_mL=20.5 split_seal=x-9",
            f"2031-07-03T15:00 sample tank={tank} sample=W{number}.2 smoker=yes",
        ]
    return consignment("K1.5", "\n".join(lines))


def read_desk(one: Consignment, *, background: bool = True) -> FishDesk:
    """The waters read with all kinds of statements; background : of control tanks of the same system."""
    levels = (6.5, 0.0, 62.0, 0.4)
    names = [str(row.sample) for row in one.of("sample")]
    signals = {name: levels[place % len(levels)] for place, name in enumerate(names)} | {"S": 0.1, "F1.5": 0.0}
    more = (controls("quay1.5", 8),) if background else ()
    known = lognormal_signals(8, 0.4, 1.5) if background else {}
    return desk([one, *more], {**known, **signals}, draws=60)


def trial_data(exposed: int) -> dict[str, Any]:
    """What the report of a trial says: eight tanks of bred fish, and so many of exposed ones."""
    lines, signals = [], lognormal_signals(8, 0.4, 1.5)
    for number in range(1, exposed + 1):
        lines += [
            f"2031-06-01T08:00 catch fish=x{number} count=2 mass_g=20 history=light_exposure",
            f"2031-06-01T09:00 filled tank=X{number} volume_L=4 system=quay1.5",
            f"2031-06-01T10:00 in tank=X{number} fish=x{number}",
            f"2031-06-02T09:00 sample tank=X{number} sample=X-{number}",
        ]
        signals[f"X-{number}"] = 1.5 * number
    fish = [consignment("E1.5", "\n".join(lines))] if exposed else []
    answer = trial_of(desk([controls("quay1.5", 8), *fish], signals, draws=60))
    return {
        "kind": "trials",
        "names": sorted({one.consignment for one in answer.tanks}),
        **_COMMON,
        "trial": {**answer.to_dict(), "trial": hash_of("trial")},
        "rows": [],
        "records": [["trial", hash_of("trial")]],
    }


_COMMON = {
    "logbook": "Quay 1.5",
    "analyte": "thiocyanate",
    "unit": "ug/L",
    "youngest": "2031-07-05T09:00:00.250Z",
    "engine": "0.1.0/6",
    "decision": {"alpha": 0.05, "beta": 0.05, "interval": 0.95, "max_fold": 3.0},
}


def consignment_data(one: Consignment, *, background: bool = True) -> dict[str, Any]:
    """What the report of a consignment says, without rows of run sheets."""
    found = read_desk(one, background=background)
    answer = considered(found, one.name)
    words = words_of_worlds(found.place, answer)
    pairs = [(tank, *pair) for tank, worlds in words.items() for pair in worlds.items()]
    table = {"record": hash_of("tanks"), "title": "tanks 1.5.csv", "made_at": "2031-07-04T09:00:00.250Z"}
    return {
        "kind": "consignment",
        "names": [one.name],
        **_COMMON,
        "consignment": {**answer.to_dict(), "interpretation": hash_of("interpretation")},
        "supports": [{"tank": tank, "world": world, "words": said} for tank, world, said in pairs],
        "happenings": [tank_row_to_json(row) for row in one.rows],
        "kinetics": KineticsAnswer(found.scales.worlds, (), None, None, "no own experiments yet").to_dict(),
        "tables": [{**table, "sha256": hash_of("tanks.csv")}, {**table, "sha256": None}],
        "rows": [],
        "records": [["interpretation", hash_of("interpretation")], ["tank record", hash_of("tanks")]],
    }
