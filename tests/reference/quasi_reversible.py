"""Peak separations of quasi-reversible waves: alpha 1/2, one electron, 25 degrees Celsius.

The printed column is that of Analytical Chemistry 37 (1965) 1351, doi 10.1021/ac60230a016 (table 6.5.2 of the
handbook ISBN 0-471-04372-9), as remembered; the computed ones are from an independent product integration with
Richardson's extrapolation.
"""

from __future__ import annotations

SWITCHES_V = (0.141, 0.1125, 0.300)

# psi, printed [mV], computed for each switch [mV], None where the cycle holds no reverse peak
SEPARATIONS: tuple[tuple[float, float, tuple[float | None, float | None, float | None]], ...] = (
    (20.0, 61.0, (60.230, 60.977, 58.949)),
    (7.0, 63.0, (62.592, 63.326, 61.366)),
    (6.0, 64.0, (63.193, 63.924, 61.981)),
    (5.0, 65.0, (64.031, 64.758, 62.839)),
    (4.0, 66.0, (65.281, 66.001, 64.119)),
    (3.0, 68.0, (67.347, 68.056, 66.235)),
    (2.0, 72.0, (71.409, 72.096, 70.400)),
    (1.0, 84.0, (83.075, 83.693, 82.380)),
    (0.75, 92.0, (90.442, 91.012, 89.961)),
    (0.5, 105.0, (104.276, 104.747, 104.230)),
    (0.35, 121.0, (120.477, 120.818, 120.986)),
    (0.25, 141.0, (139.683, 139.852, 140.894)),
    (0.1, 212.0, (210.674, None, 214.379)),
)

PRINT_OFF_MV = 1.5
"""Largest |printed - computed| at a switch of 112.5 mV is 1.15 (psi 0.25); at 141 mV 1.56 at psi 0.75."""
