"""Response of an electrode to the level in its cell, and the parameters that describe a population of them.

Reading j (pre-scan, main, later dips) of electrode e, batch b, instrument m, at cell level c (methods, "Response"):

    y    = G_e exp(delta_j + eta_ej) [ phi_e + theta(c; K_e, h) ] + noise      theta(c; K, h) = c^h / (K^h + c^h)
    ln G_e   = mu + delta_m + a_b + beta . x_e + eps_e                         a_b ~ N(0, s_b^2)   eps_e ~ N(0, s_el^2)
    ln phi_e = ln phi + p_b + p_e                                              p_b ~ N(0, s_pb^2)  p_e ~ N(0, s_p^2)
    ln K_e   = ln K + k_b + k_e                                                k_b ~ N(0, s_K^2)   k_e ~ N(0, s_k^2)
    of a film with low or high gain (defects.py): eps_e ~ N(m_k, s_el^2 + s_k^2)
    with salinity (salinity.py): ln K_e + ln(1 - w + w S/S_0), ln phi_e + f (S/S_0 - 1)
    noise ~ N(0, u(y)^2 + s0_m^2 + cv^2 mean^2)    tau^2 = s_el^2 + cv^2    rho = cv^2 / tau^2
    delta_main = eta_main = 0, else eta_ej ~ N(0, s_eta^2); delta of the pre-scan, of each dip after the main one (a
    drift per dip), and of a closing spike, whose plateau need not be the standards', each have a parameter.

The gain spreads on the logarithmic scale, the noise of the reading on the linear one, so a reading at or below
zero is an ordinary value. Only the product of gain and top exists, so top = 1 and the floor phi is a ratio. A
missing covariate is integrated over its distribution among the calibration electrodes (covariates.py), which adds
beta' S beta to s_el^2. Signals are divided by a reference before anything is computed. How the electrode's own
three latents are integrated is in lives.py.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from brinemark.terms.arrays import BoolArray, FloatArray, IntArray

LOG_2PI = float(np.log(2.0 * np.pi))
FIXED = (
    "ln_gain",
    "ln_K",
    "ln_h",
    "ln_floor",
    "ln_batch_sd",
    "ln_electrode_sd",
    "ln_K_sd",
    "logit_share",
    "ln_floor_sd",
    "ln_floor_batch_sd",
)
PRESCAN, MAIN = -1, 0
# Held, and said to be so, until electrodes of the logbook have measured them; common practice, no source.
DEFAULT_ELECTRODE_K_SD = 0.10
DEFAULT_DRIFT_SD = 0.10


@dataclass(frozen=True, slots=True)
class DefectKind:
    """A kind of defective film. mean, sd : of what it adds to the log gain; parameter : its log odds against sound."""

    name: str
    parameter: str
    mean: float
    sd: float


# A thin, lifted or cracked film; one too thick or with analyte in it. Common practice, no source.
KINDS = (
    DefectKind("low gain", "ln_low_odds", float(np.log(0.4)), 0.4),
    DefectKind("high gain", "ln_high_odds", float(np.log(2.0)), 0.3),
)
DEFAULT_SHIFT_SD = {"prescan_shift": 0.05, "dip_drift": 0.05, "spike_shift": 0.10}


@dataclass(frozen=True, slots=True)
class ParameterLayout:
    """Names and places of the parameters in a vector.

    Ten common ones; what several readings on one electrode add (own_K : scatter of K between electrodes; prescan,
    later, spike : which kinds of dips there are; salinity : whether its effect is to be estimated; defects : whether
    films may be defective); noise per
    instrument, an offset for every instrument but the first; the relative error of each stock; a slope for each
    covariate in use.
    """

    instruments: tuple[str, ...]
    covariates: tuple[str, ...] = ()
    own_K: bool = False
    prescan: bool = False
    later: bool = False
    spike: bool = False
    stocks: tuple[str, ...] = ()
    salinity: bool = False
    defects: bool = False

    @property
    def names(self) -> tuple[str, ...]:
        """Parameter names in order."""
        dips = self.prescan or self.later or self.spike
        wanted = (
            ("ln_own_K_sd", self.own_K),
            ("ln_drift_sd", dips),
            ("prescan_shift", self.prescan),
            ("dip_drift", self.later),
            ("spike_shift", self.spike),
            ("salinity_K", self.salinity),
            ("salinity_floor", self.salinity),
            *((kind.parameter, self.defects) for kind in KINDS),
        )
        noise = tuple(f"ln_noise:{name}" for name in self.instruments)
        offsets = tuple(f"instrument_offset:{name}" for name in self.instruments[1:])
        stocks = tuple(f"stock_error:{name}" for name in self.stocks)
        slopes = tuple(map(slope_name, self.covariates))
        return FIXED + tuple(name for name, there in wanted if there) + noise + offsets + stocks + slopes


def slope_name(covariate: str) -> str:
    """Name of the parameter that goes with a covariate."""
    return f"slope:{covariate}" if covariate else "slope"


@dataclass(frozen=True, slots=True, eq=False)
class UnitData:
    """Readings of U electrodes with R readings in all, ready for the model (signals already divided).

    instrument : (U,) index; unit : (R,) rising electrode index;
    signal, u : (R,) relative signals; level, level_u : (R,) cell levels and their own u [level unit];
    dip : (R,); spike : (R,) whether a closing spike; stock_part : (S, R) [level unit]; apart : (R,) S/S_0 - 1, left out
    where salinity plays no part; covariate : (C, U) x, filled in where missing; covariate_cov : (C, C, U) of what was
    filled in; both left out without covariates; offset, extra_var : (U,) what a defect adds to the mean and to the
    variance of the own log gain, left out where all are sound.
    """

    instrument: IntArray
    unit: IntArray
    signal: FloatArray
    u: FloatArray
    level: FloatArray
    level_u: FloatArray
    dip: IntArray
    spike: BoolArray
    stock_part: FloatArray
    apart: FloatArray = field(default_factory=lambda: np.zeros(0))
    covariate: FloatArray = field(default_factory=lambda: np.zeros((0, 0)))
    covariate_cov: FloatArray = field(default_factory=lambda: np.zeros((0, 0, 0)))
    offset: FloatArray = field(default_factory=lambda: np.zeros(0))
    extra_var: FloatArray = field(default_factory=lambda: np.zeros(0))

    @property
    def level_rel_u(self) -> FloatArray:
        """Relative standard uncertainty (R,) of the levels that is the readings' own; 0 for a blank."""
        return np.divide(self.level_u, self.level, out=np.zeros_like(self.level), where=self.level > 0)

    def of_units(self, units: IntArray) -> UnitData:
        """The readings of some electrodes, renumbered in the order of units, which may name one more than once."""
        count = np.bincount(self.unit, minlength=self.instrument.size)
        first = np.cumsum(count) - count
        lengths = count[units]
        before = np.cumsum(lengths) - lengths
        rows = np.arange(lengths.sum()) + np.repeat(first[units] - before, lengths)
        return UnitData(
            instrument=self.instrument[units],
            unit=np.repeat(np.arange(len(units)), count[units]),
            signal=self.signal[rows],
            u=self.u[rows],
            level=self.level[rows],
            level_u=self.level_u[rows],
            dip=self.dip[rows],
            spike=self.spike[rows],
            stock_part=self.stock_part[:, rows],
            apart=self.apart[rows] if self.apart.size else self.apart,
            covariate=self.covariate[:, units] if self.covariate.size else self.covariate,
            covariate_cov=self.covariate_cov[:, :, units] if self.covariate.size else self.covariate_cov,
            offset=self.offset[units] if self.offset.size else self.offset,
            extra_var=self.extra_var[units] if self.offset.size else self.extra_var,
        )


