"""One document: its blocks by kind, its pictures, what is attached to it, and the notes about what was replaced."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from functools import cache
from importlib.resources import files
from typing import Any

from brinemark.outputs.charts import Spec
from brinemark.outputs.report.batch import batch_report
from brinemark.outputs.report.blocks import Block, heading, prose
from brinemark.outputs.report.calibration import calibration_report
from brinemark.outputs.report.consignment import consignment_report
from brinemark.outputs.report.drawing import code, drawn
from brinemark.outputs.report.parts import Page
from brinemark.outputs.report.samples import samples_report
from brinemark.outputs.report.setting import CannotSet, Typefaces, set_pages, set_pdf
from brinemark.outputs.report.trials import trials_report
from brinemark.outputs.report.wording import Decimal, Numbers, Readable, breakable

SCHEMA = "report-results.json"
MAKERS = {
    "samples": samples_report,
    "batch": batch_report,
    "calibration": calibration_report,
    "consignment": consignment_report,
    "trials": trials_report,
}
NAME_KEYS = (
    *("electrode", "batch", "instrument", "sample", "own_name", "sheet_title", "title", "name", "logbook", "analyte"),
    *("maker", "recipe", "sheet", "consignment", "tank", "fish", "species", "origin", "near", "system", "place"),
    *("substance", "stock", "filter", "taker", "container", "seal", "storage", "split_seal", "duplicate", "note"),
)


@dataclass(frozen=True, slots=True, eq=False)
class Asked:
    """A report to be set. id : sha256 of the canonical JSON of recipe; data : what it says and what is attached."""

    id: str
    recipe: Mapping[str, Any]
    data: Mapping[str, Any]
    decimal: Decimal


def set_report(asked: Asked, specs: Mapping[str, Spec], faces: Typefaces) -> tuple[bytes, tuple[str, ...]]:
    """The PDF/A file and remarks about it. Same input, same bytes: its date is that of the youngest record."""
    moment = int(datetime.fromisoformat(asked.data["youngest"]).timestamp())
    said, notes = _said(asked, specs, Readable(faces))
    try:
        return set_pdf(said, faces, moment), notes
    except CannotSet:  # Each character can be set by itself, and yet some word of them cannot.
        said, notes = _said(asked, specs, Readable(faces, plain_only=True))
        return set_pdf(said, faces, moment), notes


def report_pages(
    asked: Asked, specs: Mapping[str, Spec], faces: Typefaces, dots_per_inch: float = 100.0
) -> list[bytes]:
    """Its pages as PNG."""
    return set_pages(_said(asked, specs, Readable(faces))[0], faces, dots_per_inch)


def results(asked: Asked) -> str:
    """What is attached: the recipe behind the id and the data behind every sentence, as JSON."""
    plain = {"schema": 1, "report": asked.id, "recipe": asked.recipe, "data": asked.data}
    return json.dumps(plain, indent=1, sort_keys=True, ensure_ascii=False, allow_nan=False) + "\n"


@cache
def _schema() -> str:
    return (files("brinemark.terms") / "schemas" / SCHEMA).read_text(encoding="utf-8")


def _said(asked: Asked, specs: Mapping[str, Spec], readable: Readable) -> tuple[dict[str, str], tuple[str, ...]]:
    data = asked.data
    numbers = Numbers(asked.decimal, data["unit"], tuple(sorted(set(_names(data)))))
    page: Page = MAKERS[data["kind"]](data, numbers, frozenset(specs))
    readable.look_at(page.title, page.under, page.blocks, list(specs.values()))
    blocks = _parted([*page.blocks, *_replaced(readable)])
    pictures = {name: drawn(spec, numbers, readable) for name, spec in specs.items()}
    document = {
        "title": readable.text(page.title),
        "description": readable.text(page.description),
        "keywords": [asked.id],
        "above": "Brinemark · screening, to be confirmed by an accredited laboratory",
        "under": [readable.text(line) for line in page.under],
        "id": asked.id,
        "families": list(readable.faces.families),
        "blocks": [_breakable(readable.all(block)) for block in blocks],
        "attached": ATTACHED,
    }
    said = {
        "document": json.dumps(document, ensure_ascii=False),
        "pictures": json.dumps(pictures | {"code": code(asked.id)}, ensure_ascii=False),
        "results": results(asked),
        "schema": _schema(),
    }
    return said, _notes(readable)


ATTACHED = [
    {
        "name": "results.json",
        "input": "results",
        "relationship": "data",
        "mime": "application/json",
        "description": "The recipe of this report and all data in it",
    },
    {
        "name": "results.schema.json",
        "input": "schema",
        "relationship": "supplement",
        "mime": "application/schema+json",
        "description": "JSON Schema of results.json",
    },
]


def _notes(readable: Readable) -> tuple[str, ...]:
    points = readable.code_points
    if not points:
        return ()
    many = "a character" if len(points) == 1 else f"{len(points)} characters"
    return (
        f"no font has {many} of the names or notes ({', '.join(points[:8])}{' ...' if len(points) > 8 else ''}): shown "
        "by number in brackets; the exact text is in the attached results.json",
    )


def _replaced(readable: Readable) -> list[Block]:
    return [block for note in _notes(readable) for block in (heading("Characters"), prose(f"{note}."))]


def _parted(blocks: list[Block]) -> list[Block]:
    """Without headings that nothing follows."""
    kept: list[Block] = []
    for block in blocks:
        while kept and block["kind"] == kept[-1]["kind"] == "heading" and block["level"] <= kept[-1]["level"]:
            kept.pop()
        kept.append(block)
    return kept


def _breakable(value: Any) -> Any:
    """Long words of names may be parted; hashes and names of pictures may not. A line of a note ends nowhere."""
    if isinstance(value, str):
        return breakable(value.replace("\n", " "))
    if isinstance(value, Mapping):
        return {key: part if key in ("kind", "name") else _breakable(part) for key, part in value.items()}
    return [_breakable(part) for part in value] if isinstance(value, list) else value


def _names(value: Any) -> Iterator[str]:
    """Ids and titles in the data, in which a dot is no decimal sign."""
    if isinstance(value, Mapping):
        for key, part in value.items():
            if key in NAME_KEYS and isinstance(part, str):
                yield part
            elif key in ("batches", "instruments", "names", "samples") and isinstance(part, list | tuple):
                yield from (one for one in part if isinstance(one, str))
                yield from _names(part)
            else:
                yield from _names(part)
    elif isinstance(value, list | tuple):
        for part in value:
            yield from _names(part)
