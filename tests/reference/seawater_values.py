"""Outside values for seawater.

Sources
-------
[T] TEOS-10 (IOC Manuals and Guides 56), computed with the exact Gibbs function of the library gsw 3.6.23: these show
    that the library is called rightly, not that it is right.
[E] Algorithms for computation of fundamental properties of seawater, UNESCO Technical Papers in Marine Science 44
    (1983): the four check values printed there (from memory; the formula reproduces all their digits). Temperatures
    are IPTS-68. An equation of state of its own, so it checks the library.
[R] The composition of Standard Seawater and the definition of the Reference-Composition Salinity Scale, Deep-Sea
    Research I 55 (2008) 50, doi 10.1016/j.dsr.2007.10.001, Table 4: mass fractions as printed (seen in two public
    copies); molalities and ionic strength computed from its mole fractions in exact decimal arithmetic.
"""

from __future__ import annotations

# temperature [degree Celsius], practical salinity, density at the surface [kg/m3]; [T]
DENSITY_TEOS10 = (
    (0.0, 0.0, 999.843071),
    (0.0, 35.0, 1028.107185),
    (10.0, 20.0, 1015.268383),
    (15.0, 35.0, 1025.976029),
    (20.0, 33.0, 1023.241876),
    (25.0, 0.0, 997.047649),
    (25.0, 35.0, 1023.343631),
    (30.0, 38.0, 1023.976054),
    (35.0, 40.0, 1023.655036),
)
# temperature IPTS-68 [degree Celsius], practical salinity, density [kg/m3]; [E]
DENSITY_1983 = ((5.0, 0.0, 999.96675), (25.0, 0.0, 997.04796), (5.0, 35.0, 1027.67547), (25.0, 35.0, 1023.34306))

# mass fractions of the salt as printed, and mol/kg of seawater and of water at practical salinity 35; [R]
REFERENCE_35 = {
    "sodium": (0.3065958, 0.468967392, 0.486059701),
    "magnesium": (0.0365055, 0.052817061, 0.054742068),
    "calcium": (0.0117186, 0.010282059, 0.010656806),
    "potassium": (0.0113495, 0.010207706, 0.010579743),
    "strontium": (0.0002260, 0.000090701, 0.000094007),
    "chloride": (0.5503396, 0.545869574, 0.565764713),
    "sulfate": (0.0771319, 0.028235210, 0.029264290),
    "bicarbonate": (0.0029805, 0.001717726, 0.001780332),
    "bromide": (0.0019134, 0.000842067, 0.000872757),
    "carbonate": (0.0004078, 0.000238959, 0.000247668),
    "borate": (0.0002259, 0.000100779, 0.000104452),
    "fluoride": (0.0000369, 0.000068306, 0.000070795),
    "hydroxide": (0.0000038, 0.000007950, 0.000008240),
    "boric acid": (0.0005527, 0.000314319, 0.000325775),
    "carbon dioxide": (0.0000121, 0.000009630, 0.000009981),
}
MEAN_MOLAR_MASS = 31.40382
TOTAL_MOLALITY = 1.1605813
IONIC_STRENGTH = 0.7226300
