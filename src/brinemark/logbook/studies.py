"""Plans simulated before they are carried out, and plans for consignments."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING

from brinemark.logbook.held import Opened

if TYPE_CHECKING:
    from brinemark.steps.plan_fish import FishPlanAnswer
    from brinemark.steps.study import StudyAnswer


class Studies(Opened):
    """Plans simulated before they are carried out, and plans for consignments."""

    def study(
        self,
        plan: str | Path | tuple[str, bytes],
        workers: int | None = None,
        scheduler: str | None = None,
        on_step: Callable[[int, int], bool] | None = None,
    ) -> StudyAnswer:
        """Simulate a plan (a TOML file, or a name with bytes) from making to statement, and keep what was found.

        workers : processes of this computer, None = one for each core, 0 = this process alone; scheduler : address of a
        Dask scheduler instead; on_step(batches done, of all) : False stops, and the same call goes on from what is
        finished. The same study again gives what it found before. Raises Refused and Stopped.
        """
        from brinemark.steps.study import Workforce, study

        named = plan if isinstance(plan, tuple) else Path(plan)
        return study(self._place, named, Workforce(workers, scheduler), on_step or (lambda _done, _total: True))

    def studies(self) -> list[StudyAnswer]:
        """Every study that was made, newest first."""
        from brinemark.steps.study import studies

        return studies(self._place)

    def plan_fish(self, wish: str | Path | tuple[str, bytes | Mapping[str, object]]) -> FishPlanAnswer:
        """How many fish of a consignment to test, which ones by lot, and what to expect; kept as a record.

        wish : a TOML file, or a name with bytes or with the values of such a file. Raises Refused.
        """
        from brinemark.steps.plan_fish import make_fish_plan

        return make_fish_plan(self._place, wish if isinstance(wish, tuple) else Path(wish))

    def fish_plans(self) -> list[FishPlanAnswer]:
        """Every plan for a consignment, oldest first."""
        from brinemark.steps.kept_plans import fish_plans

        return fish_plans(self._place)

    def fish_plan(self, name: str) -> FishPlanAnswer:
        """The plan for a consignment of this title, or whose id begins so. Raises Refused."""
        from brinemark.steps.kept_plans import fish_plan_named

        return fish_plan_named(self._place, name)
