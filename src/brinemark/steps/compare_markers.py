"""Results of other methods beside this logbook's readings, and beside each other; what was not found is kept."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from itertools import combinations
from statistics import NormalDist

from brinemark.records.reader import Reader
from brinemark.records.text import nearest, shown
from brinemark.science.amount.seawater import unit_factor
from brinemark.science.fish.other_markers import agreement, compare, found, pairs_by_sample
from brinemark.steps.answers import SampleReading
from brinemark.steps.in_unit import molar_mass
from brinemark.steps.marker_answers import OWN, Compared, MarkersAnswer, MethodNote
from brinemark.steps.markers import marker_rows
from brinemark.steps.place import Place
from brinemark.steps.read import answer_of
from brinemark.steps.run_plans import sample_names, with_plans
from brinemark.terms.amounts import Reading
from brinemark.terms.errors import Refused
from brinemark.terms.markers import MarkerRow
from brinemark.terms.settings import AnalyteSection
from brinemark.terms.surveillance import MarkerComparison, MarkerResult

NO_PAIR = "no sample has a result of both"
OPEN_ABOVE = "known only to be at or above a level, and so without a place in a line, a ratio or a difference"
COUNT_AS_FOUND = "they count as found in the table of found and not found"
ERR_TOGETHER = (
    "readings by one calibration, and above all those of one batch, err together, which the intervals of lines, ratios "
    "and differences do not know"
)
UNDECIDED = "known only to be at or above a level that is lower than the one asked for"
NOT_SAID = "cannot say"
OTHER_QUANTITY = (
    "they report different quantities: only whether each found something is compared, each by its own limit"
)


@dataclass(frozen=True, slots=True, eq=False)
class _Side:
    """Results of one method: those of water levels in the logbook's unit.

    above : results known only to be at or above their value; left_out : (sample, reason).
    """

    name: str
    marker: str
    unit: str
    of_water: bool
    results: tuple[MarkerResult, ...]
    above: tuple[MarkerResult, ...] = ()
    left_out: tuple[tuple[str, str], ...] = ()


def compare_markers(
    place: Place, first: str | None = None, second: str | None = None, at: float | None = None
) -> MarkersAnswer:
    """Other methods for the analyte in water beside this logbook's readings, and every two other methods.

    first, second : only comparisons with these methods (OWN is this logbook); at : level at which found or not found is
    asked, in the logbook's unit, for methods that report it. Raises Refused for an unknown method and a level that is
    not above 0. Nothing is stored.
    """
    if at is not None and not 0.0 < at < math.inf:
        raise Refused(f"a level of {at:g}", "a number above 0", "give a level in the unit of the logbook")
    analyte = place.settings.analyte
    with place.database.reading() as reader:
        rows = marker_rows(reader)
        own = own_side(reader, {row.sample for row in rows}, analyte)
    others = sides_of(rows, analyte)
    names = [own.name, *(side.name for side in others)]
    for name in (first, second):
        _check_name(name, names)
    pairs = [(own, side) for side in others if side.of_water] + list(combinations(others, 2))
    wanted = [pair for pair in pairs if {first, second} - {None} <= {pair[0].name, pair[1].name}]
    compared = tuple(_compared(one, other, at) for one, other in wanted)
    return MarkersAnswer(analyte.level_unit, at, tuple(_note(side) for side in others), compared)


def is_of_water(row: MarkerRow, analyte: str) -> bool:
    """Whether a result is of the analyte in the water of its sample, and so of what the readings are of."""
    return row.fish is None and row.marker.casefold() in (analyte.casefold(), f"{analyte} in water".casefold())


def _check_name(name: str | None, names: Sequence[str]) -> None:
    if name is not None and name not in names:
        alike = nearest(name, names)
        hint = f"did you mean {shown(alike)}?" if alike else "take in its results first"
        raise Refused(f"no method {shown(name)} in this logbook", f"one of {', '.join(sorted(set(names)))}", hint)


def _note(side: _Side) -> MethodNote:
    return MethodNote(side.name, side.marker, side.unit, len(side.results), sum(map(found, side.results)))


def sides_of(rows: Iterable[MarkerRow], analyte: AnalyteSection) -> list[_Side]:
    """Rows by method, marker, and whether they are of the water."""
    groups: dict[tuple[str, str, bool], list[MarkerRow]] = {}
    for row in rows:
        groups.setdefault((*row.kind, is_of_water(row, analyte.name)), []).append(row)
    return [_side(group, of_water, analyte) for (_, _, of_water), group in groups.items()]


def _side(rows: Sequence[MarkerRow], of_water: bool, analyte: AnalyteSection) -> _Side:
    factor = _factor(rows[0].unit, analyte) if of_water else None
    unit = rows[0].unit if factor is None else analyte.level_unit
    results = tuple(_result(row, unit, factor or 1.0) for row in rows)
    return _Side(rows[0].method, rows[0].marker, unit, of_water, results)


def _factor(unit: str, analyte: AnalyteSection) -> float | None:
    """From a unit into the logbook's; None where that is not known: then there is no line, only found or not."""
    if unit == analyte.level_unit:
        return 1.0
    try:
        return unit_factor(unit, analyte.level_unit, molar_mass(analyte))
    except Refused:
        return None


