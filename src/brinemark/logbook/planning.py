"""What to do with the next electrodes, from the logbook's own history."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from brinemark.logbook.held import Opened

if TYPE_CHECKING:
    from brinemark.outputs.charts import Kind
    from brinemark.science.amount.simulate import Protocol
    from brinemark.steps.kept_plans import KeptBatchPlan
    from brinemark.steps.plan_batch_answers import BatchPlanned
    from brinemark.steps.plan_sample_answers import PlannedSample
    from brinemark.steps.what_helps_answers import Helps


class Planning(Opened):
    """What to do with the next electrodes, from the logbook's own history."""

    def plan_batch(
        self,
        electrodes: int,
        wish: str = "answers",
        levels: Sequence[float] | None = None,
        *,
        samples: int = 1,
        detectable: float | None = None,
        instrument: str | None = None,
    ) -> BatchPlanned:
        """Of the electrodes of a new batch, which to burn on standards, and how to read samples on the rest.

        wish : "answers" (most samples to [decision] max_fold), "narrow", "power" or "cost"; levels : of samples;
        samples : that the batch has to serve; detectable : for "cost". Nothing is stored. Raises Refused.
        """
        from brinemark.steps.plan_batch import Wanted, plan_batch

        chosen = None if levels is None else tuple(levels)
        return plan_batch(self._place, Wanted(electrodes, wish, chosen, samples, detectable, instrument))

    def keep_batch_plan(self, answer: BatchPlanned, title: str = "") -> KeptBatchPlan:
        """Keep what plan_batch answered as a record; the same plan again changes nothing. Raises Refused."""
        from brinemark.steps.kept_plans import keep_batch_plan

        return keep_batch_plan(self._place, answer, title)

    def batch_plans(self) -> list[KeptBatchPlan]:
        """Every plan for a batch that was kept, oldest first."""
        from brinemark.steps.kept_plans import batch_plans

        return batch_plans(self._place)

    def batch_plan(self, name: str) -> KeptBatchPlan:
        """The kept plan for a batch of this title, or whose id begins so. Raises Refused."""
        from brinemark.steps.kept_plans import batch_plan_named

        return batch_plan_named(self._place, name)

    def planned_run(self, values: Mapping[str, object]) -> dict[str, object]:
        """What lay_out takes, with what the kept plan named by `plan` says wherever the values say nothing.

        A sample with its name alone is read as the plan reads samples. Raises Refused.
        """
        from brinemark.steps.planned_run import planned_run

        return planned_run(self._place, values)

    def what_helps(
        self, electrodes: int, factor: float = 2.0, wish: str = "answers", levels: Sequence[float] | None = None
    ) -> Helps:
        """What the best plan would give if a scatter, noise, the floor, drift or defects fell by a factor, or with more
        electrodes; the part that buys most comes first. Nothing is stored. Raises Refused."""
        from brinemark.steps.plan_batch import Wanted, what_helps

        chosen = None if levels is None else tuple(levels)
        return what_helps(self._place, Wanted(electrodes, wish, chosen), factor)

    def usual_ways(self) -> dict[str, Protocol]:
        """Ways of reading an electrode that plans choose among, with additions as this logbook makes them. Refused."""
        from brinemark.steps.plan_batch import usual_ways

        return usual_ways(self._place)

    def draw_trade(self, answer: BatchPlanned, kind: Kind = "svg") -> bytes:
        """What burning electrodes buys, by the best plan for each number burned. Raises Refused without plans."""
        from brinemark.steps.planning_pictures import draw_trade

        return draw_trade(answer, kind)

    def draw_helps(self, answer: Helps, kind: Kind = "svg") -> bytes:
        """What a better batch would buy, part by part. Raises Refused when there is nothing to draw."""
        from brinemark.steps.planning_pictures import draw_helps

        return draw_helps(answer, kind)

    def draw_dilutions(self, answer: PlannedSample, kind: Kind = "svg") -> bytes:
        """What each choice for the next electrode of a sample is expected to tell, by dilution and way of reading."""
        from brinemark.steps.planning_pictures import draw_dilutions

        return draw_dilutions(answer, kind)
