"""Records of the amount stage: what calibration takes and gives, and the reading of a sample."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from brinemark.terms.arrays import FloatArray, IntArray

STATEMENTS = (
    "cannot say",
    "not detected",
    "at or above",
    "quantified",
    "detected, amount uncertain",
)


FIRST_COVARIATE = ""  # name of the one in [covariate]; further ones have the name of their section


@dataclass(frozen=True, slots=True, eq=False)
class CovariateScale:
    """What makes C covariates relative, x = ln(q / reference), and how x goes among the calibration electrodes.

    names : C of those in use; reference : (C,) [unit of each]; center : (C,); cov : (C, C).
    """

    names: tuple[str, ...] = ()
    reference: FloatArray = field(default_factory=lambda: np.zeros(0))
    center: FloatArray = field(default_factory=lambda: np.zeros(0))
    cov: FloatArray = field(default_factory=lambda: np.zeros((0, 0)))

    def reference_of(self, name: str) -> float | None:
        """Reference of a covariate; None when it is not in use."""
        return float(self.reference[self.names.index(name)]) if name in self.names else None


@dataclass(frozen=True, slots=True, eq=False)
class ElectrodeReadings:
    """Signals of E electrodes with R readings in all; every level is a cell level.

    electrode : E names; batch, instrument : E names; covariate : (E,) raw covariate quantity, nan = missing;
    unit : (R,) index of the electrode of each reading; signal, u : (R,) [signal unit];
    level : (R,) [level unit], nan where unknown; dip : (R,) place in the electrode's life: -1 pre-scan, 0 main
    reading, 1, 2, ... what follows; level_u : (R,) standard uncertainty of the level that is the reading's own
    [level unit]; stocks : S names; stock_part : (S, R) part of the level that came from each stock, whose relative
    error is shared [level unit]; stock_rel_u : (S,) relative standard uncertainty of each stock; salinity : (R,)
    practical salinity of the water, nan = not recorded; kept : (R,) volume of the cell before additions over its
    volume at the reading [1]; further : F names of covariates beside the first; further_covariate : (F, E), as it.
    """

    electrode: tuple[str, ...]
    batch: tuple[str, ...]
    instrument: tuple[str, ...]
    covariate: FloatArray
    unit: IntArray
    signal: FloatArray
    u: FloatArray
    level: FloatArray
    dip: IntArray = field(default_factory=lambda: np.zeros(0, dtype=np.int64))
    level_u: FloatArray = field(default_factory=lambda: np.zeros(0))
    stocks: tuple[str, ...] = ()
    stock_part: FloatArray = field(default_factory=lambda: np.zeros((0, 0)))
    stock_rel_u: FloatArray = field(default_factory=lambda: np.zeros(0))
    salinity: FloatArray = field(default_factory=lambda: np.zeros(0))
    kept: FloatArray = field(default_factory=lambda: np.zeros(0))
    further: tuple[str, ...] = ()
    further_covariate: FloatArray = field(default_factory=lambda: np.zeros((0, 0)))

    def __post_init__(self) -> None:
        """What was left out: every reading a main one, levels exact, no stock, no salinity, volumes as they were."""
        count = self.level.size
        for name in ("dip", "level_u"):
            values = getattr(self, name)
            if values.size == 0:
                object.__setattr__(self, name, np.zeros(count, dtype=values.dtype))
        if self.salinity.size == 0:
            object.__setattr__(self, "salinity", np.full(count, np.nan))
        if self.kept.size == 0:
            object.__setattr__(self, "kept", np.ones(count))
        if self.stock_part.size == 0:
            object.__setattr__(self, "stock_part", np.zeros((len(self.stocks), count)))


@dataclass(frozen=True, slots=True)
class NormalPrior:
    """A normal prior of one parameter on its working scale (log for positive quantities)."""

    name: str
    center: float
    sd: float
    source: str


@dataclass(frozen=True, slots=True)
class Gate:
    """One numerical gate of a calibration: passed when value <= limit."""

    name: str
    value: float
    limit: float

    @property
    def passed(self) -> bool:
        return self.value <= self.limit


@dataclass(frozen=True, slots=True)
class Summary:
    """Posterior of one population quantity on its natural scale: median and central interval."""

    name: str
    median: float
    lower: float
    upper: float
    unit: str


@dataclass(frozen=True, slots=True)
class Limits:
    """What one fresh electrode of a batch can do by a protocol (levels in cell level units).

    protocol : "single", or what is read beside the sample ("with pre-scan", "with spike", "with pre-scan and spike");
    critical_signal : signal that a blank exceeds with probability alpha only; None where several readings decide;
    critical_value : level whose median signal is critical_signal; None when no level reaches it;
    minimum_detectable : level detected with probability 1 - beta; None when none is;
    working_lower, working_upper : levels between which the expected fold stays within max_fold, or None.
    """

    batch: str
    instrument: str
    protocol: str
    electrodes: int
    critical_signal: float | None
    critical_value: float | None
    minimum_detectable: float | None
    working_lower: float | None
    working_upper: float | None


@dataclass(frozen=True, slots=True)
class WaterScatter:
    """Scatter of ln K between waters as recoveries give it: equally likely values, their median, from how many waters;
    mean, mean_u : of ln recovery over them, and its standard uncertainty."""

    quantiles: tuple[float, ...]
    median: float
    waters: int
    mean: float
    mean_u: float


@dataclass(frozen=True, slots=True)
class FilmDoubt:
    """Probability that the film of an electrode is defective, with a low or with a high gain."""

    electrode: str
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class FitCheck:
    """What a group of calibration electrodes would have beyond the model, tau with its standard uncertainty u.

    name : "top", "middle" or "batch ID"; what : "gain" (tau is of ln gain) or "steepness" (of ln exponent); limit : of
    |tau| / u, beyond which it is said.
    """

    name: str
    electrodes: int
    tau: float
    u: float
    what: str = "gain"
    limit: float = 3.0

    @property
    def speaks(self) -> bool:
        return abs(self.tau) > self.limit * self.u


@dataclass(frozen=True, slots=True)
class Residual:
    """How far the main reading of a calibration electrode lies from what its batch's other electrodes let expect.

    level [level unit]; score : normal score of its signal, 0 at the median that is expected, +-1.96 at the ends of the
    95 % band.
    """

    electrode: str
    batch: str
    instrument: str
    level: float
    score: float


@dataclass(frozen=True, slots=True, eq=False)
class Calibration:
    """Posterior of the response model.

    names : P parameter names; draws : (M, P) equally weighted draws on the working scale (logs where the
    quantity is positive); signal_ref [signal unit] : what signals were divided by; covariates : what makes them
    relative; highest_level : highest standard, closing spikes aside [level unit]; readings : the
    electrodes it was made from; priors : P; summaries, gates : diagnostics; weaknesses : plain sentences;
    spike_level : cell level from which a last reading is a closing spike [level unit]; matrix_K_sd : sd of ln K
    between waters that is held; water : what recoveries say of it instead, None = too few; films : the calibration
    electrodes, where the model allows for defective ones; fit : questions to the model's form.
    """

    names: tuple[str, ...]
    draws: FloatArray
    signal_ref: float
    covariates: CovariateScale
    instruments: tuple[str, ...]
    highest_level: float
    readings: ElectrodeReadings
    priors: tuple[NormalPrior, ...]
    summaries: tuple[Summary, ...]
    gates: tuple[Gate, ...]
    rounds: int
    total_draws: int
    weaknesses: tuple[str, ...]
    seed: int
    spike_level: float = float("inf")
    matrix_K_sd: float = 0.0
    water: WaterScatter | None = None
    films: tuple[FilmDoubt, ...] = ()
    fit: tuple[FitCheck, ...] = ()

    @property
    def covariate_ref(self) -> float | None:
        """Reference of the first covariate, by which a pre-scan is judged; None when it is not in use."""
        return self.covariates.reference_of(FIRST_COVARIATE)


@dataclass(frozen=True, slots=True)
class Estimate:
    """median, lower, upper in sample level units; None = no finite end. sides : 1 or 2."""

    median: float | None
    lower: float | None
    upper: float | None
    level: float
    sides: int


@dataclass(frozen=True, slots=True)
class LimitValue:
    """A one-sided limit."""

    value: float
    level: float
    sides: int = 1


@dataclass(frozen=True, slots=True)
class Detection:
    detected: bool
    p_value: float
    alpha: float


@dataclass(frozen=True, slots=True, eq=False)
class ConfidenceCurve:
    """P(statistic <= observed | level) on a grid, for drawing and for planning.

    level : (n,) sample levels, rising from 0; probability : (n,); at_infinity : its limit for level -> inf.
    """

    level: FloatArray
    probability: FloatArray
    at_infinity: float


@dataclass(frozen=True, slots=True)
class FilmFinding:
    """What is known of the film of an electrode that read a sample.

    low, high : probability of a low or a high gain, by the readings whose answer does not depend on the sample (looked
    at); usual_low, usual_high : shares of such films among all; kind : "low gain" or "high gain" where that is more
    likely than not, else None; cleared_by : those of the readings that clear the film, each by itself; covariate :
    whether a covariate was known. It shifts the gain that is expected and plays no part in these probabilities.
    """

    electrode: str
    low: float
    high: float
    usual_low: float
    usual_high: float
    kind: str | None
    looked_at: tuple[str, ...]
    cleared_by: tuple[str, ...]
    covariate: bool


@dataclass(frozen=True, slots=True, eq=False)
class Reading:
    """One of the five statements about a sample, with what it rests on (levels are sample levels).

    agreement : probability of sound electrodes lying as far apart as these did; None for one electrode; films : where
    the calibration allows for defective films, one for each electrode that was used.
    """

    statement: str
    reason: str | None
    detection: Detection | None
    estimate: Estimate | None
    lower_limit: LimitValue | None
    upper_limit: LimitValue | None
    working_range: tuple[float, float] | None
    shares: tuple[float, ...]
    warnings: tuple[str, ...]
    curve: ConfidenceCurve | None
    two_sided: Estimate | None
    monte_carlo_error: tuple[float, float] | None = None
    agreement: float | None = None
    films: tuple[FilmFinding, ...] = ()


@dataclass(frozen=True, slots=True)
class OtherDip:
    """A reading of a sample's electrode beside its main one: the pre-scan (dip -1) or an addition (dip 1, 2, ...).

    c_cell = share * c_sample + added; added, added_u [level unit] : what is known to be there, with the standard
    uncertainty that is this reading's own; stock_parts : (stock, part of added [level unit]), whose relative errors
    are shared by all that the stock was used for; salinity : of the water in the cell, None = not known.
    """

    dip: int
    signal: float
    u: float
    share: float
    added: float
    added_u: float = 0.0
    stock_parts: tuple[tuple[str, float], ...] = ()
    salinity: float | None = None


@dataclass(frozen=True, slots=True)
class SamplePortion:
    """One electrode that read a sample (or a control): its main signal, the dilution it saw, its other readings.

    covariate : raw covariate quantity, None = missing; failure : why this electrode cannot be used
    (for example a failed pre-scan), None = usable; the cell of the main reading holds share * c + added (share : None
    = 1 / dilution; added, added_u, stock_parts, salinity : as in OtherDip); others : pre-scan and additions in order
    of dip; further : (name, raw quantity) of the covariates beside the first, as far as they are known.
    """

    electrode: str
    batch: str
    instrument: str
    covariate: float | None
    signal: float
    u: float
    dilution: float = 1.0
    failure: str | None = None
    added: float = 0.0
    added_u: float = 0.0
    others: tuple[OtherDip, ...] = ()
    share: float | None = None
    stock_parts: tuple[tuple[str, float], ...] = ()
    salinity: float | None = None
    further: tuple[tuple[str, float], ...] = ()
