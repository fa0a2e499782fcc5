"""Cadmium released from ceramic ware by atomic absorption: calibration data of a worked uncertainty example.

Source: Quantifying Uncertainty in Analytical Measurement, EURACHEM/CITAC Guide CG 4, QUAM:2012.P1, example A5. Printed:
c0 = 0.26 mg/L with u(c0) = 0.018 mg/L (two readings of the sample), intercept 0.0087 (0.0029), slope 0.2410 (0.0050),
residual sd 0.005486. The limits are ours by ISO 11843-2 (computed with scipy from the same data; the standard's own
printed example was not at hand): alpha = beta = 0.05, one reading of the sample.
"""

from __future__ import annotations

# fmt: off
LEVEL = (
    0.1, 0.1, 0.1, 0.3, 0.3, 0.3, 0.5, 0.5, 0.5, 0.7, 0.7, 0.7, 0.9, 0.9, 0.9,
)
ABSORBANCE = (
    0.028, 0.029, 0.029, 0.084, 0.083, 0.081, 0.135, 0.131, 0.133, 0.18, 0.181, 0.183, 0.215, 0.23,
    0.216,
)
# fmt: on

INTERCEPT, INTERCEPT_SE = 0.0087, 0.0029
SLOPE, SLOPE_SE = 0.2410, 0.0050
RESIDUAL_SD = 0.005486
C0, U_C0, READINGS_OF_SAMPLE = 0.26, 0.018, 2
CRITICAL_SIGNAL, CRITICAL_LEVEL, MINIMUM_DETECTABLE = 0.01966945541140816, 0.0455164124954693, 0.08940998320676795
CRITICAL_LEVEL_2, MINIMUM_DETECTABLE_2 = 0.03548655033820094, 0.0697078635123209
