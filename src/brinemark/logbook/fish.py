"""From amounts in the water to the fish: what the water of their tanks can show, and what other methods found."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from brinemark.logbook.held import Opened

if TYPE_CHECKING:
    from brinemark.steps.holds import HoldAnswer


class FishSide(Opened):
    """From amounts in the water to the fish: what the water of their tanks can show, and what other methods found."""

    def holds(
        self,
        count: int = 1,
        mass_g: float = 5.0,
        *,
        days: Sequence[float] | None = None,
        volumes_L: Sequence[float] | None = None,
        hours: Sequence[float] | None = None,
    ) -> HoldAnswer:
        """Chance of detecting a tank of exposed fish under each world, by days, volume and hold; nothing is stored.

        count, mass_g : fish in the tank, and mass of one [g]; days : between capture and the hold; volumes_L [L] and
        hours of the hold in clean water; what is not named is tried at a few common values. Raises Refused.
        """
        from brinemark.steps.holds import holds

        return holds(self._place, count, mass_g, days, volumes_L, hours)