@dataclass(frozen=True, slots=True, eq=False)
class Population:
    """Parameters on their natural scale; every field is (D, 1) and broadcasts against (..., D, U).

    noise, offset : (instruments, D, 1); stock : (S, D, 1) factors of what came from each stock; slope : (C, D, 1).
    """

    gain: FloatArray
    ln_K: FloatArray
    h: FloatArray
    ln_floor: FloatArray
    batch_sd: FloatArray
    electrode_sd: FloatArray
    cv: FloatArray
    ln_K_sd: FloatArray
    floor_sd: FloatArray
    floor_batch_sd: FloatArray
    own_K_sd: FloatArray
    drift_sd: FloatArray
    prescan_shift: FloatArray
    dip_drift: FloatArray
    spike_shift: FloatArray
    noise: FloatArray
    offset: FloatArray
    stock: FloatArray
    slope: FloatArray
    salinity_K: FloatArray
    salinity_floor: FloatArray

    def shift(self, dip: IntArray, spike: BoolArray) -> FloatArray:
        """delta (D, R) of readings at dips (R,)."""
        later = np.where(spike, self.spike_shift, self.dip_drift * np.maximum(dip, 0))
        return np.where(dip == PRESCAN, self.prescan_shift, later)

    def levels(self, data: UnitData) -> FloatArray:
        """Cell levels (D, R), or (R,) without stocks and salinity: what came from a stock carries the stock's error,
        and since theta depends on c/K alone, what salinity does to K is done to the level."""
        level = data.level
        if data.stock_part.size:
            level = level + ((self.stock - 1.0) * data.stock_part[:, None, :]).sum(axis=0)
        return np.asarray(level / (1.0 + self.salinity_K * data.apart)) if data.apart.size else level

    def floor_factor(self, data: UnitData) -> FloatArray:
        """What salinity makes of the floor: (D, R), or 1."""
        return np.exp(self.salinity_floor * data.apart) if data.apart.size else np.ones(1)


