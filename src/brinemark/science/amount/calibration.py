"""From the signals of electrodes with known levels to a posterior of the response model."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from brinemark.science.amount.covariates import raw_of_readings
from brinemark.science.amount.defects import Electrodes, Mixture, electrodes_of, film_doubts, mixture_at
from brinemark.science.amount.lives import NODES, latent_model_of
from brinemark.science.amount.mode import find_mode
from brinemark.science.amount.posterior import (
    LAST_ROUND,
    OnStep,
    PosteriorSample,
    SampleOptions,
    always,
    sample_posterior,
)
from brinemark.science.amount.priors import DEFAULTS, default_priors, spike_level
from brinemark.science.amount.quadrature import Adapted, LatentModel, Nodes, adapt, log_marginal
from brinemark.science.amount.scale import Scale, closing_spikes, drift_is_measured, latent_model, scale_of_data
from brinemark.science.amount.weaknesses import weaknesses
from brinemark.terms.amounts import Calibration, ElectrodeReadings, FilmDoubt, NormalPrior, Summary
from brinemark.terms.arrays import FloatArray
from brinemark.terms.errors import Refused
from brinemark.terms.settings import AnalyteSection, CalibrationSection, PriorSection

INTERVAL = 0.95
MISSED = 0.3  # odds of a defective film that the draws have to have allowed for
SEARCHES = 4  # for suspected electrodes, at most
DOUBT_DRAWS = 256
SCATTERS = (0.4, 0.5, 0.6, 0.8, 1.0)
ODD = 0.9  # probability of a defective film from which on it is named where the model has none
NEAR_NODES = Nodes(group=(3, 3, 3))  # good enough for the place and the width of the first proposal
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
    mixture: Mixture | None = None
    near_nodes: Nodes = NEAR_NODES

    @classmethod
    def of(cls, model: LatentModel | Mixture, priors: Sequence[NormalPrior]) -> HyperTarget:
        """Of sound films, or of a mixture with defective ones."""
        center, sd = np.array([p.center for p in priors]), np.array([p.sd for p in priors])
        mixture = model if isinstance(model, Mixture) else None
        inner = model.model if isinstance(model, Mixture) else model
        return cls(inner, center, sd, NODES, adapt(inner, center[None]), mixture)

    def log_density(self, parameters: FloatArray) -> FloatArray:
        middle = adapt(self.model, parameters.mean(axis=0)[None], self.start)
        adapted = adapt(self.model, parameters, middle)
        return self._log_prior(parameters) + self._log_marginal(parameters, adapted, self.nodes)

    def near(self, center: FloatArray) -> Callable[[FloatArray], FloatArray]:
        shared = adapt(self.model, center[None], self.start)

        def density(parameters: FloatArray) -> FloatArray:
            adapted = shared.repeat(parameters.shape[0])
            return self._log_prior(parameters) + self._log_marginal(parameters, adapted, self.near_nodes)

        return density

    def _log_marginal(self, parameters: FloatArray, adapted: Adapted, nodes: Nodes) -> FloatArray:
        if self.mixture is not None:
            return self.mixture.log_marginal(parameters, nodes, adapted)
        return log_marginal(self.model, parameters, nodes, adapted)

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
    scale = scale_of_data(readings, spike_level(readings, analyte, prior), prior.defects)
    priors = default_priors(scale.layout, readings, analyte, prior, drift_is_measured(readings))
    last = LAST_ROUND if len(readings.electrode) > FEW_ELECTRODES else 2 * LAST_ROUND
    wanted = SampleOptions(options.draws, options.seed, on_step, last)
    # Where data contradict the model, the search tries absurd parameters; the gates judge what they give.
    with np.errstate(over="ignore", invalid="ignore"):
        if prior.defects:
            sample, films = _with_defects(electrodes_of(readings, scale), priors, wanted)
        else:
            target = HyperTarget.of(latent_model(readings, scale), priors)
            sample, films = sample_posterior(target, target.center, target.sd, scale.layout.names, wanted), ()
    made = _record(readings, scale, priors, sample, options.seed)
    found = made.weaknesses if prior.defects else (*made.weaknesses, *_odd_films(readings, scale, made))
    return replace(made, matrix_K_sd=prior.matrix_K_sd, films=films, weaknesses=found)


def _odd_films(readings: ElectrodeReadings, scale: Scale, made: Calibration) -> list[str]:
    """Electrodes that would probably be defective if the model allowed for it.

    Judged at the middle of the draws, but for the electrodes' own scatter, which takes odd films up: it is the value
    from SCATTERS times the draws' middle at which the mixture fits best.
    """
    layout = replace(scale.layout, defects=True)
    middle = dict(zip(made.names, np.median(made.draws, axis=0).tolist(), strict=True))
    theta = np.array([middle.get(name, DEFAULTS.get(name, (0.0, 0.0))[0]) for name in layout.names])
    electrodes = electrodes_of(readings, replace(scale, layout=layout))
    tried = np.repeat(theta[None], len(SCATTERS), axis=0)
    tried[:, layout.names.index("ln_electrode_sd")] += np.log(SCATTERS)
    mixture = mixture_at(electrodes, tried[len(SCATTERS) // 2])
    best = int(np.argmax(mixture.log_marginal(tried, NODES)))
    doubts = film_doubts(electrodes, mixture, tried[best : best + 1])
    odd = [film.electrode for film in doubts if film.low + film.high > ODD]
    if not odd:
        return []
    return [
        f"films of {', '.join(odd)} answer with an odd gain, which widens the scatter of all; leave them out with a "
        "reason, or write [prior] defects = true, which allows for defective films"
    ]


def _with_defects(
    electrodes: Electrodes, priors: Sequence[NormalPrior], wanted: SampleOptions
) -> tuple[PosteriorSample, tuple[FilmDoubt, ...]]:
    """Draws where films may be defective, and the electrodes that probably are.

    Who is suspected is asked at the mode, with the electrodes' scatter no wider than its prior's centre, since all
    that scatter may be theirs, and again at each new mode until nobody joins; once more at the middle of the draws.
    """
    names = electrodes.layout.names
    target = HyperTarget.of(latent_model_of(electrodes.data, electrodes.batch, electrodes.layout), priors)
    scatter, mixture, place = names.index("ln_electrode_sd"), None, target.center
    for _ in range(SEARCHES):
        place = find_mode(target, place, target.sd)
        place[scatter] = min(place[scatter], target.center[scatter])
        found = mixture_at(electrodes, place, mixture)
        if mixture is not None and found.owner.size == mixture.owner.size:
            break
        mixture, target = found, HyperTarget.of(found, priors)
    sample = sample_posterior(target, target.center, target.sd, names, wanted)
    again = mixture_at(electrodes, np.median(sample.draws, axis=0), mixture, MISSED)
    if mixture is None or again.owner.size > mixture.owner.size:
        mixture, target = again, HyperTarget.of(again, priors)
        sample = sample_posterior(target, target.center, target.sd, names, wanted)
    return sample, film_doubts(electrodes, mixture, sample.draws[:DOUBT_DRAWS])


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
        "ln_low_odds": ("odds of a film with low gain", "1", np.exp(draws)),
        "ln_high_odds": ("odds of a film with high gain", "1", np.exp(draws)),
        "salinity_K": ("exponent of K in salinity", "1", 1.0 / (1.0 + np.exp(-draws))),
        "salinity_floor": ("exponent of the floor in salinity", "1", draws),
        "stock_error": ("factor of the stock", "1", np.exp(draws)),
        "instrument_offset": ("gain ratio to the first instrument", "1", np.exp(draws)),
        "slope": ("slope of the covariate", "1", draws),
    }[stem]
    tail = 0.5 * (1.0 - INTERVAL)
    lower, median, upper = (float(v) for v in np.quantile(values, [tail, 0.5, 1.0 - tail]))
    return Summary(f"{label}, {instrument}" if instrument else label, median, lower, upper, unit)
