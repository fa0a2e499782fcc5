"""What nobody can detect more often than, for the targets of lone readings: computed over many batches, and kept."""

from __future__ import annotations

import json
from pathlib import Path

from accuracy_cases import CASES, LOGBOOKS
from accuracy_figures import POWER_AT, Rate
from oracle import lone_power

LONE = {("burned-2", 1.0), ("base", 1.0), ("25-burned-2", 0.5), ("portable", 1.0), ("low", 1.0), ("high", 1.0)}
Limits = dict[tuple[str, int], tuple[Rate, Rate]]


def limits(folder: Path) -> Limits:
    """Power of one who knows population and batch, and of one who knows the population and learns the batch from the
    electrodes that the case burns; by case and place in POWER_AT. How many batches of history there are plays no part:
    what they tell of the population is known."""
    path = folder / "limits.json"
    kept: dict[str, list[list[float]]] = json.loads(path.read_text(encoding="utf-8")) if path.exists() else {}
    found: Limits = {}
    for name, level in sorted(LONE):
        case = CASES[name]
        truth = LOGBOOKS[case.logbook].truth
        key = f"{truth}, {level:g} ug/L, burned {case.burned}"
        if key not in kept:
            kept[key] = [list(lone_power(truth, level, burned)) for burned in (None, case.burned)]
            path.write_text(json.dumps(kept, indent=1), encoding="utf-8")
        (known, known_error), (learned, learned_error) = kept[key]
        found[name, POWER_AT.index(level)] = (known, known_error), (learned, learned_error)
    return found
