"""Plain records that charts are drawn from."""

from __future__ import annotations

from dataclasses import dataclass

from brinemark.terms.arrays import FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class FanPanel:
    """The calibration of one batch on one instrument, as a picture shows it.

    level [level unit], signal, u [signal unit] : (n,) blanks and standards of this batch;
    curve_level : (m,) rising from 0; curve_median, curve_lower, curve_upper : (m,) what a fresh electrode of this batch
    gives, median and 95 % band; population_lower, population_upper : (m,) the same for an electrode of a new batch.
    """

    batch: str
    instrument: str
    level: FloatArray
    signal: FloatArray
    u: FloatArray
    curve_level: FloatArray
    curve_median: FloatArray
    curve_lower: FloatArray
    curve_upper: FloatArray
    population_lower: FloatArray
    population_upper: FloatArray
