"""Signal definitions to try: every quantity above every baseline in every window, the present one first."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import product
from typing import Any

from brinemark.steps.identity import signal_definition
from brinemark.terms.curves import BAND, CurveDefinition
from brinemark.terms.errors import Refused
from brinemark.terms.settings import SIGNAL_SECTIONS, BandSection, CurveSection, SignalSection, family

Ends = tuple[float, float]
QUANTITIES = ("height", "charge")
BASELINES = ("chord", "polynomial", "whittaker")
PRESENT, NAMED, OWN, PROPOSED = "present", "named", "own", "proposed"
MOST = 60


@dataclass(frozen=True, slots=True)
class Wanted:
    """What a user names. Quantities, baselines and windows left empty are tried in full; sweeps and cycles left empty
    stay those of the logbook's definition, since all of them in every window would be very many definitions."""

    quantities: tuple[str, ...] = ()
    baselines: tuple[str, ...] = ()
    windows: tuple[Ends, ...] = ()
    sweeps: tuple[str, ...] = ()
    cycles: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Candidate:
    """A definition to try; window : "own" window of the logbook, "named" or "proposed"; present : the logbook's."""

    section: SignalSection
    window: str = OWN
    present: bool = field(default=False)

    @property
    def curve(self) -> CurveDefinition:
        return signal_definition(self.section)


def candidates_of(present: SignalSection, proposed: Sequence[Ends], wanted: Wanted) -> tuple[Candidate, ...]:
    """All definitions to try; the present one is always the first. Raises Refused for what cannot be tried."""
    _check(present, wanted)
    found: dict[str, Candidate] = {}
    _put(found, Candidate(present, OWN, True))
    for window, origin in _windows(present, proposed, wanted):
        for baseline in wanted.baselines or BASELINES:
            for section in _sections(present, window, baseline, wanted):
                _put(found, Candidate(section, origin))
    if len(found) > MOST:
        raise Refused(f"{len(found)} definitions", f"at most {MOST} at a time", "name fewer windows")
    return tuple(found.values())


def _put(found: dict[str, Candidate], one: Candidate) -> None:
    found.setdefault(json.dumps(one.section.model_dump(mode="json"), sort_keys=True), one)


def _check(present: SignalSection, wanted: Wanted) -> None:
    possible = QUANTITIES if isinstance(present, CurveSection) else (BAND,)
    for name in wanted.quantities:
        if name not in possible:
            kind = "voltammograms" if isinstance(present, CurveSection) else "spectra"
            raise Refused(f"quantity {name!r} of {kind}", " or ".join(possible), "name another quantity")
    if (wanted.sweeps or wanted.cycles) and not isinstance(present, CurveSection):
        raise Refused("a sweep or cycle of spectra", "voltammograms", "leave it out: a spectrum has neither")
    for low, high in wanted.windows:
        if not low < high:
            raise Refused(f"a window from {low:g} to {high:g}", "low below high", "turn the window round")


def _windows(present: SignalSection, proposed: Sequence[Ends], wanted: Wanted) -> list[tuple[Ends, str]]:
    if wanted.windows:
        return [(window, NAMED) for window in wanted.windows]
    own = own_window(present)
    return [*([(own, OWN)] if own else []), *((window, PROPOSED) for window in proposed)]


def own_window(present: SignalSection) -> Ends | None:
    """The window of a definition; None for a difference, which has none."""
    if isinstance(present, CurveSection):
        return present.window_V
    return present.window_nm if isinstance(present, BandSection) else None


def _sections(present: SignalSection, window: Ends, baseline: str, wanted: Wanted) -> list[SignalSection]:
    if isinstance(present, CurveSection):
        given = present.model_dump(mode="json") | {"window_V": list(window), "baseline": baseline}
        each = product(
            wanted.sweeps or (present.sweep,), wanted.cycles or (present.cycle,), wanted.quantities or QUANTITIES
        )
        return [_section(given | {"sweep": s, "cycle": _cycle(c), "quantity": q}) for s, c, q in each]
    return [_section({"quantity": BAND, "window_nm": list(window), "baseline": baseline, "against": present.against})]


def _cycle(said: str | int) -> str | int:
    """A cycle as the settings write it: a number where it is one."""
    return int(said) if isinstance(said, str) and said.isdecimal() else said


def _section(given: dict[str, Any]) -> SignalSection:
    return SIGNAL_SECTIONS[family(given)].model_validate(given)


def definition_words(section: SignalSection) -> str:
    """For example "height above a chord, 0.40 to 0.76 V, anodic, cycle last"."""
    if isinstance(section, CurveSection):
        where = f"{_volts(section.window_V[0])} to {_volts(section.window_V[1])} V"
        return f"{section.quantity} above {_a(section.baseline)}, {where}, {section.sweep}, cycle {section.cycle}"
    against = ", against the pre-scan" if section.against == "prescan" else ""
    if not isinstance(section, BandSection):
        first, second = section.wavelengths_nm
        return f"difference of {first:g} and {second:g} nm{against}"
    low, high = section.window_nm
    return f"band above {_a(section.baseline)}, {low:g} to {high:g} nm{against}"


def _volts(value: float) -> str:
    """Two decimals, more where it has more."""
    text = f"{value:.2f}"
    return text if abs(float(text) - value) < 1e-9 else f"{value:.6g}"


def _a(baseline: str) -> str:
    return {"whittaker": "a whittaker curve"}.get(baseline, f"a {baseline}")


def settings_block(section: SignalSection) -> str:
    """The [signal] table of logbook.toml for a definition."""
    given: dict[str, Any] = section.model_dump(mode="json")
    return "\n".join(["[signal]", *(f"{key} = {json.dumps(value)}" for key, value in given.items())])
