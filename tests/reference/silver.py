"""Silver in photographic waste by atomic absorption: a textbook standard addition, added [ug/mL] and absorbance.

Source: Statistics and Chemometrics for Analytical Chemistry, Pearson, chapter 5 (method of standard additions).
Printed (from memory): line 0.3218 + 0.0186 x, 17.3 +- 1.9 ug/mL, standard deviation of the intercept 0.749. COMPUTED
without the rounding on the way (numpy): the rest; the printed values follow from it but for 0.749, which used
rounded sums.
"""

from __future__ import annotations

ADDED = (0.0, 5.0, 10.0, 15.0, 20.0, 25.0, 30.0)
ABSORBANCE = (0.32, 0.41, 0.52, 0.60, 0.70, 0.77, 0.89)

INTERCEPT, SLOPE = 0.3218, 0.0186
PRINTED, PRINTED_U, PRINTED_HALF_WIDTH = 17.3, 0.749, 1.9
LEVEL, LEVEL_U, HALF_WIDTH = 17.260536398467426, 0.7478706360498606, 1.9224626724355487
