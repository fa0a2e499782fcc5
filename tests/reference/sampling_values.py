"""Published and recomputed values of sampling, prevalence and pooling.

NEWCOMBE : found, tested, Clopper-Pearson, Wilson: Two-sided confidence intervals for the single proportion, Statistics
in Medicine 17 (1998) 857, Table I (from memory; recomputed with scipy, all four decimals agree).
PREVALENCE : 20 of 120, sensitivity 0.9, specificity 0.99, printed by the public documentation of an R function for the
Rogan-Gladen estimate (American Journal of Epidemiology 107 (1978) 71); COWS : 23 of 150 from the same pages.
HYPERGEOMETRIC : population, prevalence, size at 95 %, size at 95 % with sensitivity 0.9 and with 0.8 (None: not even
all), COMPUTED with scipy's exact hypergeometric distribution. INFINITE : prevalence, sensitivity, sizes at 95 and 99 %,
COMPUTED from ln(1 - confidence)/ln(1 - prevalence sensitivity). POOLED : 6 of 20 pools of 5, COMPUTED.
DORFMAN : prevalence, best pool, tests per 100 members, COMPUTED. Annals of Mathematical Statistics 14 (1943) 436 prints
(from memory) 5 and 50 for 7 %, where 4 costs 50.19 and 5 costs 50.43.
"""

from __future__ import annotations

NEWCOMBE = (
    (81, 263, (0.2527, 0.3676), (0.2553, 0.3662)),
    (15, 148, (0.0578, 0.1617), (0.0624, 0.1605)),
    (0, 20, (0.0, 0.1684), (0.0, 0.1611)),
    (1, 29, (0.0009, 0.1776), (0.0061, 0.1718)),
)
PREVALENCE = 0.17603
PREVALENCE_EXACT = (0.1066051, 0.2647191)
PREVALENCE_WILSON = (0.1129887, 0.2623065)
PREVALENCE_NORMAL = (0.1011094, 0.2509506)
COWS = 0.0509804
HYPERGEOMETRIC = (
    (20, 0.05, 19, None, None),
    (30, 0.10, 19, 21, 24),
    (40, 0.10, 21, 23, 26),
    (50, 0.20, 12, 14, 16),
    (50, 0.05, 31, 35, 40),
    (60, 0.02, 47, 52, 59),
    (60, 0.01, 57, None, None),
    (70, 0.25, 10, 11, 13),
    (100, 0.10, 25, 28, 32),
    (100, 0.05, 45, 50, 56),
    (100, 0.02, 78, 87, 97),
    (100, 0.01, 95, None, None),
    (1000, 0.05, 57, 64, 72),
    (1000, 0.02, 138, 154, 173),
    (10000, 0.05, 59, 65, 74),
    (10000, 0.02, 148, 164, 185),
)
INFINITE = (
    (0.05, 1.0, 59, None),
    (0.02, 1.0, 149, None),
    (0.01, 1.0, 299, None),
    (0.5, 0.5, 11, 17),
    (0.4, 0.7, 10, 15),
    (0.3, 0.5, 19, 29),
    (0.25, 0.8, 14, 21),
    (0.2, 0.9, 16, 24),
    (0.15, 0.7, 28, 42),
    (0.1, 0.95, 31, 47),
)
POOLED = (0.0688501, 0.0272613)
DORFMAN = (
    (0.01, 11, 19.5571),
    (0.02, 8, 27.4237),
    (0.05, 5, 42.6219),
    (0.07, 4, 50.1948),
    (0.13, 3, 67.4830),
    (0.30, 3, 99.0333),
)
