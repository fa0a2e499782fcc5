"""From the signals of electrodes with known levels to a posterior of the response model."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from brinemark.science.amount.covariates import raw_of_readings
from brinemark.science.amount.posterior import (
    LAST_ROUND,
    OnStep,
    PosteriorSample,
    SampleOptions,
    always,
    sample_posterior,
)
from brinemark.science.amount.priors import default_priors, spike_level
from brinemark.science.amount.quadrature import Adapted, LatentModel, Nodes, adapt, log_marginal
from brinemark.science.amount.scale import Scale, closing_spikes, drift_is_measured, latent_model, scale_of_data
from brinemark.science.amount.weaknesses import weaknesses
from brinemark.terms.amounts import Calibration, ElectrodeReadings, NormalPrior, Summary
from brinemark.terms.arrays import FloatArray
from brinemark.terms.errors import Refused
from brinemark.terms.settings import AnalyteSection, CalibrationSection, PriorSection

INTERVAL = 0.95
NODES = Nodes(group=(4, 4, 3))
FEW_ELECTRODES = 30  # so few say little, which makes a posterior hard, and cost little


def checked(readings: ElectrodeReadings) -> ElectrodeReadings:
    """The readings, or Refused: at least one, finite signals and levels, positive covariates, levels >= 0."""
    remedy = "mend the run sheet, or leave the electrode out"
    if readings.signal.size == 0:
        raise Refused(
            "no electrode with a known level", "at least one blank or standard", "add a run sheet with standards first"
        )
    for name, values, sound in (
        ("signal", readings.signal, np.isfinite(readings.signal)),
        ("signal uncertainty", readings.u, np.isfinite(readings.u) & (readings.u >= 0)),
        ("level", readings.level, np.isfinite(readings.level) & (readings.level >= 0)),
    ):
        if not sound.all():
            bad = int(np.flatnonzero(~sound)[0])
            who = readings.electrode[int(readings.unit[bad])]
            raise Refused(f"{name} {values[bad]:g} of electrode {who}", f"a finite {name}, not negative", remedy)
    for name, values in raw_of_readings(readings).items():
        low = np.flatnonzero(values <= 0)
        if low.size:
            what, who = f"covariate {name}".rstrip(), readings.electrode[int(low[0])]
            raise Refused(f"{what} {values[low[0]]:g} of electrode {who}", "a positive number", remedy)
    return readings


@dataclass(frozen=True, slots=True, eq=False)
class HyperTarget:
    """Log posterior of the population parameters: marginal likelihood times normal priors."""

    model: LatentModel
    center: FloatArray
    sd: FloatArray
    nodes: Nodes
    start: Adapted

    def log_density(self, parameters: FloatArray) -> FloatArray:
        middle = adapt(self.model, parameters.mean(axis=0)[None], self.start)
        adapted = adapt(self.model, parameters, middle)
        return self._log_prior(parameters) + log_marginal(self.model, parameters, self.nodes, adapted)

    def near(self, center: FloatArray) -> Callable[[FloatArray], FloatArray]:
        shared = adapt(self.model, center[None], self.start)

        def density(parameters: FloatArray) -> FloatArray:
            nodes = shared.repeat(parameters.shape[0])
            return self._log_prior(parameters) + log_marginal(self.model, parameters, self.nodes, nodes)

        return density

    def _log_prior(self, parameters: FloatArray) -> FloatArray:
        away = (parameters - self.center) / self.sd
        return np.asarray(-0.5 * (away**2).sum(axis=1) - np.log(self.sd).sum())


def calibrate(
    readings: ElectrodeReadings,
    analyte: AnalyteSection,
    prior: PriorSection,
    options: CalibrationSection,
    on_step: OnStep = always,
) -> Calibration:
    """Posterior of the response model from electrodes whose every level is known.

    Marginal likelihood by nested adaptive quadrature (quadrature.py), draws by adaptive importance sampling
    (posterior.py). Raises Refused for unusable readings, GateFailed when a numerical gate fails, Stopped.
    """
    readings = checked(readings)
    scale = scale_of_data(readings, spike_level(readings, analyte, prior))
    priors = default_priors(scale.layout, readings, analyte, prior, drift_is_measured(readings))
    model = latent_model(readings, scale)
    center, sd = np.array([p.center for p in priors]), np.array([p.sd for p in priors])
    target = HyperTarget(model, center, sd, NODES, adapt(model, center[None]))
    last = LAST_ROUND if len(readings.electrode) > FEW_ELECTRODES else 2 * LAST_ROUND
    # Where data contradict the model, the search tries absurd parameters; the gates judge what they give.
    with np.errstate(over="ignore", invalid="ignore"):
        sample = sample_posterior(
            target, center, sd, scale.layout.names, SampleOptions(options.draws, options.seed, on_step, last)
        )
    return replace(_record(readings, scale, priors, sample, options.seed), matrix_K_sd=prior.matrix_K_sd)


def _record(
    readings: ElectrodeReadings,
    scale: Scale,
    priors: tuple[NormalPrior, ...],
    sample: PosteriorSample,
    seed: int,
) -> Calibration:
    return Calibration(
        names=scale.layout.names,
        draws=sample.draws,
        signal_ref=scale.signal_ref,
        covariates=scale.covariates,
        instruments=scale.instruments,
        highest_level=_highest(readings, scale),
        readings=readings,
        priors=priors,
        summaries=summaries(scale.layout.names, sample.draws, scale.signal_ref),
        gates=sample.gates,
        rounds=sample.rounds,
        total_draws=sample.total_draws,
        weaknesses=weaknesses(readings, scale, sample.draws),
        seed=seed,
        spike_level=scale.spike_level,
    )


def _highest(readings: ElectrodeReadings, scale: Scale) -> float:
    """The highest level that closing spikes do not count for."""
    return float(readings.level[~closing_spikes(readings, scale.spike_level)].max(initial=0.0))


def summaries(names: tuple[str, ...], draws: FloatArray, signal_ref: float) -> tuple[Summary, ...]:
    """Median and central 95 % interval of each parameter on its natural scale."""
    return tuple(_summary(name, draws[:, i], signal_ref) for i, name in enumerate(names))


def _summary(name: str, draws: FloatArray, signal_ref: float) -> Summary:
    stem, _, instrument = name.partition(":")
    label, unit, values = {
        "ln_gain": ("gain", "signal", np.exp(draws) * signal_ref),
        "ln_K": ("K", "level", np.exp(draws)),
        "ln_h": ("h", "1", np.exp(draws)),
        "ln_floor": ("floor", "1", np.exp(draws)),
        "ln_batch_sd": ("batch sd of ln gain", "1", np.exp(draws)),
        "ln_electrode_sd": ("electrode sd of ln gain, with reading noise", "1", np.exp(draws)),
        "ln_K_sd": ("batch sd of ln K", "1", np.exp(draws)),
        "logit_share": ("share of reading noise in the electrode variance", "1", 1.0 / (1.0 + np.exp(-draws))),
        "ln_noise": ("additive noise", "signal", np.exp(draws) * signal_ref),
        "ln_floor_sd": ("electrode sd of ln floor", "1", np.exp(draws)),
        "ln_floor_batch_sd": ("batch sd of ln floor", "1", np.exp(draws)),
        "ln_own_K_sd": ("electrode sd of ln K", "1", np.exp(draws)),
        "ln_drift_sd": ("sd of the drift between dips", "1", np.exp(draws)),
        "prescan_shift": ("shift of the pre-scan reading", "1", np.exp(draws)),
        "dip_drift": ("drift per dip", "1", np.exp(draws)),
        "spike_shift": ("shift of the closing spike", "1", np.exp(draws)),
        "salinity_K": ("exponent of K in salinity", "1", 1.0 / (1.0 + np.exp(-draws))),
        "salinity_floor": ("exponent of the floor in salinity", "1", draws),
        "stock_error": ("factor of the stock", "1", np.exp(draws)),
        "instrument_offset": ("gain ratio to the first instrument", "1", np.exp(draws)),
        "slope": ("slope of the covariate", "1", draws),
    }[stem]
    tail = 0.5 * (1.0 - INTERVAL)
    lower, median, upper = (float(v) for v in np.quantile(values, [tail, 0.5, 1.0 - tail]))
    return Summary(f"{label}, {instrument}" if instrument else label, median, lower, upper, unit)
