"""Initial rate of an enzyme reaction [counts/min/min] against substrate [ppm], cells treated with puromycin.

Source of the data: Nonlinear Regression Analysis and Its Applications, Wiley 1988, table A1.3 (the `Puromycin`
data of R). Fit rate = Vm c / (K + c) by nonlinear least squares and profile intervals: R 4.2.2, nls.
"""

from __future__ import annotations

# fmt: off
SUBSTRATE = (
    0.02, 0.02, 0.06, 0.06, 0.11, 0.11, 0.22, 0.22, 0.56, 0.56, 1.1, 1.1,
)
RATE = (
    76.0, 47.0, 97.0, 107.0, 123.0, 139.0, 159.0, 152.0, 191.0, 201.0, 207.0, 200.0,
)
# fmt: on

VM = 212.683742860358
VM_SE = 6.947155084571
K = 0.06412128127041
K_SE = 0.0082809494715
SIGMA = 10.933658191289
RSS = 1195.44881443936
VM_PROFILE_95 = (197.302127850071, 229.290064355668)
K_PROFILE_95 = (0.04692516750478, 0.0861599526088)
