"""Pictures of consignments, tanks and trials."""

from __future__ import annotations

from typing import TYPE_CHECKING

from brinemark.logbook.held import Opened

if TYPE_CHECKING:
    from brinemark.outputs.charts import Kind
    from brinemark.steps.draw_fish import TrialChart
    from brinemark.steps.exposures import ExposuresAnswer
    from brinemark.steps.fish_answers import ConsignmentAnswer
    from brinemark.steps.holds import HoldAnswer
    from brinemark.steps.survey_answers import SurveyAnswer
    from brinemark.steps.trials import TrialAnswer


class FishDrawing(Opened):
    """Pictures of consignments, tanks and trials."""

    def draw_tank(self, consignment: str, tank: str, kind: Kind = "svg") -> bytes:
        """A tank against time: what happened, its readings, and what each world expects. Raises Refused."""
        from brinemark.steps.draw_fish import draw_tank

        return draw_tank(self._place, consignment, tank, kind)

    def draw_consignment(self, answer: ConsignmentAnswer, kind: Kind = "svg") -> bytes:
        """All tanks of an interpretation: readings, and weights in each world. Raises Refused when it has no tank."""
        from brinemark.steps.draw_fish import draw_consignment

        return draw_consignment(self._place, answer, kind)

    def draw_weights(self, answer: ConsignmentAnswer, tank: str, kind: Kind = "svg") -> bytes:
        """The weights of one tank over the bands of the verbal scale. Raises Refused for an unknown tank."""
        from brinemark.steps.draw_fish import draw_weights

        return draw_weights(self._place, answer, tank, kind)

    def draw_moves(self, answer: ConsignmentAnswer, tank: str, kind: Kind = "svg") -> bytes:
        """Which assumption moves the weights of a tank how far. Raises Refused where none does."""
        from brinemark.steps.draw_fish import draw_moves

        return draw_moves(answer, tank, kind)

    def draw_known_fish(self, answer: TrialAnswer, world: str, of: TrialChart, kind: Kind = "svg") -> bytes:
        """What a trial says of one world: "calls", or "ratios" against what was counted. Raises Refused."""
        from brinemark.steps.draw_fish import draw_known_fish

        return draw_known_fish(answer, world, of, kind)

    def draw_funnel(self, answer: SurveyAnswer, world: str, kind: Kind = "svg") -> bytes:
        """The consignments of a survey beside one another, in one world. Raises Refused."""
        from brinemark.steps.survey_pictures import draw_funnel

        return draw_funnel(answer, world, kind)

    def draw_seasons(self, answer: SurveyAnswer, world: str, kind: Kind = "svg") -> bytes:
        """Prevalence by origin over the seasons, in one world. Raises Refused."""
        from brinemark.steps.survey_pictures import draw_seasons

        return draw_seasons(answer, world, kind)

    def draw_holds(self, answer: HoldAnswer, kind: Kind = "svg") -> bytes:
        """The chance to find thiocyanate of exposed fish by how long they are held, in each world."""
        from brinemark.steps.survey_pictures import draw_holds

        return draw_holds(answer, kind)

    def draw_pairs(self, first: str, second: str, kind: Kind = "svg") -> bytes:
        """Two methods, as compare_markers names them, on split samples. Raises Refused."""
        from brinemark.steps.survey_pictures import draw_pairs

        return draw_pairs(self._place, first, second, kind)

    def draw_exposures(self, answer: ExposuresAnswer, kind: Kind = "svg") -> bytes:
        """Doses and times that agree with the waters of a tank, world by world."""
        from brinemark.steps.exposure_pictures import draw_exposures

        return draw_exposures(answer, kind)
