"""What earlier sheets and makings have against a new sheet: an electrode answers once, and an id means one thing."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from brinemark.records.life_rules import stock_conflicts
from brinemark.records.reader import Reader
from brinemark.records.text import shown
from brinemark.steps.incoming import Incoming
from brinemark.steps.makings import Known
from brinemark.steps.place import Place
from brinemark.steps.run_plans import plans_of
from brinemark.terms.errors import Refused
from brinemark.terms.runs import SheetRow, StoredRow
from brinemark.terms.stored import StoredSheet


def known_sheet(reader: Reader, incoming: Incoming) -> StoredSheet | None:
    """The sheet of the same content, when the logbook has it."""
    return next((one for one in reader.sheets() if one.id == incoming.id), None)


def corrected_sheet(reader: Reader, name: str | None) -> StoredSheet | None:
    """The sheet that is to be superseded, by title or beginning of its id. Raises Refused."""
    if name is None:
        return None
    found = reader.sheets_named(name)
    current = {one.id for one in reader.sheets(current=True)}
    alive = [one for one in found if one.id in current]
    if len(alive) == 1:
        return alive[0]
    if len(alive) > 1:
        ids = ", ".join(one.id[:12] for one in alive)
        raise Refused(f"{len(alive)} sheets called {name!r}", "one sheet", f"name it by its id: {ids}")
    if found:
        raise Refused(f"sheet {name!r}, which was corrected already", "a current sheet", "correct its correction")
    titles = ", ".join(one.title for one in reader.sheets(current=True)) or "none"
    raise Refused(f"no sheet {name!r} to correct", "a sheet of this logbook", f"its sheets are: {titles}")


def history_faults(
    place: Place, reader: Reader, incoming: Incoming, old: StoredSheet | None, makings: Known
) -> Iterator[Refused]:
    """What other current sheets and the makings deny, row by row; old : the sheet that is corrected."""
    titles = {one.id: one.title for one in reader.sheets()}
    names = [row.row.electrode for row in incoming.rows]
    spent: dict[str, StoredRow] = {}
    for row in _rows_of(reader, names):
        if old is None or row.sheet_id != old.id:
            spent.setdefault(row.row.electrode, row)
    for row in incoming.rows:
        before = spent.get(row.row.electrode)
        if before is not None:
            yield _spent(row.row, before, titles[before.sheet_id])
    yield from _sample_faults(reader, incoming, old)
    yield from _stock_faults(place, reader, incoming, old)
    yield from _making_faults(incoming, makings)


def _making_faults(incoming: Incoming, makings: Known) -> Iterator[Refused]:
    """Electrodes that a making puts into another batch than the sheet does."""
    batches = makings.batches_of_electrodes()
    for row in incoming.rows:
        made = batches.get(row.row.electrode, row.row.batch)
        if made != row.row.batch:
            came = f"electrode {shown(row.row.electrode)} in batch {row.row.batch}, made in batch {made}"
            expected, remedy = "one batch for an electrode", "correct the batch or the id, or correct the making"
            yield Refused(came, expected, remedy, row=row.row.number, column="batch")


def making_remarks(incoming: Incoming, makings: Known) -> Iterator[str]:
    """What is odd about electrodes whose batch has a making: not named in it, set aside, used before it was made."""
    first: dict[str, SheetRow] = {}
    for stored in incoming.rows:
        first.setdefault(stored.row.electrode, stored.row)
    dates = makings.dates()
    made = makings.batches_of_electrodes()
    unnamed = [row for row in first.values() if row.batch in dates and row.electrode not in made]
    if unnamed:
        named = ", ".join(row.electrode for row in unnamed[:8]) + (", ..." if len(unnamed) > 8 else "")
        yield f"electrodes that the making of their batch does not name: {named}"
    for row in first.values():
        reason = makings.reason_aside(row.electrode)
        if reason is not None:
            yield f"row {row.number}: electrode {row.electrode} was set aside: {reason}"
        if row.measured_at.date().isoformat() < dates.get(row.batch, ""):
            day = dates[row.batch]
            yield f"row {row.number}: electrode {row.electrode} was measured before its batch was made ({day})"


def _stock_faults(place: Place, reader: Reader, incoming: Incoming, old: StoredSheet | None) -> Iterator[Refused]:
    """A stock has one level and one error, whatever the sheet."""
    rows = [row.row for row in incoming.rows]
    named = {row.stock for row in rows if row.stock_level is not None or row.level_rel_u is not None} - {None}
    if not named:
        return
    earlier = [one.row for one in reader.rows() if one.row.stock in named and (old is None or one.sheet_id != old.id)]
    yield from stock_conflicts(rows, earlier, incoming.sheet.title, place.settings)


def _sample_faults(reader: Reader, incoming: Incoming, old: StoredSheet | None) -> Iterator[Refused]:
    roles = {row.row.sample: row.row for row in _samples_of(reader, incoming) if old is None or row.sheet_id != old.id}
    for row in incoming.rows:
        other = roles.get(row.row.sample) if row.row.sample else None
        if other is not None and other.role != row.row.role:
            yield Refused(
                f"{row.row.sample!r} as a {row.row.role}, in the logbook a {other.role}",
                "one role for an id",
                "give the control an id of its own",
                row=row.row.number,
                column="sample",
            )


def plan_remarks(reader: Reader, incoming: Incoming, old: StoredSheet | None) -> Iterator[str]:
    """Where the sheet departs from the run plans that lay out its electrodes."""
    new = {row.row.electrode for row in incoming.rows}
    for plan in plans_of(reader, reader.uses(), incoming.rows, None if old is None else old.id):
        if new.intersection(plan.electrodes):
            for departure in plan.departures:
                yield f"run plan {plan.title}: {departure.sentence}"


def _rows_of(reader: Reader, electrodes: Sequence[str]) -> Iterator[StoredRow]:
    for start in range(0, len(electrodes), 500):
        yield from reader.rows(electrodes=electrodes[start : start + 500])


def _samples_of(reader: Reader, incoming: Incoming) -> Iterator[StoredRow]:
    names = sorted({row.row.sample for row in incoming.rows if row.row.sample is not None})
    for start in range(0, len(names), 500):
        yield from reader.rows(samples=names[start : start + 500])


def _spent(row: SheetRow, before: StoredRow, title: str) -> Refused:
    then = before.row
    if then.batch != row.batch:
        came = f"electrode {row.electrode!r} in batch {row.batch}, in the logbook in {then.batch} ({title})"
        return Refused(
            came,
            "one batch for an electrode",
            "correct the batch or the id",
            row=row.number,
            column="batch",
        )
    what = f"{then.role} {then.sample}" if then.sample else f"{then.role} {then.level or 0.0:g}"
    return Refused(
        f"electrode {row.electrode!r} was spent on {what} in {title}, row {then.number}",
        "an electrode that has not been used",
        f"correct the id, or use 'add SHEET --corrects {before.sheet_id[:12]} --reason TEXT'",
        row=row.number,
        column="electrode",
    )
