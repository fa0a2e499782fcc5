"""Results of other methods on the same fish or on split samples, beside each other; censored values are kept."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence

import numpy as np

from brinemark.science.fish.censored_pairs import mean_ratio
from brinemark.science.fish.method_comparison import (
    exact_mcnemar,
    limits_of_agreement,
    line_with_errors,
    ranked_line,
)
from brinemark.terms.arrays import FloatArray
from brinemark.terms.errors import Refused
from brinemark.terms.surveillance import (
    Agreement,
    FittedLine,
    LimitsOfAgreement,
    MarkerComparison,
    MarkerResult,
    MeanRatio,
)

WANTED_PAIRS = 20
FEWEST_FOR_RANKS = 6
Pair = tuple[MarkerResult, MarkerResult]


def check_result(result: MarkerResult) -> None:
    """Refused: neither value nor limit, a limit or uncertainty not above 0, a value that is not finite."""
    if result.value is None and result.limit_of_detection is None:
        raise Refused(
            f"a result of {result.method} on {result.sample} with neither a value nor a limit of detection",
            "a value, or 'not found' with the limit it was not found above",
            "ask for the limit of detection",
        )
    for name, number in (("limit of detection", result.limit_of_detection), ("standard uncertainty", result.u)):
        if number is not None and not 0.0 < number < math.inf:
            raise Refused(f"a {name} of {number:g} {result.unit} on {result.sample}", "a number above 0", "correct it")
    if result.value is not None and not math.isfinite(result.value):
        raise Refused(f"a value {result.value} on {result.sample}", "a finite number", "correct the value")


def found(result: MarkerResult) -> bool:
    """Above its own limit of detection; a value reported below the limit counts as not found and stays as reported."""
    if result.value is None:
        return False
    return result.limit_of_detection is None or result.value >= result.limit_of_detection


def pairs_by_sample(first: Iterable[MarkerResult], second: Iterable[MarkerResult]) -> tuple[Pair, ...]:
    """Results of two methods paired by sample, sorted by it; samples with one of them only are left out.

    Refused: a sample twice within one method.
    """
    one, other = _by_sample(first), _by_sample(second)
    return tuple((one[sample], other[sample]) for sample in sorted(one.keys() & other.keys()))


def compare(pairs: Sequence[Pair], at: float | None = None) -> MarkerComparison:
    """Two methods on split samples: 2 x 2 table, errors-in-both line, ranked line, limits of agreement.

    Pairs with a result not found stay in the 2 x 2 table; the line and the limits need both values, so these pairs are
    left out of them and a remark gives their number. With at [unit of both] the table asks whether that level was
    reached, so that methods with different limits are compared at one level.

    Refused: no pair, results of several methods or units on one side, a level for methods with different units.
    """
    one, other = _sides(pairs, at)
    measured = [pair for pair in pairs if found(pair[0]) and found(pair[1])]
    censored = len(pairs) - len(measured)
    remarks = []
    if censored:
        remarks.append(
            f"{censored} of {len(pairs)} pairs have a result not found and are left out of the line and of the limits "
            "of agreement, which near the limits of detection are biased by that; the mean ratio keeps them"
        )
    if len(measured) < WANTED_PAIRS:
        remarks.append(
            f"{len(measured)} pairs measured by both; {WANTED_PAIRS} are wanted for a quantitative statement"
        )
    line, ranks, limits = _measured_parts(measured, one.unit == other.unit, remarks)
    return MarkerComparison(
        f"{one.method}, {one.marker} [{one.unit}]",
        f"{other.method}, {other.marker} [{other.unit}]",
        len(pairs),
        len(measured),
        censored,
        agreement(pairs, at),
        line,
        ranks,
        limits,
        _ratio(pairs, one.unit == other.unit, remarks),
        tuple(remarks),
    )


def agreement(pairs: Sequence[Pair], at: float | None = None) -> Agreement:
    """2 x 2 table of found and not found with the exact McNemar p. Counts without at use each result's own limit."""
    calls = [(_reached(one, at), _reached(other, at)) for one, other in pairs]
    both, first_only = calls.count((True, True)), calls.count((True, False))
    second_only, neither = calls.count((False, True)), calls.count((False, False))
    undecided = len(calls) - both - first_only - second_only - neither
    return Agreement(both, first_only, second_only, neither, undecided, exact_mcnemar(first_only, second_only))


