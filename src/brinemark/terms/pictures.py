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


@dataclass(frozen=True, slots=True, eq=False)
class DipPicture:
    """One reading in the life of an electrode.

    held : what the cell held, in words; signal, u [signal unit]; x, y : (n,) its curve in the window of the signal
    [V, A or nm, 1], None when no curve was kept.
    """

    held: str
    signal: float
    u: float
    x: FloatArray | None = None
    y: FloatArray | None = None


@dataclass(frozen=True, slots=True, eq=False)
class LifePicture:
    """All readings of one electrode in order of time.

    signal_unit : A, C, V or 1; quantity : what the signal is, for an axis; across : title of the x axis of the curves;
    spectra : whether they are; statement : about the sample that it read, None when it read none.
    """

    electrode: str
    batch: str
    signal_unit: str
    quantity: str
    across: str
    spectra: bool
    dips: tuple[DipPicture, ...]
    statement: str | None = None
