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


@dataclass(frozen=True, slots=True, eq=False)
class OverlaidCurve:
    """One curve among many. kind : what its cell held, as a legend names it; level : where that is known, to order the
    kinds [level unit]; x, y : (n,) in file order [V, A or nm, 1]; prescan : whether it is the electrode's pre-scan."""

    electrode: str
    kind: str
    level: float | None
    x: FloatArray
    y: FloatArray
    prescan: bool = False


@dataclass(frozen=True, slots=True, eq=False)
class OverlayPicture:
    """Many curves over one another.

    across, up : titles of the axes, up without its unit; unit : A, or 1 of spectra; window : that of the signal [V or
    nm], None when there is none to shade; left_out : electrodes whose curve is not drawn, with the reason; last_cycle :
    whether only the last cycle of any is drawn.
    """

    title: str
    across: str
    up: str
    unit: str
    window: tuple[float, float] | None
    curves: tuple[OverlaidCurve, ...]
    left_out: tuple[tuple[str, str], ...] = ()
    last_cycle: bool = False


@dataclass(frozen=True, slots=True, eq=False)
class DefinitionPanel:
    """Known electrodes read by one definition.

    words : the definition; signal_unit : A, C, V or 1; role, level [level unit], signal, u [signal unit] : (n,) of
    those it reads; unread : how many it cannot read.
    """

    words: str
    signal_unit: str
    role: tuple[str, ...]
    level: FloatArray
    signal: FloatArray
    u: FloatArray
    unread: int
