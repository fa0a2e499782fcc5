"""Reading a sample: one of five statements, from tail probabilities that hold their coverage at every level.

Rules, in this order (docs/methods.md, "Reading a sample"); tail = (1 - interval) / 2:

1. cannot say: a prerequisite is missing, a blank gives as little with probability below .001, or no limit exists.
2. not detected: p = P(Y >= y | blank) > alpha; upper limit U with P(Y <= y* | U) = 1 - interval, y* the larger of y
   and a blank's median.
3. at or above: P(Y <= y | c) stays above tail at every level that the standards span; lower limit L with
   P(Y <= y | L) = interval.
4. quantified: two-sided interval with upper / lower <= max_fold and the median inside the working range.
5. detected, amount uncertain: everything else.

An end beyond the highest standard (times the largest dilution) is an extrapolation of the response: an upper one
counts as no end, a lower limit is stated at that standard (docs/decisions/0008).
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from brinemark.science.amount.electrodes import electrode_laws, film_kinds
from brinemark.science.amount.films import film_finding
from brinemark.science.amount.joint import JointReading
from brinemark.science.amount.life_checks import (
    FALL_LIMIT,
    fall_probability,
    without_strange_spike,
)
from brinemark.science.amount.memo import Memo
from brinemark.science.amount.predictive import BatchDraws, DrawMemory
from brinemark.science.amount.remarks import BATCHES_KNOWN, warnings
from brinemark.science.amount.statistic import Observed, SingleReading, Statistic
from brinemark.science.amount.weaknesses import NOT_RISING, signals_rise
from brinemark.terms.amounts import (
    Calibration,
    ConfidenceCurve,
    Detection,
    ElectrodeReadings,
    Estimate,
    FilmFinding,
    LimitValue,
    Reading,
    SamplePortion,
)
from brinemark.terms.settings import DecisionSection

BLANK_LOW = 0.001
APART = 0.05
BEYOND_STANDARDS = (
    "the signal lies above what the highest standard gives: the lower limit is stated at that standard; "
    "dilute the sample, or add higher standards"
)


def read_sample(
    portions: Sequence[SamplePortion],
    calibration: Calibration,
    readings: ElectrodeReadings,
    decision: DecisionSection,
    seed: int,
    memory: DrawMemory | None = None,
) -> Reading:
    """One statement about a sample from the electrodes that read it.

    portions : one per electrode; readings : the present calibration electrodes of (at least) their batches, which
    inform the batches' latents; seed : of the batch draws and of the null simulation; memory : of the draws that
    readings of other samples made.
    """
    return SampleReader.of(calibration, decision, seed, memory).read(portions, readings)


def read_samples(
    samples: Iterable[Sequence[SamplePortion]],
    calibration: Calibration,
    readings: ElectrodeReadings,
    decision: DecisionSection,
    seed: int,
    memory: DrawMemory | None = None,
) -> list[Reading]:
    """Each sample as read_sample reads it, to the last digit; what they have in common is worked out once."""
    reader = SampleReader.of(calibration, decision, seed, memory)
    return [reader.read(portions, readings) for portions in samples]


@dataclass(frozen=True, slots=True, eq=False)
class SampleReader:
    """Who reads samples with one calibration: what it needs to know of that is worked out once.

    rises : whether the calibration's signals do, None = cannot be told; said : warnings about batches.
    """

    calibration: Calibration
    decision: DecisionSection
    seed: int
    memory: DrawMemory
    rises: bool | None
    said: Memo

    @classmethod
    def of(
        cls, calibration: Calibration, decision: DecisionSection, seed: int, memory: DrawMemory | None = None
    ) -> SampleReader:
        """Arguments as in read_sample."""
        rises = signals_rise(calibration.readings)
        return cls(calibration, decision, seed, memory or DrawMemory(), rises, Memo(BATCHES_KNOWN))

    def read(self, portions: Sequence[SamplePortion], readings: ElectrodeReadings) -> Reading:
        """As read_sample."""
        calibration, weak = self.calibration, tuple(self.calibration.weaknesses)
        if self.rises is False:
            return cannot_say(f"the calibration's {NOT_RISING}", weak)
        usable, problems = _sort_out(portions, calibration)
        if not usable:
            return cannot_say("; ".join(problems) or "no electrode has read this sample", weak)
        draws = self.memory.draws(calibration, readings, [p.batch for p in usable], self.seed)
        sound, fallen = _sound_statistic(usable, calibration, draws, self.seed)
        if sound is None:
            return cannot_say("; ".join([*problems, *fallen]), weak)
        statistic, usable = sound.statistic, sound.portions
        span = calibration.highest_level * max(p.dilution for p in usable)
        reading = state(statistic, span, self.decision)
        share = dict(zip((p.electrode for p in usable), reading.shares, strict=True))
        told = (*fallen, *_apart(statistic))
        found = warnings(usable, calibration, readings, draws, self.said)
        return replace(
            reading,
            shares=tuple(share.get(p.electrode, 0.0) for p in portions),
            warnings=(*found, *problems, *told, *reading.warnings),
            agreement=statistic.agreement if isinstance(statistic, JointReading) else None,
            films=_films(sound, calibration, draws),
        )


def observe(portions: Sequence[SamplePortion], calibration: Calibration, draws: BatchDraws) -> tuple[Observed, ...]:
    """Laws and relative signals of the electrodes."""
    scale = draws.scale(calibration)
    return tuple(Observed(*electrode_laws(draws, scale, p), p.dilution, film_kinds(draws, scale, p)) for p in portions)


def statistic_of(observed: Sequence[Observed], seed: int) -> Statistic:
    """The signal itself where there is one reading, else the signed root of all of them."""
    alone = len(observed) == 1 and len(observed[0].laws) == 1
    return SingleReading.of(observed[0]) if alone else JointReading.of(observed, seed)


@dataclass(frozen=True, slots=True, eq=False)
class _Sound:
    """The electrodes whose signals do not fall impossibly, as observed, and their statistic."""

    statistic: Statistic
    portions: list[SamplePortion]
    observed: tuple[Observed, ...]


def _sound_statistic(
    portions: list[SamplePortion], calibration: Calibration, draws: BatchDraws, seed: int
) -> tuple[_Sound | None, list[str]]:
    """The electrodes that a statement may rest on (None: none of them), and the others' fault."""
    observed = observe(portions, calibration, draws)
    statistic = statistic_of(observed, seed)
    best = statistic.best()
    kept, fallen = [], []
    for portion, electrode in zip(portions, observed, strict=True):
        order = [0, *(dip.dip for dip in portion.others)]
        chance = fall_probability(electrode, order, float("inf") if best is None else best, seed)
        if chance < FALL_LIMIT:
            fallen.append(
                f"electrode {portion.electrode} failed: its signal falls from dip to dip as it would with "
                f"probability {chance:.2g} only"
            )
        else:
            kept.append((portion, electrode))
    if not fallen:
        return _Sound(statistic, portions, observed), []
    if not kept:
        return None, fallen
    left = tuple(electrode for _, electrode in kept)
    return _Sound(statistic_of(left, seed), [portion for portion, _ in kept], left), fallen


