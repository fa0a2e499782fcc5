"""Growth of five orange trees: circumference [mm] against age [days].

Source of the data: Applied Regression Analysis, 3rd edition, Wiley 1998, exercise 24.N (the `Orange` data of R).
Model: circumference = Asym_tree / (1 + exp(-(age - xmid) / scal)) + noise, Asym_tree normal. Asym enters linearly, so
the marginal likelihood is a multivariate normal and the maximum below is exact (computed with numpy and scipy from that
closed form; a Laplace fit by a general mixed-model library agrees to 5 digits).
"""

from __future__ import annotations

# fmt: off
TREE = (
    1, 1, 1, 1, 1, 1, 1, 2, 2, 2, 2, 2, 2, 2, 3, 3, 3, 3, 3, 3, 3, 4, 4, 4, 4, 4, 4, 4, 5, 5, 5, 5, 5,
    5, 5,
)
AGE = (
    118.0, 484.0, 664.0, 1004.0, 1231.0, 1372.0, 1582.0, 118.0, 484.0, 664.0, 1004.0, 1231.0, 1372.0,
    1582.0, 118.0, 484.0, 664.0, 1004.0, 1231.0, 1372.0, 1582.0, 118.0, 484.0, 664.0, 1004.0, 1231.0,
    1372.0, 1582.0, 118.0, 484.0, 664.0, 1004.0, 1231.0, 1372.0, 1582.0,
)
CIRCUMFERENCE = (
    30.0, 58.0, 87.0, 115.0, 120.0, 142.0, 145.0, 33.0, 69.0, 111.0, 156.0, 172.0, 203.0, 203.0, 30.0,
    51.0, 75.0, 108.0, 115.0, 139.0, 140.0, 32.0, 62.0, 112.0, 167.0, 179.0, 209.0, 214.0, 30.0, 49.0,
    81.0, 125.0, 142.0, 174.0, 177.0,
)
# fmt: on
ASYM = 192.05315275090504
XMID = 727.9063329440324
SCAL = 348.07304978443784
SD_ASYM = 31.646301400873366
SIGMA = 7.8430118905742265
LOG_LIKELIHOOD = -131.5718851003645
