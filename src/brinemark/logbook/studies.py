"""Plans simulated before they are carried out, and plans for consignments."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING

from brinemark.logbook.held import Opened

if TYPE_CHECKING:
    from brinemark.outputs.charts import Kind
    from brinemark.steps.plan_fish import FishPlanAnswer
    from brinemark.steps.studied import KeptStudy
    from brinemark.steps.study import StudyAnswer, StudyAsked


class Studies(Opened):
    """Plans simulated before they are carried out, and plans for consignments."""

    def study(
        self,
        plan: str | Path | tuple[str, bytes | Mapping[str, object]],
        workers: int | None = None,
        scheduler: str | None = None,
        on_step: Callable[[int, int], bool] | None = None,
    ) -> StudyAnswer:
        """Simulate a plan (a TOML file, or a name with bytes or with the values of such a file) from making to
        statement, and keep what was found.

        workers : processes of this computer, None = one for each core, 0 = this process alone; scheduler : address of a
        Dask scheduler instead; on_step(batches done, of all) : False stops, and the same call goes on from what is
        finished. The same study again gives what it found before. Raises Refused and Stopped.
        """
        from brinemark.steps.study import Workforce, study

        named = plan if isinstance(plan, tuple) else Path(plan)
        return study(self._place, named, Workforce(workers, scheduler), on_step or (lambda _done, _total: True))

    def ask_study(self, plan: str | Path | tuple[str, bytes | Mapping[str, object]]) -> StudyAsked:
        """Whether a plan can be simulated, whether it was, and the file that asks for it; stores nothing. Refused."""
        from brinemark.steps.study import ask_study

        return ask_study(self._place, plan if isinstance(plan, tuple) else Path(plan))

    def kept_study(self, study: str) -> KeptStudy:
        """The study whose id begins so, with the shares of each kind of statement. Raises Refused."""
        from brinemark.steps.studied import kept_study

        return kept_study(self._place, study)

    def draw_study(self, study: str, kind: Kind = "svg") -> bytes:
        """What a study states, how often its intervals hold and how wide they are, by true level. Raises Refused."""
        from brinemark.steps.studied import draw_study, kept_study

        return draw_study(kept_study(self._place, study), kind)

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
