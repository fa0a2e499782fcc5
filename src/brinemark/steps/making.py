"""Record how a batch was made, before its electrodes are used; set electrodes aside, and take them back."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from brinemark.records.making_file import checked_making, making_and_faults, making_to_json
from brinemark.records.text import nearest, shown
from brinemark.steps.batch_answers import Batch, MadeElectrode, RecordedMaking, batch_order
from brinemark.steps.identity import Made, Recipe
from brinemark.steps.makings import (
    ASIDE,
    CORRECTS,
    FOLLOWS,
    MAKING,
    OF_MAKING,
    ROLE_ASIDE,
    ROLE_BACK,
    ROLE_MADE,
    Known,
    making_of,
)
from brinemark.steps.place import Place
from brinemark.steps.run_plans import all_electrodes
from brinemark.terms.errors import Refused
from brinemark.terms.findings import Finding, findings_of
from brinemark.terms.making import SPENT, Making
from brinemark.terms.stored import Record

LONGEST_REASON = 2_000


def record_making(
    place: Place, values: Mapping[str, object], corrects: str | None = None, reason: str | None = None
) -> RecordedMaking:
    """Record the making of one batch; `corrects` names the batch whose making this one takes the place of, and why.

    values : as records.making_file takes them. The same making again changes nothing. Raises Refused.
    """
    why = checked_reason(corrects is not None, reason, "'make FILE --corrects BATCH --reason TEXT'")
    making = checked_making(values)
    with place.database.writing() as writer:
        known = all_electrodes(writer.reader)
        same = _same(known, making, corrects)
        if same is not None:
            return RecordedMaking(same.id, False, _batch(known, making.batch), dict(same.parents).get(CORRECTS))
        old = _corrected(known, making, corrects)
        _check_names(known, making, old)
        _check_dropped(known, making, old)
        parents = () if old is None else ((CORRECTS, old.id),)
        record = Recipe(MAKING, ROLE_MADE, parents, _settings(making, why)).record(Made({}, {}))
        writer.add_records([record])
        action = "making recorded" if old is None else "making corrected"
        superseded = None if old is None else old.id
        detail = {"electrodes": list(making.electrodes), "supersedes": superseded, "reason": why}
        writer.seal(action, making.batch, {"making": record.id, **detail})
    return RecordedMaking(record.id, True, batch_named(place, making.batch), superseded)


def making_findings(place: Place, values: Mapping[str, object], corrects: str | None = None) -> tuple[Finding, ...]:
    """Every fault of a making that is to be recorded, or of a correction; nothing is stored."""
    making, faults = making_and_faults(values)
    if making is None:
        return findings_of(faults)
    with place.database.reading() as reader:
        known = all_electrodes(reader)
    try:
        if _same(known, making, corrects) is None:
            old = _corrected(known, making, corrects)
            _check_names(known, making, old)
            _check_dropped(known, making, old)
    except Refused as fault:
        return findings_of([fault])
    return ()


def checked_reason(needed: bool, reason: str | None, usage: str) -> str | None:
    """The reason in plain text, when one is needed. Raises Refused when it is missing, or given for nothing."""
    text = (reason or "").strip()
    if needed == (not text):
        came = "a correction without a reason" if needed else "a reason without a correction"
        raise Refused(came, "both or neither", f"use {usage}")
    return plain_reason(text) if needed else None


def plain_reason(reason: str) -> str:
    """A reason as it is kept. Raises Refused when it is empty, too long, or no plain text."""
    text = " ".join(reason.split())
    if not text or len(text) > LONGEST_REASON or not text.isprintable():
        came = f"{len(text):,} characters" if len(text) > LONGEST_REASON else f"the reason {shown(text)}"
        raise Refused(came, f"a reason of at most {LONGEST_REASON:,} plain characters", "say why")
    return text


def _settings(making: Making, reason: str | None) -> dict[str, Any]:
    settings: dict[str, Any] = {"making": making_to_json(making)}
    return settings if reason is None else {**settings, "reason": reason}


def _same(known: Known, making: Making, corrects: str | None) -> Record | None:
    """The current making of the batch when it says the same."""
    there = known.makings.get(making.batch)
    if there is None or making_to_json(making_of(there)) != making_to_json(making):
        return None
    corrected = dict(there.parents).get(CORRECTS)
    if corrects is not None and corrected is None:
        came = f"a correction that says what the making of batch {shown(making.batch)} says already"
        raise Refused(came, "something else than before", "change what was wrong")
    return there


def _corrected(known: Known, making: Making, corrects: str | None) -> Record | None:
    """The making that is to be superseded."""
    there = known.makings.get(making.batch)
    if corrects is None and there is None:
        return None
    if corrects is None:
        came = f"batch {shown(making.batch)}, whose making is recorded already, with other content"
        raise Refused(
            came, "a batch without a making", f"rename it, or correct it: --corrects {making.batch} --reason TEXT"
        )
    old = known.makings.get(corrects)
    if old is None:
        alike = nearest(corrects, known.makings)
        hint = f"did you mean {shown(alike)}?" if alike else "leave out the correction"
        raise Refused(f"no making of a batch {shown(corrects)} to correct", "a batch with a making", hint)
    if there is not None and there is not old:
        came = f"batch {shown(making.batch)} as the new name of {shown(corrects)}, which has a making of its own"
        raise Refused(came, "a batch without a making", "choose another name")
    return old


def _check_names(known: Known, making: Making, old: Record | None) -> None:
    """An electrode's name means one electrode of one batch, in all makings and sheets. Raises Refused."""
    others = {
        name.casefold(): (name, batch)
        for batch, made in known.made.items()
        if known.makings[batch] is not old
        for name in made.electrodes
    }
    for name in making.electrodes:
        other, batch = others.get(name.casefold(), ("", ""))
        row = known.rows.get(name)
        if row is not None and row.batch != making.batch:
            other, batch = name, row.batch
        if other:
            unlike = "" if other == name else ", which differs only in capital letters"
            came = f"electrode {shown(name)}, in the logbook {shown(other)} of batch {shown(batch)}{unlike}"
            expected = "a name that no other electrode of the logbook has"
            raise Refused(came, expected, "choose another name", column="electrodes")


