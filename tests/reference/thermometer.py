"""Corrections of a thermometer [C] against its reading [C]: a worked example of a fitted line and its correlation.

Source: JCGM 100:2008, Evaluation of measurement data: Guide to the expression of uncertainty in measurement, H.3,
table H.6, with the line about 20 C. Printed (from memory, each digit comes out of the data again).
"""

from __future__ import annotations

READING = (21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511)
CORRECTION = (-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160)
ABOUT = 20.0

INTERCEPT, INTERCEPT_SE = -0.1712, 0.0029
SLOPE, SLOPE_SE = 0.00218, 0.00067
CORRELATION, RESIDUAL_SD = -0.930, 0.0035
AT, CORRECTION_AT, CORRECTION_AT_SE = 30.0, -0.1494, 0.0041
