"""For comparison: straight lines, classical limits, and saturating curves by least squares."""

from brinemark.science.amount.classical.comparison import (
    InverseReading,
    SaturatingCurve,
    batch_curves,
    charge_scaled_curve,
    pooled_curve,
    saturating,
)
from brinemark.science.amount.classical.curve_fit import CurveFit, fit_curve
from brinemark.science.amount.classical.lines import (
    Line,
    LinearFit,
    LineLimits,
    fit_line,
    fit_linear,
    known_sd_limits,
    line_at,
    line_limits,
    noncentral_t_cdf,
    noncentrality,
    read_line,
)
from brinemark.science.amount.classical.standard_addition import (
    AddedLevel,
    Blank,
    CombinedAddition,
    combined_addition,
    sibling_addition,
    standard_addition,
    volume_corrected,
)

__all__ = [
    "AddedLevel",
    "Blank",
    "CombinedAddition",
    "CurveFit",
    "InverseReading",
    "Line",
    "LineLimits",
    "LinearFit",
    "SaturatingCurve",
    "batch_curves",
    "charge_scaled_curve",
    "combined_addition",
    "fit_curve",
    "fit_line",
    "fit_linear",
    "known_sd_limits",
    "line_at",
    "line_limits",
    "noncentral_t_cdf",
    "noncentrality",
    "pooled_curve",
    "read_line",
    "saturating",
    "sibling_addition",
    "standard_addition",
    "volume_corrected",
]
