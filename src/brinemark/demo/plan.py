"""Who is measured when: the readings of an invented season, electrode by electrode."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta, timezone

ZONE = timezone(timedelta(hours=2))
"""The harbour's clock, two hours ahead of UTC all season."""
SEASON_START = datetime(2026, 4, 7, 9, 0, tzinfo=ZONE)


@dataclass(frozen=True, slots=True)
class Part:
    """One of the amounts whose sum is the level of a water: a lognormal draw [ug/L], less what was lost since.

    of : whose draw it is, so that waters which name the same have the same; spread : geometric standard deviation;
    loss_per_d, loss_spread : the rate at which it is lost, drawn the same way [1/d]; days : for how long [d].
    """

    of: str
    median: float
    spread: float = 1.0
    loss_per_d: float = 0.0
    loss_spread: float = 1.0
    days: float = 0.0


@dataclass(frozen=True, slots=True)
class Tank:
    """A water that is read, or a control: its name on the sheet and the range its true level is drawn from [ug/L].

    A control has low == high, the level its label promises. same_as : the tank whose water it is once more. parts :
    where there are any, the level is their sum and not drawn from the range.
    """

    name: str
    low: float = 0.0
    high: float = 0.0
    note: str = ""
    control: bool = False
    same_as: str = ""
    parts: tuple[Part, ...] = ()


CELL_mL = 20.0
"""Volume of the cell before anything is added."""


@dataclass(frozen=True, slots=True)
class Added:
    """What goes into the cell after the main reading: so much of a stock with this nominal level [ug/L]."""

    stock: str
    stock_level: float
    volume_mL: float


STRONG, STRONG_LEVEL = "KSCN-2", 2000.0
"""The invented stock of all additions, described in the settings [ug/L]."""
SPIKE = Added(STRONG, STRONG_LEVEL, 1.05)
"""The closing spike: about 100 ug/L more."""
RISE = Added(STRONG, STRONG_LEVEL, 0.02)
"""A rising addition: about 2 ug/L more."""
ADDITIONS = {"spike": SPIKE, "rise": RISE}
MINUTES_APART = 9
"""Between the readings of one life."""


@dataclass(frozen=True, slots=True)
class Planned:
    """One electrode's life. level is the standard's nominal level; a tank's level is not known here.

    fault : "", "lifted" or "shorted"; added : what goes into its cell after the main reading, one reading each.
    """

    electrode: str
    batch: str
    instrument: str
    measured_at: datetime
    role: str
    level: float | None = None
    tank: str | None = None
    dilution: float = 1.0
    fault: str = ""
    added: tuple[Added, ...] = ()


@dataclass(frozen=True, slots=True)
class Plan:
    """sheets : title to its readings, in the order the sheets are added; tanks : by name."""

    sheets: dict[str, tuple[Planned, ...]]
    tanks: dict[str, Tank]


TANKS = (
    Tank("K1-tank-1", 0.0, 0.0, "first tank off the boat"),
    Tank("K1-tank-2", 0.0, 0.0),
    Tank("K1-tank-3", 0.5, 0.9),
    Tank("K1-tank-4", 0.8, 1.5),
    Tank("K1-tank-5", 5.0, 12.0),
    Tank("K1-tank-6", 3.0, 6.0),
    Tank("K1-tank-7", 120.0, 250.0, "slime on the surface"),
    Tank("K1-tank-8", 20.0, 40.0, "same boat as tank 7"),
    Tank("K1-tank-9", 1.0, 3.0, "one electrode left for this tank"),
    Tank("K1-tank-10", 1.8, 2.6, "one reading each"),
    Tank("K1-tank-10-spiked", 1.8, 2.6, "the same water with a closing spike", same_as="K1-tank-10"),
    Tank("K1-tank-11", 3.0, 5.0, "with a closing spike"),
    Tank("K1-tank-12", 2.0, 4.0, "with a rise and a closing spike"),
    Tank("QC-clean", 0.0, 0.0, control=True),
    Tank("QC-one", 1.0, 1.0, control=True),
    Tank("QC-three", 3.0, 3.0, control=True),
)
"""The consignment and the controls. A tank's name says nothing about its level; the level goes into truth.json only."""

