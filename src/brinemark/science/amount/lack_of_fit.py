"""Whether the response model describes the blanks and standards: does a class of them want a gain of its own?

The model is widened by one number tau: the log gain of the electrodes of a class is tau higher than the model says.
With draws of the fitted parameters theta (tau = 0) the evidence of tau is known to second order around 0, by the
identities of "Finding the observed information matrix when using the EM algorithm", Journal of the Royal Statistical
Society B 44 (1982) 226-233, doi 10.1111/j.2517-6161.1982.tb01203.x:

    d ln p(y | tau) / d tau = E[l']        - d^2 ln p(y | tau) / d tau^2 = E[-l''] - Var[l'] = I

l the log marginal likelihood at (theta, tau), moments over the draws. So tau = E[l'] / I with standard uncertainty
1/sqrt(I): what the rest of the model can make up for (gain, K, h, floor) is taken out by Var[l'].

The same is asked of every batch for its own steepness: there tau is ln of its exponent over the population's, and since
batches are independent given theta, one more evaluation on either side serves all of them.

Classes: the highest standards, where they lie TOP times K or more, which answer low when the curve falls again and
high when a second, weaker kind of site still fills; and standards within NEAR of K, for any other bend.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from statistics import NormalDist

import numpy as np

from brinemark.science.amount.lives import NODES
from brinemark.science.amount.predictive import subset
from brinemark.science.amount.quadrature import adapt_from_middle, log_marginal, log_marginal_by_group
from brinemark.science.amount.scale import Scale, latent_model, scale_of_calibration
from brinemark.terms.amounts import Calibration, ElectrodeReadings, FitCheck
from brinemark.terms.arrays import BoolArray, FloatArray

DRAWS = 256
STEP, STEEPNESS_STEP = 0.03, 0.05  # of tau, for differences
TOP, NEAR = 3.0, 3.0
FEWEST = 4  # electrodes of a class, and outside it
FAR = (-1.0, -0.5, -0.25, 0.25, 0.5, 1.0)
LARGEST_U = 0.5  # of tau: beyond it the expansion to second order says nothing
FALSE_ALARM = 0.0027  # of each question to a sound calibration: three standard uncertainties; shared by the batches
OWN = " (class)"


def class_gains(calibration: Calibration) -> tuple[FitCheck, ...]:
    """tau of both classes, as far as there are enough electrodes and the data tell tau from everything else."""
    found = []
    calibration = _of_sound_films(calibration)
    for name, mask in classes(calibration).items():
        gain = _gain(calibration, name, mask)
        found += [gain] if gain is not None else []
    return tuple(found)


def batch_steepness(calibration: Calibration) -> tuple[FitCheck, ...]:
    """ln of every batch's own exponent over the population's, as far as its electrodes tell it."""
    calibration = _of_sound_films(calibration)
    readings, scale = calibration.readings, scale_of_calibration(calibration)
    model, names = latent_model(readings, scale), tuple(dict.fromkeys(readings.batch))
    limit = NormalDist().inv_cdf(1.0 - 0.5 * FALSE_ALARM / len(names))

    def likelihood(tau: float) -> FloatArray:
        at = calibration.draws[:DRAWS] + tau * (np.array(calibration.names) == "ln_h")
        return log_marginal_by_group(model, at, NODES, adapt_from_middle(model, at))

    middle, up, down = likelihood(0.0), likelihood(STEEPNESS_STEP), likelihood(-STEEPNESS_STEP)
    slope, bend = (up - down) / (2.0 * STEEPNESS_STEP), (up + down - 2.0 * middle) / STEEPNESS_STEP**2
    information = -bend.mean(axis=0) - slope.var(axis=0)
    found = []
    for name, mean, size in zip(names, slope.mean(axis=0), information, strict=True):
        if size > LARGEST_U**-2.0:
            tau, u = float(mean / size), float(size**-0.5)
            found.append(FitCheck(f"batch {name}", readings.batch.count(name), tau, u, "steepness", limit))
    return tuple(found)


def _of_sound_films(calibration: Calibration) -> Calibration:
    """Without the electrodes whose films are probably defective: the test knows sound ones only."""
    bad = {film.electrode for film in calibration.films if film.low + film.high > 0.5}
    if not bad:
        return calibration
    keep = np.array([name not in bad for name in calibration.readings.electrode], dtype=bool)
    return replace(calibration, readings=subset(calibration.readings, keep), films=())


def classes(calibration: Calibration) -> dict[str, BoolArray]:
    """(E,) membership of each class, by the level of the main reading and the population's median K."""
    readings = calibration.readings
    level = np.full(len(readings.electrode), np.nan)
    main = readings.dip == 0
    level[readings.unit[main]] = readings.level[main]
    K = float(np.exp(np.median(calibration.draws[:, calibration.names.index("ln_K")])))
    with np.errstate(divide="ignore", invalid="ignore"):
        place = np.abs(np.log(level / K))
    highest = float(np.nanmax(level, initial=0.0))
    top = (level >= TOP * K) & (level >= 0.99 * highest)
    return {"top": top, "middle": np.asarray(place <= np.log(NEAR))}


