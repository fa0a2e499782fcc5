"""Whether a run counts: its blanks, check standards and spiked waters against limits (docs/decisions/0020).

A blank passes while it is an ordinary blank by its own predictive law, known without it. A control of level E read as
r recovers r/E; a spiked water that held w before recovers (r - w)/(E - w).

While a logbook has too few controls of its own, limits are the starting ones of the settings, and a control fails only
when its whole two-sided interval lies beyond them: guarded rejection in the sense of JCGM 106:2012 section 8.3.3
(number of the section from memory), since one uneven electrode knows a level to a factor of two or three. Once there
are enough earlier controls, the limits are those within which one further control falls with probability .9973 (three
standard deviations of a normal chart), and the control's estimate itself is compared:

    exp( m +- t(.99865; nu) s sqrt(1 + pi/(2 n)) )     m, s : median and 1.4826 MAD of n logarithms of recovery
    nu = .3674 (n - 1)

Median and MAD keep a run that failed from widening the limits for the next; nu is the efficiency of the MAD against a
standard deviation under normality (Journal of the American Statistical Association 88 (1993) 1273,
doi 10.1080/01621459.1993.10476408) times the degrees of freedom, our own use of it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from brinemark.science.amount.normal import median
from brinemark.science.distributions import student_quantile
from brinemark.terms.amounts import Reading

BLANK, CHECK, SPIKED = "blank", "check standard", "spiked water"
CHART = 0.99865
MAD_TO_SD = 1.482602
MAD_EFFICIENCY = 0.3674


@dataclass(frozen=True, slots=True)
class ControlLimits:
    """Recoveries from low to high pass; earlier : how many controls they come from, 0 = the starting limits.

    remark : why the starting limits stand although there are earlier controls, "" otherwise.
    """

    low: float
    high: float
    earlier: int = 0
    remark: str = ""

    def __str__(self) -> str:
        source = f"from {self.earlier} earlier controls" if self.earlier else "starting limits"
        return f"limits {percent(self.low)} to {percent(self.high)}, {source}"


@dataclass(frozen=True, slots=True)
class ControlFinding:
    """What one blank or control says of its run.

    kind : BLANK, CHECK or SPIKED; expected [level unit]; value : recovery, for level 0 the probability of such a
    signal or one further out, None = none; lower, upper : ends of the recovery, None = no end or no recovery;
    limits, least : limits of the recovery, or for level 0 the least probability; passed : None = not to be judged.
    """

    kind: str
    name: str
    expected: float
    value: float | None
    lower: float | None
    upper: float | None
    limits: ControlLimits | None
    passed: bool | None
    sentence: str
    least: float | None = None


@dataclass(frozen=True, slots=True)
class RunDecision:
    """accepted : None when no control could be judged; reason : why it is not accepted, or what is missing."""

    accepted: bool | None
    reason: str | None


def percent(part: float) -> str:
    """A recovery as it is printed."""
    return "no end" if math.isinf(part) else f"{100 * part:.3g} %"


def sittings(hours: Sequence[float], longest: float) -> tuple[int, ...]:
    """Which sitting each moment belongs to: one begins with its first moment and holds what follows within longest.

    hours : moments in any order, counted from anywhere [h]; the answer numbers sittings in order of time.
    """
    number, begin = [0] * len(hours), -math.inf
    count = -1
    for place in sorted(range(len(hours)), key=lambda one: hours[one]):
        if hours[place] - begin > longest:
            begin, count = hours[place], count + 1
        number[place] = count
    return tuple(number)


def control_limits(recoveries: Sequence[float], starting: tuple[float, float], fewest: int) -> ControlLimits:
    """Limits for one further control: from earlier recoveries once there are fewest of them, else the starting ones.

    recoveries : of earlier controls; 0 and inf are recoveries without an end. Starting limits stay when the median
    lies beyond them (a bias is not licensed by its age) or when the recoveries do not scatter.
    """
    count = len(recoveries)
    if count < fewest:
        return ControlLimits(*starting)
    with np.errstate(divide="ignore"):
        logs = np.log(np.asarray(recoveries, dtype=float))
    middle = float(median(logs))
    if not starting[0] <= math.exp(middle) <= starting[1]:
        return ControlLimits(*starting, remark=f"{count} earlier controls centre on {percent(math.exp(middle))}")
    scale = MAD_TO_SD * float(median(np.abs(logs - middle)))
    if not 0.0 < scale < math.inf:
        return ControlLimits(*starting, remark=f"{count} earlier controls have no scatter to go by")
    reach = student_quantile(CHART, MAD_EFFICIENCY * (count - 1)) * scale * math.sqrt(1.0 + 0.5 * math.pi / count)
    return ControlLimits(math.exp(middle - reach), math.exp(middle + reach), count)


@dataclass(frozen=True, slots=True)
class Expected:
    """What a control is known to hold, and what its water held before the addition [level unit]."""

    level: float
    own: float = 0.0

    @property
    def rise(self) -> float:
        return self.level - self.own


def recovery_of(reading: Reading, expected: Expected) -> float | None:
    """Rise read over rise expected; inf when the reading has no finite estimate; None when nothing was read."""
    ends = reading.two_sided
    if ends is None or reading.curve is None or expected.rise <= 0:
        return None
    return math.inf if ends.median is None else (ends.median - expected.own) / expected.rise


def level_zero_finding(kind: str, name: str, reading: Reading, probability: float) -> ControlFinding:
    """A blank, or a control of level 0: fails when a blank gives such a signal, to either side, less often.

    reading : of this electrode as if it were a sample, without it among the calibration electrodes.
    """
    if reading.curve is None:
        return _unjudged(kind, name, 0.0, reading, probability)
    below = float(reading.curve.probability[0])
    tail, side = min((1.0 - below, "high"), (below, "low"))
    passed = tail >= probability
    sentence = f"{kind} {name}: a blank is as {side} with probability {tail:.2g}, limit {probability:g}"
    return ControlFinding(kind, name, 0.0, tail, None, None, None, passed, sentence, probability)


def recovery_finding(
    kind: str, name: str, expected: Expected, reading: Reading, limits: ControlLimits
) -> ControlFinding:
    """A control of a level above that of its water against limits of recovery."""
    value = recovery_of(reading, expected)
    if value is None:
        return _unjudged(kind, name, expected.level, reading)
    lower, upper = ((end - expected.own) / expected.rise for end in _ends(reading))
    near, far = (value, value) if limits.earlier else (lower, upper)
    passed = far >= limits.low and near <= limits.high
    level = 0.95 if reading.two_sided is None else reading.two_sided.level
    ends = f"{100 * level:g} % interval {percent(lower)} to {percent(upper)}"
    sentence = f"{kind} {name} recovered {_recovered(value)} ({ends}; {limits})"
    return ControlFinding(
        kind, name, expected.level, _finite(value), _finite(lower), _finite(upper), limits, passed, sentence
    )


def decide(findings: Sequence[ControlFinding]) -> RunDecision:
    """A run counts when at least one control could be judged and nothing that could be judged has failed."""
    failed = [one.sentence for one in findings if one.passed is False]
    if failed:
        return RunDecision(False, "; ".join(failed))
    if any(one.passed and one.kind != BLANK for one in findings):
        return RunDecision(True, None)
    unjudged = [one.sentence for one in findings if one.passed is None and one.kind != BLANK]
    blanks = sum(one.kind == BLANK for one in findings)
    what = "; ".join(unjudged) if unjudged else f"it holds no control ({blanks} {'blank' if blanks == 1 else 'blanks'})"
    return RunDecision(None, what)


def _ends(reading: Reading) -> tuple[float, float]:
    """Ends of the two-sided interval with what a missing one means: beyond every level, or below all of them."""
    ends, curve = reading.two_sided, reading.curve
    if ends is None or curve is None:
        return 0.0, math.inf
    tail, at_zero = 0.5 * (1.0 - ends.level), float(curve.probability[0])
    lower, upper = ends.lower, ends.upper
    if lower is None:
        lower = math.inf if at_zero > 1.0 - tail else 0.0
    if upper is None:
        upper = 0.0 if at_zero < tail else math.inf
    return lower, upper


def _recovered(value: float) -> str:
    return "more than can be read" if math.isinf(value) else percent(value)


def _finite(value: float) -> float | None:
    return value if math.isfinite(value) else None


def _unjudged(kind: str, name: str, expected: float, reading: Reading, least: float | None = None) -> ControlFinding:
    sentence = f"{kind} {name} tells nothing: {reading.reason or 'nothing could be read'}"
    return ControlFinding(kind, name, expected, None, None, None, None, None, sentence, least)
