"""Nonlinear least squares with standard deviations, as a thin and checked face on scipy."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np

from brinemark.terms.arrays import FloatArray
from brinemark.terms.errors import Refused

CurveModel: TypeAlias = Callable[[FloatArray, FloatArray], FloatArray]
Residuals: TypeAlias = Callable[[FloatArray], FloatArray]


@dataclass(frozen=True, slots=True, eq=False)
class CurveFit:
    """A least-squares fit of y = model(parameters, x).

    parameters, sd : (p,); covariance : (p, p); rss : (weighted) residual sum of squares;
    residual_sd = sqrt(rss / df); df = n - p. converged False: reason says why, and sd and covariance are nan when the
    data do not determine the parameters.
    """

    parameters: FloatArray
    sd: FloatArray
    covariance: FloatArray
    rss: float
    residual_sd: float
    df: int
    converged: bool
    reason: str | None = None


def fit_curve(
    model: CurveModel, x: FloatArray, y: FloatArray, start: Sequence[float], weights: FloatArray | None = None
) -> CurveFit:
    """Minimise sum w (y - model(parameters, x))^2 from start; x, y, weights : (n,).

    weights are 1/variance up to a factor; None = equal. Standard deviations come from the Jacobian at the optimum,
    covariance = residual_sd^2 (J'J)^-1. Not converging is an answer, not an error.
    Raises Refused when there are no degrees of freedom or a value is not finite.
    """
    begin = np.asarray(start, dtype=float)
    _check(x, y, begin.size)
    root = np.ones_like(y) if weights is None else np.sqrt(weights)

    def residuals(parameters: FloatArray) -> FloatArray:
        with np.errstate(all="ignore"):
            return np.asarray(root * (model(parameters, x) - y), dtype=float)

    if not np.all(np.isfinite(residuals(begin))):
        return _failed(begin, y.size - begin.size, "the curve is not finite at the start")
    return _search(residuals, begin)


def _search(residuals: Residuals, begin: FloatArray) -> CurveFit:
    """Levenberg-Marquardt, then a trust region from where it stopped, then Gauss-Newton steps to the last digits."""
    from scipy.optimize import least_squares

    def jacobian(parameters: FloatArray) -> FloatArray:
        return _jacobian(residuals, parameters, begin)

    tight = {"ftol": 1e-14, "xtol": 1e-14, "gtol": 1e-14, "x_scale": "jac", "jac": jacobian, "max_nfev": 2000}
    try:
        with np.errstate(all="ignore"):
            first = least_squares(residuals, begin, method="lm", **tight)
            found = least_squares(residuals, first.x, method="trf", **tight)
            best = _polish(residuals, jacobian, found.x)
            reason = None if found.status > 0 else "the search stopped at its limit of evaluations"
            return _summarise(best, residuals(best), jacobian(best), reason)
    except (ValueError, np.linalg.LinAlgError) as error:
        return _failed(begin, residuals(begin).size - begin.size, f"the search left the finite numbers ({error})")


def _jacobian(residuals: Residuals, parameters: FloatArray, begin: FloatArray) -> FloatArray:
    """(n, p) derivatives by five points, with steps in proportion to each parameter."""
    columns = []
    for index, value in enumerate(parameters):
        # scipy's own steps never fall below 1e-6 in absolute size, too coarse for a parameter near 1e-4.
        step = 7e-4 * (abs(value) or abs(begin[index]) or 1.0)
        away = np.zeros_like(parameters)
        away[index] = step
        near = residuals(parameters + away) - residuals(parameters - away)
        far = residuals(parameters + 2.0 * away) - residuals(parameters - 2.0 * away)
        columns.append((8.0 * near - far) / (12.0 * step))
    return np.column_stack(columns)


def _polish(residuals: Residuals, jacobian: Residuals, parameters: FloatArray) -> FloatArray:
    """Gauss-Newton steps while each is much smaller than the one before and the fit does not get worse."""
    last = math.inf
    for _ in range(20):
        matrix, residual = jacobian(parameters), residuals(parameters)
        scale = np.linalg.norm(matrix, axis=0)
        scale = np.where(scale > 0.0, scale, 1.0)
        step = -np.linalg.lstsq(matrix / scale, residual, rcond=1e-10)[0]
        size = float(np.linalg.norm(step))
        worse = np.sum(residuals(parameters + step / scale) ** 2) > np.sum(residual**2) * (1.0 + 1e-12)
        if not size < 0.9 * last or worse:
            break
        parameters, last = parameters + step / scale, size
    return parameters


def _summarise(parameters: FloatArray, residual: FloatArray, jacobian: FloatArray, reason: str | None) -> CurveFit:
    df = residual.size - parameters.size
    rss = float(np.sum(residual**2))
    scale = np.linalg.norm(jacobian, axis=0)
    _, singular, right = np.linalg.svd(jacobian / np.where(scale > 0.0, scale, 1.0), full_matrices=False)
    if not singular[-1] > 1e-10 * singular[0]:
        loose = int(np.argmax(np.abs(right[-1])))
        text = f"the data do not determine parameter {loose + 1}"
        return _failed(parameters, df, text, rss)
    inverse = right.T / singular / scale[:, None]
    covariance = inverse @ inverse.T * rss / df
    return CurveFit(
        parameters,
        np.sqrt(np.diag(covariance)),
        covariance,
        rss,
        math.sqrt(rss / df),
        df,
        reason is None,
        reason,
    )


def _failed(parameters: FloatArray, df: int, reason: str, rss: float = math.nan) -> CurveFit:
    nothing = np.full(parameters.size, math.nan)
    square = np.full((parameters.size, parameters.size), math.nan)
    residual_sd = math.sqrt(rss / df) if rss >= 0.0 else math.nan
    return CurveFit(parameters, nothing, square, rss, residual_sd, df, converged=False, reason=reason)


def _check(x: FloatArray, y: FloatArray, p: int) -> None:
    if x.size != y.size or y.size <= p:
        came = f"{y.size} values of y and {x.size} of x for {p} parameters"
        raise Refused(came, f"as many x as y, and at least {p + 1}", "measure more standards")
    if not (np.all(np.isfinite(x)) and np.all(np.isfinite(y))):
        raise Refused("a value that is not finite", "finite numbers", "leave out the row or correct it")
