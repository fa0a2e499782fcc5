"""Any result as a document to hand over: gathered, set as PDF/A with the data attached, and kept with its record."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

from brinemark.records.files import read_original, store_originals
from brinemark.steps.answers import ANSWER_SCHEMA
from brinemark.steps.identity import ENGINE, SCHEMA, Made, Recipe
from brinemark.steps.place import Place
from brinemark.steps.report_data import (
    BATCH,
    CALIBRATION,
    CONSIGNMENT,
    KINDS,
    SAMPLES,
    TRIALS,
    Gathered,
    gather_batch,
    gather_calibration,
    gather_samples,
)
from brinemark.steps.report_fish import gather_consignment, gather_trials
from brinemark.terms.canonical import JsonValue, canonical_bytes, sha256_hex
from brinemark.terms.errors import Refused
from brinemark.terms.stored import Record

if TYPE_CHECKING:
    from brinemark.outputs.report import Asked, Typefaces

KIND = "report"


@dataclass(frozen=True, slots=True)
class Wanted:
    """What a report is of. kind : one of KINDS; names : samples, one batch, or nothing; decimal : None = [report]."""

    kind: str
    names: tuple[str, ...] = ()
    calibration: str | None = None
    decimal: Literal["point", "comma"] | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Report:
    """A report as it was handed over. new : False when the same one was there already; results : what is attached."""

    id: str
    kind: str
    names: tuple[str, ...]
    new: bool
    made_from: tuple[tuple[str, str], ...]
    pdf_sha256: str
    notes: tuple[str, ...]
    pdf: bytes

    @property
    def file_name(self) -> str:
        """A name for the file, the same for the same report."""
        return f"report-{self.kind}-{self.id[:12]}.pdf"

    def to_dict(self) -> dict[str, Any]:
        """The JSON of `report --json`, without the file that it was written to."""
        return {
            "schema": ANSWER_SCHEMA,
            "report": self.id,
            "kind": self.kind,
            "names": list(self.names),
            "new": self.new,
            "pdf_sha256": self.pdf_sha256,
            "size": len(self.pdf),
            "notes": list(self.notes),
            "records": [list(parent) for parent in self.made_from],
        }

    def __str__(self) -> str:
        return f"report {self.id[:12]} ({self.kind}), {len(self.pdf)} bytes"

    def __repr__(self) -> str:
        return f"<{self}>"


def make_report(place: Place, wanted: Wanted) -> Report:
    """The report, made now or as it was made before from the same records, settings and layout.

    What it rests on is read first, as `read` and `controls` do it. Raises Refused when there is nothing to report.
    """
    gathered, faces = _gathered(place, wanted), _typefaces(place)
    recipe = _recipe(place, wanted, gathered, faces)
    with place.database.reading() as reader:
        kept = reader.record(recipe.id)
    if kept is not None:
        return _answer(kept, gathered, _kept_pdf(place, kept), new=False)
    return _made(place, recipe, gathered, faces)


def preview_report(place: Place, wanted: Wanted, dots_per_inch: float = 100.0) -> list[bytes]:
    """The pages that the report would have, as PNG; the report itself is not stored. Raises Refused as make_report."""
    from brinemark.outputs.report import report_pages

    gathered, faces = _gathered(place, wanted), _typefaces(place)
    asked = _asked(_recipe(place, wanted, gathered, faces), gathered)
    return report_pages(asked, gathered.pictures(), faces, dots_per_inch)


def _recipe(place: Place, wanted: Wanted, gathered: Gathered, faces: Typefaces) -> Recipe:
    from brinemark.outputs.report import setting_identity

    settings: dict[str, JsonValue] = {
        "decimal": wanted.decimal or place.settings.report.decimal,
        "data": sha256_hex(canonical_bytes(gathered.data)),
        "setting": setting_identity(faces),
    }
    return Recipe(KIND, wanted.kind, gathered.parents, settings)


def _asked(recipe: Recipe, gathered: Gathered) -> Asked:
    from brinemark.outputs.report import Asked

    settings: Any = recipe.settings
    return Asked(recipe.id, _recipe_said(recipe), gathered.data, settings["decimal"])


def _gathered(place: Place, wanted: Wanted) -> Gathered:
    if wanted.kind == SAMPLES:
        return gather_samples(place, wanted.names, wanted.calibration)
    if wanted.kind == BATCH:
        if len(wanted.names) != 1:
            raise Refused(f"{len(wanted.names)} batches", "one batch for one report", "name the batch")
        return gather_batch(place, wanted.names[0], wanted.calibration)
    if wanted.kind == CONSIGNMENT:
        if len(wanted.names) != 1:
            raise Refused(f"{len(wanted.names)} consignments", "one for one report", "name the consignment")
        return gather_consignment(place, wanted.names[0])
    if wanted.kind == TRIALS:
        if wanted.names:
            raise Refused(f"a trial {wanted.names[0]!r}", "no name: a report is of all tanks", "leave the name out")
        return gather_trials(place)
    if wanted.kind == CALIBRATION:
        return gather_calibration(place, _one_calibration(wanted.names, wanted.calibration))
    raise Refused(f"a report of {wanted.kind!r}", f"one of {', '.join(KINDS)}", "name one of them")


def _one_calibration(names: Sequence[str], calibration: str | None) -> str | None:
    named = [*names, *([] if calibration is None else [calibration])]
    if len(named) > 1:
        raise Refused(f"{len(named)} calibrations", "one for one report", "name one, or none for the newest")
    return named[0] if named else None


def _typefaces(place: Place) -> Typefaces:
    from brinemark.outputs.report import typefaces

    folder = place.settings.report.font_folder
    return typefaces(None if folder is None else place.folder / Path(folder).expanduser())


def _made(place: Place, recipe: Recipe, gathered: Gathered, faces: Typefaces) -> Report:
    from brinemark.outputs.report import set_report

    pdf, notes = set_report(_asked(recipe, gathered), gathered.pictures(), faces)
    results = {"pdf": sha256_hex(pdf), "notes": list(notes)}
    record = recipe.record(Made(results, {}))
    answer = _answer(record, gathered, pdf, new=True)
    with place.database.writing() as writer:
        known = writer.reader.record(record.id)
        if known is None:
            writer.add_originals(store_originals(place.originals, [(answer.file_name, pdf)]))
            writer.add_records([record])
            detail = {"report": record.id, "content": record.content, "pdf": results["pdf"]}
            writer.seal("report made", record.id[:12], detail)
    # Another program may have made the same one in the meantime.
    return answer if known is None else _answer(known, gathered, _kept_pdf(place, known), new=False)


def _recipe_said(recipe: Recipe) -> dict[str, Any]:
    """What the report's id is the sha256 of, so that anyone can work it out again."""
    return {
        "kind": recipe.kind,
        "schema": SCHEMA,
        "parents": [f"{role} {parent}" for role, parent in recipe.parents],
        "role": recipe.role,
        "settings": recipe.settings,
        "engine": ENGINE,
        "seed": recipe.seed,
    }


def _kept_pdf(place: Place, record: Record) -> bytes:
    results: Any = record.results
    return read_original(place.originals, results["pdf"])


def _answer(record: Record, gathered: Gathered, pdf: bytes, *, new: bool) -> Report:
    results: Any = record.results
    return Report(
        id=record.id,
        kind=record.role,
        names=tuple(gathered.data["names"]),
        new=new,
        made_from=record.parents,
        pdf_sha256=results["pdf"],
        notes=tuple(results["notes"]),
        pdf=pdf,
    )
