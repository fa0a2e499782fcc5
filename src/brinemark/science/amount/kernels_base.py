"""What the compiled loops share: the pack they work on, exponential and logarithm in plain arithmetic.

Imported only when the extra "fast" is installed and somebody asks for it. The compiler turns loops over plain
arithmetic into instructions that work on four or eight numbers at once, which it cannot do with calls of a C library;
and plain arithmetic, whose order the compiler keeps, does not depend on the C library of a machine. Of what may change
results it may only join a product and a sum without rounding between ("contract"), where the processor can: on one that
cannot, last digits are others.

A pack holds, for D parameter vectors, U electrodes and R readings: population (rows below, D); centre (2, D, U) log
gain and spread; by_draw (5, D, R) log of the cell level, log of the factor of the gain, the factor itself, additive
variance, factor of the floor; by_reading (3, R) signal, whether another dip than the main one, relative u of the
level; starts (U + 1,) first reading of each.
"""

from __future__ import annotations

from typing import Any, TypeAlias

from llvmlite import ir
from numba import njit, types
from numba.extending import intrinsic

from brinemark.terms.arrays import FloatArray, IntArray

Pack: TypeAlias = tuple[FloatArray, FloatArray, FloatArray, FloatArray, IntArray]
Latents: TypeAlias = tuple[float, float, float]
# nodes (3, N) and log weights (3, N) of each latent, how many there are (3,): 1 for absent latents
Rule: TypeAlias = tuple[FloatArray, FloatArray, IntArray]

FARTHEST = 150.0
ROWS = ("batch_sd", "ln_K", "ln_K_sd", "h", "ln_floor", "floor_batch_sd", "floor_sd", "own_K_sd", "cv", "drift_sd")
BATCH_SD, LN_K, LN_K_SD, H, LN_FLOOR, FLOOR_BATCH_SD, FLOOR_SD, OWN_K_SD, CV, DRIFT_SD = range(len(ROWS))
LOG_LEVEL, LOG_GAIN, GAIN, ADDITIVE, FLOOR = range(5)
SIGNAL, OTHER_DIP, LEVEL_U = range(3)

LOG2_E = 1.4426950408889634
# ln 2 in two parts, the first with so few digits that its product with a power of two's exponent is exact.
LN2_HIGH, LN2_LOW = 0.6931471804855391, 7.440617110012397e-11
ROUND, ROUND_BITS = 1.5 * 2.0**52, 0x4338000000000000  # adding it rounds to a whole number, left in the last bits
LEAST, MOST = -708.0, 709.0  # exponents beyond which the exponential is no ordinary number
ONE_BITS, ROOT_HALF_BITS = 0x3FF0000000000000, 0x3FE6A09E667F3BCD  # 1, and the square root of 1/2

# The compiler takes so many numbers at once, and those left over one by one.
LANES_AT_ONCE = 16

compiled = njit(cache=True, error_model="numpy", nogil=True, fastmath={"contract"})
# For what makes no array of its own: without it each call counts the references to every array that it is given, up and
# down, and two threads wait for each other's counts.
_UNCOUNTED: Any = {"_nrt": False}
uncounted: Any = njit(cache=True, error_model="numpy", nogil=True, fastmath={"contract"}, **_UNCOUNTED)


def _bits_of(context: Any, number: Any) -> Any:
    """The bits of a number as an integer."""

    def build(_context: Any, builder: Any, _signature: Any, given: Any) -> Any:
        return builder.bitcast(given[0], ir.IntType(64))

    return types.int64(types.float64), build


def _number_of(context: Any, bits: Any) -> Any:
    """The number with these bits."""

    def build(_context: Any, builder: Any, _signature: Any, given: Any) -> Any:
        return builder.bitcast(given[0], ir.DoubleType())

    return types.float64(types.int64), build


# Any, since the compiler gives what it takes for a function another shape.
bits_of: Any = intrinsic(_bits_of)
number_of: Any = intrinsic(_number_of)


@uncounted
def whole(count: int) -> int:
    """So many, or more, that none are left over."""
    return (count + LANES_AT_ONCE - 1) // LANES_AT_ONCE * LANES_AT_ONCE


@uncounted
def exponential(x: float) -> float:
    """exp(x) to 2 units in the last place, x within LEAST and MOST or moved there: 2^k times a Taylor series of the
    rest, at most ln 2 / 2; nan stays nan."""
    x = min(max(x, LEAST), MOST)
    shifted = x * LOG2_E + ROUND
    k = shifted - ROUND
    r = (x - k * LN2_HIGH) - k * LN2_LOW
    p = 1.0 / 6227020800.0
    p = p * r + 1.0 / 479001600.0
    p = p * r + 1.0 / 39916800.0
    p = p * r + 1.0 / 3628800.0
    p = p * r + 1.0 / 362880.0
    p = p * r + 1.0 / 40320.0
    p = p * r + 1.0 / 5040.0
    p = p * r + 1.0 / 720.0
    p = p * r + 1.0 / 120.0
    p = p * r + 1.0 / 24.0
    p = p * r + 1.0 / 6.0
    p = p * r + 0.5
    p = p * r + 1.0
    p = p * r + 1.0
    return p * number_of((bits_of(shifted) + 1023) << 52)


@uncounted
def logarithm(x: float) -> float:
    """ln(x) of a positive ordinary number to 2 units in the last place: k ln 2 + 2 artanh(s), s = (m - 1) / (m + 1),
    m within a factor of root 2 of 1; nan stays nan, what is no positive ordinary number gives no number that means
    anything."""
    bits = bits_of(x)
    k = ((bits + (ONE_BITS - ROOT_HALF_BITS)) >> 52) - 1023
    m = number_of(bits - (k << 52))
    power = number_of(k + ROUND_BITS) - ROUND
    s = (m - 1.0) / (m + 1.0)
    q = s * s
    p = 1.0 / 23.0
    p = p * q + 1.0 / 21.0
    p = p * q + 1.0 / 19.0
    p = p * q + 1.0 / 17.0
    p = p * q + 1.0 / 15.0
    p = p * q + 1.0 / 13.0
    p = p * q + 1.0 / 11.0
    p = p * q + 1.0 / 9.0
    p = p * q + 1.0 / 7.0
    p = p * q + 1.0 / 5.0
    p = p * q + 1.0 / 3.0
    return power * LN2_HIGH + (2.0 * s + (2.0 * s * q * p + power * LN2_LOW)) + (x - x)
