"""From signals to amounts: calibrations, readings, run control, definitions of the signal."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from brinemark.logbook.held import Opened

if TYPE_CHECKING:
    from brinemark.steps.answers import CalibrationReport, SampleReading
    from brinemark.steps.definition_lock import SeenAlready
    from brinemark.steps.one_more_answers import OneMore
    from brinemark.steps.row_signals import ReadRow
    from brinemark.steps.run_control import RunReport
    from brinemark.steps.scan_rates import ScanRates
    from brinemark.steps.study_answers import SignalStudy, TriedDefinition
    from brinemark.steps.trial_answers import DefinitionTrial
    from brinemark.terms.pictures import OverlaidCurve
    from brinemark.terms.runs import StoredRow


class Amounts(Opened):
    """From signals to amounts: calibrations, readings, run control, definitions of the signal."""

    def calibrate(self, on_step: Callable[[int, int], bool] | None = None) -> CalibrationReport:
        """Calibrate from all current blanks and standards. Raises Refused, GateFailed, Stopped: nothing is stored."""
        from brinemark.steps.calibrate import run_calibration

        return run_calibration(self._place, on_step)

    def read(self, *samples: str, calibration: str | None = None, unit: str | None = None) -> list[SampleReading]:
        """One of the five statements about each of the samples, or about all. Raises Refused.

        unit : levels are stated in it instead of the logbook's, for example nmol/kg.
        """
        from brinemark.steps.read import read_samples

        if unit is None:
            return read_samples(self._place, samples, calibration)
        from brinemark.steps.in_unit import restated, unit_factors

        factors = unit_factors(self._place, samples, unit)
        return restated(read_samples(self._place, samples, calibration), factors, unit)

    def one_more(self, sample: str, batch: str | None = None, dilutions: Sequence[float] | None = None) -> OneMore:
        """What one more fresh electrode with a typical signal would change about a sample, by dilution; not stored.

        batch : of the electrode, else the newest of the calibration with ready electrodes. Raises Refused.
        """
        from brinemark.steps.one_more import one_more

        return one_more(self._place, sample, batch, dilutions)

    def controls(self, calibration: str | None = None) -> list[RunReport]:
        """Every run with its blanks and controls, and whether it counts. Raises Refused without a calibration."""
        from brinemark.steps.read import judge_runs

        return judge_runs(self._place, calibration)

    def scan_rates(self, table: str | Path) -> ScanRates:
        """Whether a wave diffuses or is bound to the surface, from a table of curves; nothing is stored. Refused."""
        from brinemark.steps.scan_rates import scan_rates

        return scan_rates(self._place, Path(table))

    def signals(
        self,
        *,
        quantities: Sequence[str] = (),
        baselines: Sequence[str] = (),
        windows: Sequence[tuple[float, float]] = (),
        sweeps: Sequence[str] = (),
        cycles: Sequence[str] = (),
        on_work: Callable[[str], None] | None = None,
    ) -> SignalStudy:
        """Signal definitions ranked by the error of the amount on blanks, standards and controls; samples stay hidden.

        What is not named is tried in full: quantities, baselines, and the logbook's window beside those that the curves
        propose; other sweeps and cycles are tried when they are named. Every definition tried is kept. on_work : told
        what is being done. Raises Refused.
        """
        from brinemark.steps.candidates import Wanted
        from brinemark.steps.signals import rank_signals

        wanted = Wanted(tuple(quantities), tuple(baselines), tuple(windows), tuple(sweeps), tuple(cycles))
        return rank_signals(self._place, wanted, on_work)

    def signals_tried(self) -> tuple[TriedDefinition, ...]:
        """Every signal definition that was ever tried, oldest first."""
        from brinemark.steps.signals import tried_definitions

        return tried_definitions(self._place)

    def try_definition(
        self, window: tuple[float, float] | None = None, *, quantity: str = "", baseline: str = "", sweep: str = ""
    ) -> DefinitionTrial:
        """What a definition does on blanks, standards and controls, beside the present one; samples stay hidden.

        What is not named is as the present one has it. The look is kept and counts as tried. Raises Refused.
        """
        from brinemark.steps.definition_trial import only, try_definition

        return try_definition(self._place, only(self.settings.signal, window, quantity, baseline, sweep))

    def definition_tried(
        self, window: tuple[float, float] | None = None, *, quantity: str = "", baseline: str = "", sweep: str = ""
    ) -> DefinitionTrial | None:
        """The same where it was tried on these curves already, else None; nothing is kept. Raises Refused.

        Without any argument it is the present definition alone.
        """
        from brinemark.steps.definition_trial import only, tried_already

        named = window is not None or quantity or baseline or sweep
        wanted = only(self.settings.signal, window, quantity, baseline, sweep) if named else None
        return tried_already(self._place, wanted)

    def curves_to_try(self, sweep: str = "", most: int = 60) -> tuple[tuple[OverlaidCurve, ...], str]:
        """Curves of the newest blanks and standards on the stretch that they share, to choose a window on; or why none.

        sweep : "" is that of the present definition. Raises Refused for one that is none.
        """
        from brinemark.steps.definition_trial import curves_to_try

        return curves_to_try(self._place, sweep, most)

    def definition_seen(self) -> SeenAlready:
        """What was read of samples until now, and whether the present definition is locked."""
        from brinemark.steps.definition_trial import seen_so_far

        return seen_so_far(self._place)

    def known_count(self) -> int:
        """How many electrodes of known level, with a curve, a definition is tried on."""
        from brinemark.steps.definition_trial import known_count

        return known_count(self._place)

    def signals_of(self, rows: Sequence[StoredRow]) -> tuple[ReadRow, ...]:
        """The signals of rows as the present definition reads them; a row that cannot be read says why."""
        from brinemark.steps.row_signals import signals_of

        return signals_of(self._place, rows)
