"""Levels of standards that tell most about a batch: a design that maximises the determinant of the information.

Mean over draws of ln det( Q + sum_i g_i g_i' / v_i ), g the gradient of the typical signal by ln gain, ln K and ln
floor of the batch, v the variance of a reading, Q the inverse covariance of what history expects of a batch. Levels are
taken from a list, one at a time, then exchanged until nothing gains. Without scatter and with nothing known (Q = 0)
this is the D-optimal design: for a straight line its two ends, for the one-site curve max and K max / (2 K + max) (the
locally D-optimal points of y = G c / (K + c) under constant variance; from memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from brinemark.science.amount.law import DipLaw
from brinemark.science.amount.simulate import SINGLE
from brinemark.science.planning.new_batches import NewBatches
from brinemark.terms.arrays import FloatArray

DESIGN_DRAWS = 64
GAIN_ENOUGH = 1e-9


@dataclass(frozen=True, slots=True, eq=False)
class Design:
    """gradient (D, n, p) and variance (D, n) of a reading at each of n levels; known (p, p) : information at hand."""

    gradient: FloatArray
    variance: FloatArray
    known: FloatArray

    @classmethod
    def of(cls, batches: NewBatches, levels: FloatArray) -> Design:
        """For one reading of a standard at levels (n,)."""
        (law,) = batches.standard(SINGLE).laws
        one = law.electrode
        about = np.cov(np.stack([one.log_gain, one.ln_K, np.log(one.floor)]))
        few = law.thinned(DESIGN_DRAWS)
        return cls(*response_gradient(few, levels), np.linalg.inv(about))

    def value(self, picks: list[int]) -> float:
        """ln det of the information of some levels, over the draws; -inf where it says nothing of some direction."""
        each = self.gradient[:, picks] / np.sqrt(self.variance[:, picks])[..., None]
        information = self.known + np.einsum("dni,dnj->dij", each, each)
        sign, log_det = np.linalg.slogdet(information)
        return float(np.mean(log_det)) if (sign > 0).all() else -np.inf

    def best(self, count: int) -> list[int]:
        """Places of count levels, rising; one level may come more than once."""
        size = self.variance.shape[1]
        free = self.gradient.shape[2] if not self.known.any() else 0
        picks = [round(i * (size - 1) / max(free - 1, 1)) for i in range(min(free, count))]
        while len(picks) < count:
            picks.append(max(range(size), key=lambda one: self.value([*picks, one])))
        return sorted(self._exchanged(picks))

    def _exchanged(self, picks: list[int]) -> list[int]:
        size, now = self.variance.shape[1], self.value(picks)
        moved = True
        while moved:
            moved = False
            for place in range(len(picks)):
                tried = [[*picks[:place], one, *picks[place + 1 :]] for one in range(size)]
                values = [self.value(one) for one in tried]
                best = int(np.argmax(values))
                if values[best] > now + GAIN_ENOUGH:
                    picks, now, moved = tried[best], values[best], True
        return picks


def response_gradient(law: DipLaw, levels: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Gradient (D, n, 3) of the typical signal by ln gain, ln K, ln floor, and variance (D, n) of a reading."""
    electrode, response = law.electrode, law.response(levels)
    mean = np.exp(electrode.log_gain + law.shift + response.value)
    gradient = np.stack([mean, mean * response.by_K, mean * response.by_floor], axis=-1)
    own = (response.by_floor * electrode.floor_sd) ** 2 + (response.by_K * electrode.own_K_sd) ** 2
    variance = law.variance + (law.relative + electrode.spread**2 + own) * mean**2
    return np.moveaxis(gradient, 1, 0), variance.T
