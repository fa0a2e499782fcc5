"""Records of the weight of evidence: what readings say of two propositions, how far it can be trusted, and trials."""

from __future__ import annotations

from dataclasses import dataclass

from brinemark.terms.arrays import FloatArray

WILD_UNKNOWN = "specificity unknown for wild fish"


@dataclass(frozen=True, slots=True, eq=False)
class LevelLikelihood:
    """How probable the readings of a sample are at each level in its water.

    level : (n,) [level unit], rising from 0; log_likelihood : (n,) natural logarithm, up to a constant that is the same
    at every level; at_infinity : its limit for level -> inf, finite where the electrodes were full.
    """

    level: FloatArray
    log_likelihood: FloatArray
    at_infinity: float


@dataclass(frozen=True, slots=True)
class Rate:
    """A share count / of with its exact interval; value None when nothing was tried. sides : 1 or 2 (1 : each of lower
    and upper holds by itself with probability level)."""

    count: int
    of: int
    value: float | None
    lower: float
    upper: float
    level: float
    sides: int


@dataclass(frozen=True, slots=True, eq=False)
class BackgroundFit:
    """Lognormal background of the tanks of one system, from control tanks whose fish were known not to be exposed.

    log_median, log_sd : (M,) equally likely values of mean and sd of ln level; nodes : (3, Q) mean, sd and weight (sum
    1), over which densities are integrated, far tails included; median, gsd : middle, lower and upper end of the
    central 95 % [level unit; 1]; likeliest : (median, gsd) of highest likelihood; tanks : how many, censored : of them
    without a value that is bounded on both sides.
    """

    log_median: FloatArray
    log_sd: FloatArray
    nodes: FloatArray
    median: tuple[float, float, float]
    gsd: tuple[float, float, float]
    likeliest: tuple[float, float]
    tanks: int
    censored: int


@dataclass(frozen=True, slots=True, eq=False)
class Proposition:
    """What one account of the events adds to the background, in one world.

    name : "exposed at capture", "no exposure at capture", "shoreline outflow" ...; world : whose kinetics; added : (N,)
    equally likely amounts in the water beyond the background [level unit].
    """

    name: str
    world: str
    added: FloatArray


@dataclass(frozen=True, slots=True)
class Weight:
    """log10 likelihood ratio of readings between two propositions in one world.

    log10_ratio : of the densities integrated over everything that is uncertain; lower, upper : central 95 % over the
    background's uncertainty and the finite number of draws, widened to hold log10_ratio.
    """

    world: str
    first: str
    second: str
    log10_ratio: float
    lower: float
    upper: float


@dataclass(frozen=True, slots=True)
class BackgroundRow:
    """log10 likelihood ratio if the background had this median [level unit] and geometric standard deviation."""

    median: float
    gsd: float
    log10_ratio: float


@dataclass(frozen=True, slots=True)
class BackgroundTable:
    """The ratio over supposed backgrounds of one world, the one with the least support for the first proposition, and
    why there is no single ratio."""

    world: str
    first: str
    second: str
    rows: tuple[BackgroundRow, ...]
    least_favourable: BackgroundRow
    reason: str


@dataclass(frozen=True, slots=True)
class Cap:
    """The largest and the smallest likelihood ratio that held-out samples of a population support.

    ratio : upper bound of sensitivity / upper bound of the false-positive rate, each one-sided 95 %; floor : the same
    for a negative, upper bound of the false-negative rate / upper bound of specificity; population : of the unexposed
    fish, in words; wild : whether they were wild-caught without cyanide; of_ratios : a held-out sample counts as
    positive when its ratio is at least as high as the one that is judged, else when thiocyanate was found in it.
    """

    ratio: float
    floor: float
    sensitivity: Rate
    false_positive: Rate
    population: str
    wild: bool
    of_ratios: bool = False

    @property
    def caution(self) -> str | None:
        """What stands beside every ratio while wild negatives are missing."""
        return None if self.wild and self.false_positive.of > 0 else WILD_UNKNOWN


@dataclass(frozen=True, slots=True)
class AssumptionMove:
    """log10 likelihood ratio at the two ends of one assumption, all others held; move : how far apart they are."""

    assumption: str
    at_low: float
    at_high: float

    @property
    def move(self) -> float:
        return abs(self.at_high - self.at_low)


@dataclass(frozen=True, slots=True)
class PosteriorRow:
    """Probability of the first proposition after the readings, for a prior that is not ours to choose."""

    prior: float
    posterior: float
    lower: float
    upper: float


@dataclass(frozen=True, slots=True)
class VerbalBand:
    """Words for likelihood ratios from start up to the next band's start."""

    start: float
    words: str


@dataclass(frozen=True, slots=True)
class VerbalScale:
    """Words for likelihood ratios, a setting. bands rise from above 1; below the first, neither is supported."""

    source: str
    from_memory: bool
    bands: tuple[VerbalBand, ...]

    @property
    def label(self) -> str:
        """Source of the bands, with what is doubtful about them."""
        return f"{self.source}; bands from memory, not checked against it" if self.from_memory else self.source


@dataclass(frozen=True, slots=True, eq=False)
class Roc:
    """Shares called exposed at or above each threshold, falling thresholds from inf; area : under the curve.

    threshold, false_positive, true_positive : (n,).
    """

    threshold: FloatArray
    false_positive: FloatArray
    true_positive: FloatArray
    area: float


@dataclass(frozen=True, slots=True)
class RatioBin:
    """Trial results with log10 ratio in [low, high): how often under each proposition, and whether it agrees.

    log10_observed, lower, upper : log10 of the ratio of frequencies with exact 95 % limits, +-inf where one is 0;
    agrees : the limits overlap [low, high].
    """

    low: float
    high: float
    exposed: int
    unexposed: int
    log10_observed: float
    log10_lower: float
    log10_upper: float
    agrees: bool


@dataclass(frozen=True, slots=True)
class Misleading:
    """Share of results that point the wrong way by at least factor: of the exposed with ratio <= 1 / factor, of the
    unexposed with ratio >= factor; bound : 1 / factor, above which neither lies for true likelihood ratios."""

    factor: float
    exposed: Rate
    unexposed: Rate
    bound: float


@dataclass(frozen=True, slots=True, eq=False)
class TrialResult:
    """How ratios (or signals) did on fish of known history.

    cost, least_cost : Cllr, and what is left of it after the best monotone recalibration, in bits; 0 = perfect, 1 =
    useless. threshold : log10 ratio from which a fish is called exposed.
    """

    population: str
    exposed: int
    unexposed: int
    roc: Roc
    threshold: float
    sensitivity: Rate
    specificity: Rate
    bins: tuple[RatioBin, ...]
    cost: float
    least_cost: float
    misleading: tuple[Misleading, ...]


@dataclass(frozen=True, slots=True)
class Recalibration:
    """log10 ratio -> shift + slope * log10 ratio, as a trial of a population has it; of how many fish."""

    shift: float
    slope: float
    population: str
    exposed: int
    unexposed: int