def _result(row: MarkerRow, unit: str, factor: float) -> MarkerResult:
    value, limit, u = (None if one is None else one * factor for one in (row.value, row.limit_of_detection, row.u))
    return MarkerResult(row.sample, row.marker, row.method, unit, value, limit, u)


def own_side(reader: Reader, samples: set[str], analyte: AnalyteSection) -> _Side:
    """The newest reading of each sample that another method has a result for."""
    results: list[MarkerResult] = []
    above: list[MarkerResult] = []
    left_out = []
    for name, answer in newest_readings(reader, samples).items():
        factor = _factor(answer.unit, analyte)
        if factor is None:
            left_out.append((name, f"read in {answer.unit}, which does not turn into {analyte.level_unit}"))
            continue
        result = own_result(name, answer, analyte.level_unit, factor)
        if result is None:
            left_out.append((name, NOT_SAID))
        else:
            (above if open_above(answer.reading) else results).append(result)
    unit = analyte.level_unit
    return _Side(OWN, analyte.name, unit, True, tuple(results), tuple(above), tuple(left_out))


def newest_readings(reader: Reader, samples: set[str]) -> dict[str, SampleReading]:
    """The newest reading of each of the samples that was read, by its own name where a run had a code for it; without
    its curve."""
    own = sample_names(with_plans(reader)[1])
    newest: dict[str, SampleReading] = {}
    for record in reader.newest_first("reading"):
        code = record.role.removeprefix("sample ")
        name = own.get(code, code)
        if name in samples and name not in newest:
            newest[name] = answer_of(record)
    return newest


def own_result(sample: str, answer: SampleReading, unit: str, factor: float) -> MarkerResult | None:
    """A reading as a result of a method, None when it says nothing; one that is open above has its lower end as value.

    factor : into unit.
    """
    one, limit = answer.reading, answer.reading.upper_limit
    plain = MarkerResult(sample, answer.analyte, OWN, unit, None)
    if one.statement == "not detected" and limit is not None:
        return replace(plain, limit_of_detection=limit.value * factor)
    if open_above(one):
        lower = one.lower_limit.value if one.lower_limit is not None else _lower(one)
        return None if lower is None else replace(plain, value=lower * factor)
    value = _value(one)
    return None if value is None else replace(plain, value=value[0] * factor, u=value[1] * factor)


def open_above(reading: Reading) -> bool:
    """Whether no level is too high for a reading in which the analyte was found."""
    if reading.statement == "detected, amount uncertain":
        return _value(reading) is None
    return reading.statement == "at or above"


def _lower(reading: Reading) -> float | None:
    return None if reading.estimate is None else reading.estimate.lower


def _value(reading: Reading) -> tuple[float, float] | None:
    """Median and standard uncertainty of a reading with two ends: of its logarithm times the median, and where the
    interval reaches 0 from its upper half; the interval is taken as that of a normal law."""
    one = reading.two_sided or reading.estimate
    if reading.statement == "cannot say" or one is None or one.sides != 2:
        return None
    if one.median is None or one.upper is None or one.median <= 0.0:
        return None
    width = NormalDist().inv_cdf(0.5 + 0.5 * one.level)
    if one.lower is not None and one.lower > 0.0:
        return one.median, one.median * math.log(one.upper / one.lower) / (2.0 * width)
    return one.median, (one.upper - one.median) / width


def _compared(one: _Side, other: _Side, at: float | None) -> Compared:
    same = (one.of_water and other.of_water) or one.marker == other.marker
    same = same and one.unit == other.unit
    level = at if same and one.of_water else None
    there = {result.sample for result in other.results}
    reasons = [reason for name, reason in one.left_out if name in there]
    open_ones = [result for result in one.above if result.sample in there]
    sure = [result for result in open_ones if level is None or (result.value or 0.0) >= level]
    reasons += [OPEN_ABOVE] * len(sure) + [UNDECIDED] * (len(open_ones) - len(sure))
    pairs = pairs_by_sample(one.results, other.results)
    counted = (*pairs, *pairs_by_sample(sure, other.results))
    answer = Compared(
        f"{one.name}, {one.marker}", f"{other.name}, {other.marker}", same, None, tuple(Counter(reasons).items())
    )
    if not counted:
        return replace(answer, reason=NO_PAIR)
    comparison = compare(pairs, level) if same and pairs else found_or_not(counted, level)
    if not same:
        comparison = replace(comparison, remarks=(OTHER_QUANTITY,))
    elif one.name == OWN and pairs:
        comparison = replace(comparison, remarks=(*comparison.remarks, ERR_TOGETHER))
    if sure:
        said = f"{len(sure)} known only to be at or above a level: {COUNT_AS_FOUND}"
        comparison = replace(
            comparison, pairs=len(counted), agreement=agreement(counted, level), remarks=(*comparison.remarks, said)
        )
    return replace(answer, comparison=comparison)


def found_or_not(pairs: Sequence[tuple[MarkerResult, MarkerResult]], at: float | None = None) -> MarkerComparison:
    """The table of found and not found alone."""
    one, other = pairs[0]
    return MarkerComparison(
        f"{one.method}, {one.marker} [{one.unit}]",
        f"{other.method}, {other.marker} [{other.unit}]",
        len(pairs),
        0,
        sum(not (found(first) and found(second)) for first, second in pairs),
        agreement(pairs, at),
        None,
        None,
        None,
        None,
        (),
    )
