"""Histories whose truth is drawn from the priors, simulated by the response model as response.py writes it down.

Written from the equations there and not from the likelihood: latents are drawn, not integrated, so what the likelihood
approximates (floor and K of an electrode read once, K and drift of one read often) is put to the test as well.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from brinemark.science.amount.calibration import HyperTarget
from brinemark.science.amount.covariates import filled, raw_of_readings
from brinemark.science.amount.lives import NODES
from brinemark.science.amount.priors import default_priors, spike_level
from brinemark.science.amount.quadrature import adapt
from brinemark.science.amount.scale import Scale, closing_spikes, latent_model, scale_of_data
from brinemark.terms.amounts import ElectrodeReadings, NormalPrior
from brinemark.terms.arrays import FloatArray, IntArray
from brinemark.terms.settings import AnalyteSection, PriorSection

LEVELS = (0.0, 0.0, 0.5, 1.0, 2.0, 8.0)  # of the electrodes of a batch [ug/L]
SPIKE, RISE = 100.0, 2.0  # [ug/L]
U = 0.01  # standard uncertainty of each signal, in units of a typical plateau
COVARIATE_SD = 0.25
STOCK_REL_U = 0.05
HELD_K_SD = 0.10  # of ln K between electrodes where it is held


@dataclass(frozen=True, slots=True)
class Design:
    """How each electrode is read: a pre-scan, the main reading, rising additions [level unit]; a closing spike last.
    instruments : by turns; stock : whether what is above zero came from one stock with an error of its own."""

    what: str
    prescan: bool = False
    rises: tuple[float, ...] = ()
    instruments: tuple[str, ...] = ("bench", "portable")
    stock: bool = False


DESIGNS = {
    "single": Design("one reading each, two instruments, standards of one stock", stock=True),
    "lives": Design("pre-scan, main reading and closing spike, two instruments", True, (SPIKE,)),
    "rising": Design("pre-scan, main reading, an addition of 2 ug/L, closing spike", True, (RISE, SPIKE), ("bench",)),
}


@dataclass(frozen=True, slots=True, eq=False)
class Plan:
    """Electrodes before their signals are known, the scale with reference 1, and the priors."""

    readings: ElectrodeReadings
    scale: Scale
    priors: tuple[NormalPrior, ...]

    @property
    def names(self) -> tuple[str, ...]:
        return tuple(prior.name for prior in self.priors)

    @property
    def center(self) -> FloatArray:
        return np.array([prior.center for prior in self.priors])

    @property
    def sd(self) -> FloatArray:
        return np.array([prior.sd for prior in self.priors])


def plan(design: Design, batches: int, rng: np.random.Generator) -> Plan:
    """Batches of len(LEVELS) electrodes with covariates; signals still 1, which neither layout nor priors look at."""
    main = np.tile(LEVELS, batches)
    rises = np.array([*([-np.inf] if design.prescan else []), *np.cumsum([0.0, *design.rises])])
    level = np.where(np.isinf(rises), 0.0, main[:, None] + rises).ravel()
    dips = np.arange(-1 if design.prescan else 0, len(design.rises) + 1)
    stocks = ("standards",) if design.stock else ()
    readings = ElectrodeReadings(
        electrode=tuple(f"B{i // len(LEVELS)}-{i % len(LEVELS)}" for i in range(main.size)),
        batch=tuple(f"B{i // len(LEVELS)}" for i in range(main.size)),
        instrument=tuple(design.instruments[i % len(design.instruments)] for i in range(main.size)),
        covariate=np.exp(COVARIATE_SD * rng.normal(size=main.size)),
        unit=np.repeat(np.arange(main.size), dips.size),
        signal=np.ones(level.size),
        u=np.full(level.size, U),
        level=level,
        dip=np.tile(dips, main.size),
        stocks=stocks,
        stock_part=np.tile(level, (len(stocks), 1)),
        stock_rel_u=np.full(len(stocks), STOCK_REL_U),
    )
    analyte, section = AnalyteSection(), PriorSection()
    scale = replace(scale_of_data(readings, spike_level(readings, analyte, section)), signal_ref=1.0)
    return Plan(readings, scale, default_priors(scale.layout, readings, analyte, section))


def truth(made: Plan, rng: np.random.Generator) -> FloatArray:
    """(P,) drawn from the priors."""
    return np.asarray(made.center + made.sd * rng.normal(size=made.sd.size))


def simulated(made: Plan, theta: FloatArray, rng: np.random.Generator) -> ElectrodeReadings:
    """The plan's electrodes with signals of the response model at theta (P,)."""
    readings, value = made.readings, dict(zip(made.names, theta.tolist(), strict=True))
    unit, dip = readings.unit, readings.dip
    gain, floor, ln_K = _electrodes(made, value, rng)
    level = readings.level.copy()
    for name, part in zip(readings.stocks, readings.stock_part, strict=True):
        level += (np.exp(value[f"stock_error:{name}"]) - 1.0) * part
    steepness = np.exp(value["ln_h"])
    powers, half = level**steepness, np.exp(steepness * ln_K[unit])
    apart = np.exp(value["ln_drift_sd"]) * (dip != 0) if "ln_drift_sd" in value else np.zeros(dip.size)
    factor = np.exp(_shift(made, value) + apart * rng.normal(size=dip.size))
    mean = gain[unit] * factor * (floor[unit] + powers / (half + powers))
    noise = np.array([np.exp(value[f"ln_noise:{name}"]) for name in readings.instrument])[unit]
    variance = readings.u**2 + noise**2 + (np.exp(value["ln_electrode_sd"]) * mean) ** 2 * _share(value)
    return replace(readings, signal=mean + np.sqrt(variance) * rng.normal(size=mean.size))


