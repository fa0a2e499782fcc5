"""Dilutions of a sample that can be made with what is at hand from the water that is left."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from brinemark.science.amount.dilution_scheme import sample_dilution
from brinemark.terms.dilutions import CLEAN, USUAL, Diluent, Kit, SampleDilution, Wish
from brinemark.terms.errors import Refused


@dataclass(frozen=True, slots=True)
class Portion:
    """What one electrode at a dilution takes. sample_mL : of the sample; way : how it is diluted, None = it is not, or
    it cannot be; reason : why it cannot be had, else None."""

    dilution: float
    sample_mL: float
    way: SampleDilution | None = None
    reason: str | None = None

    @property
    def rel_u(self) -> float:
        """Relative standard uncertainty of the dilution."""
        return 0.0 if self.way is None or self.way.rel_u is None else self.way.rel_u

    @property
    def factor(self) -> float:
        """The dilution as it is reached."""
        return self.dilution if self.way is None or self.way.factor is None else self.way.factor


def practical_dilutions(
    dilutions: Sequence[float],
    cell_mL: float,
    water_mL: float,
    kit: Kit,
    diluent: Diluent = CLEAN,
    wish: Wish = USUAL,
) -> tuple[Portion, ...]:
    """Each dilution with the water that it takes, possible ones and others with a reason.

    cell_mL : what an electrode is dipped into; water_mL : of the sample that is left. Raises Refused for volumes that
    make no sense, and as sample_dilution does.
    """
    if not (math.isfinite(cell_mL) and cell_mL > 0.0):
        raise Refused(f"a cell of {cell_mL:g} mL", "a volume above 0", "say how much an electrode is dipped into")
    if not water_mL > 0.0:
        raise Refused(f"{water_mL:g} mL of sample", "a volume above 0", "say how much there is, or leave it out")
    finished = replace(wish, volume_mL=cell_mL)
    return tuple(_portion(one, water_mL, kit, diluent, finished) for one in dilutions)


def _portion(dilution: float, water_mL: float, kit: Kit, diluent: Diluent, wish: Wish) -> Portion:
    if dilution == 1.0:
        enough = wish.volume_mL <= water_mL
        return Portion(1.0, wish.volume_mL, None, None if enough else _too_little(wish.volume_mL, water_mL))
    made = sample_dilution(dilution, kit, diluent, wish, water_mL)
    if made.factor is not None:
        return Portion(dilution, made.sample_mL, made)
    freely = sample_dilution(dilution, kit, diluent, wish)
    if freely.factor is None:
        return Portion(dilution, 0.0, None, freely.reason)
    return Portion(dilution, freely.sample_mL, None, _too_little(freely.sample_mL, water_mL))


def _too_little(needed_mL: float, water_mL: float) -> str:
    return f"takes {needed_mL:g} mL of the sample, {water_mL:g} mL are left"
