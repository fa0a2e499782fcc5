"""The public face: a logbook on disk, and what can be done with it."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from html import escape
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING, Literal, Self

from brinemark.records.settings_file import read_settings
from brinemark.steps.create import create, open_place
from brinemark.steps.place import SETTINGS_FILE, Place

if TYPE_CHECKING:
    from brinemark.outputs.charts import Kind
    from brinemark.records.audit import AuditEntry
    from brinemark.steps.answers import Added, CalibrationReport, SampleReading
    from brinemark.steps.batch_answers import Batch, MadeElectrode, RecordedMaking
    from brinemark.steps.change_settings import ChangedSettings
    from brinemark.steps.check import CheckReport
    from brinemark.steps.definition_lock import SeenAlready
    from brinemark.steps.look import ReadingHead
    from brinemark.steps.next_steps import NextStep
    from brinemark.steps.report import Report
    from brinemark.steps.row_signals import ReadRow
    from brinemark.steps.run_control import RunReport
    from brinemark.steps.run_plans import RunPlan
    from brinemark.steps.scan_rates import ScanRates
    from brinemark.steps.sheet_sources import SheetSource
    from brinemark.steps.shown import Shown
    from brinemark.steps.study_answers import SignalStudy, TriedDefinition
    from brinemark.steps.take_in import CheckedSheet
    from brinemark.steps.trial_answers import DefinitionTrial
    from brinemark.terms.canonical import JsonValue
    from brinemark.terms.curves import Curve, CurveDissection
    from brinemark.terms.findings import Finding
    from brinemark.terms.pictures import OverlaidCurve
    from brinemark.terms.runs import StoredRow
    from brinemark.terms.settings import Settings
    from brinemark.terms.stored import Original, Record, StoredSheet


class Logbook:
    """A directory with logbook.toml, logbook.db and originals/. Use `create` or `open`, and close it (or `with`)."""

    def __init__(self, place: Place) -> None:
        self._place = place

    @classmethod
    def create(cls, path: str | Path, name: str | None = None, timezone: str = "UTC") -> Logbook:
        """A new, empty logbook in a new or empty folder. Raises Refused."""
        return cls(create(Path(path), name, timezone))

    @classmethod
    def open(cls, path: str | Path) -> Logbook:
        """The logbook in a folder. Raises Refused when there is none, or it is not sound."""
        return cls(open_place(Path(path)))

    @property
    def path(self) -> Path:
        return self._place.folder

    @property
    def settings(self) -> Settings:
        return self._place.settings

    def change_settings(
        self, changes: Mapping[str, JsonValue], reason: str, *, shown: str = "", although_read: bool = False
    ) -> ChangedSettings:
        """Change keys of logbook.toml, all or nothing; comments and order stay, and the audit list says what changed.

        changes : value by key as "decision.alpha" or "stock.K1.level"; None takes a key or section out. shown : sha256
        of the file that the changes were chosen before, refused when it is another now. although_read : a definition
        may change after samples were read by another. Raises Refused with all findings.
        """
        from dataclasses import replace

        from brinemark.records.settings_edit import key_of
        from brinemark.steps.change_settings import Wish, change_settings

        wish = Wish({key_of(key): value for key, value in changes.items()}, reason, shown, although_read)
        changed = change_settings(self._place.folder, self._place.database, wish)
        self._place = replace(self._place, settings=read_settings(self._place.folder / SETTINGS_FILE))
        return changed

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

    def controls(self, calibration: str | None = None) -> list[RunReport]:
        """Every run with its blanks and controls, and whether it counts. Raises Refused without a calibration."""
        from brinemark.steps.read import judge_runs

        return judge_runs(self._place, calibration)

    def show(self, what: str) -> Shown:
        """A batch, electrode or sample with its way back to the files. Raises Refused for an unknown name."""
        from brinemark.steps.trace_back import show

        return show(self._place, what)

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

    def rows(self, superseded: bool = False) -> tuple[StoredRow, ...]:
        """Rows of all current sheets, in their order."""
        with self._place.database.reading() as reader:
            return reader.rows(superseded=superseded)

    def sheets(self, current: bool = False) -> tuple[StoredSheet, ...]:
        """Sheets in the order they came."""
        with self._place.database.reading() as reader:
            return reader.sheets(current=current)

    def calibration(self, calibration: str | None = None) -> CalibrationReport:
        """The newest calibration of the current definition, or the named one. Raises Refused."""
        from brinemark.steps.look import stored_calibration

        return stored_calibration(self._place, calibration)

    def readings(self) -> list[SampleReading]:
        """Every reading ever shown, oldest first."""
        from brinemark.steps.look import stored_readings

        return stored_readings(self._place)

    def reading_heads(self) -> tuple[ReadingHead, ...]:
        """Every reading ever shown, in short, oldest first."""
        from brinemark.steps.look import reading_heads

        return reading_heads(self._place)

    def reading(self, reading: str) -> SampleReading:
        """One reading as it was answered, by its id. Raises Refused."""
        from brinemark.steps.look import readings_by_id

        return readings_by_id(self._place, [reading])[0]

    def record(self, record: str) -> Record:
        """A record of any kind by its id, without its arrays. Raises Refused."""
        from brinemark.steps.look import record_of

        return record_of(self._place, record)

    def original(self, sha256: str) -> tuple[Original, bytes]:
        """A kept file: its name and size, and its bytes as they came. Raises Refused."""
        from brinemark.steps.look import original_of

        return original_of(self._place, sha256)

    def original_ids(self) -> frozenset[str]:
        """sha256 of every kept file."""
        with self._place.database.reading() as reader:
            return reader.original_ids()

    def calibrations(self) -> tuple[Record, ...]:
        """Every calibration, newest first, without arrays."""
        with self._place.database.reading() as reader:
            return tuple(reader.newest_first("calibration"))

    def trace_of(self, row: StoredRow, prescan: bool = False) -> Curve:
        """The curve of a row, or of its pre-scan. Raises Refused when no curve was kept."""
        from brinemark.steps.look import trace_of

        return trace_of(self._place, row, prescan)

    def dissection_of(self, row: StoredRow, prescan: bool = False, covariate: str = "") -> CurveDissection:
        """The signal of a row taken apart, with the wave that reads it now, or a covariate of its pre-scan.

        covariate : "" the one of [covariate], else NAME of [further_covariate.NAME]. Raises Refused.
        """
        from brinemark.steps.look import dissection_of

        return dissection_of(self._place, row, prescan, covariate)

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

    def draw_statements(self, *samples: str, kind: Kind = "svg", calibration: str | None = None) -> bytes:
        """The statements about the samples, or about all, on one axis. Raises Refused."""
        from brinemark.steps.draw import draw_statements

        return draw_statements(self._place, samples, kind, calibration)

    def report(
        self,
        kind: Literal["samples", "batch", "calibration"],
        *names: str,
        calibration: str | None = None,
        decimal: Literal["point", "comma"] | None = None,
    ) -> Report:
        """A document to hand over, PDF/A with its data attached, kept with its record; the same input, the same bytes.

        names : samples and controls (none: all samples), one batch, or the beginning of a calibration's id (none: the
        newest); calibration : an older one for samples and batches; decimal : None as [report] says. Raises Refused.
        """
        from brinemark.steps.report import Wanted, make_report

        return make_report(self._place, Wanted(kind, names, calibration, decimal))

    def report_preview(
        self,
        kind: Literal["samples", "batch", "calibration"],
        *names: str,
        calibration: str | None = None,
        decimal: Literal["point", "comma"] | None = None,
        dots_per_inch: float = 100.0,
    ) -> list[bytes]:
        """The pages that `report` would make, as PNG; no report is stored. Raises Refused as `report`."""
        from brinemark.steps.report import Wanted, preview_report

        return preview_report(self._place, Wanted(kind, names, calibration, decimal), dots_per_inch)

    def audit(self) -> tuple[AuditEntry, ...]:
        """The audit list, oldest first."""
        with self._place.database.reading() as reader:
            return reader.audit_entries()

    def audit_head(self) -> str:
        """Hash of the last audit entry: it changes with everything that is stored."""
        with self._place.database.reading() as reader:
            return reader.audit_head()

    def verify(self, keep: bool = False) -> CheckReport:
        """Check the file, the audit list, every record and every original; keep : note in the audit list what came."""
        from brinemark.steps.check import check, check_and_note

        return (check_and_note if keep else check)(self._place)

    def next_steps(self) -> list[NextStep]:
        """What waits and what looks wrong, each with the sensible next step, most pressing first."""
        from brinemark.steps.next_steps import next_steps

        return next_steps(self._place)

    def close(self) -> None:
        """Release the files."""
        self._place.database.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, back: TracebackType | None
    ) -> None:
        self.close()

    def _summary(self) -> str:
        with self._place.database.reading() as reader:
            rows, sheets = reader.rows(), reader.sheets(current=True)
            calibrations = sum(1 for _ in reader.newest_first("calibration"))
        electrodes = len({row.row.electrode for row in rows})
        batches = len({row.row.batch for row in rows})
        samples = len({row.row.sample for row in rows if row.row.role == "sample"})
        return (
            f"logbook {self.settings.logbook.name}: {len(sheets)} sheets, {electrodes} electrodes "
            f"of {batches} batches, {samples} samples, {calibrations} calibrations"
        )

    def __repr__(self) -> str:
        return f"<{self._summary()}>"

    def _repr_html_(self) -> str:
        return f"<p>{escape(self._summary())}</p>"