def _share(value: Mapping[str, float]) -> float:
    return float(1.0 / (1.0 + np.exp(-value["logit_share"])))


def _electrodes(
    made: Plan, value: Mapping[str, float], rng: np.random.Generator
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Gain, floor and ln K of each electrode."""
    readings = made.readings
    batch = _batch_index(readings)
    of_batch = rng.normal(size=(3, int(batch.max()) + 1))[:, batch]
    own = rng.normal(size=(3, batch.size))
    (x,), _ = filled(made.scale.covariates, raw_of_readings(readings))
    offset = np.array([value.get(f"instrument_offset:{name}", 0.0) for name in readings.instrument])
    own_sd = np.exp(value["ln_electrode_sd"]) * np.sqrt(1.0 - _share(value))
    K_sd = np.exp(value["ln_own_K_sd"]) if "ln_own_K_sd" in value else HELD_K_SD
    log_gain = value["ln_gain"] + offset + value["slope"] * x
    log_gain = log_gain + np.exp(value["ln_batch_sd"]) * of_batch[0] + own_sd * own[0]
    ln_K = value["ln_K"] + np.exp(value["ln_K_sd"]) * of_batch[1] + K_sd * own[1]
    ln_floor = value["ln_floor"] + np.exp(value["ln_floor_batch_sd"]) * of_batch[2]
    return np.exp(log_gain), np.exp(ln_floor + np.exp(value["ln_floor_sd"]) * own[2]), np.asarray(ln_K)


def _batch_index(readings: ElectrodeReadings) -> IntArray:
    return np.unique(np.array(readings.batch), return_inverse=True)[1].astype(np.int64)


def _shift(made: Plan, value: Mapping[str, float]) -> FloatArray:
    """delta (R,) of each reading."""
    dip = made.readings.dip
    spike = closing_spikes(made.readings, made.scale.spike_level)
    later = np.where(spike, value.get("spike_shift", 0.0), value.get("dip_drift", 0.0) * np.maximum(dip, 0))
    return np.where(dip < 0, value.get("prescan_shift", 0.0), later)


def relative(made: Plan, theta: FloatArray, reference: float) -> FloatArray:
    """theta (P,) for signals divided by a reference."""
    moved = np.array([name == "ln_gain" or name.startswith("ln_noise:") for name in made.names])
    return np.asarray(theta - moved * np.log(reference))


def target(made: Plan, readings: ElectrodeReadings, reference: float) -> HyperTarget:
    """What calibrate() samples, with a reference of one's own."""
    model = latent_model(readings, replace(made.scale, signal_ref=reference))
    return HyperTarget(model, made.center, made.sd, NODES, adapt(model, made.center[None]))
