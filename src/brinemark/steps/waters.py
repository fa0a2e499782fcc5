"""Recoveries of a known rise in real waters, and how much K differs between these."""

from __future__ import annotations

from brinemark.science.amount.run_control import SPIKED
from brinemark.science.amount.waters import FEWEST_WATERS, Recovery, recovery_in, scatter_between
from brinemark.steps.packing import unpack_reading
from brinemark.steps.run_control import RunDesk
from brinemark.terms.amounts import WaterScatter

Parents = tuple[tuple[str, str], ...]


def water_scatter(desk: RunDesk, default: float) -> tuple[WaterScatter | None, Parents]:
    """What the spiked waters of all runs that did not fail say of the scatter of ln K, and the readings behind it.

    default : the scatter that is held and that these readings were made with. None, and nothing is read, while there
    are fewer than FEWEST_WATERS different waters.
    """
    spiked = [
        (run, name, rows)
        for run in desk.runs
        if run.instrument in desk.instruments
        for name, rows in run.controls().items()
        if desk.kind(rows) == SPIKED and desk.expected(rows).rise > 0.0
    ]
    if len({name for _, name, _ in spiked}) < FEWEST_WATERS or default <= 0.0:
        return None, ()
    recoveries: list[Recovery] = []
    parents: list[tuple[str, str]] = []
    for run, name, rows in spiked:
        if desk.judge(run).decision.accepted is False:
            continue
        record, expected = desk.control(run, name, rows), desk.expected(rows)
        found = recovery_in(name, unpack_reading(record), expected.rise, expected.own, default)
        if found is not None:
            recoveries.append(found)
            parents.append(("spiked water", record.id))
    return scatter_between(recoveries, default), tuple(dict.fromkeys(parents))
