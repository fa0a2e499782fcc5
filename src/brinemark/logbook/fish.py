"""From amounts in the water to what they say about fish: consignments and tanks, their interpretation, trials."""

from __future__ import annotations

from collections.abc import Collection
from typing import TYPE_CHECKING

from brinemark.logbook.held import Opened

if TYPE_CHECKING:
    from brinemark.steps.fish_answers import ConsignmentAnswer
    from brinemark.steps.trials import TrialAnswer
    from brinemark.terms.tanks import Consignment


class FishSide(Opened):
    """From amounts in the water to what they say about fish: consignments and tanks, their interpretation, trials."""

    def consignments(self) -> list[Consignment]:
        """Every consignment as its tank records say it now, in the order of their first records."""
        from brinemark.steps.consignments import known_consignments

        with self._place.database.reading() as reader:
            return list(known_consignments(reader).values())

    def consider(self, consignment: str, tanks: Collection[str] | None = None) -> ConsignmentAnswer:
        """What the waters of a consignment say of its fish, tank by tank and world by world; nothing is stored.

        tanks : only these. Raises Refused for an unknown consignment or tank.
        """
        from brinemark.steps.interpret import consider

        return consider(self._place, consignment, tanks)

    def interpret(self, consignment: str) -> ConsignmentAnswer:
        """The same of all its tanks, kept as a record with everything it was made from. Raises Refused."""
        from brinemark.steps.interpret import interpret

        return interpret(self._place, consignment)

    def consider_trials(self) -> TrialAnswer:
        """How found and not found, and the ratios of each world, did on tanks of fish whose history is known.

        Nothing is stored. Raises Refused without such tanks.
        """
        from brinemark.steps.trials import consider_trials

        return consider_trials(self._place)

    def judge_trials(self) -> TrialAnswer:
        """The same, kept as a record; from then on interpretations use what it says of ratios. Raises Refused."""
        from brinemark.steps.trials import judge_trials

        return judge_trials(self._place)
