"""A logbook on disk: its folder and settings, opened and closed."""

from __future__ import annotations

from collections.abc import Mapping
from html import escape
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING, Self

from brinemark.records.settings_file import read_settings
from brinemark.steps.place import SETTINGS_FILE, Place

if TYPE_CHECKING:
    from brinemark.steps.change_settings import ChangedSettings
    from brinemark.terms.canonical import JsonValue
    from brinemark.terms.settings import Settings


class Opened:
    """A logbook on disk: its folder and settings, opened and closed."""

    def __init__(self, place: Place) -> None:
        self._place = place

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
