"""Figures of the accuracy study with standard errors clustered by history, from the kept answers."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from accuracy_cases import CASES, NEAR_K
from accuracy_read import AT_OR_ABOVE, CANNOT_SAY, US, Answers, Done
from second_half import clustered

from brinemark.terms.arrays import FloatArray

POWER_AT, ABOVE_AT, FOLD_AT, ERROR_FROM = (0.5, 1.0), (1.0, 2.0, 8.0), 2.0, 0.5
REDRAWN = 200
Rate = tuple[float, float]  # value and standard error; nan where there is none


@dataclass(frozen=True, slots=True)
class Figures:
    """What one way of reading gave in one case.

    histories, failed : read, and of which a gate of the calibration failed; silent : share of "cannot say", which is
    left out of all else; levels, held : coverage of the two-sided interval at each level; coverage : over all levels;
    worst : the lowest coverage, its error and level; error : median |ln(best / true)| from .5 ug/L up; fold : median
    upper over lower end at 2 ug/L; near_K : the same at 1.5, 2 and 2.5 together; wide : share of intervals at 2 ug/L
    without an upper end; above : share of "at or above" at ABOVE_AT; folds : at each level; near_held : coverage at
    1.5, 2 and 2.5 together; beside : median of the folds there over the program's own of the same samples; scatter :
    mean middle of the scatter between waters, where waters told.
    """

    case: str
    who: str
    histories: int
    failed: int
    silent: float
    blank: Rate
    power: tuple[Rate, ...]
    levels: tuple[float, ...]
    held: tuple[Rate, ...]
    coverage: Rate
    worst: tuple[float, float, float]
    error: float
    fold: Rate
    near_K: Rate
    wide: float
    above: tuple[Rate, ...]
    folds: tuple[Rate, ...]
    near_held: Rate
    beside: Rate = (float("nan"), float("nan"))
    scatter: float = float("nan")


def figures_of(made: Sequence[Done]) -> list[Figures]:
    """Every case and way of reading, in the order of the cases."""
    found = []
    for case, about in CASES.items():
        done = [one for one in made if one.logbook == about.logbook]
        ways = dict.fromkeys(who for one in done for who in one.answers[case])
        for who in ways:
            failed = sum(who in one.failed for one in done)
            rows = [one.answers[case][who] for one in done if who in one.answers[case]]
            if len(rows) > 1:
                figures = _figures((case, who), [_by_level(each) for each in rows], failed)
                found.append(replace(figures, beside=_beside(done, case, who), scatter=_scatter(done, who)))
    return found


ByLevel = dict[float, FloatArray]  # (n, 5) detected, lower, upper, best, statement


def _by_level(answers: Answers) -> ByLevel:
    return {float(level): np.array(rows, dtype=float) for level, rows in answers.items()}


def _figures(named: tuple[str, str], made: Sequence[ByLevel], failed: int) -> Figures:
    levels = tuple(sorted(made[0]))
    silent = float(np.mean([row[4] == CANNOT_SAY for one in made for rows in one.values() for row in rows]))
    held = tuple(_rate(made, level, _holds) for level in levels)
    pooled = _held_at(made, levels)
    low = min(range(len(levels)), key=lambda i: held[i][0])
    near = [level for level in NEAR_K if level in levels]
    return Figures(
        *named,
        len(made),
        failed,
        silent,
        _rate(made, 0.0, lambda rows, _: rows[:, 0]),
        tuple(_rate(made, level, lambda rows, _: rows[:, 0]) for level in POWER_AT),
        levels,
        held,
        pooled,
        (*held[low], levels[low]),
        _error(made),
        _median_fold(made, [FOLD_AT]),
        _median_fold(made, near),
        _rate(made, FOLD_AT, lambda rows, _: np.isinf(rows[:, 2]).astype(float))[0],
        tuple(_rate(made, level, lambda rows, _: (rows[:, 4] == AT_OR_ABOVE).astype(float)) for level in ABOVE_AT),
        tuple(_median_fold(made, [level]) for level in levels),
        _held_at(made, near),
    )


def _scatter(done: Sequence[Done], who: str) -> float:
    told = [one.scatter[who][1] for one in done if who in one.scatter]
    return float(np.mean(told)) if told else float("nan")


def _beside(done: Sequence[Done], case: str, who: str) -> Rate:
    """Median of folds near K over the program's own of the same samples; of samples that both can say of."""
    parts = []
    for one in done:
        if {who, US} <= set(one.answers[case]):
            theirs, ours = (_by_level(one.answers[case][each]) for each in (who, US))
            both = [(theirs[c], ours[c]) for c in NEAR_K if c in theirs and c in ours]
            parts += [np.concatenate([_ends_apart(a) / _ends_apart(b) for a, b in both])] if both else []
    return _median([part[np.isfinite(part)] for part in parts])


