"""What the logbook says of batches and electrodes now: current makings, what was spent, set aside or laid out."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from brinemark.records.making_file import making_from_json
from brinemark.records.reader import Reader
from brinemark.steps.batch_answers import Batch, EarlierMaking, MadeElectrode
from brinemark.terms.making import LAID_OUT, READY, SET_ASIDE, SPENT, Making
from brinemark.terms.runs import RowUse
from brinemark.terms.stored import Record

MAKING, ASIDE = "making", "set aside"
ROLE_MADE, ROLE_ASIDE, ROLE_BACK = "as made", "set aside", "taken back"
CORRECTS, FOLLOWS, OF_MAKING = "corrects", "follows", "making"


@dataclass(frozen=True, slots=True, eq=False)
class Known:
    """Everything that decides an electrode's state, at one moment.

    makings, made : current making records by batch, and what they say; all_makings : also the corrected ones, by id;
    rows : first row of each electrode that current sheets name, what it was used for; titles : of the sheets; aside :
    by electrode, its newest record; laid_out : electrode to the open plan.
    """

    makings: Mapping[str, Record]
    made: Mapping[str, Making]
    all_makings: Mapping[str, Record]
    rows: Mapping[str, RowUse]
    titles: Mapping[str, str]
    aside: Mapping[str, Record]
    laid_out: Mapping[str, str]

    def batch_of(self, electrode: str) -> str | None:
        """The batch that a making or a sheet puts the electrode into."""
        row = self.rows.get(electrode)
        return self.batches_of_electrodes().get(electrode) if row is None else row.batch

    def batches_of_electrodes(self) -> dict[str, str]:
        """Electrode to batch, as the makings say."""
        return {name: batch for batch, making in self.made.items() for name in making.electrodes}

    def dates(self) -> dict[str, str]:
        """Batch to the day it was made on."""
        return {batch: making.made_on for batch, making in self.made.items()}

    def reason_aside(self, electrode: str) -> str | None:
        """Why the electrode is set aside now, or None."""
        record = self.aside.get(electrode)
        if record is None or record.role != ROLE_ASIDE:
            return None
        settings: Any = record.settings
        return str(settings["reason"])

    def electrode(self, name: str, batch: str) -> MadeElectrode:
        """One electrode with its state: spent before set aside before laid out before ready."""
        row, reason, making = self.rows.get(name), self.reason_aside(name), self.made.get(batch)
        made = making is not None and name in making.electrodes
        position = next((where for one, where in making.positions if one == name), None) if making else None
        if row is not None:
            title = self.titles[row.sheet_id]
            return MadeElectrode(name, batch, SPENT, made, position, sheet=title, used_for=use(row))
        if reason is not None:
            return MadeElectrode(name, batch, SET_ASIDE, made, position, reason=reason)
        if name in self.laid_out:
            return MadeElectrode(name, batch, LAID_OUT, made, position, plan=self.laid_out[name])
        return MadeElectrode(name, batch, READY, made, position)

    def batch(self, name: str, more: Sequence[str] = ()) -> Batch:
        """A batch, made or known from sheets; more : its electrodes that only sheets name."""
        record, making = self.makings.get(name), self.made.get(name)
        names = dict.fromkeys((*(() if making is None else making.electrodes), *more))
        electrodes = tuple(self.electrode(one, name) for one in names)
        if record is None:
            return Batch(name, None, electrodes)
        return Batch(name, making, electrodes, record.id, record.made_at, tuple(self._earlier(record)))

    def _earlier(self, record: Record) -> Iterable[EarlierMaking]:
        while (old := dict(record.parents).get(CORRECTS)) is not None:
            settings: Any = record.settings
            reason, record = str(settings["reason"]), self.all_makings[old]
            yield EarlierMaking(record.id, record.made_at, reason, making_of(record))

    def batches(self) -> dict[str, Batch]:
        """All batches by name."""
        more: dict[str, list[str]] = {name: [] for name in self.makings}
        for electrode, row in self.rows.items():
            more.setdefault(row.batch, []).append(electrode)
        return {name: self.batch(name, found) for name, found in more.items()}


def known_makings(reader: Reader) -> Known:
    """What makings and set-aside electrodes say, without the sheets and plans."""
    makings = {record.id: record for record in reader.newest_first(MAKING)}
    old = {parent for record in makings.values() for role, parent in record.parents if role == CORRECTS}
    aside: dict[str, Record] = {}
    for record in reader.newest_first(ASIDE):
        settings: Any = record.settings
        aside.setdefault(settings["electrode"], record)
    said = [(record, making_of(record)) for key, record in makings.items() if key not in old]
    current = {making.batch: record for record, making in said}
    return Known(current, {making.batch: making for _, making in said}, makings, {}, {}, aside, {})


def known_electrodes(reader: Reader, uses: Iterable[RowUse], laid_out: Mapping[str, str]) -> Known:
    """All that the logbook knows of its electrodes; uses : of all current sheets; laid_out : electrode to open plan."""
    first: dict[str, RowUse] = {}
    for row in uses:
        first.setdefault(row.electrode, row)
    titles = {sheet.id: sheet.title for sheet in reader.sheets()}
    return replace(known_makings(reader), rows=first, titles=titles, laid_out=laid_out)


def making_of(record: Record) -> Making:
    """The making that a record holds."""
    settings: Any = record.settings
    return making_from_json(settings["making"])


def use(row: RowUse) -> str:
    """What the first row of an electrode was: blank, standard 2, sample S1."""
    if row.role == "blank":
        return "blank"
    return f"{row.role} {row.sample or format(row.level or 0.0, 'g')}"
