"""For comparison: the classical line of a standard addition, on one electrode and across sibling electrodes.

The line assumes that the signal, less its floor, is proportional to the level in the cell. It corrects what multiplies
the signal (gain, matrix), never an interferent that reads like the analyte. An electrode that saturates bends the line,
so straightness is tested first. Nothing in the product's own readings rests on this module.

Source of the formulas: Statistics and Chemometrics for Analytical Chemistry, Pearson, chapter 5 (method of standard
additions); the exact ends: Some problems in interval estimation, Journal of the Royal Statistical Society B 16 (1954)
175, doi 10.1111/j.2517-6161.1954.tb00159.x (from memory).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from brinemark.science.amount.classical.lines import Line, fit_line, fit_linear
from brinemark.science.distributions import student_above, student_quantile
from brinemark.terms.arrays import FloatArray
from brinemark.terms.errors import Refused

BEND_ALPHA = 0.05  # common practice, no source: a line that is straight is turned away one time in twenty
REWEIGHTINGS = 50
SETTLED = 1e-10


@dataclass(frozen=True, slots=True)
class Blank:
    """Floor of the signal without analyte and its standard uncertainty [unit of the signal]."""

    signal: float = 0.0
    u: float = 0.0


@dataclass(frozen=True, slots=True)
class AddedLevel:
    """Level of a sample by standard addition [level unit].

    level, u : where the line meets the blank, and its standard uncertainty; None when it cannot be said, with the
    reason; half_width : t u, the classical interval level +- half_width; lower, upper : exact ends, which
    need not be symmetric; line : as fitted; bend_p : probability of a bend at least as clear as this one on a straight
    line, None when there are too few points to see one; if_bent : where a curve bent as far as the points allow (at the
    same BEND_ALPHA) would meet the blank, roughly what an unseen saturation may hide, no interval end; warnings :
    plain sentences.
    """

    level: float | None
    u: float | None
    half_width: float | None
    lower: float | None
    upper: float | None
    line: Line
    bend_p: float | None
    if_bent: float | None = None
    reason: str | None = None
    warnings: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class CombinedAddition:
    """Mean of several electrodes that each had their own additions; u from their scatter; None with a reason."""

    level: float | None
    u: float | None
    half_width: float | None
    electrodes: int
    reason: str | None = None


def volume_corrected(
    signal: FloatArray, cell_mL: float, added_mL: FloatArray, stock_level: float, blank: Blank = Blank()
) -> tuple[FloatArray, FloatArray]:
    """Added levels and signals as if the additions had taken no room: (n,), (n,).

    In the cell (V c + s v) / (V + v) holds, with V = cell_mL of sample and v = added_mL in all before each reading, so
    the signal less its blank, times (V + v) / V, is linear in s v / V. Its weights then differ by a little, which is
    left out. Raises Refused for volumes that are no volumes and for additions that shrink.
    """
    if not (math.isfinite(cell_mL) and cell_mL > 0.0 and math.isfinite(stock_level) and stock_level > 0.0):
        raise Refused(
            f"cell volume {cell_mL:g} mL and stock level {stock_level:g}",
            "both finite and above 0",
            "give the volume of sample in the cell and the level of the stock",
        )
    _same_length(added_mL, signal)
    if not np.all(np.isfinite(added_mL)) or np.any(added_mL < 0.0) or np.any(np.diff(added_mL) < 0.0):
        came = f"added volumes {', '.join(f'{value:g}' for value in added_mL)} mL"
        raise Refused(came, "volumes in all so far, from 0 and never falling", "give each with those before it")
    grown = (cell_mL + added_mL) / cell_mL
    return stock_level * added_mL / cell_mL, blank.signal + (signal - blank.signal) * grown


def standard_addition(
    added: FloatArray, signal: FloatArray, blank: Blank = Blank(), interval: float = 0.95
) -> AddedLevel:
    """Level of the sample from the signals (n,) of one electrode at added levels (n,), in one cell.

    x_E = (a - y_blank) / b,  s_xE = (s / b) sqrt(1/n + mean_y^2 / (b^2 Sxx)),  interval t_{n-2}
    with mean_y above the blank; the blank's own uncertainty is added in squares (an addition to the source's formula).
    Raises Refused below 3 readings or 2 added levels and for values that are not finite. A line that bends, does not
    rise, or bounds no level is an answer with a reason.
    """
    _checked(added, signal)
    return _answer(added, signal, np.ones(added.size), blank, interval)


def sibling_addition(
    added: FloatArray, signal: FloatArray, blank: Blank = Blank(), interval: float = 0.95
) -> AddedLevel:
    """Level of the sample from siblings (n,): each electrode in its own portion with its own addition, read once.

    Siblings differ in gain, so their scatter grows with the signal: the weights are 1 / (height above the blank)^2,
    found again until the line settles. Raises Refused as standard_addition does.
    """
    _checked(added, signal)
    weights = np.ones(added.size)
    for _ in range(REWEIGHTINGS):
        line = fit_line(added, signal, weights)
        height = line.intercept + line.slope * added - blank.signal
        if not np.all(height > 0.0):
            reason = "the line falls below the blank within the additions, so scatter cannot be taken as relative"
            return _cannot_say(line, None, f"{reason}; add more, or read more electrodes")
        fresh = height**-2.0 / np.mean(height**-2.0)
        settled = float(np.max(np.abs(fresh - weights))) < SETTLED
        weights = fresh
        if settled:
            break
    return _answer(added, signal, weights, blank, interval)


def combined_addition(parts: Sequence[AddedLevel], interval: float = 0.95) -> CombinedAddition:
    """Mean of the levels of m electrodes, each from its own line, with t_{m-1} and their own scatter.

    The scatter holds what one line cannot show: that electrodes disagree. Electrodes that cannot say are left out and
    counted out; below two there is no scatter.
    """
    levels = np.array([part.level for part in parts if part.level is not None])
    if levels.size < 2:
        reason = f"{levels.size} of {len(parts)} electrodes give a level; their scatter needs two; add electrodes"
        return CombinedAddition(None, None, None, int(levels.size), reason)
    u = float(levels.std(ddof=1) / math.sqrt(levels.size))
    t = student_quantile((1.0 + interval) / 2.0, levels.size - 1)
    return CombinedAddition(float(levels.mean()), u, t * u, int(levels.size))


@dataclass(frozen=True, slots=True)
class Bend:
    """Quadratic coefficient c of y = a + b x + c x^2, its standard error, its degrees of freedom n - 3, and the
    probability, on a straight line with normal noise, of a coefficient at least as far from 0 (t test, two-sided)."""

    c: float
    u: float
    df: int
    p: float


def bend_of(added: FloatArray, signal: FloatArray, weights: FloatArray) -> Bend | None:
    """How the points bend; None below 4 readings or 3 levels, which show none."""
    if added.size < 4 or np.unique(added).size < 3:
        return None
    root = np.sqrt(weights)
    fit = fit_linear(np.column_stack([root, root * added, root * added**2]), root * signal)
    c, u = float(fit.coefficients[2]), float(fit.sd[2])
    rounding = 1e-9 * float(np.max(np.abs(signal)) / np.max(added) ** 2)
    if abs(c) <= rounding:
        return Bend(c, u, fit.df, 1.0)
    return Bend(c, u, fit.df, 2.0 * student_above(abs(c) / u, fit.df) if u > 0.0 else 0.0)


def _if_bent(bend: Bend, added: FloatArray, signal: FloatArray, weights: FloatArray, blank: Blank) -> float | None:
    """Level at which the curve of the lowest c that the points allow meets the blank; None when c cannot be below 0."""
    c = bend.c - student_quantile(1.0 - BEND_ALPHA / 2.0, bend.df) * bend.u
    line = fit_line(added, signal - c * added**2, weights)
    height = line.intercept - blank.signal
    square = line.slope**2 - 4.0 * c * height
    if not (c < 0.0 and square > 0.0):
        return None
    return (math.sqrt(square) - line.slope) / (-2.0 * c)


def _answer(added: FloatArray, signal: FloatArray, weights: FloatArray, blank: Blank, interval: float) -> AddedLevel:
    line = fit_line(added, signal, weights)
    t = student_quantile((1.0 + interval) / 2.0, line.df)
    bend = bend_of(added, signal, weights)
    bend_p = None if bend is None else bend.p
    if not line.slope > 0.0:
        return _cannot_say(line, bend_p, f"the signal does not rise with the addition (slope {line.slope:.3g})")
    if bend is not None and bend.p < BEND_ALPHA:
        why = f"the line bends (probability {bend.p:.2g} on a straight one), as of an electrode that saturates"
        return _cannot_say(line, bend_p, f"{why}; use smaller additions, or dilute the sample")
    if t * line.u_slope >= line.slope:
        why = "the slope cannot be told from 0 within its error, so no level is bounded"
        return _cannot_say(line, bend_p, f"{why}; use larger additions, or more readings")
    level = (line.intercept - blank.signal) / line.slope
    u = math.sqrt(_ratio_variance(line, level, blank)) / line.slope
    lower, upper = _exact_ends(line, blank, t)
    found = AddedLevel(level, u, t * u, lower, upper, line, bend_p)
    if_bent = None if bend is None else _if_bent(bend, added, signal, weights, blank)
    return replace(found, if_bent=if_bent, warnings=_warnings(level, lower, if_bent, added, bend is None))


def _ratio_variance(line: Line, level: float, blank: Blank) -> float:
    """Variance of a - y_blank - level x b: the line at x = -level, and the blank."""
    at = line.residual_sd**2 * (1.0 / line.n + (line.mean_x + level) ** 2 / line.sxx)
    return at + blank.u**2


def _exact_ends(line: Line, blank: Blank, t: float) -> tuple[float, float]:
    """The two levels x with (a - y_blank - b x)^2 = t^2 var(a - y_blank - b x); bounded since |b| > t u(b)."""
    variance_b = line.u_slope**2
    covariance = -(line.residual_sd**2) * line.mean_x / line.sxx
    variance_a = line.u_intercept**2 + blank.u**2
    height = line.intercept - blank.signal
    square = line.slope**2 - t**2 * variance_b
    middle = height * line.slope - t**2 * covariance
    rest = height**2 - t**2 * variance_a
    # Never below 0 for a slope above its error, but by rounding.
    root = math.sqrt(max(middle**2 - square * rest, 0.0))
    return (middle - root) / square, (middle + root) / square


def _warnings(
    level: float, lower: float, if_bent: float | None, added: FloatArray, bend_unseen: bool
) -> tuple[str, ...]:
    found = []
    if bend_unseen:
        found.append("too few points to see whether the line bends; an electrode that saturates reads too high a level")
    if if_bent is not None and if_bent < lower:
        found.append(
            f"a bend that these points cannot exclude would bring the level down to about {if_bent:.3g}, below the "
            "interval; read after more additions"
        )
    if level > 2.0 * float(np.max(added)):
        found.append(
            f"the level lies more than two spans of the additions outside them (largest {np.max(added):.3g}); add more"
        )
    if level < 0.0:
        found.append("the line meets the blank at a negative level: nothing of the analyte can be told from the blank")
    return tuple(found)


def _cannot_say(line: Line, bend: float | None, reason: str) -> AddedLevel:
    return AddedLevel(None, None, None, None, None, line, bend, reason=reason)


def _checked(added: FloatArray, signal: FloatArray) -> None:
    _same_length(added, signal)
    if added.size < 3:
        raise Refused(
            f"{added.size} readings in a standard addition",
            "at least 3, the sample alone among them",
            "read after more additions",
        )
    if not (np.all(np.isfinite(added)) and np.all(np.isfinite(signal))):
        raise Refused(
            "an added level or signal that is not finite", "finite numbers", "mend the reading or leave it out"
        )
    if np.any(added < 0.0):
        raise Refused(f"added level {np.min(added):g}", "levels from 0", "give what was added, 0 for the sample alone")


def _same_length(added: FloatArray, signal: FloatArray) -> None:
    if added.shape != signal.shape or added.ndim != 1:
        raise Refused(
            f"{added.size} additions and {signal.size} signals", "one signal for each addition", "give them in pairs"
        )
