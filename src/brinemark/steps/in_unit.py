"""Readings stated in another unit than the logbook's: the same statement, its levels multiplied."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from brinemark.science.amount.seawater import Water, known_unit, needs_water, unit_factor
from brinemark.steps.answers import ElectrodeUse, SampleReading
from brinemark.steps.conditions import recorded
from brinemark.steps.place import Place
from brinemark.terms.amounts import Estimate, LimitValue, Reading
from brinemark.terms.errors import Refused
from brinemark.terms.runs import StoredRow
from brinemark.terms.settings import AnalyteSection, Settings
from brinemark.terms.units import THIOCYANATE_G_PER_MOL

SAME_WATER = 1e-3  # relative; what densities of one sample's rows may differ by


def unit_factors(place: Place, names: Sequence[str], unit: str) -> dict[str, float]:
    """For each sample (all of them when none is named) what its levels are multiplied with to be in unit.

    Raises Refused for a unit that is not known, and where a molar mass, salinity or temperature is missing.
    """
    known_unit(unit)
    with place.database.reading() as reader:
        rows = reader.rows(samples=names) if names else reader.rows(roles=["sample"])
    by_sample: dict[str, list[StoredRow]] = {}
    for row in rows:
        by_sample.setdefault(row.row.sample or "", []).append(row)
    return {name: _factor(name, mine, unit, place.settings) for name, mine in by_sample.items()}


def restated(answers: Sequence[SampleReading], factors: Mapping[str, float], unit: str) -> list[SampleReading]:
    """The answers with every level in unit; sentences that were stored keep theirs, which they name."""
    return [_restated(answer, factors[answer.sample], unit) for answer in answers]


def ug_per_L(settings: Settings) -> float:
    """What a level of the logbook is multiplied with to be thiocyanate in ug/L, which the kinetics of fish are in.

    The water is that of [conditions]. Raises Refused for another analyte, and as unit_factors does.
    """
    analyte, conditions = settings.analyte, settings.conditions
    if analyte.name != "thiocyanate":
        came = f"levels of {analyte.name!r}"
        raise Refused(came, "levels of thiocyanate, since fish are followed by it", "use a logbook of thiocyanate")
    given = known_unit(analyte.level_unit)
    water = _water({"salinity": conditions.salinity, "temperature_C": conditions.temperature_C})
    return unit_factor(given, "ug/L", molar_mass(analyte), water)


def _factor(sample: str, rows: Sequence[StoredRow], unit: str, settings: Settings) -> float:
    analyte = settings.analyte
    given, mass = analyte.level_unit, molar_mass(analyte)
    try:
        if not needs_water(known_unit(given), unit):
            return unit_factor(given, unit, mass)
        # What a diluted row records is the water in the cell, not the sample.
        undiluted = [row for row in rows if row.row.dilution == 1.0] or list(rows)
        waters = {_water(recorded(row, settings)) for row in undiluted}
        factors = [unit_factor(given, unit, mass, water) for water in sorted(waters, key=repr)]
    except Refused as fault:
        raise Refused(f"sample {sample}: {fault.came}", fault.expected, fault.remedy) from fault
    if max(factors) > min(factors) * (1.0 + SAME_WATER):
        came = f"sample {sample}: {len(waters)} waters of different density"
        raise Refused(came, "one salinity and temperature for a sample", "correct the sheet, or ask for another unit")
    return factors[0]


def molar_mass(analyte: AnalyteSection) -> float | None:
    """Of the analyte [g/mol]: the settings', else that of thiocyanate, else None."""
    default = THIOCYANATE_G_PER_MOL if analyte.name == "thiocyanate" else None
    return default if analyte.molar_mass is None else analyte.molar_mass


def _water(conditions: Mapping[str, float | str | None]) -> Water | None:
    salinity, temperature = conditions.get("salinity"), conditions.get("temperature_C")
    if isinstance(salinity, str) or isinstance(temperature, str) or salinity is None or temperature is None:
        return None
    return Water(salinity, temperature)


def _restated(answer: SampleReading, factor: float, unit: str) -> SampleReading:
    electrodes = tuple(_use(use, factor) for use in answer.electrodes)
    lines = tuple(line.restated(factor) for line in answer.straight_lines)
    reading = _reading(answer.reading, factor)
    return replace(answer, unit=unit, reading=reading, electrodes=electrodes, straight_lines=lines)


def _reading(one: Reading, factor: float) -> Reading:
    curve = None if one.curve is None else replace(one.curve, level=one.curve.level * factor)
    return replace(
        one,
        estimate=_estimate(one.estimate, factor),
        two_sided=_estimate(one.two_sided, factor),
        lower_limit=_limit(one.lower_limit, factor),
        upper_limit=_limit(one.upper_limit, factor),
        working_range=_pair(one.working_range, factor),
        monte_carlo_error=_pair(one.monte_carlo_error, factor),
        curve=curve,
    )


def _estimate(one: Estimate | None, factor: float) -> Estimate | None:
    if one is None:
        return None
    median, lower, upper = (None if end is None else end * factor for end in (one.median, one.lower, one.upper))
    return replace(one, median=median, lower=lower, upper=upper)


def _limit(one: LimitValue | None, factor: float) -> LimitValue | None:
    return None if one is None else replace(one, value=one.value * factor)


def _pair(ends: tuple[float, float] | None, factor: float) -> tuple[float, float] | None:
    return None if ends is None else (ends[0] * factor, ends[1] * factor)


def _use(use: ElectrodeUse, factor: float) -> ElectrodeUse:
    lines = tuple(
        line if line.cell_level is None else replace(line, cell_level=line.cell_level * factor) for line in use.readings
    )
    return replace(use, readings=lines)
