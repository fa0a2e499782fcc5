"""Pictures, and reports to hand over."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Literal

from brinemark.logbook.held import Opened

if TYPE_CHECKING:
    from brinemark.outputs.charts import Kind
    from brinemark.steps.report import Report
    from brinemark.steps.trial_answers import DefinitionTrial
    from brinemark.terms.runs import StoredRow


class Drawing(Opened):
    """Pictures, and reports to hand over."""

    def draw_calibration(
        self, kind: Kind = "svg", calibration: str | None = None, batches: Sequence[str] | None = None
    ) -> bytes:
        """The fan of a calibration, all batches or those named, as SVG, PNG or PDF. Raises Refused."""
        from brinemark.steps.draw import draw_calibration

        return draw_calibration(self._place, kind, calibration, batches)

    def draw_trace(self, row: StoredRow, kind: Kind = "svg", prescan: bool = False, covariate: str = "") -> bytes:
        """The curve of a row, or of its pre-scan, with baseline and wave. Raises Refused as dissection_of."""
        from brinemark.steps.draw import draw_trace

        return draw_trace(self._place, row, kind, prescan, covariate)

    def draw_overlay(
        self, rows: Sequence[StoredRow], kind: Kind = "svg", prescans: str = "none", above_baseline: bool = False
    ) -> bytes:
        """The curves of rows over one another, whole or above their baselines. Raises Refused when none has one.

        prescans : "none", "with" the rows' own curves, or "only".
        """
        from brinemark.steps.overlay import draw_overlay

        return draw_overlay(self._place, rows, kind, prescans, above_baseline)

    def draw_trial(self, trial: DefinitionTrial, kind: Kind = "svg") -> bytes:
        """Signal against level of known electrodes by the present definition and by the tried one."""
        from brinemark.steps.overlay import draw_trial

        return draw_trial(trial, kind)

    def draw_life(self, electrode: str, kind: Kind = "svg", statement: str | None = None) -> bytes:
        """All readings of an electrode in order of time, with their curves; the statement about its sample above.

        statement : None reads the sample now, when there is a calibration. Raises Refused.
        """
        from brinemark.steps.draw import draw_life

        return draw_life(self._place, electrode, kind, statement)

    def draw_reading(self, sample: str, kind: Kind = "svg", calibration: str | None = None) -> bytes:
        """The confidence curve and statement of a sample or control. Raises Refused."""
        from brinemark.steps.draw import draw_reading

        return draw_reading(self._place, sample, kind, calibration)

    def draw_stored(self, *readings: str, kind: Kind = "svg") -> bytes:
        """The confidence curve of a reading as it was answered, by its id; of several their statements. Refused."""
        from brinemark.steps.draw import draw_stored, draw_stored_statements

        if len(readings) == 1:
            return draw_stored(self._place, readings[0], kind)
        return draw_stored_statements(self._place, readings, kind)

    def draw_fit(self, kind: Kind = "svg", calibration: str | None = None) -> bytes:
        """What groups of standards and batches would have beyond the model of a calibration. Raises Refused."""
        from brinemark.steps.draw import draw_fit

        return draw_fit(self._place, kind, calibration)

    def draw_residuals(
        self, kind: Kind = "svg", calibration: str | None = None, batches: Sequence[str] | None = None
    ) -> bytes:
        """How far each calibration electrode lies from what its batch lets expect, all or named batches. Refused."""
        from brinemark.steps.draw import draw_residuals

        return draw_residuals(self._place, kind, calibration, batches)

    def draw_statements(self, *samples: str, kind: Kind = "svg", calibration: str | None = None) -> bytes:
        """The statements about the samples, or about all, on one axis. Raises Refused."""
        from brinemark.steps.draw import draw_statements

        return draw_statements(self._place, samples, kind, calibration)

    def report(
        self,
        kind: Literal["samples", "batch", "calibration", "consignment", "trials"],
        *names: str,
        calibration: str | None = None,
        decimal: Literal["point", "comma"] | None = None,
    ) -> Report:
        """A document to hand over, PDF/A with its data attached, kept with its record; the same input, the same bytes.

        names : samples and controls (none: all samples), one batch, or the beginning of a calibration's id (none: the
        newest), one consignment, none for trials; calibration : an older one for samples and batches; decimal : None as
        [report] says. Raises Refused.
        """
        from brinemark.steps.report import Wanted, make_report

        return make_report(self._place, Wanted(kind, names, calibration, decimal))

    def report_preview(
        self,
        kind: Literal["samples", "batch", "calibration", "consignment", "trials"],
        *names: str,
        calibration: str | None = None,
        decimal: Literal["point", "comma"] | None = None,
        dots_per_inch: float = 100.0,
    ) -> list[bytes]:
        """The pages that `report` would make, as PNG; no report is stored. Raises Refused as `report`."""
        from brinemark.steps.report import Wanted, preview_report

        return preview_report(self._place, Wanted(kind, names, calibration, decimal), dots_per_inch)
