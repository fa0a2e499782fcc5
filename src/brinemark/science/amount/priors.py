"""Priors of the population parameters, relative to the data's own scale."""

from __future__ import annotations

import numpy as np

from brinemark.science.amount.response import DEFAULT_DRIFT_SD, DEFAULT_SHIFT_SD, ParameterLayout
from brinemark.terms.amounts import ElectrodeReadings, NormalPrior
from brinemark.terms.settings import AnalyteSection, PriorSection
from brinemark.terms.units import thiocyanate_ug_per_L

DEFAULTS: dict[str, tuple[float, float]] = {
    "ln_gain": (0.0, 1.0),
    "ln_h": (0.1, 0.3),
    "ln_floor": (float(np.log(0.2)), 0.8),
    "ln_batch_sd": (float(np.log(0.25)), 0.6),
    "ln_electrode_sd": (float(np.log(0.17)), 0.5),
    "ln_K_sd": (float(np.log(0.2)), 0.5),
    "logit_share": (-2.0, 1.0),
    "ln_noise": (float(np.log(0.03)), 0.8),
    "instrument_offset": (0.0, 0.5),
    "slope": (0.0, 1.0),
    "ln_floor_sd": (float(np.log(0.10)), 0.6),
    "ln_floor_batch_sd": (float(np.log(0.10)), 0.6),
    "ln_own_K_sd": (float(np.log(0.12)), 0.5),
    "ln_drift_sd": (float(np.log(DEFAULT_DRIFT_SD)), 0.6),
    "ln_low_odds": (-3.5, 1.0),  # 3 of 100 films, .4 to 20: common practice, no source
    "ln_high_odds": (-4.5, 1.0),
    "salinity_K": (0.0, 1.5),  # a logit: nearly uniform between no competition and nothing else
    "salinity_floor": (0.0, 1.0),  # 1 is a floor in proportion to the salt
    **{name: (0.0, sd) for name, sd in DEFAULT_SHIFT_SD.items()},
}
HELD_SD = 0.02  # of a parameter that the electrodes at hand are too few to measure
# Common practice, no source: the answer of such electrodes to thiocyanate flattens at 5 to 8 ug/L, so K is near 2.
THIOCYANATE_K_UG_PER_L = 2.0
THIOCYANATE_LN_K_SD = 0.7
OTHER_LN_K_SD = 1.5
SATURATING = 20.0


def default_priors(
    layout: ParameterLayout,
    readings: ElectrodeReadings,
    analyte: AnalyteSection,
    section: PriorSection,
    drift_measured: bool = True,
) -> tuple[NormalPrior, ...]:
    """One normal prior per parameter of the layout: the settings' own where given, else the default.

    drift_measured : False holds the scatter of the drift between dips at its default.
    """
    priors = [_prior(name, readings, analyte, section) for name in layout.names]
    if drift_measured:
        return tuple(priors)
    held = NormalPrior("ln_drift_sd", DEFAULTS["ln_drift_sd"][0], HELD_SD, "default, held: drift not measured")
    return tuple(held if p.name == held.name and p.source != "settings" else p for p in priors)


def _prior(name: str, readings: ElectrodeReadings, analyte: AnalyteSection, section: PriorSection) -> NormalPrior:
    stem, _, owner = name.partition(":")
    if stem == "stock_error":
        sd = float(np.log1p(readings.stock_rel_u[readings.stocks.index(owner)]))
        return NormalPrior(name, 0.0, sd, "the stock's own uncertainty")
    own: tuple[float, float] | None = getattr(section, stem)
    if own is not None:
        center, sd, source = own[0], own[1], "settings"
    elif stem == "ln_K":
        center, sd, source = _ln_K(readings, analyte)
    else:
        (center, sd), source = DEFAULTS[stem], "default"
    return NormalPrior(name, center, sd * section.widen, source)


def _ln_K(readings: ElectrodeReadings, analyte: AnalyteSection) -> tuple[float, float, str]:
    """Thiocyanate: about 2 ug/L. Anything else: the geometric mean of the standards."""
    unit = thiocyanate_ug_per_L(analyte.level_unit)
    if analyte.name == "thiocyanate" and unit is not None:
        return float(np.log(THIOCYANATE_K_UG_PER_L / unit)), THIOCYANATE_LN_K_SD, "default for thiocyanate"
    standards = readings.level[(readings.level > 0) & (readings.dip == 0)]
    middle = float(np.log(standards).mean()) if standards.size else 0.0
    return middle, OTHER_LN_K_SD, "geometric mean of the standards"


def spike_level(readings: ElectrodeReadings, analyte: AnalyteSection, section: PriorSection) -> float:
    """Cell level [level unit] from which an electrode's last reading counts as a closing spike.

    The settings' own, else SATURATING times the prior centre of K, where the response is within 5 % of its plateau.
    """
    if section.spike_level is not None:
        return section.spike_level
    own = section.ln_K
    return SATURATING * float(np.exp(own[0] if own is not None else _ln_K(readings, analyte)[0]))
