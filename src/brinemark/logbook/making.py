"""Electrodes and runs: how batches were made, runs laid out, run sheets taken in."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING

from brinemark.logbook.held import Opened

if TYPE_CHECKING:
    from brinemark.steps.answers import Added
    from brinemark.steps.batch_answers import Batch, MadeElectrode, RecordedMaking
    from brinemark.steps.next_steps import NextStep
    from brinemark.steps.run_plans import RunPlan
    from brinemark.steps.sheet_sources import SheetSource
    from brinemark.steps.take_in import CheckedSheet
    from brinemark.terms.findings import Finding


class Making(Opened):
    """Electrodes and runs: how batches were made, runs laid out, run sheets taken in."""

    def add(self, sheet: str | Path, corrects: str | None = None, reason: str | None = None) -> Added:
        """Add a run sheet with its files, all or nothing. Raises Refused; then nothing is stored."""
        from brinemark.steps.take_in import take_in

        return take_in(self._place, Path(sheet), corrects, reason)

    def check_sheet(
        self,
        source: str | Path | SheetSource,
        corrects: str | None = None,
        reason: str | None = None,
        on_step: Callable[[int, int], bool] | None = None,
    ) -> CheckedSheet:
        """Look a run sheet and its files through as `add` would, and tell every fault; nothing is stored.

        source : a sheet on the disk, or uploads (steps.sheet_sources.Uploads); on_step : after each file and each
        curve, False stops. Raises Stopped.
        """
        from brinemark.steps.sheet_sources import FolderSource
        from brinemark.steps.take_in import check_sheet

        where = FolderSource(Path(source)) if isinstance(source, str | Path) else source
        return check_sheet(self._place, where, corrects, reason, on_step)

    def keep(self, checked: CheckedSheet, on_step: Callable[[int, int], bool] | None = None) -> Added:
        """Store what check_sheet found sound, all or nothing. Raises Refused and Stopped; then nothing is stored."""
        from brinemark.steps.take_in import keep

        return keep(self._place, checked, on_step)

    def record_making(
        self, values: Mapping[str, object], corrects: str | None = None, reason: str | None = None
    ) -> RecordedMaking:
        """Record how a batch was made, its electrodes named before any is used; or correct what was recorded.

        values : batch, made_on, electrodes and what else records.making_file takes; corrects : the batch whose making
        this one takes the place of. The same making again changes nothing. Raises Refused.
        """
        from brinemark.steps.making import record_making

        return record_making(self._place, values, corrects, reason)

    def making_findings(self, values: Mapping[str, object], corrects: str | None = None) -> tuple[Finding, ...]:
        """Every fault of a making that is to be recorded, value by value; empty when record_making would take it."""
        from brinemark.steps.making import making_findings

        return making_findings(self._place, values, corrects)

    def batches(self) -> list[Batch]:
        """Every batch, made or known from run sheets, with the state of each electrode, in the order of making."""
        from brinemark.steps.making import batches

        return batches(self._place)

    def batch(self, name: str) -> Batch:
        """One batch: its making with earlier ones, and its electrodes. Raises Refused for an unknown name."""
        from brinemark.steps.making import batch_named

        return batch_named(self._place, name)

    def set_aside(self, electrode: str, reason: str, back: bool = False) -> MadeElectrode:
        """Set an electrode aside so that it is not laid out, or take it back; both are records. Raises Refused."""
        from brinemark.steps.making import set_aside

        return set_aside(self._place, electrode, reason, back)

    def lay_out(self, values: Mapping[str, object], seed: int | None = None) -> RunPlan:
        """Lay out a run: draw by lot what each electrode reads and in which order, and keep it as a plan.

        values : what is asked for, as records.run_request takes it; seed : None draws one. `RunPlan.sheet()` is the
        run sheet, ready to be filled in. Raises Refused; then nothing is stored.
        """
        from brinemark.steps.lay_out import lay_out

        return lay_out(self._place, values, seed)

    def run_findings(self, values: Mapping[str, object]) -> tuple[Finding, ...]:
        """Every fault of a run that is to be laid out; empty when lay_out would take it."""
        from brinemark.steps.lay_out import run_findings

        return run_findings(self._place, values)

    def run_plans(self) -> list[RunPlan]:
        """Every run plan, oldest first: open, taken in (with departures) or withdrawn (with the reason)."""
        from brinemark.steps.lay_out import run_plans

        return run_plans(self._place)

    def run_plan(self, name: str) -> RunPlan:
        """The run plan of this title, or whose id begins so. Raises Refused."""
        from brinemark.steps.lay_out import plan_named

        return plan_named(self._place, name)

    def withdraw_plan(self, name: str, reason: str) -> RunPlan:
        """Withdraw an open run plan, so that its electrodes are ready again. Raises Refused."""
        from brinemark.steps.lay_out import withdraw

        return withdraw(self._place, name, reason)

    def sample_names(self) -> dict[str, str]:
        """Code on the sheet to the sample's own name, of every run plan."""
        from brinemark.steps.run_plans import sample_names

        return sample_names(self.run_plans())

    def next_steps(self) -> list[NextStep]:
        """What waits and what looks wrong, each with the sensible next step, most pressing first."""
        from brinemark.steps.next_steps import next_steps

        return next_steps(self._place)