def _films(sound: _Sound, calibration: Calibration, draws: BatchDraws) -> tuple[FilmFinding, ...]:
    """What is known of each electrode's film, where the calibration allows for defective ones."""
    if not draws.scale(calibration).layout.defects:
        return ()
    best = sound.statistic.best()
    level = float(sound.statistic.search[-1]) if best is None else best
    pairs = zip(sound.portions, sound.observed, strict=True)
    return tuple(film_finding(portion, electrode, level, calibration.spike_level) for portion, electrode in pairs)


def _apart(statistic: Statistic) -> tuple[str, ...]:
    """A sentence when the electrodes disagree."""
    agreement = statistic.agreement if isinstance(statistic, JointReading) else None
    if agreement is None or agreement >= APART:
        return ()
    return (
        f"the electrodes disagree: sound ones lie as far apart with probability {agreement:.2g} only; "
        "look at each electrode's own reading",
    )


def _sort_out(portions: Sequence[SamplePortion], calibration: Calibration) -> tuple[list[SamplePortion], list[str]]:
    """Usable electrodes, and a sentence for each that is not."""
    usable, problems = [], []
    for portion in portions:
        if portion.failure is not None:
            problems.append(f"electrode {portion.electrode}: {portion.failure}")
        elif portion.instrument not in calibration.instruments:
            problems.append(
                f"electrode {portion.electrode}: no calibration for instrument {portion.instrument}; "
                "add blanks and standards measured on it"
            )
        else:
            kept, remark = without_strange_spike(portion, calibration)
            usable.append(kept)
            problems += [remark] if remark else []
    return usable, problems


def cannot_say(reason: str, warnings: tuple[str, ...] = (), curve: ConfidenceCurve | None = None) -> Reading:
    """The statement that says nothing about the amount, and why."""
    return Reading("cannot say", reason, None, None, None, None, None, (), warnings, curve, None)


@dataclass(frozen=True, slots=True, eq=False)
class _Tails:
    """The numbers the rules look at; levels are sample levels, None = no finite level; interval : the two-sided one."""

    statistic: Statistic
    decision: DecisionSection
    span: float
    interval: Estimate

    @property
    def tail(self) -> float:
        return 0.5 * (1.0 - self.decision.interval)

    def end(self, target: float, *, typical: bool = False) -> float | None:
        """Level at which the tail probability falls to target; None beyond the span of the standards."""
        found = self.statistic.typical_falls_to(target) if typical else self.statistic.falls_to(target)
        return found if found is not None and found <= self.span else None


