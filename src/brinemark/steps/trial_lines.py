"""What the newest trial that was kept says of the ratios of each world."""

from __future__ import annotations

from typing import Any

from brinemark.records.reader import Reader
from brinemark.terms.evidence import Recalibration

TRIAL = "trial"


def newest_lines(reader: Reader) -> tuple[str | None, dict[str, Recalibration]]:
    """Id of the newest trial that was kept, and the line through the ratios of each world that it supports."""
    record = next(iter(reader.newest_first(TRIAL)), None)
    if record is None:
        return None, {}
    results: Any = record.results
    found = {one["world"]: one["recalibration"] for one in results["worlds"] if one["recalibration"] is not None}
    return record.id, {world: Recalibration(**plain) for world, plain in found.items()}
