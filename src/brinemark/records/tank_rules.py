"""What the rows of one consignment may say together: tanks before what happens in them, fish before they go in, each
name once."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field

from brinemark.records.tank_cells import one
from brinemark.records.tank_json import in_order, tank_row_key
from brinemark.records.text import nearest, shown
from brinemark.terms.errors import Refused
from brinemark.terms.tanks import (
    BLANK,
    CATCH,
    FED,
    FILLED,
    IN,
    NOTE,
    OUT,
    RENEWED,
    SAMPLE,
    SPIKED,
    TREATED,
    VOLUME,
    TankRow,
)

_NAMED = 8  # names that a message lists
_MENTIONS = ("tank", "fish", "sample", "duplicate", "system")


@dataclass(frozen=True, slots=True)
class Fault:
    """What is wrong with a row. against : the row that it does not agree with; about : columns whose names decide it;
    follows : whether it may follow from a fault of an earlier row."""

    row: TankRow
    column: str
    came: str
    expected: str
    remedy: str
    against: TankRow | None = None
    about: tuple[str, ...] = _MENTIONS
    follows: bool = True

    def refused(self, file: str) -> Refused:
        """The fault as it is told. A row of number 0 is in the logbook already and has no place in the file."""
        row, other = self.row, self.against
        came, remedy = self.came, self.remedy
        if other is not None and other.number:
            came += f" (row {other.number})"
        elif other is not None:
            came += " (in the logbook)"
            remedy += f", or correct what is recorded: --corrects {shown(row.consignment)} --reason TEXT"
        if row.number == 0:
            came = f"{one(row.what)} of {when(row)} in the logbook: {came}"
        return Refused(came, self.expected, remedy, file=file, row=row.number or None, column=self.column)


@dataclass(slots=True)
class _Lot:
    """Fish of one name at a moment: how many are left, and in which tank (None = not in one)."""

    left: int
    tank: str | None = None


@dataclass(slots=True)
class _Log:
    """All rows of a consignment, and what the rows so far have done. elsewhere : sample to consignment, of others."""

    rows: Sequence[TankRow]
    elsewhere: Mapping[str, str]
    filled: dict[str, TankRow] = field(default_factory=dict)
    caught: dict[str, TankRow] = field(default_factory=dict)
    samples: dict[str, TankRow] = field(default_factory=dict)
    systems: set[str] = field(default_factory=set)
    lots: dict[str, _Lot] = field(default_factory=dict)
    volumes: dict[str, float] = field(default_factory=dict)
    entered: dict[str, list[TankRow]] = field(default_factory=dict)
    doubtful: set[str | None] = field(default_factory=set)
    strays: bool = False  # whether fish went in where they cannot have gone, so that they may be in any tank
    slots: dict[tuple[object, ...], TankRow] = field(default_factory=dict)

    def __post_init__(self) -> None:
        for row in self.rows:
            if row.what == FILLED and row.tank:
                self.filled.setdefault(row.tank, row)
                self.systems.add(row.system or row.consignment)
            elif row.what == CATCH and row.fish:
                self.caught.setdefault(row.fish, row)
                self.lots.setdefault(row.fish, _Lot(row.count or 0))
            elif row.what in (SAMPLE, BLANK) and row.sample:
                self.samples.setdefault(row.sample, row)


def faults_between(
    rows: Iterable[TankRow], elsewhere: Mapping[str, str], spoilt: Collection[str] = ()
) -> Iterator[Fault]:
    """Faults that show when all rows of a consignment are seen in the order of time, one a row at most.

    What could follow from an earlier fault of the same tank, fish or sample is left out. rows : of one consignment,
    those of number 0 from the logbook; elsewhere : sample to the consignment that has it, of all others; spoilt : names
    in rows that could not be read, of which nothing is said.
    """
    ordered, again = _once(in_order(rows))
    yield from again
    log = _Log(ordered, elsewhere)
    for row in ordered:
        fault = _CHECKS[row.what](log, row) or _slot_fault(log, row)
        if fault is None:
            continue
        log.strays |= row.what == IN
        if not _is_doubtful(log, fault, spoilt):
            yield fault
        log.doubtful |= {row.tank, row.fish, row.sample} - {None}


def _is_doubtful(log: _Log, fault: Fault, spoilt: Collection[str]) -> bool:
    names = {getattr(fault.row, name) for name in fault.about}
    return bool(names & set(spoilt)) or (fault.follows and bool(names & log.doubtful))


def when(row: TankRow) -> str:
    """The moment of a row as messages give it."""
    return row.at.isoformat(timespec="minutes")


def _once(rows: Sequence[TankRow]) -> tuple[list[TankRow], list[Fault]]:
    """Each row once, and a fault for every row that says the same as one before it in the file."""
    first: dict[tuple[str, ...], TankRow] = {}
    faults = []
    for row in sorted(rows, key=lambda one: one.number):
        before = first.setdefault(tank_row_key(row), row)
        if before is not row:
            came = "a row that says the same as one before"
            expected = "one row for what happened once"
            faults.append(Fault(row, "what", came, expected, "remove it, or give it its own time", before))
    kept = {row.number for row in first.values() if row.number}
    return [row for row in rows if not row.number or row.number in kept], faults


def _twice(row: TankRow, first: TankRow, column: str, came: str, wish: tuple[str, str]) -> Fault:
    """A name that was given twice: the fault of the row that came later into the logbook."""
    if row.number < first.number:
        row, first = first, row
    came = f"{came}, also at {when(first)}"
    return Fault(row, column, came, wish[0], wish[1], first, about=(column,), follows=False)


def _unknown(row: TankRow, column: str, known: Iterable[str], first: str) -> Fault:
    name, names = str(getattr(row, column)), list(known)
    alike = nearest(name, names)
    there = ", ".join(map(shown, names[:_NAMED])) + (f" and {len(names) - _NAMED} more" if len(names) > _NAMED else "")
    remedy = f"did you mean {shown(alike)}?" if alike else f"correct the name, or {first}"
    expected = f"one of {there}" if names else f"{first}, before it is named"
    return Fault(row, column, f"the unknown {column} {shown(name)}", expected, remedy, about=(column,), follows=False)


def _tank_fault(log: _Log, row: TankRow, ever: bool = False) -> Fault | None:
    """A tank that nothing fills, or that is not filled yet; ever : filled at any time is enough."""
    if row.tank is None:
        return None
    filled = log.filled.get(row.tank)
    if filled is None:
        return _unknown(row, "tank", log.filled, "a row 'filled' for the tank")
    if ever or filled.at.timestamp() <= row.at.timestamp():
        return None
    came = f"{one(row.what)} at {when(row)} in tank {shown(row.tank)}, before it was filled at {when(filled)}"
    return Fault(row, "at", came, "a time after the filling", "correct one of the times", filled)


def _fish_fault(log: _Log, row: TankRow) -> Fault | None:
    if row.fish is None or row.fish in log.caught:
        return None
    return _unknown(row, "fish", log.caught, "a row 'catch' for these fish")


def _catch(log: _Log, row: TankRow) -> Fault | None:
    name = str(row.fish)
    first = log.caught[name]
    if first is not row:
        wish = ("one catch for a name: fish of one history", "give the other fish another name")
        return _twice(row, first, "fish", f"fish {shown(name)} named twice", wish)
    gone_in = next((entry for rows in log.entered.values() for entry in rows if entry.fish == name), None)
    if gone_in is None or gone_in.at.timestamp() == row.at.timestamp():
        return None
    came = f"the catch of fish {shown(name)} at {when(row)}, after they went into tank {shown(gone_in.tank)}"
    sample = _sample_between(log, gone_in, row)
    came += f" at {when(gone_in)}" if sample is None else f" and after sample {shown(sample.sample)} was taken from it"
    expected = "a catch before the fish go into a tank, and before any sample of their water"
    return Fault(row, "at", came, expected, "correct the time, or give later fish another name", gone_in)


def _sample_between(log: _Log, entry: TankRow, catch: TankRow) -> TankRow | None:
    """The first sample of the tank between the fish going in and their catch."""
    start, end = entry.at.timestamp(), catch.at.timestamp()
    taken = (row for row in log.rows if row.what == SAMPLE and row.tank == entry.tank)
    return next((row for row in taken if start <= row.at.timestamp() < end), None)


def _filled(log: _Log, row: TankRow) -> Fault | None:
    name = str(row.tank)
    first = log.filled[name]
    if first is not row:
        wish = ("one filling for a name", "give the tank a new name when it is filled anew")
        return _twice(row, first, "tank", f"tank {shown(name)} filled twice", wish)
    log.volumes[name] = row.volume_L or 0.0
    return None


def _in(log: _Log, row: TankRow) -> Fault | None:
    name = str(row.tank)
    before = log.entered.setdefault(name, [])
    before.append(row)
    fault = _tank_fault(log, row) or _fish_fault(log, row)
    if fault is not None:
        return fault
    lot = log.lots[str(row.fish)]
    there, lot.tank = lot.tank, name
    if there == name:
        entry = next((one for one in before if one.fish == row.fish), row)
        came = f"fish {shown(row.fish)} into tank {shown(name)}, where they are since {when(entry)}"
        return Fault(row, "tank", came, "another tank", "correct the tank, or leave out the row", entry)
    if lot.left == 0:
        came = f"fish {shown(row.fish)}, of which none are left"
        return Fault(row, "fish", came, "fish that were not all taken out", "correct the name or an earlier count")
    if (row.carried_L or 0.0) > log.volumes.get(name, float("inf")):
        came = f"{row.carried_L:g} L carried into tank {shown(name)} of {log.volumes[name]:g} L"
        return Fault(row, "carried_L", came, "less water than the tank holds", "correct the volume or its unit")
    return None


def _out(log: _Log, row: TankRow) -> Fault | None:
    fault = _tank_fault(log, row) or _fish_fault(log, row)
    if fault is not None:
        return fault
    name, lot = str(row.fish), log.lots[str(row.fish)]
    if row.tank is not None and row.tank != lot.tank:
        there = "in no tank" if lot.tank is None else f"in tank {shown(lot.tank)}"
        came = f"fish {shown(name)} out of tank {shown(row.tank)} at {when(row)}, when they are {there}"
        return Fault(row, "tank", came, "the tank that they are in", "correct tank, fish or time")
    if (row.count or 0) > lot.left:
        came = f"{row.count} of fish {shown(name)}, of which {lot.left} are left"
        expected = f"at most {lot.left}; those taken out before count, dead ones too"
        return Fault(row, "count", came, expected, "correct the count here, or the one of the catch")
    lot.left -= row.count or 0
    return None


def _volume(log: _Log, row: TankRow) -> Fault | None:
    fault = _tank_fault(log, row)
    if fault is None:
        log.volumes[str(row.tank)] = row.volume_L or 0.0
    return fault


def _sample(log: _Log, row: TankRow) -> Fault | None:
    fault = _tank_fault(log, row) or _sample_id_fault(log, row) or _duplicate_fault(log, row)
    if fault is not None or str(row.tank) in log.entered or log.strays or _spiked(log, row):
        return fault
    came = f"sample {shown(row.sample)} taken at {when(row)}, before any fish went into tank {shown(row.tank)}"
    later = (one for one in log.rows if one.what == IN and one.tank == row.tank and one.fish in log.caught)
    catch = next((log.caught[str(one.fish)] for one in later), None)
    if catch is not None and catch.at.timestamp() > row.at.timestamp():
        came += f", and before fish {shown(catch.fish)} were caught at {when(catch)}"
    expected = "a sample after the fish went in"
    return Fault(row, "at", came, expected, "call it a blank of source water, or correct one of the times")


def _spiked(log: _Log, row: TankRow) -> bool:
    """Whether the tank was spiked by then: water without fish shows what is lost of a known amount."""
    return any(one.what == SPIKED and one.tank == row.tank and one.at <= row.at for one in log.rows)


def _sample_id_fault(log: _Log, row: TankRow) -> Fault | None:
    name = str(row.sample)
    wish = ("an id that nothing else in the logbook has", "give each water sample its own id")
    if name in log.elsewhere:
        came = f"sample {shown(name)}, which is of consignment {shown(log.elsewhere[name])} too"
        return Fault(row, "sample", came, *wish, about=("sample",), follows=False)
    first = log.samples[name]
    return None if first is row else _twice(row, first, "sample", f"sample {shown(name)} named twice", wish)


def _duplicate_fault(log: _Log, row: TankRow) -> Fault | None:
    if row.duplicate is None:
        return None
    of = log.samples.get(row.duplicate)
    if of is None or of.what != SAMPLE:
        known = [name for name, one in log.samples.items() if one.what == SAMPLE and name != row.sample]
        fault = _unknown(row, "duplicate", known, "a row 'sample' for it")
        came = f"a duplicate of the unknown sample {shown(row.duplicate)}"
        return Fault(row, "duplicate", came, fault.expected, fault.remedy)
    if of is row or of.tank != row.tank:
        came = f"a duplicate of {'itself' if of is row else f'sample {shown(of.sample)} of tank {shown(of.tank)}'}"
        expected = "another sample of the same tank"
        return Fault(row, "duplicate", came, expected, "correct the cell", None if of is row else of)
    return None


def _blank(log: _Log, row: TankRow) -> Fault | None:
    fault = _tank_fault(log, row, ever=True) or _sample_id_fault(log, row)
    if fault is not None or row.system is None or row.system in log.systems:
        return fault
    return _unknown(row, "system", sorted(log.systems), "name it in the row 'filled' of a tank")


def _note(log: _Log, row: TankRow) -> Fault | None:
    return _tank_fault(log, row, ever=True) or _fish_fault(log, row)


def _slot_fault(log: _Log, row: TankRow) -> Fault | None:
    """Two rows that tell one happening in two ways."""
    names = _SLOTS.get(row.what)
    if names is None:
        return None
    first = log.slots.setdefault((row.what, row.at.timestamp(), *(getattr(row, name) for name in names)), row)
    if first is row:
        return None
    wish = ("one row for what happened once", "keep the right row, or correct a time")
    return _twice(row, first, "what", f"{one(row.what)} that is told twice, and not alike", wish)


_SLOTS = {
    IN: ("fish",),
    OUT: ("fish", "tank", "dead"),
    RENEWED: ("tank",),
    VOLUME: ("tank",),
    FED: ("tank", "substance"),
    TREATED: ("tank", "substance"),
    SPIKED: ("tank", "stock", "substance"),
}
"""What tells one happening of a moment from another of its kind; catches, fillings and samples have names."""
_CHECKS: Mapping[str, Callable[[_Log, TankRow], Fault | None]] = {
    CATCH: _catch,
    FILLED: _filled,
    IN: _in,
    OUT: _out,
    VOLUME: _volume,
    **dict.fromkeys((RENEWED, FED, TREATED, SPIKED), _tank_fault),
    SAMPLE: _sample,
    BLANK: _blank,
    NOTE: _note,
}
