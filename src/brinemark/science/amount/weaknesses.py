"""Where a calibration is weak, in words, with what to measure next."""

from __future__ import annotations

import numpy as np

from brinemark.science.amount.normal import median
from brinemark.science.amount.response import DEFAULT_DRIFT_SD, DEFAULT_ELECTRODE_K_SD
from brinemark.science.amount.salinity import correction_refusal, distinct
from brinemark.science.amount.scale import ENOUGH_ELECTRODES, Scale, closing_spikes, drift_is_measured
from brinemark.terms.amounts import ElectrodeReadings
from brinemark.terms.arrays import FloatArray

FAR = 100.0  # between mg/L and ug/L lies 1000, between two ladders of standards hardly 100 (common practice, no source)
NEAR = 3.0  # a standard within this factor of K pins it: theta from 1/4 to 3/4 at h = 1
NOT_RISING = "signals do not rise with the level"
IN_ORDER = 3.0  # standard deviations of random allocation: a false alarm in 370, by the normal approximation


def weaknesses(readings: ElectrodeReadings, scale: Scale, draws: FloatArray) -> tuple[str, ...]:
    """Where the calibration is weak, in words, with what to measure next."""
    found = []
    batches = len(set(readings.batch))
    plain = readings.level[~closing_spikes(readings, scale.spike_level)]
    known = np.unique(plain[plain > 0])
    standards = int((plain > 0).sum())
    if batches == 1:
        found.append("one batch only: how batches differ is taken from the prior; add batches")
    elif batches < 5:
        found.append(f"{batches} batches only: how batches differ is poorly known; add batches")
    if standards < 6:
        found.append(f"{standards} standards only; add standards at other levels")
    if not (readings.level == 0).any():
        found.append("no blanks: the floor is taken from the standards and the prior; add blanks")
    if known.size == 1:
        found.append(f"all standards at one level ({known[0]:g}): K and h are taken from the prior; add other levels")
    if signals_rise(readings) is False:
        found.append(f"{NOT_RISING}: nothing is read with it; check levels, names and signs")
    found += _levels_near_K(known, float(np.exp(median(draws[:, 1]))))
    found += _held(readings, scale)
    found += _levels_in_order(readings)
    found += _levels_far_off(readings, scale)
    uncorrected = correction_refusal(readings)
    if uncorrected is not None and len(distinct(readings.salinity)) > 1:
        found.append(f"electrodes of several salinities are taken as alike: {uncorrected}")
    for name in scale.instruments:
        count = sum(1 for m in readings.instrument if m == name)
        if count < 4:
            found.append(f"instrument {name} has {count} calibration electrode(s) only; add blanks and standards")
    return tuple(found)


def _levels_near_K(known: FloatArray, middle: float) -> list[str]:
    """What the levels of the standards (n,) leave out, about K (the middle of its posterior)."""
    if known.size < 2:
        return []
    if known[-1] < middle:
        return [
            f"highest standard ({known[-1]:g}) lies below K (about {middle:.3g}): the plateau was not reached; "
            f"add standards at about {2.0 * middle:.2g} and {5.0 * middle:.2g}"
        ]
    if not ((known >= middle / NEAR) & (known <= middle * NEAR)).any():
        return [
            f"no standard within a factor of {NEAR:g} of K (about {middle:.3g}), where the answer bends: its shape "
            f"there is the model's; add one at about {middle:.2g}"
        ]
    return []


def batch_weaknesses(readings: ElectrodeReadings, batch: str, own_blank: bool) -> list[str]:
    """What a batch that is to be read lacks, with what to measure next; readings : the present calibration electrodes.

    A pre-scan read at the analyte's own place counts as a blank of its batch. own_blank : whether each electrode that
    is read has one.
    """
    mine = np.array([readings.batch[unit] == batch for unit in readings.unit], dtype=bool)
    if not mine.any():
        return [
            f"batch {batch} has no calibration electrode: read from history, and wider; a standard near K on one of "
            "its electrodes helps most"
        ]
    level = readings.level[mine]
    found = []
    if not own_blank and not (level == 0).any():
        found.append(
            f"batch {batch} has no blank: its floor is taken from history; read one of its electrodes as a blank"
        )
    if not (level > 0).any():
        found.append(
            f"batch {batch} has no standard: its gain is taken from history; read one of its electrodes near K"
        )
    return found


