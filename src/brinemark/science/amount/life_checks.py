"""Whether an electrode's readings can belong to one sound life: spikes like the standards', signals that rise."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from brinemark.science.amount.electrodes import closing_spike, electrode_laws
from brinemark.science.amount.joint import SimulatedLives
from brinemark.science.amount.predictive import DrawMemory
from brinemark.science.amount.scale import closing_spikes, drift_is_measured, scale_of_calibration
from brinemark.science.amount.statistic import Observed
from brinemark.terms.amounts import Calibration, ElectrodeReadings, OtherDip, SamplePortion
from brinemark.terms.arrays import IntArray

FALL_LIMIT = 0.001
FALL_SIMULATIONS = 8000
SPIKE_ALIKE = 0.10  # relative difference of the rise from the nearest of the standards' spikes
KEPT_ALIKE = 0.02  # difference of what the volume of the spike leaves of the cell's content
NOT_MEASURED = (
    "drift not measured: fewer than 4 standards or blanks of 2 batches were taken through several dips, "
    "so the labelled default (10 % between dips) stands for it"
)


@dataclass(frozen=True, slots=True)
class Spike:
    """A closing spike. rise : of the level since the main reading [level unit]; stocks : what the cell holds more of
    than at the dip before; kept : volume of the cell before additions over its volume now [1]."""

    rise: float
    stocks: frozenset[str]
    kept: float

    def is_like(self, other: Spike) -> bool:
        """Of the same stocks (a stock that only one of them names is another one), to the same level and volume."""
        alike = abs(other.rise / self.rise - 1.0) <= SPIKE_ALIKE and abs(other.kept - self.kept) <= KEPT_ALIKE
        return alike and other.stocks == self.stocks


def without_strange_spike(portion: SamplePortion, calibration: Calibration) -> tuple[SamplePortion, str | None]:
    """The portion, without its closing spike when that is unlike the standards' spikes, and a sentence on it."""
    dip = closing_spike(portion.others, calibration.spike_level)
    known = [] if dip is None else spikes_of(calibration.readings, calibration.spike_level)
    if dip is None or not known:
        return portion, None
    spike = _spike_of(portion, dip)
    if any(spike.is_like(one) for one in known):
        return portion, None
    others = tuple(other for other in portion.others if other is not dip)
    theirs = "; ".join(sorted({_words(one) for one in known}))
    return replace(portion, others=others), (
        f"electrode {portion.electrode} is read without its closing spike: it added {_words(spike)}, "
        f"the standards' spikes {theirs}; spike samples as the standards were spiked"
    )


def _words(spike: Spike) -> str:
    source = f" of {', '.join(sorted(spike.stocks))}" if spike.stocks else " of a stock without a name"
    volume = "" if spike.kept == 1.0 else f" in {1.0 / spike.kept - 1.0:.2g} of the volume"
    return f"{spike.rise:.4g}{source}{volume}"


def _spike_of(portion: SamplePortion, dip: OtherDip) -> Spike:
    share = 1.0 / portion.dilution if portion.share is None else portion.share
    kept = dip.share / share if share > 0 else 1.0
    before = max((one for one in portion.others if 0 < one.dip < dip.dip), key=lambda one: one.dip, default=portion)
    stocks = _grown(dict(before.stock_parts), dict(dip.stock_parts))
    return Spike(dip.added - kept * portion.added, stocks, kept)


def spikes_of(readings: ElectrodeReadings, spike_level: float) -> list[Spike]:
    """The closing spikes among calibration electrodes."""
    found = []
    for index in np.flatnonzero(closing_spikes(readings, spike_level)):
        mine = np.flatnonzero(readings.unit == readings.unit[index])
        mine = mine[(readings.dip[mine] >= 0) & (readings.dip[mine] < readings.dip[index])]
        mine = mine[np.argsort(readings.dip[mine])]
        rise, before = float(readings.level[index]), np.zeros(len(readings.stocks))
        if mine.size:
            rise -= float(readings.kept[index] * readings.level[mine[0]])
            before = readings.stock_part[:, mine[-1]]
        parts = (
            dict(zip(readings.stocks, one.tolist(), strict=True)) for one in (before, readings.stock_part[:, index])
        )
        found.append(Spike(rise, _grown(*parts), float(readings.kept[index])))
    return found


def _grown(before: Mapping[str, float], now: Mapping[str, float]) -> frozenset[str]:
    """Stocks of which there is more than before: the others are still there from earlier, or thinned out."""
    return frozenset(name for name, part in now.items() if part > before.get(name, 0.0) * (1.0 + 1e-9))


