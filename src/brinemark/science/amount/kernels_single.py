"""Electrodes read once, in compiled loops: their density, its integral over the own latent, its derivatives.

Formulas and limits of exponents are those of SingleResponse (lives.py) and LogResponse (response.py), where they are
explained. The integral is worked out for all nodes of the batch at once, which the compiler then
takes several at a time.
"""

from __future__ import annotations

from math import inf, sqrt
from typing import TypeAlias

from brinemark.science.amount.kernels_base import (
    ADDITIVE,
    BATCH_SD,
    CV,
    DRIFT_SD,
    FARTHEST,
    FLOOR,
    FLOOR_BATCH_SD,
    FLOOR_SD,
    LEVEL_U,
    LN_FLOOR,
    LN_K,
    LN_K_SD,
    LOG_GAIN,
    LOG_LEVEL,
    OTHER_DIP,
    OWN_K_SD,
    SIGNAL,
    H,
    Latents,
    Pack,
    Rule,
    exponential,
    logarithm,
    uncounted,
    whole,
)
from brinemark.science.amount.kernels_shared import (
    BATCH_FLOOR,
    BATCH_K,
    MEDIAN,
    MIDDLE,
    SPREAD,
    SUM,
    misfit,
    over_shared,
)
from brinemark.science.amount.quadrature import LOG_2PI
from brinemark.terms.arrays import FloatArray

Room: TypeAlias = tuple[Rule, FloatArray, FloatArray]
# A function of ln K and ln floor of the batch, and its derivatives by k, p, kk, kp, pp in population sd.
Bent: TypeAlias = tuple[float, float, float, float, float, float]


@uncounted
def occupied(log_level: float, ln_K: float, h: float) -> float:
    if log_level == -inf:
        return 0.0
    exponent = h * (log_level - ln_K)
    return 1.0 / (1.0 + exponential(-min(max(exponent, -700.0), 700.0)))


@uncounted
def variances(pack: Pack, at: tuple[int, int]) -> Latents:
    """Of ln floor, of ln K with the level's own, and of the log response with the drift alone."""
    population, _, _, by_reading, _ = pack
    d, r = at
    floor_var = population[FLOOR_SD, d] ** 2
    K_var = population[OWN_K_SD, d] ** 2 + by_reading[LEVEL_U, r] ** 2
    return floor_var, K_var, by_reading[OTHER_DIP, r] * population[DRIFT_SD, d] ** 2


@uncounted
def response_at(occupancy: float, floor: float, h: float, scatter: Latents) -> tuple[float, float]:
    """Mean, without its logarithm ln(floor + occupancy), and variance of the log response over floor, K and drift."""
    floor_var, K_var, drift_var = scatter
    inverse = 1.0 / max(floor + occupancy, 1e-300)
    share = floor * inverse
    by_K = -h * occupancy * (1.0 - occupancy) * inverse
    K_bend = -h * (1.0 - 2.0 * occupancy) * by_K - by_K * by_K
    bend_floor, bend_K = 0.5 * share * (1.0 - share) * floor_var, 0.5 * K_bend * K_var
    variance = share * share * floor_var + by_K * by_K * K_var + 2.0 * (bend_floor * bend_floor + bend_K * bend_K)
    return bend_floor + bend_K, variance + drift_var


@uncounted
def single(pack: Pack, at: tuple[int, int], z: Latents, e: float) -> float:
    """Log density of the only reading of an electrode; at : parameter vector and electrode."""
    population, centre, by_draw, by_reading, starts = pack
    d, u = at
    r, h = starts[u], population[H, d]
    occupancy = occupied(by_draw[LOG_LEVEL, d, r], population[LN_K, d] + population[LN_K_SD, d] * z[1], h)
    log_floor = min(population[LN_FLOOR, d] + population[FLOOR_BATCH_SD, d] * z[2], FARTHEST)
    floor = exponential(log_floor) * by_draw[FLOOR, d, r]
    bends, variance = response_at(occupancy, floor, h, variances(pack, (d, r)))
    value = logarithm(max(floor + occupancy, 1e-300)) + bends + by_draw[LOG_GAIN, d, r]
    spread = sqrt(centre[1, d, u] ** 2 + variance)
    log_mean = centre[0, d, u] + population[BATCH_SD, d] * z[0] + value + spread * e
    mean = exponential(min(log_mean, FARTHEST))
    noise = by_draw[ADDITIVE, d, r] + (population[CV, d] * mean) ** 2
    return -0.5 * ((by_reading[SIGNAL, r] - mean) ** 2 / noise + logarithm(noise) + LOG_2PI)


