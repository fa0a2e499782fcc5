"""From the signals of electrodes with known levels to a posterior of the response model."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from brinemark.science.amount.lives import latent_model_of
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
from brinemark.science.amount.response import (
    DEFAULT_DRIFT_SD,
    DEFAULT_ELECTRODE_K_SD,
    ParameterLayout,
    UnitData,
)
from brinemark.terms.amounts import Calibration, ElectrodeReadings, NormalPrior, Summary
from brinemark.terms.arrays import BoolArray, FloatArray, IntArray
from brinemark.terms.errors import Refused
from brinemark.terms.settings import AnalyteSection, CalibrationSection, PriorSection

INTERVAL = 0.95
NODES = Nodes(group=(4, 4, 3))
ENOUGH_ELECTRODES = 4  # read several times, before what happens between dips counts as measured
FEW_ELECTRODES = 30  # so few say little, which makes a posterior hard, and cost little


@dataclass(frozen=True, slots=True)
class Scale:
    """What makes data relative: signal_ref [signal unit], covariate_ref [covariate unit] or None when no covariate
    is used, mean and sd of x among the calibration electrodes; the layout of the parameters; spike_level [level
    unit]."""

    signal_ref: float
    covariate_ref: float | None
    covariate_center: float
    covariate_sd: float
    layout: ParameterLayout
    spike_level: float

    @property
    def instruments(self) -> tuple[str, ...]:
        """Instruments in the order of the layout."""
        return self.layout.instruments


def scale_of_calibration(calibration: Calibration) -> Scale:
    """The scale a calibration was made with."""
    return Scale(
        calibration.signal_ref,
        calibration.covariate_ref,
        calibration.covariate_center,
        calibration.covariate_sd,
        layout_of_names(calibration.names),
        calibration.spike_level,
    )


def layout_of_names(names: tuple[str, ...]) -> ParameterLayout:
    """The layout that gives these parameter names."""

    def owners(stem: str) -> tuple[str, ...]:
        return tuple(n.partition(":")[2] for n in names if n.startswith(f"{stem}:"))

    return ParameterLayout(
        instruments=owners("ln_noise"),
        has_covariate="slope" in names,
        own_K="ln_own_K_sd" in names,
        prescan="prescan_shift" in names,
        later="dip_drift" in names,
        spike="spike_shift" in names,
        stocks=owners("stock_error"),
    )


def scale_of_data(readings: ElectrodeReadings, spike_level: float = math.inf) -> Scale:
    """Signal reference: median main signal of the standards (of all readings when there is none, or when it is not
    positive: median of absolute values). Covariate reference: median; used when three electrodes have one."""
    standards = readings.signal[(readings.level > 0) & (readings.dip == 0)]
    reference = float(np.median(standards)) if standards.size else 0.0
    if reference <= 0:
        reference = float(np.median(np.abs(readings.signal)))
    known = readings.covariate[np.isfinite(readings.covariate)]
    layout = _layout(readings, spike_level, known.size >= 3)
    if known.size < 3:
        return Scale(reference or 1.0, None, 0.0, 0.0, layout, spike_level)
    middle = float(np.median(known))
    x = np.log(known / middle)
    return Scale(reference or 1.0, middle, float(x.mean()), float(x.std(ddof=1)), layout, spike_level)


def _layout(readings: ElectrodeReadings, spike_level: float, has_covariate: bool) -> ParameterLayout:
    """The parameters that these readings need."""
    spike = closing_spikes(readings, spike_level)
    rel_u = dict(zip(readings.stocks, readings.stock_rel_u, strict=True))
    return ParameterLayout(
        instruments=tuple(dict.fromkeys(readings.instrument)),
        has_covariate=has_covariate,
        own_K=electrodes_with_two_levels(readings, spike) >= ENOUGH_ELECTRODES,
        prescan=bool((readings.dip < 0).any()),
        later=bool(((readings.dip > 0) & ~spike).any()),
        spike=bool(spike.any()),
        stocks=tuple(name for name in readings.stocks if rel_u[name] > 0),
    )


def closing_spikes(readings: ElectrodeReadings, spike_level: float) -> BoolArray:
    """(R,) whether a reading is the last of its electrode, after a main one, at a saturating level."""
    last = np.full(len(readings.electrode), -2)
    np.maximum.at(last, readings.unit, readings.dip)
    return np.asarray(
        (readings.dip > 0) & (readings.dip == last[readings.unit]) & (readings.level >= spike_level), dtype=bool
    )


def electrodes_with_two_levels(readings: ElectrodeReadings, spike: BoolArray) -> int:
    """How many electrodes carry two or more unsaturated levels above zero, which is what shows their own K."""
    inside = (readings.level > 0) & ~spike
    pairs = np.unique(np.column_stack([readings.unit[inside], readings.level[inside]]), axis=0)
    return int((np.bincount(pairs[:, 0].astype(np.int64), minlength=1) > 1).sum())


def drift_is_measured(readings: ElectrodeReadings, which: BoolArray | None = None) -> bool:
    """Whether enough electrodes with known levels, from two batches, were read more than once.

    which : (R,) readings that count, None = every one but the main readings.
    """
    several = np.unique(readings.unit[readings.dip != 0 if which is None else which])
    return several.size >= ENOUGH_ELECTRODES and len({readings.batch[i] for i in several}) >= 2


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
    low = np.flatnonzero(readings.covariate <= 0)
    if low.size:
        who = readings.electrode[int(low[0])]
        raise Refused(f"covariate {readings.covariate[low[0]]:g} of electrode {who}", "a positive number", remedy)
    return readings


def unit_data(readings: ElectrodeReadings, scale: Scale) -> tuple[UnitData, IntArray, tuple[str, ...]]:
    """Model-ready data ordered by batch (first appearance), the batch index of each electrode, the batch names."""
    names = tuple(dict.fromkeys(readings.batch))
    batch = np.array([names.index(b) for b in readings.batch], dtype=np.int64)
    order = np.argsort(batch, kind="stable")
    place = np.argsort(order)
    by_unit = np.argsort(place[readings.unit], kind="stable")
    covariate = np.zeros(batch.size)
    if scale.covariate_ref is not None:
        covariate = np.log(readings.covariate / scale.covariate_ref)
    stock = [readings.stocks.index(name) for name in scale.layout.stocks if name in readings.stocks]
    data = UnitData(
        instrument=np.array([scale.instruments.index(m) for m in readings.instrument], dtype=np.int64)[order],
        covariate=covariate[order],
        unit=place[readings.unit][by_unit],
        signal=readings.signal[by_unit] / scale.signal_ref,
        u=readings.u[by_unit] / scale.signal_ref,
        level=readings.level[by_unit],
        level_u=readings.level_u[by_unit],
        dip=readings.dip[by_unit],
        spike=closing_spikes(readings, scale.spike_level)[by_unit],
        stock_part=readings.stock_part[stock][:, by_unit],
    )
    return data, batch[order], names


def latent_model(readings: ElectrodeReadings, scale: Scale) -> LatentModel:
    """The two-level model of some electrodes: batches with three latents, electrodes with one to three."""
    data, batch, _ = unit_data(readings, scale)
    return latent_model_of(data, batch, scale.layout, scale.covariate_center, scale.covariate_sd)


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
        covariate_ref=scale.covariate_ref,
        covariate_center=scale.covariate_center,
        covariate_sd=scale.covariate_sd,
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
        "stock_error": ("factor of the stock", "1", np.exp(draws)),
        "instrument_offset": ("gain ratio to the first instrument", "1", np.exp(draws)),
        "slope": ("slope of the covariate", "1", draws),
    }[stem]
    tail = 0.5 * (1.0 - INTERVAL)
    lower, median, upper = (float(v) for v in np.quantile(values, [tail, 0.5, 1.0 - tail]))
    return Summary(f"{label}, {instrument}" if instrument else label, median, lower, upper, unit)


def weaknesses(readings: ElectrodeReadings, scale: Scale, draws: FloatArray) -> tuple[str, ...]:
    """Where the calibration is weak, in words, with what to measure next."""
    found = []
    batches = len(set(readings.batch))
    plain = readings.level[~closing_spikes(readings, scale.spike_level)]
    known = np.unique(plain[plain > 0])
    standards = int((plain > 0).sum())
    if batches == 1:
        found.append("one batch only: how batches differ is taken from the prior; add batches")
    elif batches < 5:
        found.append(f"{batches} batches only: how batches differ is poorly known; add batches")
    if standards < 6:
        found.append(f"{standards} standards only; add standards at other levels")
    if not (readings.level == 0).any():
        found.append("no blanks: the floor is taken from the standards and the prior; add blanks")
    if known.size == 1:
        found.append(f"all standards at one level ({known[0]:g}): K and h are taken from the prior; add other levels")
    if _rises(readings) is False:
        found.append("signals do not rise with the level: check levels, names and signs before trusting any reading")
    middle = float(np.exp(np.median(draws[:, 1])))
    if known.size > 1 and known[-1] < middle:
        found.append(f"highest standard ({known[-1]:g}) lies below K (about {middle:.3g}): the plateau was not reached")
    found += _held(readings, scale)
    for name in scale.instruments:
        count = sum(1 for m in readings.instrument if m == name)
        if count < 4:
            found.append(f"instrument {name} has {count} calibration electrode(s) only; add blanks and standards")
    return tuple(found)


def _held(readings: ElectrodeReadings, scale: Scale) -> list[str]:
    """What the model holds at a labelled default because these electrodes cannot show it."""
    layout, found = scale.layout, []
    if (layout.prescan or layout.later or layout.spike) and not drift_is_measured(readings):
        found.append(
            f"drift between dips not measured: its scatter is the default {DEFAULT_DRIFT_SD:g}; take 4 blanks or "
            "standards of 2 batches through the same dips"
        )
    if layout.spike and not layout.own_K:
        found.append(
            f"scatter of K between electrodes not measured: the default {DEFAULT_ELECTRODE_K_SD:g} stands for it; take "
            f"{ENOUGH_ELECTRODES} electrodes through two levels below the spike each"
        )
    return found


def _rises(readings: ElectrodeReadings) -> bool | None:
    """Whether signals go up with the level, by the correlation of their ranks; None with fewer than three readings."""
    if readings.signal.size < 3 or np.unique(readings.level).size < 2:
        return None
    level = np.unique(readings.level, return_inverse=True)[1]
    signal = np.unique(readings.signal, return_inverse=True)[1]
    return bool(np.sum((level - level.mean()) * (signal - signal.mean())) > 0)
