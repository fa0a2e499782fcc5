"""From amounts in the water to what they say about fish: tank records, their interpretation, trials."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from brinemark.logbook.held import Opened

if TYPE_CHECKING:
    from brinemark.steps.exposures import ExposuresAnswer
    from brinemark.steps.fish_answers import ConsignmentAnswer
    from brinemark.steps.fish_heads import ConsignmentHead
    from brinemark.steps.holds import HoldAnswer
    from brinemark.steps.kinetics_in_use import KineticsAnswer
    from brinemark.steps.marker_answers import CheckedMarkers, MarkersAnswer, MarkersTaken
    from brinemark.steps.survey_answers import SurveyAnswer
    from brinemark.steps.tank_answers import CheckedTanks, TanksTaken
    from brinemark.steps.trials import TrialAnswer
    from brinemark.terms.markers import MarkerRow
    from brinemark.terms.tanks import Consignment


class FishSide(Opened):
    """From amounts in the water to what they say about fish: tank records, their interpretation, trials."""

    def add_tanks(
        self, record: str | Path | tuple[str, bytes], corrects: str | None = None, reason: str | None = None
    ) -> TanksTaken:
        """Take in a tank record (a file, or a name with bytes), all or nothing; known rows change nothing.

        corrects : the consignment whose rows are all replaced by those of this record. Raises Refused.
        """
        from brinemark.steps.take_in_tanks import take_in_tanks

        return take_in_tanks(self._place, record if isinstance(record, tuple) else Path(record), corrects, reason)

    def add_tank_rows(
        self, rows: Sequence[Mapping[str, str]], corrects: str | None = None, reason: str | None = None
    ) -> TanksTaken:
        """Take in rows that were typed into a form, column to text, by the same rules. Raises Refused."""
        from brinemark.steps.take_in_tanks import add_tank_rows

        return add_tank_rows(self._place, rows, corrects, reason)

    def check_tanks(
        self,
        source: str | Path | tuple[str, bytes] | list[Mapping[str, str]],
        corrects: str | None = None,
        reason: str | None = None,
    ) -> CheckedTanks:
        """Look a tank record or the rows of a form through, and tell every fault; nothing is stored."""
        from brinemark.steps.take_in_tanks import check_tanks

        return check_tanks(self._place, Path(source) if isinstance(source, str) else source, corrects, reason)

    def consignments(self) -> list[Consignment]:
        """Every consignment as it is recorded now, in the order of their first records."""
        from brinemark.steps.consignments import known_consignments

        with self._place.database.reading() as reader:
            return list(known_consignments(reader).values())

    def consignment_heads(self) -> list[ConsignmentHead]:
        """Every consignment at a glance: its fish, waters read and found, and whether what is said now is kept."""
        from brinemark.steps.fish_heads import consignment_heads

        return consignment_heads(self._place)

    def words_of_worlds(self, answer: ConsignmentAnswer) -> Mapping[str, Mapping[str, str]]:
        """By tank and world: the support in a few words, against the account that explains the readings best."""
        from brinemark.steps.fish_heads import words_of_worlds

        return words_of_worlds(self._place, answer)

    def tank_table(self, consignment: str | None = None, *, comma: bool = False) -> str:
        """What is recorded of a consignment as a tank record, or an empty one to fill in. Raises Refused.

        comma : decimal comma, and semicolons between cells.
        """
        from zoneinfo import ZoneInfo

        from brinemark.records.tank_table import tank_table
        from brinemark.steps.consignments import consignment_named, known_consignments

        zone = ZoneInfo(self._place.settings.logbook.timezone)
        if consignment is None:
            return tank_table((), zone, comma=comma)
        with self._place.database.reading() as reader:
            known = known_consignments(reader)
        return tank_table(consignment_named(known, consignment).rows, zone, comma=comma)

    def samples_read(self) -> frozenset[str]:
        """Names of the samples of which there is a reading."""
        from brinemark.steps.consignments import samples_read

        return samples_read(self._place)

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

    def exposures(self, consignment: str, tank: str) -> ExposuresAnswer:
        """Which exposures of the fish of a tank agree with its waters, world by world; nothing is stored.

        Raises Refused for an unknown consignment or tank, without fish, and where no water of it was read.
        """
        from brinemark.steps.exposures import consider_exposures

        return consider_exposures(self._place, consignment, tank)

    def kinetics(self) -> KineticsAnswer:
        """The parameters that interpretations use, with their sources, and what own experiments say of them."""
        from brinemark.steps.kinetics_in_use import kinetics_in_use

        return kinetics_in_use(self._place)

    def fit_experiments(self) -> KineticsAnswer:
        """Fit tanks of one's own that were spiked or held fish of known exposure, and keep the fit.

        Interpretations use it from then on, as a third world where it measured enough. Raises Refused without any.
        """
        from brinemark.steps.kinetics_in_use import fit_own

        return fit_own(self._place)

    def kept_trial(self) -> str | None:
        """Id of the record of the trial as it would be judged now, None when that is not kept."""
        from brinemark.steps.trials import kept_trial

        return kept_trial(self._place)

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

    def survey(self) -> SurveyAnswer:
        """Prevalence by origin and season over consignments of fish of unknown history, under each world; not stored.

        Where none can be stated, the reason stands in its place. Raises Refused where there are tests and no
        calibration that says what they can find.
        """
        from brinemark.steps.survey import survey_consignments

        return survey_consignments(self._place)

    def add_markers(
        self, table: str | Path | tuple[str, bytes], corrects: str | None = None, reason: str | None = None
    ) -> MarkersTaken:
        """Take in results of other methods (a file, or a name with bytes), all or nothing; known ones change nothing.

        corrects : title of the file, or the beginning of its record's id, whose results these replace. Raises Refused.
        """
        from brinemark.steps.markers import take_in_markers

        return take_in_markers(self._place, table if isinstance(table, tuple) else Path(table), corrects, reason)

    def check_markers(
        self, table: str | Path | tuple[str, bytes], corrects: str | None = None, reason: str | None = None
    ) -> CheckedMarkers:
        """Look results of other methods through as add_markers would, and tell every fault; nothing is stored."""
        from brinemark.steps.markers import check_markers

        return check_markers(self._place, table if isinstance(table, tuple) else Path(table), corrects, reason)

    def marker_results(self) -> list[MarkerRow]:
        """Every result of another method that holds now, in the order in which they came."""
        from brinemark.steps.markers import marker_rows

        with self._place.database.reading() as reader:
            return marker_rows(reader)

    def compare_markers(
        self, first: str | None = None, second: str | None = None, at: float | None = None
    ) -> MarkersAnswer:
        """Other methods beside this logbook's readings, and every two of them; values not found are kept; not stored.

        first, second : only comparisons with these; at : level at which found or not found is asked, in the logbook's
        unit, None = each result by its own limit. Raises Refused for an unknown method.
        """
        from brinemark.steps.compare_markers import compare_markers

        return compare_markers(self._place, first, second, at)