@uncounted
def batch_lanes(pack: Pack, d: int, lanes: FloatArray, pairs: int) -> None:
    """ln K and floor of the batch from its z, at the first pairs nodes: those after them repeat these."""
    population = pack[0]
    ln_K, by_K = population[LN_K, d], population[LN_K_SD, d]
    ln_floor, by_floor = population[LN_FLOOR, d], population[FLOOR_BATCH_SD, d]
    for a in range(whole(pairs)):
        lanes[BATCH_K, a] = ln_K + by_K * lanes[1, a]
        lanes[BATCH_FLOOR, a] = exponential(min(ln_floor + by_floor * lanes[2, a], FARTHEST))


@uncounted
def medians(pack: Pack, at: tuple[int, int], lanes: FloatArray, pairs: int) -> None:
    """Log of the median signal and spread of the own latent at every node of the batch."""
    population, centre, by_draw, _, starts = pack
    d, u = at
    r, h, size = starts[u], population[H, d], lanes.shape[1]
    log_level, factor, scatter = by_draw[LOG_LEVEL, d, r], by_draw[FLOOR, d, r], variances(pack, (d, r))
    present = 0.0 if log_level == -inf else 1.0
    log_level = 0.0 if log_level == -inf else log_level
    own = centre[1, d, u] ** 2
    for a in range(whole(pairs)):
        exponent = min(max(h * (log_level - lanes[BATCH_K, a]), -700.0), 700.0)
        occupancy = present / (1.0 + exponential(-exponent))
        floor = lanes[BATCH_FLOOR, a] * factor
        bends, variance = response_at(occupancy, floor, h, scatter)
        lanes[MEDIAN, a] = logarithm(max(floor + occupancy, 1e-300)) + bends
        lanes[SPREAD, a] = sqrt(own + variance)
    for a in range(pairs, size):
        lanes[MEDIAN, a], lanes[SPREAD, a] = lanes[MEDIAN, a - pairs], lanes[SPREAD, a - pairs]
    log_gain, by_gain = centre[0, d, u] + by_draw[LOG_GAIN, d, r], population[BATCH_SD, d]
    for a in range(size):
        lanes[MEDIAN, a] += log_gain + by_gain * lanes[0, a]


@uncounted
def over_single(pack: Pack, at: tuple[int, int], lanes: tuple[FloatArray, int], root: float, work: Room) -> None:
    """Into lanes[SUM] log int p(e) p(y | z, e) de at every node of the batch, without (2 pi)^(-1/2) of the reading.

    lanes : and how many nodes come before K and floor repeat; root : sd of e; work : nodes of e where shared points do
    not serve, (2, N, A) for their exponents and weights, room for shared points.
    """
    population, _, by_draw, by_reading, starts = pack
    d, u = at
    medians(pack, at, lanes[0], lanes[1])
    reading = by_draw[ADDITIVE, d, starts[u]], by_reading[SIGNAL, starts[u]], population[CV, d]
    if not over_shared(reading, lanes[0], root, work[2]):
        over_own_nodes(reading, lanes[0], root, (work[0], work[1]))


