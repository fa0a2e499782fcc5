"""The classical line of a standard addition beside a reading: on each electrode, and across siblings."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import TYPE_CHECKING

import numpy as np

from brinemark.steps.answers import AdditionLine
from brinemark.steps.gather import signal_at
from brinemark.steps.lives import Dip, Life
from brinemark.steps.measure import RowSignals
from brinemark.terms.amounts import ElectrodeReadings

if TYPE_CHECKING:
    from brinemark.science.amount.classical import Blank

FEWEST = 3
NO_BLANK = "no blank of this batch and no pre-scan tells the floor that the line has to be read against"


def addition_lines(
    lives: Sequence[Life], signals: Mapping[str, RowSignals], peers: ElectrodeReadings, spike_level: float
) -> tuple[AdditionLine, ...]:
    """A line for every electrode with three readings or more below the spike, and one across three siblings or more
    whose portions held different additions. peers : the calibration electrodes of their batches."""
    made = []
    for life in lives:
        dips = [dip for dip in life.dips if dip.number >= 0 and dip.added - life.main.added < spike_level]
        if len(dips) >= FEWEST:
            blank = _own_floor(life, signals) or _floor_of_batch([life], peers)
            made.append(_line((life.electrode,), dips, signals, blank))
    mains = [life.main for life in lives]
    if len(mains) >= FEWEST and len({dip.added / dip.share for dip in mains}) > 1:
        made.append(_line(tuple(life.electrode for life in lives), mains, signals, _floor_of_batch(lives, peers)))
    return tuple(made)


def _own_floor(life: Life, signals: Mapping[str, RowSignals]) -> Blank | None:
    """The electrode's own reading in clean seawater."""
    from brinemark.science.amount.classical import Blank

    seen = None if life.prescan is None else signal_at(life.prescan, signals)
    return None if seen is None else Blank(seen.value, seen.u)


def _floor_of_batch(lives: Iterable[Life], peers: ElectrodeReadings) -> Blank | None:
    """Mean of the blanks of these batches, and its standard uncertainty from their scatter."""
    from brinemark.science.amount.classical import Blank

    batches = {life.batch for life in lives}
    blank = (
        (peers.level == 0) & (peers.dip == 0) & np.array([peers.batch[u] in batches for u in peers.unit], dtype=bool)
    )
    values = peers.signal[blank]
    if not values.size:
        return None
    scatter = values.std(ddof=1) if values.size > 1 else peers.u[blank][0]
    return Blank(float(values.mean()), float(scatter / np.sqrt(values.size)))


def _line(
    electrodes: tuple[str, ...], dips: Sequence[Dip], signals: Mapping[str, RowSignals], blank: Blank | None
) -> AdditionLine:
    """Cells hold share c + added: the height above the floor, over the share, is straight in added / share."""
    from brinemark.science.amount.classical import sibling_addition, standard_addition

    across, points = len(electrodes) > 1, len(dips)
    if blank is None:
        return AdditionLine(electrodes, across, points, None, None, None, None, NO_BLANK)
    share = np.array([dip.share for dip in dips])
    added = np.array([dip.added for dip in dips]) / share
    seen = np.array([one.value for dip in dips if (one := signal_at(dip, signals)) is not None])
    fit = sibling_addition if across else standard_addition
    found = fit(added, blank.signal + (seen - blank.signal) / share, blank)
    return AdditionLine(electrodes, across, points, found.level, found.lower, found.upper, found.if_bent, found.reason)
