"""What one's own spiked tanks and exposed fish say of the parameters that the published studies dispute.

Before any reading the disputed parameters may be anything: the share that reaches the water and the share that leaves
slowly are uniform from 0 to 1, the loss in water log-uniform from a half-life of months to that of an hour; all others
are as published (worlds.COMMON). With readings y of experiments e, tanks k and samples s

    p(parameters | y) ~ p(parameters) product over e, k of integral of [product over s of L_s(b + x_s)] p(b) db

with x_s the level that the history of the experiment gives under the parameters (samples.py), by weighted draws
(weighted_draws.py). Deviations: fish and tanks of one's own differ by nothing but their histories; where the absorbed
dose is not known, one dose drawn from absorbed_dose serves all fish, and what the trial says of it is not carried over
to other fish. The world that is made keeps the draws of the measured parameters together, and all others by themselves,
which loses the correlation between the two and makes the world's levels wider.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from brinemark.science.fish.forward import with_doses
from brinemark.science.fish.kinetics import follow
from brinemark.science.fish.mass_balance import fish_ever_in
from brinemark.science.fish.parameters import ASSUMED, LOG_UNIFORM, UNIFORM, Parameter, Source, measured
from brinemark.science.fish.samples import (
    CONTRADICTION,
    SamplesOfTanks,
    TankSample,
    check_samples,
    levels_of,
    sample_times,
)
from brinemark.science.fish.tanks import Add, Fish, History
from brinemark.science.fish.weighted_draws import WeightedDraws, probability_at, values_at, weighted_draws
from brinemark.science.fish.worlds import (
    NOT_RELEASED_WORLD,
    OWN,
    RELEASED_WORLD,
    Drawing,
    World,
    kinetics_of,
    with_parameters,
)
from brinemark.terms.arrays import FloatArray
from brinemark.terms.errors import Refused
from brinemark.terms.evidence import BackgroundFit

LEAST_LOSS_PER_D = 0.005
MOST_LOSS_PER_D = float(NOT_RELEASED_WORLD.parameters["water_loss"].quantile(1.0))
WATER_LOSS, TO_WATER, SLOW_SHARE = "water_loss", "to_water", "slow_share"
CALLED = {
    WATER_LOSS: "loss in water",
    TO_WATER: "share that reaches the water",
    SLOW_SHARE: "share that leaves slowly",
}
FEWEST_SPIKED = 2  # readings at different times after a spike
FEWEST_EXPOSED = 3  # tanks with fish known to have been exposed
ENOUGH, LEAST = 400.0, 100.0  # effective draws: aimed at, and below which nothing is said
KEPT = 2000
ENDS = (0.025, 0.5, 0.975)
NORMAL_95 = 1.959963984540054
OPEN = math.exp(-0.5 * NORMAL_95**2)  # likelihood ratio up to which an end agrees: one degree of freedom, 95 %
SAME_TIME = 6  # decimals of a day

BEFORE = with_parameters(
    RELEASED_WORLD,
    Parameter(TO_WATER, "1", 0.5, 0.5, UNIFORM, Source("", "", "", ASSUMED, "none to all, all equally likely")),
    Parameter(SLOW_SHARE, "1", 0.5, 0.5, UNIFORM, Source("", "", "", ASSUMED, "none to all, all equally likely")),
    Parameter(
        WATER_LOSS,
        "1/d",
        math.sqrt(LEAST_LOSS_PER_D * MOST_LOSS_PER_D),
        math.sqrt(MOST_LOSS_PER_D / LEAST_LOSS_PER_D),
        LOG_UNIFORM,
        Source("", "", "", ASSUMED, "0.005/d, of natural water columns, to the 14/d of the world without release"),
    ),
    name=OWN,
    words="before any own experiment: all that the published studies dispute is open",
)


@dataclass(frozen=True, slots=True)
class Experiment:
    """One experiment with what was read in it.

    exposed : names of the fish of its history that are known to have been exposed, at their exposed_d; their dose is
    that of the history, or where that is 0 not known and drawn. Spiked tanks have an Add or a starting level, and no
    exposed fish.
    """

    name: str
    history: History
    exposed: tuple[str, ...] = ()
    samples: tuple[TankSample, ...] = ()


@dataclass(frozen=True, slots=True)
class Counts:
    """spiked, exposed : each tank that had a spike, or exposed fish, by experiment and name; spiked_readings,
    spiked_times : readings of them, and how many different times after the spike; exposed_readings."""

    spiked: tuple[tuple[str, str], ...]
    exposed: tuple[tuple[str, str], ...]
    spiked_readings: int
    spiked_times: int
    exposed_readings: int


@dataclass(frozen=True, slots=True, eq=False)
class OwnFit:
    """What the experiments say.

    measured : parameters that they measured; reasons : by name, why a disputed parameter was not; ends : by name,
    2.5 %, 50 %, 97.5 % of each disputed parameter; draws : by name, equally likely values (KEPT,) of all parameters,
    drawn together; effective : draws that carried the weight; words : a sentence for each disputed parameter.
    """

    experiments: tuple[str, ...]
    counts: Counts
    measured: tuple[Parameter, ...]
    reasons: Mapping[str, str]
    ends: Mapping[str, tuple[float, float, float]]
    draws: Mapping[str, FloatArray]
    effective: float
    rounds: int
    words: tuple[str, ...]
    cautions: tuple[str, ...]


def fit_experiments(
    experiments: Sequence[Experiment],
    background: BackgroundFit | Mapping[str, BackgroundFit | None] | None = None,
    drawing: Drawing | None = None,
) -> OwnFit:
    """Parameters from experiments; background : of their system beyond the sources that their histories name, or of
    the system of each experiment, by its name.

    Raises Refused for a history, name or sample that cannot be. No experiments at all give the laws before any reading.
    """
    drawing = drawing or Drawing(4096, 1)
    _check(experiments)
    known = background if isinstance(background, Mapping) else {each.name: background for each in experiments}
    parts = [(each, SamplesOfTanks(each.samples, known[each.name])) for each in experiments]

    def log_likelihood(drawn: Mapping[str, FloatArray]) -> FloatArray:
        total = np.zeros(len(drawn[WATER_LOSS]))
        for experiment, tanks in parts:
            total += tanks.log_likelihood(_levels(experiment, drawn))
        return total

    found = weighted_draws(BEFORE.parameters, log_likelihood, drawing, min(ENOUGH, drawing.count / 4.0))
    return _told(experiments, found)


def own_world(fit: OwnFit) -> World | str:
    """The world of one's own controls, or in words what is missing for it: both the loss in water and the share that
    reaches it must have been measured."""
    missing = [f"{CALLED[name]}: {fit.reasons[name]}" for name in (WATER_LOSS, TO_WATER) if name in fit.reasons]
    if missing:
        return "; ".join(missing)
    counts = fit.counts
    words = (
        f"as our own experiments show, with {_tanks(counts.spiked)} spiked and {_tanks(counts.exposed)} of exposed fish"
    )
    if SLOW_SHARE in fit.reasons:
        words += "; the share that leaves slowly was not measured, and every share is taken as equally likely"
    world = with_parameters(BEFORE, *fit.measured, name=OWN, words=words)
    return replace(world, joint={each.name: fit.draws[each.name] for each in fit.measured})


def _check(experiments: Sequence[Experiment]) -> None:
    names = [experiment.name for experiment in experiments]
    for name in names:
        if names.count(name) > 1:
            raise Refused(f"experiment {name!r} twice", "each experiment named once", "give each its own name")
    for each in experiments:
        if not each.samples:
            raise Refused(
                f"experiment {each.name!r} without samples", "at least one sample", "leave it out or add them"
            )
        with_doses(each.history, each.exposed, 0.0)  # refuses unknown names
        check_samples(each.history, each.samples)


def _levels(experiment: Experiment, drawn: Mapping[str, FloatArray]) -> FloatArray:
    """(draws, samples)"""
    unknown = [each.name for each in experiment.history.fish if each.name in experiment.exposed and not _dosed(each)]
    history = with_doses(experiment.history, unknown, drawn["absorbed_dose"])
    course = follow(kinetics_of(drawn), history, sample_times(experiment.samples))
    return levels_of(course, history, experiment.samples)


def _dosed(fish: Fish) -> bool:
    return bool(np.any(np.asarray(fish.dose_mg_kg) > 0.0))


def _counts(experiments: Sequence[Experiment]) -> Counts:
    spiked: dict[tuple[str, str], list[float]] = {}
    exposed: list[tuple[str, str]] = []
    for each in experiments:
        known = {fish.name for fish in each.history.fish if _dosed(fish)} | set(each.exposed)
        for sample in each.samples:
            place = (each.name, sample.tank)
            since = _since_spike(each.history, sample)
            if known & {fish.fish for fish in fish_ever_in(each.history, sample.tank, sample.time_d)}:
                exposed.append(place)
            elif since is not None:
                spiked.setdefault(place, []).append(round(since, SAME_TIME))
    times = [time for place in spiked.values() for time in place]
    return Counts(tuple(spiked), tuple(dict.fromkeys(exposed)), len(times), len(set(times)), len(exposed))


def _since_spike(history: History, sample: TankSample) -> float | None:
    """Time from the last spike of its tank to a sample [d], None when there was none before."""
    tank = history.tank(sample.tank)
    spikes = [tank.filled_d] if (tank.start_ug_L or 0.0) > 0.0 else []
    for event in history.events:
        if isinstance(event, Add) and event.tank == sample.tank and event.amount_ug > 0.0:
            spikes.append(event.time_d)
    before = [time for time in spikes if time <= sample.time_d]
    return sample.time_d - max(before) if before else None


def _told(experiments: Sequence[Experiment], found: WeightedDraws) -> OwnFit:
    counts = _counts(experiments)
    score = found.resampled(KEPT) if found.effective > 0.0 else found.score
    draws = values_at(BEFORE.parameters, score)
    ends = {name: _quantiles(draws[name]) for name in CALLED}
    unsound = _unsound(found, sum(len(each.samples) for each in experiments))
    results, reasons = [], {}
    for name in CALLED:
        too_few = _too_few(name, counts) or unsound
        result = too_few or _result(name, ends[name], score[:, found.names.index(name)], counts)
        if isinstance(result, str):
            reasons[name] = result
        else:
            results.append(result)
    words = tuple(f"{CALLED[name]}: {_said(name, results, reasons)}" for name in CALLED)
    rest = (found.effective, found.rounds, words, _cautions(experiments))
    names = tuple(each.name for each in experiments)
    return OwnFit(names, counts, tuple(results), reasons, ends, draws, *rest)


def _too_few(name: str, counts: Counts) -> str | None:
    """Why there are too few readings for a parameter."""
    if name == WATER_LOSS and counts.spiked_times < FEWEST_SPIKED:
        return (
            f"readings at {counts.spiked_times} times after a spike, {FEWEST_SPIKED} different ones needed in tanks "
            "without exposed fish"
        )
    if name != WATER_LOSS and len(counts.exposed) < FEWEST_EXPOSED:
        have = len(counts.exposed)
        return f"readings of {have} tanks with fish known to have been exposed, {FEWEST_EXPOSED} needed"
    return None


def _unsound(found: WeightedDraws, samples: int) -> str | None:
    """Why nothing can be said of any parameter."""
    if found.highest < -CONTRADICTION * samples or found.effective == 0.0:
        return "the readings do not fit together: no parameters bring them all near what each says by itself"
    if found.effective < LEAST:
        return f"only {found.effective:.0f} draws carry the weight, {LEAST:.0f} needed: cannot say; take more draws"
    return None


def _result(name: str, ends: tuple[float, float, float], score: FloatArray, counts: Counts) -> Parameter | str:
    low, middle, high = ends
    before = BEFORE.parameters[name]
    open_low, open_high = _open_ends(probability_at(score))
    if open_low and open_high:
        return "the readings do not narrow it: both ends of what was taken as possible beforehand agree"
    how = f"{_where(name, counts)}; {_interval(before, ends, open_low, open_high)}"
    if not open_low and not open_high:
        return measured(before, middle, _spread(before, low, high), how)
    bottom, top = (float(before.quantile(p)) for p in (0.0, 1.0))
    return _between(measured(before, middle, 1.0, how), bottom if open_low else low, top if open_high else high)


def _open_ends(probability: FloatArray) -> tuple[bool, bool]:
    """Whether the lower and the upper end of the law before any reading agree with the readings.

    A parameter's likelihood, averaged over the others, is the density of its draws in probabilities of the law before.
    An end is open where that between it and the outermost 2.5 % of draws is at least OPEN of the density of the densest
    tenth.
    """
    densest = 0.1 / float(np.diff(np.quantile(probability, np.linspace(0.1, 0.9, 9))).min())
    low, _, high = _quantiles(probability)
    return bool(ENDS[0] / low >= OPEN * densest), bool(ENDS[0] / (1.0 - high) >= OPEN * densest)


def _spread(before: Parameter, low: float, high: float) -> float:
    """Spread of the law that `measured` gives, from the central 95 %."""
    if before.unit == "1":
        return (math.log(high / (1.0 - high)) - math.log(low / (1.0 - low))) / (2.0 * NORMAL_95)
    return math.exp(math.log(high / low) / (2.0 * NORMAL_95))


def _between(parameter: Parameter, low: float, high: float) -> Parameter:
    """One end is measured and the other not: even between the two, in the logarithm unless it is a share."""
    if parameter.unit == "1":
        return replace(parameter, median=0.5 * (low + high), spread=0.5 * (high - low), law=UNIFORM)
    return replace(parameter, median=math.sqrt(low * high), spread=math.sqrt(high / low), law=LOG_UNIFORM)


def _interval(before: Parameter, ends: tuple[float, float, float], open_low: bool, open_high: bool) -> str:
    low, _, high = ends
    unit = "" if before.unit == "1" else f" {before.unit}"
    bottom, top = (float(before.quantile(p)) for p in (0.0, 1.0))
    if open_high:
        return f"at least {low:.2g}{unit} (97.5 %); the upper end of {top:.2g}{unit} {_not_measured(before)}"
    if open_low:
        return f"at most {high:.2g}{unit} (97.5 %); the lower end of {bottom:.2g}{unit} {_not_measured(before)}"
    return f"{low:.2g} to {high:.2g}{unit} (95 %)"


def _not_measured(before: Parameter) -> str:
    return "is that of any share and agrees" if before.unit == "1" else "was assumed beforehand and not measured"


def _where(name: str, counts: Counts) -> str:
    spiked = name == WATER_LOSS
    readings, tanks = (counts.spiked_readings, counts.spiked) if spiked else (counts.exposed_readings, counts.exposed)
    names = ", ".join(dict.fromkeys(experiment for experiment, _ in tanks))
    return f"{readings} readings of {_tanks(tanks)} {'spiked' if spiked else 'of exposed fish'} ({names})"


def _tanks(tanks: Sequence[tuple[str, str]]) -> str:
    return "1 tank" if len(tanks) == 1 else f"{len(tanks)} tanks"


def _said(name: str, results: Collection[Parameter], reasons: Mapping[str, str]) -> str:
    if name in reasons:
        return f"not measured: {reasons[name]}"
    return next(result.source.how for result in results if result.name == name)


def _quantiles(values: FloatArray) -> tuple[float, float, float]:
    low, middle, high = np.quantile(values, ENDS).tolist()
    return low, middle, high


def _cautions(experiments: Sequence[Experiment]) -> tuple[str, ...]:
    """What the answer rests on that was not measured."""
    unknown = any(fish.name in each.exposed and not _dosed(fish) for each in experiments for fish in each.history.fish)
    if not unknown:
        return ()
    dose = BEFORE.parameters["absorbed_dose"]
    return (
        f"the dose that exposed fish absorbed was not known: {dose.median:g} mg CN per kg, times or divided by "
        f"{dose.spread:g}, was assumed, and the share that reaches the water depends on it",
    )
