"""Published comparisons of two methods.

FLOW : peak flow [L/min] by a large and a mini meter, first readings: Statistical methods for assessing agreement
between two methods of clinical measurement, Lancet 327 (1986) 307, doi 10.1016/S0140-6736(86)90837-8; data read in
public copies, printed results from memory, with 2 sd; the rest COMPUTED with numpy.
ARSENATE : arsenate in river water by two spectrometries with standard errors (x, u_x, y, u_y): Regression techniques
for the detection of analytical bias, Analyst 112 (1987) 377, doi 10.1039/an9871200377; data and line read in a public
repository; standard error of the slope at adjusted points and the ranked line COMPUTED with numpy.
PEARSON : x, y and weights of the line-fitting problem of American Journal of Physics 72 (2004) 367,
doi 10.1119/1.1632486, with its line and standard errors, read there and COMPUTED.
SEN : Estimates of the regression coefficient based on Kendall's tau, Journal of the American Statistical Association
63 (1968) 1379, doi 10.1080/01621459.1968.10480934, example: line 6 + 4 t, 93 % interval of the slope.
"""

from __future__ import annotations

FLOW_LARGE = (494, 395, 516, 434, 476, 557, 413, 442, 650, 433, 417, 656, 267, 478, 178, 423, 427)
FLOW_MINI = (512, 430, 520, 428, 500, 600, 364, 380, 658, 445, 432, 626, 260, 477, 259, 350, 451)
FLOW_BIAS, FLOW_SD = -2.1176470588, 38.7651298736
FLOW_LIMITS_196 = (-78.0959054671, 73.8606113495)
FLOW_PRINTED_LIMITS = (-79.7, 75.5)
FLOW_PRINTED_INTERVALS = ((-22.0, 17.8), (-114.3, -45.1), (40.9, 110.1))
FLOW_PRINTED_ROUNDING = 0.25  # the print rounds sd to 38.8 and t to 2.12 on the way

ARSENATE = (
    (8.71, 1.92, 7.35, 2.07),
    (7.01, 1.56, 7.92, 2.23),
    (3.28, 0.76, 3.4, 0.96),
    (5.6, 1.26, 5.44, 1.53),
    (1.55, 0.39, 2.07, 0.59),
    (1.75, 0.43, 2.29, 0.65),
    (0.73, 0.22, 0.66, 0.19),
    (3.66, 0.84, 3.43, 0.97),
    (0.9, 0.25, 1.25, 0.36),
    (9.39, 2.07, 6.58, 1.85),
    (4.39, 1, 3.31, 0.93),
    (3.69, 0.84, 2.72, 0.77),
    (0.34, 0.13, 2.32, 0.66),
    (1.94, 0.47, 1.5, 0.43),
    (2.07, 0.5, 3.5, 0.99),
    (1.38, 0.36, 1.17, 0.33),
    (1.81, 0.45, 2.31, 0.66),
    (1.27, 0.33, 1.88, 0.54),
    (0.82, 0.23, 0.44, 0.13),
    (1.88, 0.46, 1.37, 0.4),
    (5.66, 1.27, 7.04, 1.98),
    (0, 0.06, 0, 0.01),
    (0, 0.06, 0.49, 0.15),
    (0.4, 0.15, 1.29, 0.37),
    (0, 0.06, 0.37, 0.12),
    (1.98, 0.48, 2.16, 0.62),
    (10.21, 2.24, 12.53, 3.51),
    (4.64, 1.05, 3.9, 1.1),
    (5.66, 1.27, 4.66, 1.31),
    (19.25, 4.18, 15.86, 4.45),
)
ARSENATE_LINE = (0.106448, 0.973)
ARSENATE_LINE_COMPUTED = (0.1064482744698, 0.9729878059517)
ARSENATE_ERRORS = (0.0481937121532, 0.0766161131161)
ARSENATE_SCATTER = 1.35838
ARSENATE_RANKED = (0.4295809414466, 0.8438576349024)
ARSENATE_RANKED_SLOPE = (0.7579505300353, 1.0599144079886)
ARSENATE_RANKED_INTERCEPT = (-0.0382596291013, 0.6575795053004)

PEARSON_X = (0, 0.9, 1.8, 2.6, 3.3, 4.4, 5.2, 6.1, 6.5, 7.4)
PEARSON_Y = (5.9, 5.4, 4.4, 4.6, 3.5, 3.7, 2.8, 2.8, 2.4, 1.5)
PEARSON_WX = (1000, 1000, 500, 800, 200, 80, 60, 20, 1.8, 1.0)
PEARSON_WY = (1, 1.8, 4, 8, 20, 20, 70, 70, 100, 500)
PEARSON_LINE = (5.47991022403, -0.48053340745)
PEARSON_ERRORS = (0.294971, 0.057985)

SEN_T = (1, 2, 3, 4, 10, 12, 18)
SEN_Y = (9, 15, 19, 20, 45, 55, 78)
SEN_LINE = (6.0, 4.0)
SEN_SLOPE_93 = (26 / 7, 35 / 8)
SMALL_Y = (2, 1.2, 4.1, 3.5, 6.3, 3)  # at 1 to 6, of a public function's documentation
SMALL_LINE = (0.125, 1.05)