def unmeasured_drift(portions: Sequence[SamplePortion], calibration: Calibration) -> str | None:
    """A sentence when readings beside the main one lean on defaults."""
    if not any(portion.others for portion in portions):
        return None
    readings = calibration.readings
    kinds = {dip.dip > 0 for portion in portions for dip in portion.others}
    for after in kinds:
        if not drift_is_measured(readings, readings.dip > 0 if after else readings.dip < 0):
            return NOT_MEASURED
    return None


def fall_probability(electrode: Observed, order: Sequence[int], level: float, seed: int) -> float:
    """Probability, at a sample level, of the signal falling as much as it did between any two neighbouring dips.

    order : dip numbers of the electrode's readings; simulated, FALL_SIMULATIONS lives; times the number of falls
    (Bonferroni); 1 when nothing falls. Compared on a scale that is logarithmic above the noise.
    """
    if len(order) < 2:
        return 1.0
    places = np.argsort(order)
    noise = [float(np.sqrt(law.variance.mean())) for law in electrode.laws]
    seen = np.array([np.arcsinh(y / s) for y, s in zip(electrode.signals, noise, strict=True)])[places]
    falls = np.flatnonzero(np.diff(seen) < 0)
    if falls.size == 0:
        return 1.0
    lives = SimulatedLives.draw([electrode], seed, FALL_SIMULATIONS).signals(level)[0]
    simulated = np.arcsinh(lives / np.array(noise))[:, places]
    steps = np.diff(simulated, axis=1)
    smallest = min(float((steps[:, i] <= seen[i + 1] - seen[i]).mean()) for i in falls)
    return min(1.0, smallest * falls.size)


def falls_of(calibration: Calibration, seed: int, memory: DrawMemory | None = None) -> tuple[str, ...]:
    """A sentence on every calibration electrode whose signals fall where they should have risen, more than chance
    and drift explain. It keeps its place in the calibration: whoever made it knows more. memory : of the batches'
    draws."""
    readings, found = calibration.readings, []
    memory, scale = memory or DrawMemory(), scale_of_calibration(calibration)
    for index, name in enumerate(readings.electrode):
        rows = np.flatnonzero(readings.unit == index)
        rows = rows[np.argsort(readings.dip[rows])]
        if not (np.diff(readings.signal[rows]) < 0).any() or 0 not in readings.dip[rows]:
            continue
        portion, batch = known_life(readings, index, rows), readings.batch[index]
        draws = memory.draws(calibration, readings, [batch], seed)
        laws, signals = electrode_laws(draws, scale, portion)
        order = [0, *(dip.dip for dip in portion.others)]
        chance = fall_probability(Observed(laws, signals, 1.0), order, 0.0, seed)
        if chance < FALL_LIMIT:
            found.append(
                f"calibration electrode {name} of batch {batch}: its signal falls from dip to dip as it would with "
                f"probability {chance:.2g} only; look at its curves, and leave it out if it was damaged"
            )
    return tuple(found)


def known_life(readings: ElectrodeReadings, index: int, rows: IntArray) -> SamplePortion:
    """An electrode of known levels as if it had read a sample that adds nothing to them."""
    dips = [
        OtherDip(
            int(readings.dip[row]),
            float(readings.signal[row]),
            float(readings.u[row]),
            0.0,
            float(readings.level[row]),
            float(readings.level_u[row]),
            tuple(zip(readings.stocks, readings.stock_part[:, row].tolist(), strict=True)),
            float(readings.salinity[row]) if np.isfinite(readings.salinity[row]) else None,
        )
        for row in rows
    ]
    main = next(dip for dip in dips if dip.dip == 0)
    covariate = float(readings.covariate[index])
    return SamplePortion(
        electrode=readings.electrode[index],
        batch=readings.batch[index],
        instrument=readings.instrument[index],
        covariate=covariate if np.isfinite(covariate) else None,
        signal=main.signal,
        u=main.u,
        added=main.added,
        added_u=main.added_u,
        others=tuple(dip for dip in dips if dip is not main),
        share=0.0,
        stock_parts=main.stock_parts,
        salinity=main.salinity,
        further=tuple(
            (name, float(row[index])) for name, row in zip(readings.further, readings.further_covariate, strict=True)
        ),
    )


def as_unknown(life: SamplePortion) -> SamplePortion:
    """The main reading of a known life as that of a sample: c_cell = c, of which nothing is known.

    What is read is the level in the cell. The error of its stock belongs to the level that the sheet states, and so
    to the truth that the reading is compared with; it is no error of the reading.
    """
    return replace(life, added=0.0, added_u=0.0, share=None, stock_parts=(), others=())
