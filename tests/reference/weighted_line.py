"""Absorbance against level [ug/mL], readings of different standard deviation: a textbook weighted line.

Source: Statistics and Chemometrics for Analytical Chemistry, Pearson, chapter 5 (weighted regression lines). Printed
(from memory, each digit comes out of the data again): weighted slope 0.0738 and intercept 0.0091, unweighted 0.0725
and 0.0133, and the weights, scaled to mean 1.
"""

from __future__ import annotations

LEVEL = (0.0, 2.0, 4.0, 6.0, 8.0, 10.0)
ABSORBANCE = (0.009, 0.158, 0.301, 0.472, 0.577, 0.739)
SD = (0.001, 0.004, 0.010, 0.013, 0.017, 0.022)

WEIGHTS = (5.535, 0.346, 0.055, 0.033, 0.019, 0.011)
SLOPE, INTERCEPT = 0.0738, 0.0091
UNWEIGHTED_SLOPE, UNWEIGHTED_INTERCEPT = 0.0725, 0.0133