@uncounted
def over_own_nodes(reading: Latents, lanes: FloatArray, root: float, work: tuple[Rule, FloatArray]) -> None:
    """The same with nodes of e centred anew at every node of the batch."""
    (points, log_weights, sides), values = work
    additive, signal, cv = reading
    middle, median, spread = lanes[MIDDLE], lanes[MEDIAN], lanes[SPREAD]
    for n in range(sides[0]):
        shift, weight, exponents, factors = root * points[0, n], log_weights[0, n], values[0, n], values[1, n]
        for a in range(middle.size):
            e = middle[a] + shift
            away, factors[a] = misfit(additive, signal, cv, median[a] + spread[a] * e)
            exponents[a] = weight - 0.5 * (away * away + e * e)
    add_up(values[0, : sides[0]], values[1, : sides[0]], lanes[MEDIAN], lanes[SUM])
    for a in range(middle.size):
        lanes[SUM, a] += logarithm(root)


@uncounted
def add_up(exponents: FloatArray, factors: FloatArray, top: FloatArray, out: FloatArray) -> None:
    """log of the sum of factors exp(exponents), both (N, A), along the first axis; all -inf gives -inf, nan gives nan.
    top : (A,) to write on."""
    for a in range(top.size):
        top[a], out[a] = -inf, 0.0
    for n in range(exponents.shape[0]):
        one = exponents[n]
        for a in range(top.size):
            top[a] = max(top[a], one[a])
    for n in range(exponents.shape[0]):
        one, factor = exponents[n], factors[n]
        for a in range(top.size):
            out[a] += exponential(one[a] - top[a]) * factor[a]
    for a in range(top.size):
        whole = top[a] + logarithm(out[a])
        out[a] = -inf if top[a] == -inf or out[a] == 0.0 else whole


@uncounted
def single_slopes(pack: Pack, at: tuple[int, int], point: tuple[FloatArray, float], found: FloatArray) -> float:
    """Log density of an electrode read once, and into found (14,) its derivatives in x = (gain, k, p) of the batch and
    e of its own, all in population sd: gradient (4,), then the Hessian's xx, xk, xp, xe, kk, kp, ke, pp, pe, ee."""
    population, centre, by_draw, by_reading, starts = pack
    (d, u), (z, e) = at, point
    r = starts[u]
    value, spread = log_slopes(pack, (d, u), z[1], z[2])
    log_mean = centre[0, d, u] + population[BATCH_SD, d] * z[0] + value[0] + spread[0] * e
    mean = exponential(min(log_mean, FARTHEST))
    scaled = (population[CV, d] * mean) ** 2
    inverse = 1.0 / (by_draw[ADDITIVE, d, r] + scaled)
    away, part = by_reading[SIGNAL, r] - mean, scaled * inverse
    misfit, pull = away * away * inverse, away * mean * inverse
    slope = pull + part * misfit - part
    bend = pull - mean * mean * inverse + 2.0 * part * (misfit - 2.0 * pull - 1.0 + part - 2.0 * part * misfit)
    x, k, p = population[BATCH_SD, d], value[1] + spread[1] * e, value[2] + spread[2] * e
    s = spread[0]
    found[0], found[1], found[2], found[3] = slope * x, slope * k, slope * p, slope * s
    found[4], found[5], found[6], found[7] = bend * x * x, bend * x * k, bend * x * p, bend * x * s
    found[8] = bend * k * k + slope * (value[3] + spread[3] * e)
    found[9] = bend * k * p + slope * (value[4] + spread[4] * e)
    found[10] = bend * k * s + slope * spread[1]
    found[11] = bend * p * p + slope * (value[5] + spread[5] * e)
    found[12] = bend * p * s + slope * spread[2]
    found[13] = bend * s * s
    return -0.5 * (misfit - logarithm(inverse) + LOG_2PI)


