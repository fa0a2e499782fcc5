"""What nobody can detect more often than, for the targets of lone readings, and how far behind that the program is."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from accuracy_cases import CASES, LOGBOOKS, cases_of, samples_of, simulate
from accuracy_figures import POWER_AT, Rate
from accuracy_read import Done
from oracle import BLANK_RATE, blank_tails, learned, lone_power
from second_half import clustered

from brinemark.science.amount.simulate import SINGLE
from brinemark.terms.amounts import SamplePortion
from brinemark.terms.arrays import FloatArray

LONE = {("burned-2", 1.0), ("base", 1.0), ("25-burned-2", 0.5), ("portable", 1.0), ("low", 1.0), ("high", 1.0)}


@dataclass(frozen=True, slots=True)
class Limit:
    """Power over many batches of one who knows population and batch (known), and of one who knows the population and
    learns the batch from the electrodes that the case burns (learned); behind : by who reads, what the program's power
    is above the latter's on the same samples."""

    known: Rate
    learned: Rate
    behind: Mapping[str, Rate]


Limits = dict[tuple[str, int], Limit]  # by case and place in POWER_AT


def limits(folder: Path, made: Sequence[Done]) -> Limits:
    """Of the cases of LONE; what takes long is kept in the folder."""
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
        (known, known_error), (power, error) = kept[key]
        behind = _behind([one for one in made if one.logbook == case.logbook], name, level)
        found[name, POWER_AT.index(level)] = Limit((known, known_error), (power, error), behind)
    return found


def _behind(made: Sequence[Done], name: str, level: float) -> dict[str, Rate]:
    """Histories are simulated again: they follow from their seed and number."""
    parts: dict[str, list[FloatArray]] = {}
    for one in made:
        best = _detected(one, name, level)
        for who, answers in one.answers[name].items():
            rows = np.array(answers.get(f"{level:g}", []), dtype=float)
            if rows.size and len(rows) == len(best):
                parts.setdefault(who, []).append(rows[:, 0] - best)
    return {who: clustered(each) for who, each in parts.items()}


def _detected(one: Done, name: str, level: float) -> FloatArray:
    """1 or 0 for each sample of a level, by one who knows the population and learns the batch."""
    rng = np.random.default_rng([one.seed, one.number])
    seasons = simulate(one.logbook, rng)
    asked = {case: samples_of(about, seasons[case], rng) for case, about in cases_of(one.logbook).items()}
    season = seasons[name]
    points = {batch.name: learned(season.truth, batch, season.lived, SINGLE) for batch in season.new}

    def blank(portion: SamplePortion) -> float:
        x = float(np.log(portion.covariate)) if portion.covariate else 0.0
        there = blank_tails(season.truth, points[portion.batch], np.array([x]), np.array([portion.signal]))
        return float(there[0])

    return np.array([float(blank(portion) <= BLANK_RATE) for (portion,) in asked[name][level]])