def _check_dropped(known: Known, making: Making, old: Record | None) -> None:
    """A correction may not drop or move an electrode that an open run plan counts on. Raises Refused."""
    before = () if old is None else making_of(old).electrodes
    moved = old is not None and making_of(old).batch != making.batch
    for name in before:
        plan = known.laid_out.get(name)
        if plan is not None and (moved or name not in making.electrodes):
            came = f"a making without electrode {shown(name)}, which run plan {plan[:12]} lays out"
            raise Refused(came, "all that is laid out", "withdraw the plan first", column="electrodes")


def batches(place: Place) -> list[Batch]:
    """Every batch, made or known from sheets, in the order of making."""
    with place.database.reading() as reader:
        return batch_order(all_electrodes(reader).batches())


def batch_named(place: Place, name: str) -> Batch:
    """One batch. Raises Refused for an unknown name."""
    with place.database.reading() as reader:
        return _batch(all_electrodes(reader), name)


def _batch(known: Known, name: str) -> Batch:
    found = known.batches()
    if name not in found:
        alike = nearest(name, found)
        hint = f"did you mean {shown(alike)}?" if alike else "record its making, or add its run sheet"
        raise Refused(f"no batch {shown(name)} in this logbook", "a batch that was made or measured", hint)
    return found[name]


def set_aside(place: Place, electrode: str, reason: str, back: bool = False) -> MadeElectrode:
    """Set an electrode aside, so that it is not laid out; `back` takes it back. Both need a reason, both are records.

    Raises Refused for an electrode that is unknown, spent, or in that state already.
    """
    why = plain_reason(reason)
    with place.database.writing() as writer:
        known = all_electrodes(writer.reader)
        before = _whole(known, electrode)
        _check_aside(known, before, back)
        last = known.aside.get(electrode)
        parents = ((OF_MAKING, known.makings[before.batch].id), *(() if last is None else ((FOLLOWS, last.id),)))
        settings = {"electrode": electrode, "reason": why}
        record = Recipe(ASIDE, ROLE_BACK if back else ROLE_ASIDE, parents, settings).record(Made({}, {}))
        writer.add_records([record])
        action = "electrode taken back" if back else "electrode set aside"
        writer.seal(action, electrode, {"record": record.id, "batch": before.batch, "reason": why})
    with place.database.reading() as reader:
        return _whole(all_electrodes(reader), electrode)


def _whole(known: Known, electrode: str) -> MadeElectrode:
    """An electrode of the logbook. Raises Refused for an unknown name."""
    batch = known.batch_of(electrode)
    if batch is None:
        names = known.batches_of_electrodes()
        alike = nearest(electrode, names)
        hint = f"did you mean {shown(alike)}?" if alike else "record the making of its batch first"
        raise Refused(f"no electrode {shown(electrode)} in this logbook", "an electrode of a making", hint)
    return known.electrode(electrode, batch)


def _check_aside(known: Known, electrode: MadeElectrode, back: bool) -> None:
    name = shown(electrode.electrode)
    if electrode.state == SPENT:
        came = f"electrode {name}, which was spent on {electrode.used_for} in {electrode.sheet}"
        raise Refused(came, "an electrode that has not been used", "a note in a corrected sheet says what was wrong")
    is_aside = known.reason_aside(electrode.electrode) is not None
    if back and not is_aside:
        raise Refused(f"electrode {name}, which is not set aside", "one that is set aside", "leave it as it is")
    if is_aside and not back:
        came = f"electrode {name}, which is set aside already: {electrode.reason}"
        raise Refused(came, "one that is not", "take it back first to give another reason")