def _gain(calibration: Calibration, name: str, mask: BoolArray) -> FitCheck | None:
    count = int(mask.sum())
    if min(count, mask.size - count) < FEWEST:
        return None
    readings, scale = _apart(calibration.readings, scale_of_calibration(calibration), mask)
    model = latent_model(readings, scale)

    def likelihood(tau: float) -> FloatArray:
        at = _parameters(calibration, scale, tau)
        return log_marginal(model, at, NODES, adapt_from_middle(model, at))

    middle, up, down = likelihood(0.0), likelihood(STEP), likelihood(-STEP)
    slope, bend = (up - down) / (2.0 * STEP), (up + down - 2.0 * middle) / STEP**2
    information = float(-bend.mean() - slope.var())
    if information > LARGEST_U**-2.0:
        return FitCheck(name, count, float(slope.mean()) / information, information**-0.5)
    return _far_away(name, count, {tau: likelihood(tau) - middle for tau in FAR})


def _far_away(name: str, count: int, gained: Mapping[float, FloatArray]) -> FitCheck | None:
    """Where the expansion around 0 fails: the evidence at the best of a few tau over that at 0, by the same draws (a
    lower estimate, since they were made for 0), as if it were a normal one; None when none is better than 0."""
    evidence = {tau: float(np.log(np.mean(np.exp(one - one.max()))) + one.max()) for tau, one in gained.items()}
    tau = max(evidence, key=lambda one: evidence[one])
    return FitCheck(name, count, tau, abs(tau) / float(np.sqrt(2.0 * evidence[tau]))) if evidence[tau] > 0.0 else None


def _apart(readings: ElectrodeReadings, scale: Scale, mask: BoolArray) -> tuple[ElectrodeReadings, Scale]:
    """The class as if read on instruments of its own: their offset is tau, their noise that of the real ones."""
    instrument = tuple(m + OWN if mine else m for m, mine in zip(readings.instrument, mask, strict=True))
    extra = tuple(m + OWN for m in scale.instruments if m + OWN in instrument)
    layout = replace(scale.layout, instruments=scale.instruments + extra)
    return replace(readings, instrument=instrument), replace(scale, layout=layout)


def _parameters(calibration: Calibration, scale: Scale, tau: float) -> FloatArray:
    """Draws (D, P) of the widened layout."""
    draws = dict(zip(calibration.names, calibration.draws[:DRAWS].T, strict=True))
    columns = []
    for name in scale.layout.names:
        column = draws.get(name.removesuffix(OWN))
        if column is None:  # the first instrument has no offset
            column = np.zeros(min(DRAWS, calibration.draws.shape[0]))
        columns.append(column + tau if name.startswith("instrument_offset:") and name.endswith(OWN) else column)
    return np.stack(columns, axis=1)


def fit_words(checks: tuple[FitCheck, ...]) -> tuple[str, ...]:
    """A plain sentence on every check that speaks."""
    return tuple(
        f"lack of fit: {_steepness(one) if one.what == 'steepness' else _gain_words(one)} ({abs(one.tau) / one.u:.1f} "
        f"standard uncertainties, {one.electrodes} electrodes); amounts there are biased, and no interval knows it"
        for one in checks
        if one.speaks
    )


def _gain_words(one: FitCheck) -> str:
    side = "higher" if one.tau > 0 else "lower"
    if one.name == "top":
        like = "a second, weaker kind of site would" if one.tau > 0 else "a curve that falls again would"
        return f"the highest standards answer {abs(np.expm1(one.tau)):.0%} {side} than the curve, as {like}"
    return f"standards near K answer {abs(np.expm1(one.tau)):.0%} {side} than the curve through the others"


def _steepness(one: FitCheck) -> str:
    side = "more steeply" if one.tau > 0 else "less steeply"
    return f"{one.name} answers {side} than the others, its exponent {np.exp(one.tau):.2g} times theirs"
