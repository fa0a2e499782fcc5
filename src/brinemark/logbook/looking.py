"""What a logbook holds, back to the bytes as they came, and whether all of it is sound."""

from __future__ import annotations

from typing import TYPE_CHECKING

from brinemark.logbook.held import Opened

if TYPE_CHECKING:
    from brinemark.records.audit import AuditEntry
    from brinemark.steps.answers import CalibrationReport, SampleReading
    from brinemark.steps.check import CheckReport
    from brinemark.steps.look import ReadingHead
    from brinemark.steps.shown import Shown
    from brinemark.terms.curves import Curve, CurveDissection
    from brinemark.terms.runs import StoredRow
    from brinemark.terms.stored import Original, Record, StoredSheet


class Looking(Opened):
    """What a logbook holds, back to the bytes as they came, and whether all of it is sound."""

    def show(self, what: str) -> Shown:
        """A batch, electrode or sample with its way back to the files. Raises Refused for an unknown name."""
        from brinemark.steps.trace_back import show

        return show(self._place, what)

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

    def reports(self) -> tuple[Record, ...]:
        """Every report that was made, newest first, as its record; its PDF is the original of the sha256 there."""
        with self._place.database.reading() as reader:
            return tuple(reader.newest_first("report"))

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
