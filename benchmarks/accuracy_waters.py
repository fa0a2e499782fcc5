"""Waters that a lab has spiked and recovered, and the program when it has learned from them how waters differ.

Each water is read by two fresh electrodes of one of the logbook's new batches, the batches in turn, through the same
life as samples: the program's own reading under the held default, its own run control, its own recovery and scatter.
Nothing is told. The waters hold nothing of their own and shift K no more than the standards' water does.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from lives import Reader, Season

from brinemark.science.amount.run_control import (
    SPIKED,
    Expected,
    control_limits,
    recovery_finding,
    recovery_of,
)
from brinemark.science.amount.simulate import Protocol, simulate_sample
from brinemark.science.amount.waters import Recovery, recovery_in, scatter_between
from brinemark.steps.run_control import HISTORY_MOST
from brinemark.terms.settings import RunSection

RISE, ELECTRODES = 2.0, 2
RUN = RunSection()


def water_readers(
    reader: Reader, season: Season, counts: Sequence[int], protocol: Protocol, rng: np.random.Generator
) -> dict[int, Reader]:
    """The reader after so many waters each; the first of them are the same. None of a count below the fewest."""
    recoveries = spiked_waters(reader, season, max(counts, default=0), protocol, rng)
    found = {}
    for count in counts:
        known = [one for one in recoveries[:count] if one is not None]
        water = scatter_between(known, reader.calibration.matrix_K_sd)
        if water is not None:
            calibration = replace(reader.calibration, water=water)
            found[count] = replace(reader, calibration=calibration, memory=reader.memory.for_other_water())
    return found


def spiked_waters(
    reader: Reader, season: Season, count: int, protocol: Protocol, rng: np.random.Generator
) -> list[Recovery | None]:
    """What each water recovered, in order of time; None where its run failed or nothing could be read."""
    found: list[Recovery | None] = []
    earlier: list[float] = []
    expected, held = Expected(RISE), reader.calibration.matrix_K_sd
    for place in range(count):
        batches = [season.new[place % len(season.new)]] * ELECTRODES
        reading = reader.read(simulate_sample(season.truth, batches, RISE, protocol, rng, (1.0,) * ELECTRODES))
        limits = control_limits(earlier[-HISTORY_MOST:], RUN.control_limits, RUN.control_history)
        name = f"water {place}"
        passed = recovery_finding(SPIKED, name, expected, reading, limits).passed
        value = recovery_of(reading, expected)
        earlier += [] if value is None else [value]
        found.append(None if passed is False else recovery_in(name, reading, RISE, expected.own, held))
    return found