def state(statistic: Statistic, span: float, decision: DecisionSection) -> Reading:
    """The five rules applied to one statistic; span : highest sample level that the standards support."""
    low = statistic.blank_low()
    interval = two_sided(statistic, decision)
    if low < BLANK_LOW:
        reading = cannot_say(
            f"the signal lies below what a blank gives (a blank is as low with probability {low:.2g}); "
            "suspect the film or the contact, and read another electrode"
        )
    else:
        tails = _Tails(statistic, decision, span, interval)
        p_value = 1.0 - float(statistic.ladder[0])
        detection = Detection(p_value <= decision.alpha, p_value, decision.alpha)
        rule = _not_detected if not detection.detected else _amount
        reading = rule(tails, detection)
    return replace(
        reading,
        shares=statistic.shares(),
        curve=confidence_curve(statistic, span),
        two_sided=interval,
        monte_carlo_error=end_errors(statistic, reading.estimate),
    )


def _plain(
    statement: str,
    detection: Detection,
    estimate: Estimate | None,
    reason: str | None = None,
    working: tuple[float, float] | None = None,
) -> Reading:
    """A statement; a one-sided estimate also gives its limit."""
    lower = upper = None
    if estimate is not None and estimate.sides == 1:
        lower = LimitValue(estimate.lower, estimate.level) if estimate.lower else None
        upper = LimitValue(estimate.upper, estimate.level) if estimate.upper is not None else None
    return Reading(statement, reason, detection, estimate, lower, upper, working, (), (), None, None)


def _not_detected(tails: _Tails, detection: Detection) -> Reading:
    level = tails.decision.interval
    upper = tails.end(1.0 - level, typical=True)
    if upper is None:
        reason = (
            "not above a blank, but this electrode does not bound the level either; "
            "read another electrode, and calibrate its batch with a blank and a standard"
        )
        return _plain("cannot say", detection, None, reason)
    estimate = Estimate(tails.statistic.best(), 0.0, upper, level, 1)
    return _plain("not detected", detection, estimate)


def _at_or_above(tails: _Tails, detection: Detection) -> Reading:
    """Only a lower limit; above the highest standard it is stated at the highest standard, and said so."""
    level, statistic = tails.decision.interval, tails.statistic
    found = statistic.falls_to(level)
    beyond = found is None or found > tails.span
    lower = tails.span if beyond else found
    best = statistic.best()
    median = best if best is not None and best <= tails.span else None
    reading = _plain("at or above", detection, Estimate(median, lower, None, level, 1))
    return replace(reading, warnings=(BEYOND_STANDARDS,)) if beyond else reading


def _amount(tails: _Tails, detection: Detection) -> Reading:
    """Rules 3 to 5, for a signal above the critical value."""
    if tails.end(tails.tail) is None:
        return _at_or_above(tails, detection)
    interval = tails.interval
    working = working_range(tails.statistic, tails.span, tails.decision)
    narrow = (
        bool(interval.lower)
        and interval.lower is not None
        and interval.upper is not None
        and interval.upper <= tails.decision.max_fold * interval.lower
    )
    inside = working is not None and interval.median is not None and working[0] <= interval.median <= working[1]
    statement = "quantified" if narrow and inside else "detected, amount uncertain"
    return _plain(statement, detection, interval, working=working)


def two_sided(statistic: Statistic, decision: DecisionSection) -> Estimate:
    """The two-sided inversion interval, whatever the statement; None = no finite end."""
    tail = 0.5 * (1.0 - decision.interval)
    lower = statistic.falls_to(1.0 - tail)
    upper = statistic.falls_to(tail)
    return Estimate(statistic.best(), lower, upper, decision.interval, 2)


def working_range(statistic: Statistic, span: float, decision: DecisionSection) -> tuple[float, float] | None:
    """Lowest and highest level of the longest stretch where typical readings give a fold within max_fold; a stretch
    of a single rung of the ladder is none."""
    tail = 0.5 * (1.0 - decision.interval)
    levels = statistic.search[(statistic.search > 0) & (statistic.search <= span)]
    good = statistic.folds(levels, tail) <= decision.max_fold
    if not good.any():
        return None
    edges = np.flatnonzero(np.diff(np.concatenate([[0], good.astype(int), [0]])))
    starts, stops = edges[::2], edges[1::2]
    longest = int(np.argmax(stops - starts))
    if stops[longest] - starts[longest] < 2:
        return None
    return float(levels[starts[longest]]), float(levels[stops[longest] - 1])


def confidence_curve(statistic: Statistic, span: float) -> ConfidenceCurve:
    """The tail probability against the level, as far as the standards go, and its value on the plateau."""
    inside = statistic.search <= span
    levels, values = statistic.search[inside], statistic.ladder[inside]
    return ConfidenceCurve(levels, values, float(statistic.below(np.array([np.inf]))[0]))


def end_errors(statistic: Statistic, estimate: Estimate | None) -> tuple[float, float] | None:
    """Monte Carlo standard errors of the lower and upper end [level]; 0 for an end at 0 or an open one."""
    if estimate is None:
        return None
    errors = []
    for end in (estimate.lower, estimate.upper):
        if not end:
            errors.append(0.0)
            continue
        around = statistic.below(np.array([0.95 * end, 1.05 * end]))
        slope = abs(float(around[1] - around[0])) / (0.1 * end)
        errors.append(statistic.monte_carlo_sd(end) / slope if slope > 0 else 0.0)
    return errors[0], errors[1]
