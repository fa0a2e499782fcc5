"""Records of a dilution scheme: what is at hand, the solutions to make, and what their uncertainty is made of."""

from __future__ import annotations

import math
from dataclasses import dataclass

# Divisor that turns the half width of a tolerance into a standard uncertainty: JCGM 100:2008 (GUM), 4.3.7 and 4.3.9.
# "normal" : the half width is a standard uncertainty already.
SHAPES = {"rectangular": math.sqrt(3.0), "triangular": math.sqrt(6.0), "normal": 1.0}

PISTON = "maximum permissible error of ISO 8655-2, from memory: check against your own pipette's certificate"
CLASS_A = "class A tolerance of ISO 1042, from memory: check against the mark on your own flask"
BULB = "class A tolerance of ISO 648, from memory: check against the mark on your own pipette"
USER = "given"


@dataclass(frozen=True, slots=True)
class Pipette:
    """A pipette that delivers smallest_mL to nominal_mL, or nominal_mL alone when smallest_mL is None.

    tolerance_mL : half width of the error that it keeps, the same at every volume it is set to; shape : of that error;
    repeat_mL : standard deviation from one delivery to the next; step_mL : what its setting can be changed by, a
    thousandth of the nominal volume when None (common practice, no source); source : of the numbers.
    """

    nominal_mL: float
    tolerance_mL: float
    repeat_mL: float = 0.0
    smallest_mL: float | None = None
    shape: str = "rectangular"
    step_mL: float | None = None
    source: str = USER

    @property
    def name(self) -> str:
        span = "" if self.smallest_mL is None else f"{self.smallest_mL:g}-"
        return f"pipette {span}{self.nominal_mL:g} mL"

    @property
    def u(self) -> float:
        """Standard uncertainty of the error that it keeps [mL]."""
        return self.tolerance_mL / SHAPES[self.shape]


@dataclass(frozen=True, slots=True)
class Flask:
    """A volumetric flask: volume_mL, half width of its tolerance, its shape, scatter of filling to the mark."""

    volume_mL: float
    tolerance_mL: float
    repeat_mL: float = 0.0
    shape: str = "triangular"
    source: str = USER

    @property
    def name(self) -> str:
        return f"flask {self.volume_mL:g} mL"

    @property
    def u(self) -> float:
        """Standard uncertainty of the error that it keeps [mL]."""
        return self.tolerance_mL / SHAPES[self.shape]


@dataclass(frozen=True, slots=True)
class Kit:
    """What is at hand; smallest_mL : no volume below it is pipetted, whatever the pipette allows."""

    pipettes: tuple[Pipette, ...]
    flasks: tuple[Flask, ...]
    smallest_mL: float = 0.02


@dataclass(frozen=True, slots=True)
class Stock:
    """The solution that all others come from: level [level unit] and its relative standard uncertainty."""

    level: float
    rel_u: float = 0.0


@dataclass(frozen=True, slots=True)
class Diluent:
    """The lot of seawater that flasks are filled up with: its own content and its standard uncertainty [level unit]."""

    level: float = 0.0
    u: float = 0.0


@dataclass(frozen=True, slots=True)
class Wish:
    """What a scheme should keep to.

    volume_mL : least volume of each finished solution; rel_u : relative standard uncertainty wanted from volumes alone;
    within : largest relative distance of the level reached from the wanted one; steps : most new solutions for one
    level; work_mL : diluent that one solution less to make is worth. Common practice, no source.
    """

    volume_mL: float = 20.0
    rel_u: float = 0.02
    within: float = 0.02
    steps: int = 3
    work_mL: float = 100.0


@dataclass(frozen=True, slots=True)
class Step:
    """One solution: volume_mL of source, by a pipette, in a flask that is filled with diluent; level : what results."""

    name: str
    source: str
    pipette: Pipette
    volume_mL: float
    flask: Flask
    level: float


@dataclass(frozen=True, slots=True)
class BudgetLine:
    """One input of a level's uncertainty.

    quantity : what it is; kind : "stock", "volume" or "diluent"; rel_u : its own relative standard uncertainty, None
    for a diluent without content; contribution : to the level [level unit]; share : of the level's variance.
    """

    quantity: str
    kind: str
    rel_u: float | None
    contribution: float
    share: float


@dataclass(frozen=True, slots=True)
class Prepared:
    """One wanted level. Where no scheme reaches it, level and u are None and reason says why.

    steps : from the stock to this solution, in order; u_stock, u_volumes, u_diluent : parts of u [level unit];
    diluent_share : share of the final volume that is diluent and not stock (what is left of its salinity).
    """

    wanted: float
    level: float | None
    u: float | None
    u_stock: float
    u_volumes: float
    u_diluent: float
    diluent_share: float
    steps: tuple[Step, ...]
    budget: tuple[BudgetLine, ...]
    reason: str | None = None


@dataclass(frozen=True, slots=True)
class Scheme:
    """Levels as wanted, in that order, and the solutions in the order of making.

    correlation : of the errors of the levels that are reached, in order; diluent_mL, stock_mL : needed in all.
    """

    levels: tuple[Prepared, ...]
    solutions: tuple[Step, ...]
    correlation: tuple[tuple[float, ...], ...]
    diluent_mL: float
    stock_mL: float


@dataclass(frozen=True, slots=True)
class SampleDilution:
    """A diluted sample: c_cell = c / factor + added.

    rel_u : relative standard uncertainty of the factor; added, added_u : what the diluent brings [level unit];
    None and a reason where the wanted factor is not reached; budget : of the factor, relative.
    """

    wanted: float
    factor: float | None
    rel_u: float | None
    added: float
    added_u: float
    steps: tuple[Step, ...]
    budget: tuple[BudgetLine, ...]
    sample_mL: float
    diluent_mL: float
    reason: str | None = None


def _piston(nominal: float, tolerance: float, repeat: float) -> Pipette:
    return Pipette(nominal, tolerance, repeat, nominal / 10.0, source=PISTON)


DEFAULT_KIT = Kit(
    pipettes=(
        _piston(0.02, 0.0002, 0.0001),
        _piston(0.2, 0.0016, 0.0006),
        _piston(1.0, 0.008, 0.003),
        _piston(10.0, 0.06, 0.03),
        Pipette(25.0, 0.03, shape="triangular", source=BULB),
        Pipette(50.0, 0.05, shape="triangular", source=BULB),
    ),
    flasks=tuple(
        Flask(volume, tolerance, source=CLASS_A)
        for volume, tolerance in (
            (10, 0.025),
            (25, 0.04),
            (50, 0.06),
            (100, 0.10),
            (250, 0.15),
            (500, 0.25),
            (1000, 0.4),
        )
    ),
)
"""Sizes: common practice, no source. Tolerances as their source says."""

CLEAN = Diluent()
USUAL = Wish()