# One batch: its electrodes as "instrument role level-or-tank [/dilution] [fault] [additions]". B = bench, P = portable.
_SPRING = {
    "H01": ("B 0", "B 0.5", "B 2", "B 8", "B 20"),
    "H02": ("B 0", "B 1", "B 4 lifted", "B 8", "B 2", "B 0.5"),
    "H03": ("B 0", "P 0", "B 4", "P 4", "P 20"),
    "H04": ("B 1", "B 2", "B 20", "B 0"),
    "H05": ("B 0.5", "B 4", "P 1", "P 8", "B 0"),
}
_SUMMER = {
    "H06": ("P 0", "P 2", "B 1 spike", "B 8 spike", "P 4", "B 0 spike"),
    "H07": ("B 0 shorted", "B 2 spike", "B 4 spike", "B 20 spike", "B 0 spike"),
    "H08": ("P 0", "B 0.5 spike", "P 8", "P 20", "B 4 spike"),
    "H09": ("B 0 spike", "B 1 spike", "P 1", "P 0", "B 20 spike"),
}
_CONSIGNMENT = {
    "H10": ("B 0 spike", "B 4 spike", "B K1-tank-1", "B K1-tank-5/4", "B K1-tank-8/16", "B QC-one"),
    "H11": ("B 0 spike", "B 2 spike", "B K1-tank-9 lifted", "B K1-tank-5", "B K1-tank-8/4"),
    "H12": ("P 0", "P 4", "P K1-tank-2", "P K1-tank-3", "P QC-three"),
    "H13": ("B 0 spike", "B 4 spike", "B K1-tank-1", "B K1-tank-4", "B K1-tank-5/16", "B QC-clean"),
    "H14": ("B 2 spike", "B K1-tank-4", "B K1-tank-6", "B K1-tank-7", "B K1-tank-8", "B K1-tank-5/4"),
    "H15": (
        "B K1-tank-10",
        "B K1-tank-10",
        "B K1-tank-10-spiked spike",
        "B K1-tank-10-spiked spike",
        "B K1-tank-11 spike",
        "B K1-tank-12 rise spike",
    ),
}


def season() -> Plan:
    """The whole invented season: three sheets, 15 batches, two instruments."""
    tanks = {tank.name: tank for tank in TANKS}
    sheets = {
        "spring": planned(_SPRING, tanks, SEASON_START, 9),
        "summer": planned(_SUMMER, tanks, SEASON_START + timedelta(days=45), 9),
        "consignment": planned(_CONSIGNMENT, tanks, SEASON_START + timedelta(days=100), 1),
    }
    return Plan(sheets, tanks)


def planned(
    batches: dict[str, tuple[str, ...]], tanks: dict[str, Tank], start: datetime, days: int
) -> tuple[Planned, ...]:
    """Readings of batches some days apart, electrodes of a batch 35 minutes apart, from short notes like "B 0.5"."""
    readings = []
    for day, (batch, notes) in enumerate(batches.items()):
        for place, note in enumerate(notes):
            at = start + timedelta(days=days * day, minutes=35 * place)
            readings.append(_reading(f"{batch}-{place + 1}", batch, at, note, tanks))
    return tuple(readings)


def _reading(electrode: str, batch: str, at: datetime, note: str, tanks: dict[str, Tank]) -> Planned:
    where, what, *more = note.split()
    name, _, dilution = what.partition("/")
    common = (electrode, batch, {"B": "bench", "P": "portable"}[where], at)
    bad = next((word for word in more if word not in ADDITIONS), "")
    added = tuple(ADDITIONS[word] for word in more if word in ADDITIONS)
    if name in tanks:
        role = "control" if tanks[name].control else "sample"
        return Planned(*common, role, tank=name, dilution=float(dilution or 1), fault=bad, added=added)
    level = float(name)
    return Planned(*common, "standard" if level > 0 else "blank", level=level, fault=bad, added=added)
