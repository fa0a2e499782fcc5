"""What is known of a batch's electrodes before a sample has been read on any: for planning; nothing is stored."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from brinemark.records.reader import Reader
from brinemark.science.amount.one_more import Known
from brinemark.science.amount.scale import scale_of_calibration
from brinemark.steps.chosen import Chosen
from brinemark.steps.gather import CALIBRATION_ROLES, gather
from brinemark.steps.lives import lives_of
from brinemark.steps.measure import measure_rows
from brinemark.steps.place import Place
from brinemark.steps.read import reading_bench, with_waters
from brinemark.terms.amounts import FIRST_COVARIATE, Calibration, OtherDip, SamplePortion


@dataclass(frozen=True, slots=True, eq=False)
class Unread:
    """A batch and an instrument that will read a sample; known : without any portion."""

    chosen: Chosen
    known: Known
    batch: str
    instrument: str


def unread(place: Place, reader: Reader, choose: Callable[[Calibration], str]) -> Unread:
    """The batch that choose names, with its present calibration electrodes. Raises Refused without a calibration."""
    bench = reading_bench(place, reader, None)
    bench, _ = with_waters(bench, bench.desk())
    made, chosen = bench.calibration, bench.chosen
    batch = choose(made)
    there = reader.rows(roles=CALIBRATION_ROLES, batches=[batch])
    near = [row for row in there if row.row.instrument in made.instruments]
    lives = [life for life in lives_of(near, place.settings) if life.known]
    signals = measure_rows([row for life in lives for row in life.rows], chosen.definition, chosen.waves, bench.traces)
    peers = gather(lives, signals, chosen.definition, place.settings, made.covariate_ref)
    known = Known((), made, peers.readings, place.settings.decision, bench.science.memory)
    newest = max(near, key=lambda row: row.row.measured_at, default=None)
    instrument = made.instruments[-1] if newest is None else newest.row.instrument
    return Unread(chosen, known, batch, instrument)


def fresh_of(unread: Unread, name: str) -> SamplePortion:
    """An electrode before it has read anything, undiluted: covariates and the noise of its trace are the calibration
    electrodes' medians; with a reading of clean seawater first where those have one."""
    calibration = unread.known.calibration
    u = float(np.median(calibration.readings.u))
    pairs = zip(calibration.covariates.names, calibration.covariates.reference.tolist(), strict=True)
    further = tuple((covariate, value) for covariate, value in pairs if covariate != FIRST_COVARIATE)
    plain = SamplePortion(name, unread.batch, unread.instrument, calibration.covariate_ref, 0.0, u, further=further)
    if not scale_of_calibration(calibration).layout.prescan:
        return plain
    return replace(plain, others=(OtherDip(-1, 0.0, u, 0.0, 0.0),))
