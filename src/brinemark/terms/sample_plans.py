"""What a person says who asks which electrode to read next of a sample."""

from __future__ import annotations

import math
from dataclasses import dataclass

from brinemark.terms.dilutions import DEFAULT_KIT, Kit
from brinemark.terms.errors import Refused


class TooLittleWater(Refused):
    """What is left of a sample is not enough for what is wished; it says how much would be."""


@dataclass(frozen=True, slots=True)
class PlannedAddition:
    """What goes into the cell after the main reading. rise : of the cell's level [level unit]; spike : whether it is
    the closing spike; stock, volume_mL : that bring it, None = the logbook does not know."""

    rise: float
    spike: bool
    stock: str | None = None
    volume_mL: float | None = None


@dataclass(frozen=True, slots=True)
class SampleWish:
    """electrodes : to be read together, 1 = the next one; unread : nothing has been read of the sample yet; water_mL :
    of it that is left; cell_mL : what an electrode is dipped into, None = as last time; batch : of the electrodes, None
    = the newest with ready ones; lot : of the seawater to dilute with, None = as last time; highest : level that the
    sample has at most, None = 250 K; read_once : no additions after the main reading; kit : what is at hand."""

    electrodes: int = 1
    unread: bool = False
    water_mL: float = math.inf
    cell_mL: float | None = None
    batch: str | None = None
    lot: str | None = None
    highest: float | None = None
    read_once: bool = False
    kit: Kit = DEFAULT_KIT
