"""What makes calibration electrodes relative and ready for the model: references, parameters, closing spikes."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from brinemark.science.amount.covariates import covariate_scale, filled, raw_of_readings
from brinemark.science.amount.lives import latent_model_of
from brinemark.science.amount.quadrature import LatentModel
from brinemark.science.amount.response import KINDS, ParameterLayout, UnitData
from brinemark.science.amount.salinity import correction_refusal, reference_salinity, relative_salinity
from brinemark.terms.amounts import Calibration, CovariateScale, ElectrodeReadings
from brinemark.terms.arrays import BoolArray, IntArray

ENOUGH_ELECTRODES = 4  # read several times, before what happens between dips counts as measured


@dataclass(frozen=True, slots=True)
class Scale:
    """What makes data relative: signal_ref [signal unit]; covariates; the layout of the parameters; spike_level
    [level unit]; salinity_ref : S_0, nan where none was recorded."""

    signal_ref: float
    covariates: CovariateScale
    layout: ParameterLayout
    spike_level: float
    salinity_ref: float = math.nan

    @property
    def instruments(self) -> tuple[str, ...]:
        """Instruments in the order of the layout."""
        return self.layout.instruments


def scale_of_calibration(calibration: Calibration) -> Scale:
    """The scale a calibration was made with."""
    return Scale(
        calibration.signal_ref,
        calibration.covariates,
        layout_of_names(calibration.names),
        calibration.spike_level,
        reference_salinity(calibration.readings),
    )


def layout_of_names(names: tuple[str, ...]) -> ParameterLayout:
    """The layout that gives these parameter names."""

    def owners(stem: str) -> tuple[str, ...]:
        return tuple(n.partition(":")[2] for n in names if n.startswith(f"{stem}:"))

    return ParameterLayout(
        instruments=owners("ln_noise"),
        covariates=tuple(n.partition(":")[2] for n in names if n.partition(":")[0] == "slope"),
        own_K="ln_own_K_sd" in names,
        prescan="prescan_shift" in names,
        later="dip_drift" in names,
        spike="spike_shift" in names,
        stocks=owners("stock_error"),
        salinity="salinity_K" in names,
        defects=KINDS[0].parameter in names,
    )


def scale_of_data(readings: ElectrodeReadings, spike_level: float = math.inf, defects: bool = False) -> Scale:
    """Signal reference: median main signal of the standards (of all readings when there is none, or when it is not
    positive: median of absolute values). Covariates: see covariates.py."""
    standards = readings.signal[(readings.level > 0) & (readings.dip == 0)]
    reference = float(np.median(standards)) if standards.size else 0.0
    if reference <= 0:
        reference = float(np.median(np.abs(readings.signal)))
    covariates = covariate_scale(readings)
    layout = replace(_layout(readings, spike_level, covariates.names), defects=defects)
    return Scale(reference or 1.0, covariates, layout, spike_level, reference_salinity(readings))


def _layout(readings: ElectrodeReadings, spike_level: float, covariates: tuple[str, ...]) -> ParameterLayout:
    """The parameters that these readings need."""
    spike = closing_spikes(readings, spike_level)
    rel_u = dict(zip(readings.stocks, readings.stock_rel_u, strict=True))
    return ParameterLayout(
        instruments=tuple(dict.fromkeys(readings.instrument)),
        covariates=covariates,
        own_K=electrodes_with_two_levels(readings, spike) >= ENOUGH_ELECTRODES,
        prescan=bool((readings.dip < 0).any()),
        later=bool(((readings.dip > 0) & ~spike).any()),
        spike=bool(spike.any()),
        stocks=tuple(name for name in readings.stocks if rel_u[name] > 0),
        salinity=correction_refusal(readings) is None,
    )


def is_closing_spike(dip: int, last: int, added: float, spike_level: float) -> bool:
    """The one rule: the last dip of an electrode, after its main one, with so much added that the film is full,
    whatever the sample brought (docs/decisions/0017). added : known part of the cell level [level unit]."""
    return dip == last and dip > 0 and added >= spike_level


def closing_spikes(readings: ElectrodeReadings, spike_level: float) -> BoolArray:
    """(R,) which readings are closing spikes; every cell level is known."""
    last = np.full(len(readings.electrode), -2)
    np.maximum.at(last, readings.unit, readings.dip)
    rows = zip(readings.dip, last[readings.unit], readings.level, strict=True)
    return np.array([is_closing_spike(*row, spike_level) for row in rows], dtype=bool)


def electrodes_with_two_levels(readings: ElectrodeReadings, spike: BoolArray) -> int:
    """How many electrodes carry two or more unsaturated levels above zero, which is what shows their own K."""
    inside = (readings.level > 0) & ~spike
    pairs = np.unique(np.column_stack([readings.unit[inside], readings.level[inside]]), axis=0)
    return int((np.bincount(pairs[:, 0].astype(np.int64), minlength=1) > 1).sum())


def drift_is_measured(readings: ElectrodeReadings, which: BoolArray | None = None) -> bool:
    """Whether enough electrodes with known levels, from two batches, were read more than once.

    which : (R,) readings that count, None = every one but the main readings.
    """
    several = set(readings.unit[readings.dip != 0 if which is None else which].tolist())
    return len(several) >= ENOUGH_ELECTRODES and len({readings.batch[i] for i in several}) >= 2


def unit_data(readings: ElectrodeReadings, scale: Scale) -> tuple[UnitData, IntArray, tuple[str, ...]]:
    """Model-ready data ordered by batch (first appearance), the batch index of each electrode, the batch names."""
    names = tuple(dict.fromkeys(readings.batch))
    number = {name: place for place, name in enumerate(names)}
    batch = np.array([number[b] for b in readings.batch], dtype=np.int64)
    order = np.argsort(batch, kind="stable")
    place = np.argsort(order)
    by_unit = np.argsort(place[readings.unit], kind="stable")
    covariate, covariate_cov = filled(scale.covariates, raw_of_readings(readings))
    stock = [readings.stocks.index(name) for name in scale.layout.stocks if name in readings.stocks]
    data = UnitData(
        instrument=np.array([scale.instruments.index(m) for m in readings.instrument], dtype=np.int64)[order],
        covariate=covariate[:, order],
        covariate_cov=covariate_cov[:, :, order],
        unit=place[readings.unit][by_unit],
        signal=readings.signal[by_unit] / scale.signal_ref,
        u=readings.u[by_unit] / scale.signal_ref,
        level=readings.level[by_unit],
        level_u=readings.level_u[by_unit],
        dip=readings.dip[by_unit],
        spike=closing_spikes(readings, scale.spike_level)[by_unit],
        stock_part=readings.stock_part[stock][:, by_unit],
        apart=relative_salinity(readings.salinity, scale.salinity_ref)[by_unit]
        if scale.layout.salinity
        else np.zeros(0),
    )
    return data, batch[order], names


def latent_model(readings: ElectrodeReadings, scale: Scale) -> LatentModel:
    """The two-level model of some electrodes: batches with three latents, electrodes with one to three."""
    data, batch, _ = unit_data(readings, scale)
    return latent_model_of(data, batch, scale.layout)