@uncounted
def log_slopes(pack: Pack, at: tuple[int, int], k: float, p: float) -> tuple[Bent, Bent]:
    """Mean of the log response, and spread of the own latent with what it takes up, with their derivatives.

    With T = floor + occupancy, s = floor / T, b = d ln T / d ln K and c = db / d ln K: ds = s (1 - s) and -s b by
    ln floor and ln K, db = -s b and c, so everything follows from s, b, c and the two derivatives of c by ln K.
    """
    population, centre, by_draw, _, starts = pack
    d, u = at
    r, h = starts[u], population[H, d]
    theta = occupied(by_draw[LOG_LEVEL, d, r], population[LN_K, d] + population[LN_K_SD, d] * k, h)
    log_floor = min(population[LN_FLOOR, d] + population[FLOOR_BATCH_SD, d] * p, FARTHEST)
    floor = exponential(log_floor) * by_draw[FLOOR, d, r]
    total = max(floor + theta, 1e-300)
    inverse, fall = 1.0 / total, -h * theta * (1.0 - theta)
    s, b, steep = floor * inverse, fall * inverse, -h * (1.0 - 2.0 * theta)
    c = steep * b - b * b
    c1 = 2.0 * h * fall * b + steep * c - 2.0 * b * c
    c2 = 2.0 * h * fall * (steep * b + 2.0 * c) + steep * c1 - 2.0 * c * c - 2.0 * b * c1
    a = s * (1.0 - s)
    flat, mixed, gap = 1.0 - 2.0 * s, 2.0 * b * c - c1, b * b - c
    # each with its derivatives by ln K, ln floor, twice ln K, both, twice ln floor
    share = (s, -s * b, a, s * gap, -s * b * flat, a * flat)
    slope = (b, c, -s * b, c1, s * gap, b * (s * s - a))
    bend = (c, c1, s * gap, c2, s * (mixed - b * gap), a * gap - s * s * (2.0 * b * b + gap))
    cross = flat * flat - 2.0 * a
    curve = (a, -flat * s * b, a * flat, s * (flat * gap - 2.0 * s * b * b), -s * b * cross, a * cross)
    floor_var, K_var, drift_var = variances(pack, (d, r))
    log_total = (logarithm(total) + by_draw[LOG_GAIN, d, r], b, s, c, -s * b, a)
    mean = added(log_total, added(times(curve, 0.5 * floor_var), times(bend, 0.5 * K_var)))
    first = added(squared(share, floor_var), squared(slope, K_var))
    second = added(squared(curve, 0.5 * floor_var**2), squared(bend, 0.5 * K_var**2))
    spread = root_of(added(first, second), centre[1, d, u] ** 2 + drift_var)
    by_K, by_floor = population[LN_K_SD, d], population[FLOOR_BATCH_SD, d]
    return in_sd(mean, by_K, by_floor), in_sd(spread, by_K, by_floor)


@uncounted
def times(f: Bent, w: float) -> Bent:
    return w * f[0], w * f[1], w * f[2], w * f[3], w * f[4], w * f[5]


@uncounted
def added(f: Bent, g: Bent) -> Bent:
    return f[0] + g[0], f[1] + g[1], f[2] + g[2], f[3] + g[3], f[4] + g[4], f[5] + g[5]


@uncounted
def squared(f: Bent, w: float) -> Bent:
    """w f^2."""
    v, k, p, kk, kp, pp = f
    w2 = 2.0 * w
    return w * v * v, w2 * v * k, w2 * v * p, w2 * (k * k + v * kk), w2 * (k * p + v * kp), w2 * (p * p + v * pp)


@uncounted
def root_of(f: Bent, more: float) -> Bent:
    """(f + more)^(1/2)."""
    root = sqrt(f[0] + more)
    inverse = 1.0 / root
    half = 0.5 * inverse
    k, p = half * f[1], half * f[2]
    return root, k, p, half * f[3] - k * k * inverse, half * f[4] - k * p * inverse, half * f[5] - p * p * inverse


@uncounted
def in_sd(f: Bent, k: float, p: float) -> Bent:
    """Derivatives by what ln K and ln floor are k and p times of."""
    return f[0], k * f[1], p * f[2], k * k * f[3], k * p * f[4], p * p * f[5]