def _ends_apart(rows: FloatArray) -> FloatArray:
    """Upper over lower end, nan where one is open or nothing can be said."""
    there = (rows[:, 1] > 0) & np.isfinite(rows[:, 2]) & (rows[:, 4] != CANNOT_SAY)
    return np.asarray(np.divide(rows[:, 2], rows[:, 1], out=np.full(len(rows), np.nan), where=there))


def _held_at(made: Sequence[ByLevel], levels: Sequence[float]) -> Rate:
    """Coverage over several levels."""
    parts = [[_said(one[c], _holds(one[c], c)) for c in levels if c in one] for one in made]
    return share([np.concatenate(part) for part in parts if part])


def _holds(rows: FloatArray, level: float) -> FloatArray:
    return ((rows[:, 1] <= level) & (level <= rows[:, 2])).astype(float)


def _said(rows: FloatArray, values: FloatArray) -> FloatArray:
    """The values, nan where the program cannot say."""
    return np.where(rows[:, 4] == CANNOT_SAY, np.nan, values)


def _rate(made: Sequence[ByLevel], level: float, value: Callable[[FloatArray, float], FloatArray]) -> Rate:
    """Mean over the histories that have the level."""
    return share([_said(one[level], value(one[level], level)) for one in made if level in one])


def share(parts: Sequence[FloatArray]) -> Rate:
    """Mean of 0s and 1s, and its standard error clustered by history, which few histories that agree would make too
    small: it is at least that of as many independent samples with one more of each kind."""
    value, error = clustered(parts)
    count = int(sum(np.isfinite(part).sum() for part in parts))
    if not count or not np.isfinite(value):
        return value, error
    hits = (value * count + 1.0) / (count + 2.0)
    return value, max(error, float(np.sqrt(hits * (1.0 - hits) / (count + 2.0))))


def _error(made: Sequence[ByLevel]) -> float:
    parts = [np.log(np.maximum(rows[:, 3], 1e-9) / c) for one in made for c, rows in one.items() if c >= ERROR_FROM]
    best = np.concatenate(parts) if parts else np.zeros(0)
    best = np.abs(best[np.isfinite(best)])
    return float(np.median(best)) if best.size else float("nan")


def _median_fold(made: Sequence[ByLevel], levels: Sequence[float]) -> Rate:
    """Median fold at levels together, and its standard error by redrawing histories."""
    return _median([np.concatenate([_folds(one[c]) for c in levels if c in one] or [np.zeros(0)]) for one in made])


def _median(parts: Sequence[FloatArray]) -> Rate:
    """Median of all parts, one of each history, and its standard error by redrawing histories."""
    parts = [part for part in parts if part.size]
    if len(parts) < 2:
        return float("nan"), float("nan")
    rng = np.random.default_rng(0)
    drawn = [np.concatenate([parts[i] for i in rng.integers(0, len(parts), len(parts))]) for _ in range(REDRAWN)]
    redrawn = np.array([np.median(one) for one in drawn])
    middle = float(np.median(np.concatenate(parts)))
    return middle, float(np.std(redrawn)) if np.isfinite(redrawn).all() else float("nan")


def _folds(rows: FloatArray) -> FloatArray:
    """Upper over lower end; inf where either is open; readings that cannot say are left out."""
    rows = rows[rows[:, 4] != CANNOT_SAY]
    return np.asarray(np.divide(rows[:, 2], rows[:, 1], out=np.full(len(rows), np.inf), where=rows[:, 1] > 0))
