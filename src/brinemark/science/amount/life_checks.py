"""Whether an electrode's readings can belong to one sound life: spikes like the standards', signals that rise."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from brinemark.science.amount.joint import SimulatedLives
from brinemark.science.amount.law import closing_spike, electrode_laws
from brinemark.science.amount.predictive import DrawMemory
from brinemark.science.amount.scale import closing_spikes, drift_is_measured, scale_of_calibration
from brinemark.science.amount.statistic import Observed
from brinemark.terms.amounts import Calibration, ElectrodeReadings, OtherDip, SamplePortion
from brinemark.terms.arrays import IntArray

FALL_LIMIT = 0.001
FALL_SIMULATIONS = 8000
SPIKE_ALIKE = 0.10  # relative difference of the rise from the nearest of the standards' spikes
NOT_MEASURED = (
    "drift not measured: fewer than 4 standards or blanks of 2 batches were taken through several dips, "
    "so the labelled default (10 % between dips) stands for it"
)


def without_strange_spike(portion: SamplePortion, calibration: Calibration) -> tuple[SamplePortion, str | None]:
    """The portion, without its closing spike when that is unlike the standards' spikes, and a sentence on it."""
    spike = closing_spike(portion.others, calibration.spike_level)
    known = spikes_of(calibration.readings, calibration.spike_level)
    if spike is None or not known:
        return portion, None
    stocks = {name for name, _ in spike.stock_parts} & set(calibration.readings.stocks)
    alike = [
        rise
        for rise, used in known
        if abs(rise / spike.added - 1.0) <= SPIKE_ALIKE and (not stocks or not used or stocks <= used)
    ]
    if alike:
        return portion, None
    rises = sorted(rise for rise, _ in known)
    span = f"{rises[0]:g}" if rises[0] == rises[-1] else f"{rises[0]:g} to {rises[-1]:g}"
    source = f" of {', '.join(sorted(stocks))}" if stocks else ""
    others = tuple(dip for dip in portion.others if dip is not spike)
    return replace(portion, others=others), (
        f"electrode {portion.electrode} is read without its closing spike: it added {spike.added:g}{source}, "
        f"the standards' spikes {span}; spike samples as the standards were spiked"
    )


def spikes_of(readings: ElectrodeReadings, spike_level: float) -> list[tuple[float, set[str]]]:
    """Rise against the electrode's main reading, and stocks, of each closing spike among calibration electrodes."""
    found = []
    for index in np.flatnonzero(closing_spikes(readings, spike_level)):
        main = (readings.unit == readings.unit[index]) & (readings.dip == 0)
        first = float(readings.level[main][0]) if main.any() else 0.0
        used = {name for name, part in zip(readings.stocks, readings.stock_part[:, index], strict=True) if part > 0}
        found.append((float(readings.level[index]) - first, used))
    return found


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


def falls_of(calibration: Calibration, seed: int) -> tuple[str, ...]:
    """A sentence on every calibration electrode whose signals fall where they should have risen, more than chance
    and drift explain. It keeps its place in the calibration: whoever made it knows more."""
    readings, found = calibration.readings, []
    memory, scale = DrawMemory(), scale_of_calibration(calibration)
    for index, name in enumerate(readings.electrode):
        rows = np.flatnonzero(readings.unit == index)
        rows = rows[np.argsort(readings.dip[rows])]
        if not (np.diff(readings.signal[rows]) < 0).any() or 0 not in readings.dip[rows]:
            continue
        portion, batch = _known_life(readings, index, rows), readings.batch[index]
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


def _known_life(readings: ElectrodeReadings, index: int, rows: IntArray) -> SamplePortion:
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
    )
