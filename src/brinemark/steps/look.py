"""What charts and notebooks ask for: stored calibrations and readings, curves, and signals taken apart."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import Any

from brinemark.records.files import original_path
from brinemark.steps.answers import CalibrationReport, SampleReading
from brinemark.steps.calibrate import report_of
from brinemark.steps.chosen import current, limits_of, named, newest_waves
from brinemark.steps.curves import take_apart
from brinemark.steps.definition_lock import told
from brinemark.steps.identity import Definition, definition_of, signal_definition
from brinemark.steps.measure import Traces
from brinemark.steps.place import Place
from brinemark.steps.read import answer_of
from brinemark.terms.curves import Curve, CurveDissection
from brinemark.terms.errors import Refused
from brinemark.terms.runs import StoredRow
from brinemark.terms.settings import PrescanQuantity
from brinemark.terms.stored import Original, Record


def stored_calibration(place: Place, prefix: str | None = None) -> CalibrationReport:
    """A calibration as it was answered: the newest of the current definition, or the one named. Raises Refused."""
    with place.database.reading() as reader:
        chosen = current(place, reader) if prefix is None else named(reader, prefix)
        record = reader.record(chosen.record.id) or chosen.record
        limits = limits_of(place, reader, record.id)
        remarks = [] if limits else ["[decision] changed since; calibrate again for the limits of the batches"]
        return report_of(record, limits, tuple(chosen.waves.waves.values()), False, remarks)


def stored_readings(place: Place) -> list[SampleReading]:
    """Every reading, oldest first."""
    with place.database.reading() as reader:
        ids = [record.id for record in reader.newest_first("reading")]
        found = reader.records(ids, arrays=True)
        return told(reader, [answer_of(found[one]) for one in reversed(ids)])


@dataclass(frozen=True, slots=True)
class ReadingHead:
    """A reading once shown, in short: what was said about which sample, when, and by which calibration."""

    id: str
    sample: str
    statement: str
    sentence: str
    calibration: str
    made_at: str

    def to_dict(self) -> dict[str, Any]:
        return asdict(self)


def reading_heads(place: Place) -> tuple[ReadingHead, ...]:
    """Every reading in short, oldest first; their arrays are not loaded."""
    with place.database.reading() as reader:
        found = []
        for record in reader.newest_first("reading"):
            answer = answer_of(record)
            said = (answer.sample, answer.statement, answer.sentence, answer.calibration)
            found.append(ReadingHead(record.id, *said, record.made_at))
    return tuple(reversed(found))


def readings_by_id(place: Place, ids: Sequence[str]) -> list[SampleReading]:
    """Readings as they were answered, in the order of their ids. Raises Refused for an id that is none."""
    with place.database.reading() as reader:
        found = {one: record for one, record in reader.records(ids, arrays=True).items() if record.kind == "reading"}
        missing = [one for one in ids if one not in found]
        if missing:
            raise Refused(f"no reading {missing[0][:12]!r}", "the id of a reading", "look it up among the samples")
        return told(reader, [answer_of(found[one]) for one in ids])


def record_of(place: Place, record_id: str) -> Record:
    """One record of any kind without its arrays. Raises Refused."""
    with place.database.reading() as reader:
        found = reader.records([record_id]).get(record_id)
    if found is None:
        raise Refused(f"no record {record_id[:12]!r}", "the id of a record", "follow a link, or copy the whole id")
    return found


def original_of(place: Place, sha256: str) -> tuple[Original, bytes]:
    """A kept file: its name, and its bytes as they came. Raises Refused."""
    with place.database.reading() as reader:
        found = reader.original(sha256)
    if found is None:
        raise Refused(f"no original {sha256[:12]!r}", "the sha256 of a kept file", "follow a link of a row")
    return found, original_path(place.originals, sha256).read_bytes()


def trace_of(place: Place, row: StoredRow, prescan: bool = False) -> Curve:
    """The curve of a row, or of its pre-scan. Raises Refused when none was kept."""
    with place.database.reading() as reader:
        return Traces(place, reader).get(_curve(row, prescan), row.row.instrument)


def dissection_of(place: Place, row: StoredRow, prescan: bool = False, covariate: str = "") -> CurveDissection:
    """A row's signal taken apart with the wave that reads it now, or a covariate of its pre-scan ("" : [covariate]).

    Raises Refused when no curve was kept, and for a covariate that the settings do not have.
    """
    sha256 = _curve(row, prescan)
    definition = definition_of(place.settings)
    with place.database.reading() as reader:
        traces = Traces(place, reader)
        waves, _ = newest_waves(place, reader)
        wave = traces.wave(waves.for_row(row))
        if not prescan:
            return take_apart(traces.seen(row, sha256, definition.curve), definition.curve, wave)
        curve = signal_definition(_covariate(definition, covariate))
        return take_apart(traces.seen(row, sha256, curve), curve, traces.theory(curve))


def _covariate(definition: Definition, name: str) -> PrescanQuantity:
    known = {"": definition.covariate, **dict(definition.further)}
    section = known.get(name)
    if section is None:
        header = f"[further_covariate.{name}]" if name else "[covariate]"
        raise Refused(f"a pre-scan without {header}", f"a {header} section", "add it to logbook.toml")
    return section


def _curve(row: StoredRow, prescan: bool) -> str:
    sha256 = row.prescan_sha256 if prescan else row.trace_sha256
    if sha256 is None:
        what = "pre-scan" if prescan else "curve"
        raise Refused(f"no {what} kept for electrode {row.row.electrode}", "a row with a file", "choose another row")
    return sha256
