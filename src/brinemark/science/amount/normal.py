"""The normal distribution, and a median, without the libraries whose import takes longer than reading a sample."""

from __future__ import annotations

import math
from collections.abc import Sequence
from statistics import NormalDist

import numpy as np

from brinemark.terms.arrays import FloatArray

REACH = 9.0  # beyond it the distribution is 0 or 1 to within 1.2e-19
PER_UNIT = 512  # table points; the cubic between them errs by less than 3e-14
_STANDARD = NormalDist()


def _table() -> tuple[FloatArray, ...]:
    """Taylor coefficients at every point: value, density, and half and a sixth of its derivatives."""
    at = np.arange(-REACH * PER_UNIT, REACH * PER_UNIT + 1) / PER_UNIT
    value = np.array([0.5 * math.erfc(-z / math.sqrt(2.0)) for z in at])
    density = np.exp(-0.5 * at**2) / math.sqrt(2.0 * math.pi)
    return value, density, -0.5 * at * density, (at**2 - 1.0) * density / 6.0


VALUE, DENSITY, _BEND, _TWIST = _table()


def normal_cdf(z: FloatArray, spent: bool = False) -> FloatArray:
    """P(Z <= z) for z of any shape, to 3e-14: third-order Taylor steps from the nearest of a table of erfc.

    spent : whether z is of no more use, so that its room may be.
    """
    steps = np.clip(z, -REACH, REACH, out=z if spent else None)
    steps *= PER_UNIT
    nearest = np.rint(steps)
    steps -= nearest
    steps *= 1.0 / PER_UNIT
    index = nearest.astype(np.int64)
    index += int(REACH * PER_UNIT)
    found = _TWIST.take(index)
    for coefficient in (_BEND, DENSITY, VALUE):
        found *= steps
        found += coefficient.take(index)
    return found


def normal_quantile(probability: float) -> float:
    """z with P(Z <= z) = probability, 0 < probability < 1 (algorithm AS 241, Applied Statistics 37 (1988) 477,
    doi 10.2307/2347330, as the standard library has it)."""
    return _STANDARD.inv_cdf(probability)


def normal_scores(probability: Sequence[float] | FloatArray, least: float) -> FloatArray:
    """Quantiles (n,) of probabilities (n,), which are first kept between least and 1 - least."""
    return np.array([_STANDARD.inv_cdf(p) for p in np.clip(probability, least, 1.0 - least).tolist()])


def median(values: FloatArray, axis: int | None = None) -> FloatArray:
    """As numpy's median, which would load masked arrays; one value or more along the axis."""
    rows = values.ravel() if axis is None else np.moveaxis(values, axis, -1)
    upper = rows.shape[-1] // 2
    lower = upper - 1 + rows.shape[-1] % 2
    parted = np.partition(rows, (lower, upper), axis=-1)
    return np.asarray(0.5 * (parted[..., lower] + parted[..., upper]))
