"""Which electrode to read next of a sample."""

from __future__ import annotations

from typing import TYPE_CHECKING

from brinemark.logbook.held import Opened

if TYPE_CHECKING:
    from brinemark.steps.plan_sample_answers import PlannedSample
    from brinemark.terms.sample_plans import SampleWish


class Diluting(Opened):
    """Which electrode to read next of a sample."""

    def plan_sample(self, sample: str, wish: SampleWish | None = None) -> PlannedSample:
        """What the next electrode of a sample, or several at once, is best used for; nothing is stored.

        Raises Refused for what is not there or cannot be made from the water that is left.
        """
        from brinemark.steps.plan_sample import plan_sample

        return plan_sample(self._place, sample) if wish is None else plan_sample(self._place, sample, wish)
