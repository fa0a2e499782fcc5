"""Known electrodes read from their whole curves by partial least squares, beside definitions of one number."""

from __future__ import annotations

import warnings
from collections.abc import Sequence
from importlib.util import find_spec

import numpy as np
from numpy.typing import NDArray

from brinemark.terms.arrays import BoolArray, FloatArray

MOST_COMPONENTS = 6
"""Components tried; how many are used is chosen within the batches that teach."""


def is_there() -> bool:
    """Whether the library of the extra `pls` is installed."""
    return find_spec("sklearn") is not None


def by_whole_curve(
    curves: FloatArray, level: FloatArray, batch: Sequence[str], teaches: BoolArray, charge: FloatArray | None = None
) -> FloatArray:
    """Levels (E,) of E electrodes from their curves (E, n) on one grid, by those of other batches.

    Each curve is freed of its straight line and, where all have a charge (E,), divided by it. Partial least squares
    (PLS-regression: a basic tool of chemometrics, Chemometrics and Intelligent Laboratory Systems 58 (2001) 109-130,
    doi:10.1016/S0169-7439(01)00155-1) predict x = c/(c + middle standard). Their number of components is chosen by
    leaving out each of the teaching batches in turn, so that the batch that is read plays no part in it. x of 0 and
    below is level 0, of 1 and above inf, as a curve that saturates reads. Raises ImportError without the extra.
    """
    free = _free(curves if charge is None else curves / charge[:, None])
    middle = float(np.median(level[teaches & (level > 0.0)]))
    x, names = level / (level + middle), np.array(batch)
    read = np.zeros(level.size)
    for name in np.unique(names):
        taught, mine = teaches & (names != name), names == name
        count = _components(free[taught], x[taught], names[taught])
        read[mine] = _predicted(free[taught], x[taught], free[mine])[count]
    with np.errstate(divide="ignore", invalid="ignore"):
        inside = middle * read / (1.0 - read)
    return np.asarray(np.where(read >= 1.0, np.inf, np.maximum(np.where(read < 1.0, inside, 0.0), 0.0)))


def _free(curves: FloatArray) -> FloatArray:
    """Curves (E, n) less their straight lines, on a scale of their own."""
    line = np.column_stack([np.ones(curves.shape[1]), np.linspace(-1.0, 1.0, curves.shape[1])])
    left = curves - curves @ np.linalg.pinv(line).T @ line.T
    return np.asarray(left / (float(np.sqrt(np.mean(left**2))) or 1.0))


def _components(curves: FloatArray, x: FloatArray, names: NDArray[np.str_]) -> int:
    """Which row of `_predicted` is nearest when each batch is left out."""
    squares = np.zeros(MOST_COMPONENTS)
    for name in np.unique(names):
        mine = names == name
        if mine.all():
            return 0
        squares += ((_predicted(curves[~mine], x[~mine], curves[mine]) - x[mine]) ** 2).sum(axis=1)
    return int(np.argmin(squares))


def _predicted(curves: FloatArray, x: FloatArray, unknown: FloatArray) -> FloatArray:
    """(MOST_COMPONENTS, U) predictions by 1, 2, ... components; where data allow fewer, the last is repeated.

    The first k columns of the rotations belong to the fit of k components, so that one fit gives them all.
    """
    from sklearn.cross_decomposition import PLSRegression

    count = min(MOST_COMPONENTS, len(curves) - 2, _rank(curves))
    if count < 1 or float(np.ptp(x)) == 0.0:
        return np.full((MOST_COMPONENTS, len(unknown)), x.mean())
    with warnings.catch_warnings(), np.errstate(all="ignore"):
        warnings.simplefilter("ignore")  # it warns when few components explain all there is
        fit = PLSRegression(n_components=count, scale=False).fit(curves, x)
    scores = (unknown - curves.mean(axis=0)) @ np.nan_to_num(fit.x_rotations_)
    steps = np.cumsum(scores * np.nan_to_num(np.ravel(fit.y_loadings_)), axis=1).T + x.mean()
    return np.asarray(steps[np.minimum(np.arange(MOST_COMPONENTS), count - 1)], dtype=np.float64)


def _rank(curves: FloatArray) -> int:
    """How many ways the curves (E, n) differ in."""
    sizes = np.linalg.svd(curves - curves.mean(axis=0), compute_uv=False)
    return int((sizes > 1e-9 * max(float(np.linalg.norm(curves)), np.finfo(float).tiny)).sum())
