"""What is usually done instead, for comparison: straight-line calibration and the classical detection limits.

Nothing in the product's own readings rests on this module.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache

import numpy as np

from brinemark.terms.arrays import FloatArray
from brinemark.terms.errors import Refused


@dataclass(frozen=True, slots=True, eq=False)
class LinearFit:
    """Ordinary least squares of y on p columns: coefficients, standard deviations, covariance (p, p).

    rss : residual sum of squares; residual_sd = sqrt(rss / df); df = n - p.
    """

    coefficients: FloatArray
    sd: FloatArray
    covariance: FloatArray
    rss: float
    residual_sd: float
    df: int


@dataclass(frozen=True, slots=True)
class Line:
    """A fitted straight line y = intercept + slope x with what inverse prediction needs.

    u_intercept, u_slope : standard deviations; residual_sd [unit of y]; n readings; mean_x, sxx = sum (x - mean_x)^2.
    With weights, scaled to mean 1: residual_sd is that of a reading of weight 1, mean_x and sxx are weighted.
    """

    intercept: float
    slope: float
    u_intercept: float
    u_slope: float
    residual_sd: float
    df: int
    n: int
    mean_x: float
    sxx: float


@dataclass(frozen=True, slots=True)
class LineLimits:
    """Critical value and minimum detectable value of a straight line with constant sd.

    critical_signal [unit of y]; critical_level, minimum_detectable [unit of x]; delta : noncentrality of t.
    Levels are None, with the reason, when the slope is not positive.
    """

    critical_signal: float
    critical_level: float | None
    minimum_detectable: float | None
    delta: float
    reason: str | None = None


def fit_linear(design: FloatArray, y: FloatArray) -> LinearFit:
    """Ordinary least squares of y (n,) on the columns of design (n, p), by QR of the scaled columns.

    Raises Refused when n <= p or the columns are linearly dependent.
    """
    n, p = design.shape
    if n <= p:
        raise Refused(f"{n} readings for {p} coefficients", f"at least {p + 1} readings", "measure more standards")
    scale = np.linalg.norm(design, axis=0)
    q, r = np.linalg.qr(design / np.where(scale > 0, scale, 1.0))
    if np.min(np.abs(np.diag(r))) <= n * np.finfo(float).eps:
        raise Refused("levels that do not determine the line", "at least as many levels as coefficients", "add a level")
    inverse = np.linalg.inv(r) / scale[:, None]
    coefficients = inverse @ (q.T @ y)
    # A second solve on the residuals recovers the digits that the first one lost.
    coefficients = coefficients + inverse @ (q.T @ (y - design @ coefficients))
    rss = float(np.sum((y - design @ coefficients) ** 2))
    covariance = inverse @ inverse.T * rss / (n - p)
    return LinearFit(coefficients, np.sqrt(np.diag(covariance)), covariance, rss, math.sqrt(rss / (n - p)), n - p)


def fit_line(x: FloatArray, y: FloatArray, weights: FloatArray | None = None) -> Line:
    """Least-squares line through x (n,), y (n,) of equal sd, or with weights (n,) = 1/variance up to a factor.

    Minimises sum w (y - a - b x)^2 with the weights scaled to mean 1.
    Raises Refused below 3 readings or 2 levels, and for weights that are not all finite and above 0.
    """
    if x.size < 3 or np.unique(x).size < 2:
        came = f"{x.size} readings at {np.unique(x).size} levels"
        raise Refused(came, "at least 3 readings at 2 levels or more", "measure more standards")
    w = _scaled(weights, x.size)
    root = np.sqrt(w)
    fit = fit_linear(np.column_stack([root, root * x]), root * y)
    mean_x = float(np.mean(w * x))
    return Line(
        intercept=float(fit.coefficients[0]),
        slope=float(fit.coefficients[1]),
        u_intercept=float(fit.sd[0]),
        u_slope=float(fit.sd[1]),
        residual_sd=fit.residual_sd,
        df=fit.df,
        n=int(x.size),
        mean_x=mean_x,
        sxx=float(np.sum(w * (x - mean_x) ** 2)),
    )


def _scaled(weights: FloatArray | None, count: int) -> FloatArray:
    """Weights of mean 1."""
    if weights is None:
        return np.ones(count)
    if weights.shape != (count,) or not np.all(np.isfinite(weights) & (weights > 0.0)):
        came = f"{weights.size} weights for {count} readings, smallest {np.min(weights, initial=math.inf):g}"
        raise Refused(came, "one finite weight above 0 for each reading", "give 1/variance of each reading")
    return np.asarray(weights / np.mean(weights))


def line_at(line: Line, x: float) -> tuple[float, float]:
    """Height a + b x of the line and its standard uncertainty s sqrt(1/n + (x - mean_x)^2 / Sxx).

    Source: JCGM 100:2008 (GUM), H.3.4, where the same is written with the correlation of a and b.
    """
    spread = 1.0 / line.n + (x - line.mean_x) ** 2 / line.sxx
    return line.intercept + line.slope * x, line.residual_sd * math.sqrt(spread)


def read_line(line: Line, mean_signal: float, repeats: float = 1) -> tuple[float, float]:
    """Level and its standard uncertainty from the mean of repeats signals of a sample.

    c0 = (y0 - B0) / B1,  u(c0) = (S / B1) sqrt(1/p + 1/n + (c0 - mean_x)^2 / Sxx)
    with p = repeats, n the number of calibration readings and S the residual sd. On a weighted line p is the weight of
    the sample's signal, on the scale on which the standards' weights have mean 1.

    Source: Quantifying Uncertainty in Analytical Measurement, EURACHEM/CITAC Guide CG 4, QUAM:2012.P1, example A5
    (calibration curve). The uncertainty of the standards' own levels is left out, as there.
    """
    level = (mean_signal - line.intercept) / line.slope
    spread = 1.0 / repeats + 1.0 / line.n + (level - line.mean_x) ** 2 / line.sxx
    return level, line.residual_sd / abs(line.slope) * math.sqrt(spread)


def line_limits(line: Line, alpha: float = 0.05, beta: float = 0.05, repeats: int = 1) -> LineLimits:
    """Critical value x_c and minimum detectable value x_d of the net state variable, constant sd.

    y_c = a + t s Q,  x_c = t s Q / b,  x_d = delta s Q / b,  Q = sqrt(1/K + 1/(I J) + mean_x^2 / Sxx)
    with K = repeats of the sample, I J = n calibration readings, t = t_{1-alpha}(n - 2) and delta the noncentrality
    of t at which the error of the second kind is beta.

    Source: ISO 11843-2:2000, clause 5 (linear calibration, constant standard deviation); formula from memory.
    """
    from scipy.special import stdtrit

    t = float(stdtrit(line.df, 1.0 - alpha))
    delta = noncentrality(line.df, alpha, beta)
    q = math.sqrt(1.0 / repeats + 1.0 / line.n + line.mean_x**2 / line.sxx)
    signal = line.intercept + t * line.residual_sd * q
    if not line.slope > 0.0:
        return LineLimits(signal, None, None, delta, f"the slope {line.slope:.3g} is not positive")
    unit = line.residual_sd * q / line.slope
    return LineLimits(signal, t * unit, delta * unit, delta)


def known_sd_limits(sd: float, alpha: float = 0.05, beta: float = 0.05) -> tuple[float, float]:
    """Critical value L_C and minimum detectable value L_D when the sd of the net signal at zero is known.

    L_C = z_{1-alpha} sd, L_D = L_C + z_{1-beta} sd: 1.645 sd and 3.290 sd at alpha = beta = 0.05.

    Source: Nomenclature in evaluation of analytical methods including detection and quantification capabilities,
    Pure Appl. Chem. 67:1699 (1995), doi 10.1351/pac199567101699, section 3.7.
    """
    from scipy.special import ndtri

    critical = float(ndtri(1.0 - alpha)) * sd
    return critical, critical + float(ndtri(1.0 - beta)) * sd


def noncentrality(df: float, alpha: float = 0.05, beta: float = 0.05) -> float:
    """delta with P(T_df(delta) <= t_{1-alpha, df}) = beta, T noncentral t; df may be math.inf."""
    from scipy.optimize import brentq
    from scipy.special import ndtri, stdtrit

    z = float(ndtri(1.0 - beta))
    if math.isinf(df):
        return float(ndtri(1.0 - alpha)) + z
    t = float(stdtrit(df, 1.0 - alpha))
    root = brentq(lambda delta: noncentral_t_cdf(t, df, delta) - beta, 0.0, 4.0 * t + 10.0 * abs(z), xtol=1e-12)
    return float(root)


def noncentral_t_cdf(t: float, df: float, delta: float) -> float:
    """P(T <= t) for T noncentral t with df degrees of freedom, as the mean of Phi(t s - delta) over s.

    s = sqrt(chi^2_df / df), integrated by Gauss-Legendre over its central 1 - 1e-15; scipy's own function gives NaN at
    few degrees of freedom and large delta.
    """
    from scipy.special import gammaincinv, gammaln, ndtr

    low, high = np.sqrt(2.0 * gammaincinv(df / 2.0, np.array([5e-16, 1.0 - 5e-16])) / df)
    nodes, weights = _legendre()
    s = low + (high - low) * (nodes + 1.0) / 2.0
    log_density = (1.0 - df / 2.0) * math.log(2.0) - gammaln(df / 2.0) + df * math.log(math.sqrt(df))
    density = np.exp(log_density + (df - 1.0) * np.log(s) - df * s**2 / 2.0)
    return float((high - low) / 2.0 * np.sum(weights * density * ndtr(t * s - delta)))


@cache
def _legendre() -> tuple[FloatArray, FloatArray]:
    nodes, weights = np.polynomial.legendre.leggauss(300)
    return nodes, weights
