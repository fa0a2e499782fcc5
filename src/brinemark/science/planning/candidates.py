"""Plans that are worth a look: how many electrodes are burned, at which levels, and how the samples are read."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from brinemark.science.amount.scale import closing_spikes
from brinemark.science.amount.simulate import SINGLE, WITH_PRESCAN, Protocol
from brinemark.science.planning.design import Design
from brinemark.science.planning.new_batches import NewBatches
from brinemark.science.planning.plans import BatchPlan, Burned, Use
from brinemark.terms.amounts import Calibration, ElectrodeReadings

MOST_BURNED = 4
ALONE, TWICE, THRICE = (1.0,), (1.0, 1.0), (1.0, 1.0, 1.0)
REPEATS = (ALONE, TWICE, THRICE)
"""Dilutions that the electrodes of one sample see."""
SHORT_LADDER, LONG_LADDER = (1.0, 10.0), (1.0, 10.0, 100.0)
ABOVE_K = 2.0  # levels above so many K call for dilution (our own choice: there one electrode has no upper end)


def own_levels(readings: ElectrodeReadings, spike_level: float) -> tuple[float, ...]:
    """Levels of the logbook's own standards and blanks, 0 always among them."""
    plain = (readings.dip == 0) & ~closing_spikes(readings, spike_level)
    return tuple(sorted({0.0, *np.unique(readings.level[plain]).tolist()}))


def spike_rise(calibration: Calibration) -> float:
    """The rise of the logbook's own closing spikes (median), else the least that counts as one [level unit]."""
    readings = calibration.readings
    spikes, main = closing_spikes(readings, calibration.spike_level), readings.dip == 0
    held = np.zeros(len(readings.electrode))
    held[readings.unit[main]] = readings.level[main]
    risen = readings.level[spikes] - held[readings.unit[spikes]]
    return max(float(np.median(risen)), calibration.spike_level) if risen.size else calibration.spike_level


def protocols(calibration: Calibration) -> dict[str, Protocol]:
    """Ways of reading an electrode by name: a rising addition lifts the cell by about K."""
    rise = spike_rise(calibration)
    K = float(np.exp(np.median(calibration.draws[:, calibration.names.index("ln_K")])))
    step = float(f"{min(K, 0.2 * rise):.1g}")
    return {
        "single": SINGLE,
        "pre-scan": WITH_PRESCAN,
        "pre-scan and spike": Protocol(prescan=True, additions=(rise,), spiked=True),
        "rising additions": Protocol(prescan=True, additions=(step, rise), spiked=True),
    }


def ladders(calibration: Calibration, levels: Sequence[float]) -> tuple[tuple[float, ...], ...]:
    """Repeats; and dilutions too, where a wished level lies well above K."""
    K = float(np.exp(np.median(calibration.draws[:, calibration.names.index("ln_K")])))
    return (*REPEATS, SHORT_LADDER, LONG_LADDER) if max(levels) > ABOVE_K * K else REPEATS


def level_sets(batches: NewBatches, most: int) -> dict[int, tuple[tuple[float, ...], ...]]:
    """Sets of levels by how many electrodes they burn: habits (a blank, near K, the top) and those that tell most."""
    own = own_levels(batches.calibration.readings, batches.calibration.spike_level)
    K = float(np.exp(np.median(batches.standard(SINGLE).laws[0].electrode.ln_K)))
    above = [one for one in own if one > 0] or [K]
    near, top = min(above, key=lambda one: abs(np.log(one / K))), above[-1]
    habits: dict[int, list[tuple[float, ...]]] = {
        0: [()],
        1: [(0.0,), (near,), (top,)],
        2: [(0.0, near), (0.0, top), (near, top)],
        3: [(0.0, near, top), (0.0, near, near)],
        4: [(0.0, 0.0, near, top), (0.0, near, near, top)],
    }
    grid = np.array(sorted({0.0, *above}))
    design = Design.of(batches, grid)
    found = {}
    for count in range(min(most, MOST_BURNED) + 1):
        told = [tuple(float(grid[i]) for i in design.best(count))] if count else []
        found[count] = tuple(dict.fromkeys([*told, *(tuple(sorted(one)) for one in habits[count])]))
    return found


def plans_of(electrodes: int, use: Use, sets: Sequence[tuple[float, ...]]) -> Iterator[BatchPlan]:
    """Every set of levels, read as the samples are, or once."""
    for levels in sets:
        for protocol in dict.fromkeys((use.protocol, SINGLE)) if levels else (use.protocol,):
            plan = BatchPlan(electrodes, tuple(Burned(level, protocol) for level in levels), use)
            if plan.samples > 0:
                yield plan
