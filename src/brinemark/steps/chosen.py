"""Which calibration, and with it which definition and waves, answers a question."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from brinemark.records.reader import Reader
from brinemark.steps.identity import (
    ENGINE,
    Definition,
    definition_from,
    definition_of,
    instrument_identity,
    same_instrument,
)
from brinemark.steps.measure import WaveSet, theoretical_waves
from brinemark.steps.place import Place
from brinemark.terms.errors import Refused
from brinemark.terms.stored import Record

FEWEST_DIGITS = 4


@dataclass(frozen=True, slots=True, eq=False)
class Chosen:
    """A calibration record (without arrays) with the definition and the waves it was made with."""

    record: Record
    definition: Definition
    waves: WaveSet

    @property
    def signal_unit(self) -> str:
        results: Any = self.record.results
        return str(results["context"]["signal_unit"])


def current(place: Place, reader: Reader) -> Chosen:
    """The newest calibration of the definition that the settings ask for.

    Raises Refused when there is no calibration, none of this definition, or only one of another engine.
    """
    wanted = definition_of(place.settings)
    made = list(reader.newest_first("calibration"))
    alike = [record for record in made if _changes(place, record, wanted) == []]
    if alike:
        ours = [record for record in alike if _number(record.engine) == _number(ENGINE)]
        return _chosen(reader, _of_this_engine((ours or alike)[0]))
    if not made:
        raise Refused(
            "no calibration in this logbook", "one made from blanks and standards", "add their sheets, then calibrate"
        )
    newest = made[0]
    raise Refused(
        f"signal definition changed since calibration {newest.id[:12]} ({', '.join(_changes(place, newest, wanted))})",
        "a calibration of the current definition",
        f"run calibrate, or read --calibration {newest.id[:12]}",
    )


def named(reader: Reader, prefix: str) -> Chosen:
    """The calibration whose id begins with prefix.

    Raises Refused when none or several do, or when another engine made it.
    """
    found = reader.records_named("calibration", prefix) if len(prefix) >= FEWEST_DIGITS else ()
    if len(found) != 1:
        came = f"{len(found)} calibrations with an id that begins with {prefix!r}"
        raise Refused(came, f"one, named by at least {FEWEST_DIGITS} digits", "take the id that calibrate printed")
    return _chosen(reader, _of_this_engine(found[0]))


def newest_waves(place: Place, reader: Reader) -> tuple[WaveSet, str]:
    """Waves that read a sheet while it is added, and a phrase that says which they are."""
    wanted = definition_of(place.settings)
    for record in reader.newest_first("calibration"):
        if _changes(place, record, wanted) == []:
            return _chosen(reader, record).waves, f"of calibration {record.id[:12]}"
    return theoretical_waves(wanted), "theoretical"


def limits_of(place: Place, reader: Reader, calibration: str) -> Record | None:
    """Limits of a calibration under the present [decision], or None when they were not worked out yet."""
    decision: Any = place.settings.decision.model_dump(mode="json")
    for record in reversed(reader.made_from([calibration], "limits")):
        settings: Any = record.settings
        if settings["decision"] == decision:
            return record
    return None


def _of_this_engine(record: Record) -> Record:
    """The record, unless its engine gave other numbers than this one does: they cannot be mixed in one answer."""
    then, now = _number(record.engine), _number(ENGINE)
    if then == now:
        return record
    when = "an earlier" if then < now else "a later"
    raise Refused(
        f"calibration {record.id[:12]}, made by {when} version of the program",
        "one made by this version",
        "run calibrate" if then < now else "use the later version, or run calibrate",
    )


def _number(engine: str) -> int:
    """The number behind the version: raised when a computation gives other numbers."""
    return int(engine.rpartition("/")[2])


def _chosen(reader: Reader, record: Record) -> Chosen:
    settings: Any = record.settings
    ids = [parent for role, parent in record.parents if role == "wave"]
    waves = {wave.role: wave for wave in reader.records(ids).values()}
    return Chosen(record, definition_from(settings["definition"]), WaveSet(waves))


def _changes(place: Place, record: Record, wanted: Definition) -> list[str]:
    """Names of the settings that differ from those of a calibration."""
    settings: Any = record.settings
    names = {"level_unit": "[analyte] level_unit", "analyte": "[analyte] name"}
    then, now = definition_from(settings["definition"]).identity, wanted.identity
    changed = [names.get(key, f"[{key}]") for key in now if now[key] != then[key]]
    return changed + [
        f"[instrument.{name}]"
        for name, section in settings["instruments"].items()
        if not same_instrument(section, instrument_identity(place.settings, name))
    ]
