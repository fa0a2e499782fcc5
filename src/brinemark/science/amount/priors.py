"""Priors of the population parameters, relative to the data's own scale."""

from __future__ import annotations

import numpy as np

from brinemark.science.amount.response import ParameterLayout
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
}
# Common practice, no source: the answer of such electrodes to thiocyanate flattens at 5 to 8 ug/L, so K is near 2.
THIOCYANATE_K_UG_PER_L = 2.0
THIOCYANATE_LN_K_SD = 0.7
OTHER_LN_K_SD = 1.5


def default_priors(
    layout: ParameterLayout, readings: ElectrodeReadings, analyte: AnalyteSection, section: PriorSection
) -> tuple[NormalPrior, ...]:
    """One normal prior per parameter of the layout: the settings' own where given, else the default."""
    return tuple(_prior(name, readings, analyte, section) for name in layout.names)


def _prior(name: str, readings: ElectrodeReadings, analyte: AnalyteSection, section: PriorSection) -> NormalPrior:
    stem = name.partition(":")[0]
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
    standards = readings.level[readings.level > 0]
    middle = float(np.log(standards).mean()) if standards.size else 0.0
    return middle, OTHER_LN_K_SD, "geometric mean of the standards"
