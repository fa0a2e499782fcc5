"""Reversible cyclic voltammograms and where they are switched: one electron, 25 degrees Celsius.

Computed by quadrature of the closed form. Printed separations are those of Analytical Chemistry 36 (1964) 706, doi
10.1021/ac60210a007, as remembered. The last columns belong to the empirical ratio of Analytical Chemistry 38 (1966)
1406, doi 10.1021/ac60242a030.
"""

from __future__ import annotations

# switch past E_half [mV]; peak separation [mV]; reverse peak off the line of no current, and current at the switch,
# both over the forward peak; the empirical ratio
SWITCHED = (
    (65.0, 62.615796, 0.490367, 0.868361, 0.997522),
    (71.5, 61.993965, 0.508523, 0.834273, 0.999146),
    (100.0, 60.189127, 0.572490, 0.700037, 0.998008),
    (112.5, 59.699235, 0.594237, 0.652826, 0.996857),
    (121.5, 59.416626, 0.608091, 0.623151, 0.996319),
    (141.0, 58.946450, 0.633947, 0.569423, 0.996117),
    (150.0, 58.777839, 0.644303, 0.548686, 0.996415),
    (171.5, 58.459939, 0.665890, 0.507102, 0.997835),
    (200.0, 58.163317, 0.689256, 0.464623, 1.000598),
    (250.0, 57.835218, 0.720549, 0.411351, 1.006055),
    (271.5, 57.738475, 0.731366, 0.393717, 1.008318),
    (300.0, 57.635936, 0.743933, 0.373623, 1.011140),
    (400.0, 57.411548, 0.777143, 0.322097, 1.019360),
    (600.0, 57.219248, 0.817091, 0.262200, 1.030258),
    (1000.0, 57.094255, 0.857701, 0.202798, 1.042058),
)

NEVER_SWITCHED_MV = 56.98353
"""Twice 1.1089492334 RT/F: both peaks mirror each other."""

# switch [mV], printed separation [mV]; the first is off by 1.5, the others by less than .3
PRINTED = ((71.5, 60.5), (121.5, 59.2), (171.5, 58.3), (271.5, 57.8))
PRINT_OFF_MV = {71.5: 1.5, 121.5: 0.25, 171.5: 0.25, 271.5: 0.25}

IRREVERSIBLE_PLACE = 0.780384
"""Constant of the peak's place, 0.780 as printed in the handbook ISBN 0-471-04372-9, eq. 6.3.10."""

IRREVERSIBLE_SIZE = 0.227173
"""Constant of the peak's size from its place, 0.227 as printed there, eq. 6.3.12."""
