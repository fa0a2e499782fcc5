"""Fluorescence intensity against fluorescein [pg/mL]: a textbook straight line with inverse predictions and limits.

Source: Statistics and Chemometrics for Analytical Chemistry, Pearson, chapter 5 (calibration methods). Printed (from
memory, each digit comes out of the data again): slope 1.93, intercept 1.52, residual sd 0.4329 (0.43285 without the
rounding on the way), r 0.9989, and levels with standard uncertainties for one or four readings of a sample.
The limits are ours by ISO 11843-2 (computed with scipy from the same data; noncentral t by numerical integration).
"""

from __future__ import annotations

LEVEL = (0.0, 2.0, 4.0, 6.0, 8.0, 10.0, 12.0)
INTENSITY = (2.1, 5.0, 9.0, 12.6, 17.3, 21.0, 24.7)

SLOPE, SLOPE_SE = 1.93, 0.0409
INTERCEPT, INTERCEPT_SE = 1.52, 0.295
RESIDUAL_SD, CORRELATION = 0.4329, 0.9989
# signal, readings of the sample, level, its standard uncertainty
INVERSE = ((2.9, 1, 0.72, 0.26), (13.5, 1, 6.21, 0.24), (23.0, 1, 11.13, 0.26), (13.5, 4, 6.21, 0.14))

# alpha (= beta), critical signal, critical level, minimum detectable level, noncentrality, by ISO 11843-2, K = 1
LIMITS = (
    (0.05, 2.5732970626788365, 0.5467588853840404, 1.0500616758210857, 3.8699418122421796),
    (0.01, 3.2803366422340523, 0.9130328581415992, 1.813404724492081, 6.683198641967326),
)