def _held(readings: ElectrodeReadings, scale: Scale) -> list[str]:
    """What the model holds at a labelled default because these electrodes cannot show it."""
    layout, found = scale.layout, []
    if (layout.prescan or layout.later or layout.spike) and not drift_is_measured(readings):
        found.append(
            f"drift between dips not measured: its scatter is the default {DEFAULT_DRIFT_SD:g}; take 4 blanks or "
            "standards of 2 batches through the same dips"
        )
    if layout.spike and not layout.own_K:
        found.append(
            f"scatter of K between electrodes not measured: the default {DEFAULT_ELECTRODE_K_SD:g} stands for it; take "
            f"{ENOUGH_ELECTRODES} electrodes through two levels below the spike each"
        )
    return found


def _levels_in_order(readings: ElectrodeReadings) -> list[str]:
    """Whether levels rise or fall with the order of the electrodes, over all batches, more than chance allows.

    T = sum over batches of sum (place - mean)(rank of level - mean); under random allocation its mean is 0 and its
    variance sum Sxx Syy / (n - 1), the permutation variance of each batch.
    """
    total, variance, batches = 0.0, 0.0, 0
    main = readings.dip == 0
    first = dict(zip(readings.unit[main].tolist(), readings.level[main].tolist(), strict=True))
    by_batch: dict[str, list[float]] = {name: [] for name in readings.batch}
    for unit, name in enumerate(readings.batch):
        by_batch[name] += [first[unit]] if unit in first else []
    for levels in by_batch.values():
        if len(set(levels)) < 2:
            continue
        place = np.arange(len(levels)) - 0.5 * (len(levels) - 1)
        rank = _ranks(np.array(levels))
        rank = rank - rank.mean()
        total += float(place @ rank)
        variance += float((place @ place) * (rank @ rank)) / (len(levels) - 1)
        batches += 1
    if variance == 0.0 or abs(total) < IN_ORDER * np.sqrt(variance):
        return []
    way = "rise" if total > 0 else "fall"
    return [
        f"levels {way} with the order of the electrodes in {batches} batches: a gain that changes along a batch or a "
        "day is taken for part of the response; allocate levels at random"
    ]


def _levels_far_off(readings: ElectrodeReadings, scale: Scale) -> list[str]:
    """Batches whose standards stand FAR times higher or lower than those of the median batch: a unit gone wrong."""
    plain = (readings.level > 0) & ~closing_spikes(readings, scale.spike_level)
    highest: dict[str, float] = {}
    for unit, level in zip(readings.unit[plain].tolist(), readings.level[plain].tolist(), strict=True):
        batch = readings.batch[unit]
        highest[batch] = max(level, highest.get(batch, 0.0))
    if len(highest) < 3:
        return []
    usual = float(median(np.array(list(highest.values()))))
    return [
        f"the highest standard of batch {batch} is {level:g}, of most batches {usual:g}: check the unit of its levels "
        "before trusting what is read on it"
        for batch, level in highest.items()
        if max(level / usual, usual / level) >= FAR
    ]


def _ranks(values: FloatArray) -> FloatArray:
    """Mean ranks, ties shared."""
    ordered = np.sort(values)
    low, high = np.searchsorted(ordered, values, "left"), np.searchsorted(ordered, values, "right")
    return np.asarray(0.5 * (low + high - 1), dtype=np.float64)


def signals_rise(readings: ElectrodeReadings) -> bool | None:
    """Whether signals go up with the level, by the correlation of their ranks; None with fewer than three readings."""
    if readings.signal.size < 3 or (readings.level == readings.level[0]).all():
        return None
    level = np.unique(readings.level, return_inverse=True)[1]
    signal = np.unique(readings.signal, return_inverse=True)[1]
    return bool(np.sum((level - level.mean()) * (signal - signal.mean())) > 0)