def population(theta: FloatArray, layout: ParameterLayout) -> Population:
    """Natural-scale parameters from theta (P, D, 1)."""
    row = dict(zip(layout.names, theta, strict=True))
    nothing = np.zeros_like(theta[0])
    share = 1.0 / (1.0 + np.exp(-row["logit_share"]))
    tau = np.exp(row["ln_electrode_sd"])
    offsets = [row[f"instrument_offset:{name}"] for name in layout.instruments[1:]]
    stocks = [np.exp(row[f"stock_error:{name}"]) for name in layout.stocks]
    return Population(
        gain=row["ln_gain"],
        ln_K=row["ln_K"],
        h=np.exp(row["ln_h"]),
        ln_floor=row["ln_floor"],
        batch_sd=np.exp(row["ln_batch_sd"]),
        electrode_sd=tau * np.sqrt(1.0 - share),
        cv=tau * np.sqrt(share),
        ln_K_sd=np.exp(row["ln_K_sd"]),
        floor_sd=np.exp(row["ln_floor_sd"]),
        floor_batch_sd=np.exp(row["ln_floor_batch_sd"]),
        own_K_sd=np.exp(row.get("ln_own_K_sd", nothing + np.log(DEFAULT_ELECTRODE_K_SD))),
        drift_sd=np.exp(row.get("ln_drift_sd", nothing + np.log(DEFAULT_DRIFT_SD))),
        prescan_shift=row.get("prescan_shift", nothing),
        dip_drift=row.get("dip_drift", nothing),
        spike_shift=row.get("spike_shift", nothing),
        noise=np.exp([row[f"ln_noise:{name}"] for name in layout.instruments]),
        offset=np.array([nothing, *offsets]),
        stock=np.array(stocks) if stocks else np.zeros((0, *nothing.shape)),
        slope=np.array([row[slope_name(name)] for name in layout.covariates]).reshape(-1, *nothing.shape),
        salinity_K=1.0 / (1.0 + np.exp(-row["salinity_K"])) if layout.salinity else nothing,
        salinity_floor=row.get("salinity_floor", nothing),
    )


def occupancy(level: FloatArray, ln_K: FloatArray, h: FloatArray) -> FloatArray:
    """theta(c; K, h) = c^h / (K^h + c^h), exactly 0 at c = 0 and 1 at c = inf."""
    with np.errstate(divide="ignore"):
        exponent = h * (np.log(level) - ln_K)
    return np.asarray(1.0 / (1.0 + np.exp(-np.clip(exponent, -700.0, 700.0)))) * (level > 0)


@dataclass(frozen=True, slots=True, eq=False)
class Centre:
    """What an electrode answers before its own gain: (D, U) logs that depend on theta and data only."""

    log_gain: FloatArray
    spread: FloatArray


def centre(pop: Population, data: UnitData) -> Centre:
    """Log gain without batch and electrode terms, and the sd of the electrode's own term, both (D, U)."""
    log_gain = pop.gain + pop.offset[data.instrument, :, 0].T
    variance = pop.electrode_sd**2
    for slope, x, cov in zip(pop.slope, data.covariate, data.covariate_cov, strict=True):
        log_gain = log_gain + slope * x
        variance = variance + slope * (pop.slope * cov[:, None, :]).sum(axis=0)
    if data.offset.size:
        log_gain, variance = log_gain + data.offset, variance + data.extra_var
    # Two covariates that all but say the same may leave a variance below 0 by rounding.
    return Centre(log_gain, np.broadcast_to(np.sqrt(np.maximum(variance, 0.0)), log_gain.shape))


def reading_log_density(mean: FloatArray, variance: FloatArray, signal: FloatArray) -> FloatArray:
    """Log density of readings given their mean and variance."""
    return np.asarray(-0.5 * ((signal - mean) ** 2 / variance + np.log(variance)) - 0.5 * LOG_2PI)


@dataclass(frozen=True, slots=True, eq=False)
class LogResponse:
    """ln[ phi e^p + theta(c; K e^k) ] as a function of the electrode's own p and k, to second order.

    value : at p = k = 0; by_floor, by_K : first derivatives; floor_bend, K_bend : second derivatives.
    """

    value: FloatArray
    by_floor: FloatArray
    by_K: FloatArray
    floor_bend: FloatArray
    K_bend: FloatArray

    @classmethod
    def at(cls, occupied: FloatArray, floor: FloatArray, h: FloatArray) -> LogResponse:
        """From theta(c), the floor and h, broadcast against each other."""
        total = np.maximum(floor + occupied, 1e-300)  # a trial floor may underflow to nothing
        share = floor / total
        by_K = -h * occupied * (1.0 - occupied) / total
        K_bend = -h * (1.0 - 2.0 * occupied) * by_K - by_K**2
        return cls(np.asarray(np.log(total)), share, by_K, share * (1.0 - share), K_bend)

    def moments(self, floor_sd: FloatArray, K_sd: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Mean and variance over p ~ N(0, floor_sd^2), k ~ N(0, K_sd^2); exact for a blank, else to fourth order."""
        floor_var, K_var = floor_sd**2, K_sd**2
        floor_bend, K_bend = 0.5 * self.floor_bend * floor_var, 0.5 * self.K_bend * K_var
        mean = self.value + floor_bend + K_bend
        variance = self.by_floor**2 * floor_var + self.by_K**2 * K_var + 2.0 * (floor_bend**2 + K_bend**2)
        return np.asarray(mean), np.asarray(variance)
