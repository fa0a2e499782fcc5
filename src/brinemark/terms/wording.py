"""The statement of a reading as one sentence: the same words on a terminal, in a notebook and on every chart."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from brinemark.terms.amounts import Estimate, FilmFinding, Reading

SIGNIFICANT = 3
MEANINGS = {
    "gain": "gain: full rise of the signal",
    "K": "K: level at half of the rise",
    "h": "h: exponent of the level",
    "floor": "floor: blank over full rise",
}
"""What the population's main parameters are called."""
DOUBTFUL = 0.05
"""Probability of a defective film from which on its electrode is named."""
_SIGNAL_OF = {"prescan": "pre-scan", "zero": "pre-scan at the wave's place"}


def signal_of(role: str) -> str:
    """What a signal was read from; further covariates carry their name behind the role."""
    kind, _, covariate = role.partition(" ")
    return f"pre-scan, {covariate}" if covariate else _SIGNAL_OF.get(kind, "curve")


def probability(value: float, simulated: bool = False) -> str:
    """p as it is written in a sentence; simulations cannot tell p values below their own number apart."""
    if simulated and value < 1e-3:
        return "p at most 0.001"
    return "p below 0.0001" if value < 1e-4 else f"p = {value:.2g}"


def opened(text: str) -> str:
    """Words as a sentence begins, with a capital."""
    return text[:1].upper() + text[1:]


def as_sentence(text: str) -> str:
    """Words as a sentence, with a full stop unless they have one."""
    return opened(text) if text.endswith(".") else f"{opened(text)}."


def counted(count: int, noun: str, plural: str | None = None) -> str:
    """1 batch, 2 batches."""
    many = plural or (f"{noun}es" if noun.endswith("ch") else f"{noun}s")
    return f"{count} {noun if count == 1 else many}"


def amount(value: float) -> str:
    """A level with three significant digits, written out: 1500 and not 1.5e+03."""
    text = f"{value:.{SIGNIFICANT}g}"
    return f"{float(text):.0f}" if 1e3 <= abs(value) < 1e7 and "e" in text else text


def statement_words(reading: Reading, unit: str, analyte: str = "thiocyanate") -> str:
    """For example "thiocyanate 2.1 ug/L (95 % interval 1.4 to 3.2)"; only ends that the reading states."""
    estimate = reading.estimate
    if reading.statement == "not detected" and reading.upper_limit is not None:
        limit = reading.upper_limit
        return f"{analyte} not detected, less than {amount(limit.value)} {unit} ({_percent(limit.level)}, one-sided)"
    if reading.statement == "at or above" and reading.lower_limit is not None:
        limit = reading.lower_limit
        return f"{analyte} at or above {amount(limit.value)} {unit} ({_percent(limit.level)}, one-sided)"
    if estimate is None or reading.statement == "cannot say":
        return f"cannot say ({analyte})" if analyte else "cannot say"
    if reading.statement == "quantified" and estimate.median is not None:
        return f"{analyte} {amount(estimate.median)} {unit} ({_interval(estimate)})"
    if not estimate.lower and estimate.upper is not None:
        return f"{analyte} present, less than {amount(estimate.upper)} {unit} ({_percent(estimate.level)})"
    return f"{analyte} detected, amount uncertain ({_interval(estimate)} {unit})"


def _interval(estimate: Estimate) -> str:
    lower = amount(estimate.lower or 0.0)
    if estimate.upper is None:
        return f"{_percent(estimate.level)}, from {lower} up, no upper end"
    return f"{_percent(estimate.level)} interval {lower} to {amount(estimate.upper)}"


def _percent(level: float) -> str:
    return f"{100 * level:g} %"


def film_words(found: FilmFinding) -> str:
    """What is known of an electrode's film, in one sentence: doubtful, cleared and by what, or neither."""
    name, usual = found.electrode, f"{found.usual_low:.2g} and {found.usual_high:.2g}"
    if found.kind is not None:
        share = found.low if found.kind == "low gain" else found.high
        return f"electrode {name} answers like a film with {found.kind} (probability {share:.2g})"
    if not found.looked_at:
        covariate = "; its covariate moves the gain that is expected and cannot clear it" if found.covariate else ""
        return (
            f"nothing shows that the film of electrode {name} is sound: low gain with probability {found.low:.2g}, "
            f"high gain {found.high:.2g}, as of all films{covariate}; a pre-scan read at the analyte's own place and a "
            "closing spike would"
        )
    told = f"low gain {found.low:.2g}, high gain {found.high:.2g} (of all films {usual})"
    names = found.cleared_by or found.looked_at
    one = len(names) == 1
    verb = ("clears" if one else "clear") if found.cleared_by else f"{'does' if one else 'do'} not clear"
    return f"the {' and the '.join(names)} of electrode {name} {verb} its film: {told}"
