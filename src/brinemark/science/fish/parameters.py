"""Parameters of the kinetics: each with its spread, where it comes from and how it was read; drawn from a seed.

Laws, z standard normal, p uniform on 0..1:
    log-normal     median * spread^z                      spread : geometric standard deviation
    logit-normal   logit^-1(logit(median) + spread z)     spread : standard deviation of the logit; for shares
    log-uniform    median * spread^(2 p - 1)              spread : ratio of the upper end to the median
    uniform        median + spread (2 p - 1)              spread : half of the width, the median at most
    fixed          median
Draws are stratified: of n draws one falls into each n-th of the law (Latin hypercube; Technometrics 21 (1979) 239,
doi 10.1080/00401706.1979.10489755, from memory), each parameter with its own stream, so that replacing one leaves the
draws of all others as they were.
"""

from __future__ import annotations

import math
import zlib
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from brinemark.terms.arrays import FloatArray
from brinemark.terms.errors import Refused

LOG_NORMAL, LOGIT_NORMAL, LOG_UNIFORM, UNIFORM = "log-normal", "logit-normal", "log-uniform", "uniform"
FIXED = "fixed"
LAWS = (LOG_NORMAL, LOGIT_NORMAL, LOG_UNIFORM, UNIFORM, FIXED)
READ, MEMORY, ASSUMED, MEASURED = "read", "from memory", "assumed", "measured here"
WORD_BITS = 64
USED_BITS = 32  # fewer than a float holds, so that no probability rounds to 1


@dataclass(frozen=True, slots=True)
class Source:
    """title, journal, doi : of the publication, "" where there is none; standing : READ (title page, abstract or table
    was read, not always the whole paper), MEMORY, ASSUMED or MEASURED; how : how the number follows from it."""

    title: str
    journal: str
    doi: str
    standing: str
    how: str = ""

    def __str__(self) -> str:
        cited = ", ".join(part for part in (self.title, self.journal, self.doi and f"doi {self.doi}") if part)
        return f"{'; '.join(part for part in (cited, self.how) if part)} ({self.standing})"


@dataclass(frozen=True, slots=True)
class Parameter:
    """One uncertain constant: median and spread [unit; the spread has none] under a law (module docstring)."""

    name: str
    unit: str
    median: float
    spread: float
    law: str
    source: Source

    def quantile(self, probability: FloatArray | float) -> FloatArray:
        """Value that the parameter stays below with this probability; broadcasts."""
        from scipy.special import ndtri

        p = np.asarray(probability, dtype=float)
        if self.law == FIXED:
            return np.full(p.shape, self.median)
        if self.law == LOG_UNIFORM:
            return np.asarray(self.median * self.spread ** (2.0 * p - 1.0))
        if self.law == UNIFORM:
            return np.asarray(self.median + self.spread * (2.0 * p - 1.0))
        if self.law == LOG_NORMAL:
            return np.asarray(self.median * np.exp(math.log(self.spread) * ndtri(p)))
        logit = math.log(self.median / (1.0 - self.median))
        return np.asarray(1.0 / (1.0 + np.exp(-(logit + self.spread * ndtri(p)))))


def check_parameter(parameter: Parameter) -> None:
    """Raises Refused for a law, median or spread that cannot be."""
    name, median, spread, law = parameter.name, parameter.median, parameter.spread, parameter.law
    if law not in LAWS:
        laws = f"{', '.join(LAWS[:-1])} or {LAWS[-1]}"
        raise Refused(f"law {law!r} of {name}", laws, "choose one of them")
    low_open = law != FIXED
    if not math.isfinite(median) or median < 0.0 or (low_open and median == 0.0):
        raise Refused(f"median {median:g} of {name}", "a number above 0 (0 only when fixed)", "correct it")
    if law == LOGIT_NORMAL and median >= 1.0:
        raise Refused(f"median {median:g} of {name}", "a share below 1 under this law", "correct it or fix it")
    if law == UNIFORM and not 0.0 <= spread <= median:
        raise Refused(f"spread {spread:g} of {name}", f"0 to the median {median:g} under the law {law}", "correct it")
    least = 0.0 if law in (LOGIT_NORMAL, UNIFORM) else 1.0
    if law != FIXED and not (math.isfinite(spread) and spread >= least):
        raise Refused(f"spread {spread:g} of {name}", f"{least:g} or more under the law {law}", "correct it")


def replaced(parameters: Mapping[str, Parameter], *new: Parameter) -> dict[str, Parameter]:
    """The parameters with some of them replaced; raises Refused for a name that is not among them or another unit."""
    found = dict(parameters)
    for parameter in new:
        check_parameter(parameter)
        if parameter.name not in found:
            raise Refused(f"parameter {parameter.name!r}", f"one of {', '.join(found)}", "correct the name")
        unit = found[parameter.name].unit
        if parameter.unit != unit:
            raise Refused(f"unit {parameter.unit!r} of {parameter.name}", repr(unit), "convert the value")
        found[parameter.name] = parameter
    return found


def measured(parameter: Parameter, median: float, spread: float, how: str) -> Parameter:
    """The parameter as the user's own experiment has it."""
    return replace(parameter, median=median, spread=spread, law=_own_law(parameter), source=own_source(how))


def own_source(how: str) -> Source:
    return Source("", "", "", MEASURED, how)


def _own_law(parameter: Parameter) -> str:
    return LOGIT_NORMAL if parameter.unit == "1" else LOG_NORMAL


def draw(parameters: Mapping[str, Parameter], count: int, seed: int) -> dict[str, FloatArray]:
    """count stratified draws of each parameter, shape (count,); the same seed gives the same draws."""
    if count < 1:
        raise Refused(f"{count} draws", "at least 1", "raise the number of draws")
    found = {}
    for name, parameter in parameters.items():
        check_parameter(parameter)
        found[name] = parameter.quantile(strata(name, count, seed))
    return found


@lru_cache(maxsize=128)
def strata(name: str, count: int, seed: int) -> FloatArray:
    """One probability in each of count equal parts of 0..1, in random order, a stream for each name.

    From raw words of the generator, which numpy keeps for ever the same (its policy NEP 19), sorted for the order.
    """
    words = np.random.PCG64(np.random.SeedSequence([seed, zlib.crc32(name.encode())])).random_raw(2 * count)
    place = np.argsort(words[:count], kind="stable")
    shift = WORD_BITS - USED_BITS
    inside = ((words[count:] >> np.uint64(shift)).astype(float) + 0.5) / 2.0**USED_BITS
    found = np.asarray((place + inside) / count)
    found.flags.writeable = False  # the same array is handed out again
    return found
