"""Which dilution of a sample to read next, and which to read together, by what outlook.py expects of each."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from brinemark.science.amount.electrodes import electrode_laws, film_kinds
from brinemark.science.amount.law import DipLaw
from brinemark.science.amount.normal import normal_quantile
from brinemark.science.amount.one_more import Known
from brinemark.science.amount.reading import observe
from brinemark.science.amount.scale import closing_spikes
from brinemark.science.amount.statistic import Observed
from brinemark.science.planning.outlook import Aim, Bench, Deviates, Levels, Outlook, Part, mean_K
from brinemark.terms.amounts import Calibration, OtherDip, SamplePortion

DILUTIONS = (1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0, 200.0)
"""What common pipettes and flasks give (common practice, no source)."""
HIGHEST_SUPPOSED = 250.0
"""Largest level that an unread sample is supposed to have, in K: some hundred ug/L (our own choice, and said)."""
LEAST_GAIN = 0.1
"""Information below which another electrode is not worth it [nat]: it would narrow the interval by a tenth."""
SIGMAS, ALIKE = 2.0, 0.02
"""Standard errors, and information [nat], within which choices are alike: the latter is a fiftieth of a width, and what
the draws that the moments rest on leave open (measured: differences move by .018 at most with 1,024 of them)."""
MOST_TOGETHER = 4
DROP_mL, EQUAL = 1e-9, 1e-9  # sums of volumes are not exact, nor is information
REACHED, LITTLE = "the interval is as narrow as wanted", "no choice would narrow the interval by a tenth"
READ_ONCE, SPIKED, RISEN = "read once", "with a closing spike", "with an addition and a closing spike"


@dataclass(frozen=True, slots=True, eq=False)
class Choice:
    """A fresh electrode and how it would be used. way : READ_ONCE, SPIKED or RISEN; portion : before it has read;
    rel_u : relative standard uncertainty of its dilution; sample_mL : of the sample that it takes, 0 = not counted."""

    way: str
    portion: SamplePortion
    rel_u: float = 0.0
    sample_mL: float = 0.0

    @property
    def dilution(self) -> float:
        return self.portion.dilution


@dataclass(frozen=True, slots=True, eq=False)
class Plan:
    """Outlooks of the choices, in their order. best : place of the one that tells most; alike : places of those within
    the Monte Carlo error of it; stop : REACHED, LITTLE, or None while another electrode is worth it."""

    outlooks: tuple[Outlook, ...]
    best: int
    alike: tuple[int, ...]
    stop: str | None


@dataclass(frozen=True, slots=True, eq=False)
class Together:
    """Choices to be read together (places, rising; one may be there twice), and what they tell."""

    places: tuple[int, ...]
    outlook: Outlook


@dataclass(frozen=True, slots=True, eq=False)
class Planner:
    """Choices for one sample, ready to be compared; parts : of the choices; highest : level that is supposed."""

    bench: Bench
    choices: tuple[Choice, ...]
    parts: tuple[Part, ...]
    highest: float

    @classmethod
    def of(cls, known: Known, choices: Sequence[Choice], highest: float | None = None) -> Planner:
        """known : with the portions that have read the sample, or none; highest : level that it may have at most, None
        = HIGHEST_SUPPOSED K, or what the standards and the dilutions in use span where that is more."""
        calibration, decision = known.calibration, known.decision
        usable = [portion for portion in known.portions if known.usable(portion)]
        draws = known.draws(choices[0].portion.batch)
        new = [_observed(choice, known) for choice in choices]
        past = observe(usable, calibration, draws)
        K = mean_K(new)
        span = calibration.highest_level * max(one.dilution for one in (*new, *past))
        reach = calibration.highest_level * max((one.dilution for one in past), default=1.0)
        highest = highest or max(HIGHEST_SUPPOSED * K, reach)
        levels = Levels.of(K, highest, span)
        aim = Aim(normal_quantile(0.5 * (1.0 + decision.interval)), decision.max_fold, calibration.highest_level)
        seen = tuple(Part.of(one, levels) for one in past)
        bench = Bench(levels, seen, Deviates.draw(calibration.seed), aim)
        return cls(bench, tuple(choices), tuple(Part.of(one, levels) for one in new), highest)

    def next(self, reached: bool = False) -> Plan:
        """The single choice that tells most. reached : whether the interval is as narrow as wanted already."""
        outlooks = tuple(self.bench.outlook([part]) for part in self.parts)
        best = max(range(len(outlooks)), key=lambda place: outlooks[place].information)
        apart = [outlooks[best].differs(one) for one in outlooks]
        alike = tuple(n for n, (more, error) in enumerate(apart) if n != best and more <= max(ALIKE, SIGMAS * error))
        little = outlooks[best].information < LEAST_GAIN
        return Plan(outlooks, best, alike, REACHED if reached else LITTLE if little else None)

    def together(self, count: int, water_mL: float = math.inf) -> Together | None:
        """The best of count electrodes that are read together; None where the water is not enough for any.

        From every dilution, used as the best single choice is, the others are added one by one and then exchanged one
        by one; the best of these sets is exchanged among all choices, until none is bettered.
        """
        search = _Search(self, count, water_mL, {})
        alone = search.best([(place,) for place in range(len(self.parts))])
        if alone is None:
            return None
        alike = [n for n, choice in enumerate(self.choices) if choice.way == self.choices[alone[0]].way]
        grown = {found for start in alike if (found := search.grown((start,), alike)) is not None}
        best = search.best(sorted(grown))
        if best is None:
            return None
        places = search.exchanged(best, range(len(self.parts)))
        return Together(places, search.outlook(places))


@dataclass(frozen=True, slots=True, eq=False)
class _Search:
    """The search for a set of count choices. known : outlooks of the sets that were weighed."""

    planner: Planner
    count: int
    water_mL: float
    known: dict[tuple[int, ...], Outlook]

    def grown(self, places: tuple[int, ...], among: Sequence[int]) -> tuple[int, ...] | None:
        """A set that starts with these places, the rest added one by one and then exchanged."""
        while len(places) < self.count:
            added = self.best([_with(places, place) for place in among])
            if added is None:
                return None
            places = added
        return self.exchanged(places, among) if self._possible(places) else None

    def exchanged(self, places: tuple[int, ...], among: Sequence[int]) -> tuple[int, ...]:
        """The set with one place after another exchanged for the best, until none is bettered."""
        while True:
            left = (places[:n] + places[n + 1 :] for n in range(len(places)))
            found = self.best([_with(rest, place) for rest in left for place in among])
            if found is None or self._told(found) <= self._told(places) + EQUAL:
                return places
            places = found

    def best(self, sets: Sequence[tuple[int, ...]]) -> tuple[int, ...] | None:
        """The set that tells most, of those that leave water enough for the electrodes to come."""
        possible = [one for one in dict.fromkeys(sets) if self._possible(one)]
        return max(possible, key=self._told, default=None)

    def outlook(self, places: tuple[int, ...]) -> Outlook:
        if places not in self.known:
            self.known[places] = self.planner.bench.outlook([self.planner.parts[place] for place in places])
        return self.known[places]

    def _told(self, places: tuple[int, ...]) -> float:
        return self.outlook(places).information

    def _possible(self, places: tuple[int, ...]) -> bool:
        choices = self.planner.choices
        least = min(choice.sample_mL for choice in choices)
        taken = math.fsum(choices[place].sample_mL for place in places)
        return taken + (self.count - len(places)) * least <= self.water_mL + DROP_mL


def _with(places: tuple[int, ...], place: int) -> tuple[int, ...]:
    return tuple(sorted((*places, place)))


def _observed(choice: Choice, known: Known) -> Observed:
    """The laws of a choice's electrode. The relative error of its dilution moves its cell level as an error of its own
    ln K would, and is counted as one; on what an addition brings it has no hold, which is left out."""
    draws = known.draws(choice.portion.batch)
    scale = draws.scale(known.calibration)
    laws, signals = electrode_laws(draws, scale, choice.portion)
    kinds = film_kinds(draws, scale, choice.portion)
    if choice.rel_u > 0.0:
        laws = tuple(_widened(law, choice.rel_u) for law in laws)
        kinds = tuple(replace(kind, laws=tuple(_widened(law, choice.rel_u) for law in kind.laws)) for kind in kinds)
    return Observed(laws, signals, choice.dilution, kinds)


def _widened(law: DipLaw, rel_u: float) -> DipLaw:
    own = np.sqrt(law.electrode.own_K_sd**2 + rel_u**2)
    return replace(law, electrode=replace(law.electrode, own_K_sd=own))


def used(fresh: SamplePortion, rises: Sequence[float]) -> SamplePortion:
    """A fresh electrode with these additions after its main reading, in place of its own; rises : of the cell level, of
    each addition alone [level unit]. A pre-scan stays."""
    share = 1.0 / fresh.dilution if fresh.share is None else fresh.share
    before = tuple(dip for dip in fresh.others if dip.dip < 0)
    risen = np.cumsum(rises).tolist()
    held = fresh.added_u, fresh.stock_parts, fresh.salinity
    after = (OtherDip(n, 0.0, fresh.u, share, fresh.added + rise, *held) for n, rise in enumerate(risen, 1))
    return replace(fresh, others=(*before, *after))


def spike_rise(calibration: Calibration) -> float | None:
    """What a closing spike brings to the cell: the median of the calibration's, else the level from which a reading
    counts as one; None where it knows of none."""
    spikes = closing_spikes(calibration.readings, calibration.spike_level)
    if spikes.any():
        return float(np.median(calibration.readings.level[spikes]))
    return calibration.spike_level if math.isfinite(calibration.spike_level) else None


def middle_rise(calibration: Calibration) -> float:
    """An addition that brings the cell about to K, to one digit: the typical K of the calibration."""
    K = math.exp(float(np.median(calibration.draws[:, calibration.names.index("ln_K")])))
    return float(f"{K:.1g}")