def _reached(result: MarkerResult, at: float | None) -> bool | None:
    """Whether the level is reached; None when the result was not found above a limit that lies above the level."""
    if at is None:
        return found(result)
    if found(result) and result.value is not None:
        return result.value >= at
    below = result.limit_of_detection
    return False if below is not None and below <= at else None


def _measured_parts(
    measured: Sequence[Pair], same_unit: bool, remarks: list[str]
) -> tuple[FittedLine | None, FittedLine | None, LimitsOfAgreement | None]:
    x, y = (np.array([pair[side].value for pair in measured], dtype=np.float64) for side in (0, 1))
    u_x, u_y = (np.array([pair[side].u or math.nan for pair in measured], dtype=np.float64) for side in (0, 1))
    line = ranks = limits = None
    if np.all(np.isfinite(u_x)) and np.all(np.isfinite(u_y)):
        line = _tried("line with errors in both", lambda: line_with_errors(x, y, u_x, u_y), remarks)
    else:
        remarks.append("no line with errors in both: a standard uncertainty is missing")
    if x.size >= FEWEST_FOR_RANKS:
        ranks = _tried("ranked line", lambda: ranked_line(x, y), remarks)
    else:
        remarks.append(f"no ranked line: {x.size} pairs, at least {FEWEST_FOR_RANKS} are wanted")
    if same_unit:
        limits = _agreeing(x, y, remarks)
    else:
        remarks.append("no limits of agreement: the two methods report in different units")
    return line, ranks, limits


def _ratio(pairs: Sequence[Pair], same_unit: bool, remarks: list[str]) -> MeanRatio | None:
    """Mean ratio with all pairs; a result not found is known to lie below its limit."""
    if not same_unit:
        return None
    x, y = (np.array([_bound(pair[side]) for pair in pairs]) for side in (0, 1))
    seen_x, seen_y = (np.array([found(pair[side]) for pair in pairs]) for side in (0, 1))
    try:
        return mean_ratio(x, y, seen_x, seen_y)
    except Refused as refused:
        remarks.append(f"no mean ratio: {refused}")
        return None


def _bound(result: MarkerResult) -> float:
    bound = result.value if found(result) else result.limit_of_detection
    return math.nan if bound is None else bound


def _agreeing(x: FloatArray, y: FloatArray, remarks: list[str]) -> LimitsOfAgreement | None:
    try:
        return limits_of_agreement(x, y)
    except Refused as refused:
        remarks.append(f"no limits of agreement: {refused}")
        return None


def _tried(name: str, fit: Callable[[], FittedLine], remarks: list[str]) -> FittedLine | None:
    try:
        return fit()
    except Refused as refused:
        remarks.append(f"no {name}: {refused}")
        return None


def _by_sample(results: Iterable[MarkerResult]) -> dict[str, MarkerResult]:
    kept: dict[str, MarkerResult] = {}
    for result in results:
        check_result(result)
        if result.sample in kept:
            raise Refused(
                f"sample {result.sample} twice by {result.method}",
                "one result for each sample",
                "give their mean with its u",
            )
        kept[result.sample] = result
    return kept


def _sides(pairs: Sequence[Pair], at: float | None) -> Pair:
    if not pairs:
        raise Refused("no pair of results", "results of two methods on the same samples", "name samples alike in both")
    for side in (0, 1):
        kinds = {(pair[side].method, pair[side].marker, pair[side].unit) for pair in pairs}
        if len(kinds) > 1:
            raise Refused("several methods, markers or units on one side", "one on each side", "compare two at a time")
    one, other = pairs[0]
    if at is not None and one.unit != other.unit:
        raise Refused(f"a level for {one.unit} and {other.unit}", "methods with one unit", "leave the level out")
    return one, other
