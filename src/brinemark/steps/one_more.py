"""What one more electrode of a sample would change, at each of a few dilutions; nothing is stored."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from brinemark.records.reader import Reader
from brinemark.science.amount.electrodes import closing_spike
from brinemark.science.amount.one_more import (
    DILUTIONS,
    Known,
    Narrowing,
    narrowest,
    own_range,
    read_with,
    supposed_levels,
    width,
)
from brinemark.steps.batch_answers import Batch
from brinemark.steps.gather import portion
from brinemark.steps.lives import Life, lives_of
from brinemark.steps.making import batch_named
from brinemark.steps.one_more_answers import OneMore, Stated, Supposed
from brinemark.steps.packing import unpack_reading
from brinemark.steps.place import Place
from brinemark.steps.read import ReadyToRead, ready_to_read
from brinemark.steps.run_plans import all_electrodes
from brinemark.terms.amounts import FIRST_COVARIATE, Calibration, Reading, SamplePortion
from brinemark.terms.errors import Refused
from brinemark.terms.making import READY
from brinemark.terms.stored import Record

NEW, MOST = "one more", 12


@dataclass(frozen=True, slots=True, eq=False)
class SupposedBench:
    """What all suppositions about one sample share. like : the life that the new electrode repeats; critical, working :
    of such an electrode by itself [cell level]."""

    place: Place
    ready: ReadyToRead
    known: Known
    like: Life
    protocol: str = "single"
    critical: float | None = None
    working: tuple[float, float] | None = None


def one_more(place: Place, sample: str, batch: str | None = None, dilutions: Sequence[float] | None = None) -> OneMore:
    """What a fresh electrode with a typical signal would make of the newest statement about a sample or control.

    batch : of the electrode; None is the newest batch of the calibration with ready electrodes, else its newest.
    dilutions : None are the practical ones and, where it is none of them, the dilution that was used last. Raises
    Refused for an unknown sample or batch, without a reading by the newest calibration, for a dilution below 1.
    """
    wanted = _checked(dilutions)
    if batch is not None:
        batch_named(place, batch)
    with place.database.reading() as reader:
        batches = all_electrodes(reader).batches()
        ready = ready_to_read(place, reader, sample, lambda made: batch or newest_batch(reader, made, batches))
        if ready.stored is None:
            came = f"no reading of {sample} by the newest calibration and its present rows"
            raise Refused(came, "one to add an electrode to", f"read the sample first, with 'read {sample}'")
    present = unpack_reading(ready.stored)
    bench = supposed_bench(place, ready)
    used = bench.like.main.row.row.dilution
    choices = tuple(sorted({*DILUTIONS, used} if dilutions is None else wanted))
    levels = supposed_levels(present)
    if levels:
        bench = _with_range(bench)
    rows, found = _suppose(bench, levels, choices)
    best, alike = _best(present, found)
    chosen = None if best is None else choices[best]
    answer = _answer(bench, ready.stored, batches[ready.batch].count(READY) if ready.batch in batches else 0)
    return replace(
        answer,
        rows=tuple(replace(row, again=row.dilution == used, best=row.dilution == chosen) for row in rows),
        best=chosen,
        alike=tuple(choices[n] for n in alike),
        reason=None if rows else _why_not(present),
    )


def _answer(bench: SupposedBench, stored: Record, electrodes: int) -> OneMore:
    """What is known before anything is supposed. electrodes : of the batch, that are ready."""
    ready, definition = bench.ready, bench.ready.chosen.definition
    return OneMore(
        sample=ready.name,
        analyte=definition.analyte,
        unit=definition.level_unit,
        reading=stored.id,
        calibration=ready.chosen.record.id,
        batch=ready.batch,
        ready=electrodes,
        like=bench.like.electrode,
        instrument=bench.like.instrument,
        protocol="read once" if bench.protocol == "single" else bench.protocol,
        working_range=bench.working,
        now=Stated.of(unpack_reading(stored), definition.level_unit),
    )


def _checked(dilutions: Sequence[float] | None) -> set[float]:
    for one in dilutions or ():
        if not (math.isfinite(one) and one >= 1.0):
            raise Refused(f"dilution {one:g}", "1 (undiluted) or more", "give volume after over volume before")
    if dilutions is not None and not 1 <= len(set(dilutions)) <= MOST:
        raise Refused(f"{len(set(dilutions))} dilutions", f"1 to {MOST}", "name those that you would make")
    return {float(one) for one in dilutions or ()}


def newest_batch(reader: Reader, made: Calibration, batches: Mapping[str, Batch]) -> str:
    """The newest of a calibration by the day of making, else of its first reading; with ready electrodes first."""
    names = sorted(set(made.readings.batch))
    days: dict[str, str] = {}
    for row in reader.rows(batches=names):
        days.setdefault(row.row.batch, row.row.measured_at.date().isoformat())

    def key(name: str) -> tuple[bool, str, str]:
        batch = batches.get(name)
        made_on = batch.making.made_on if batch is not None and batch.making is not None else days.get(name, "")
        return batch is not None and batch.count(READY) > 0, made_on, name

    return max(names, key=key)


def supposed_bench(place: Place, ready: ReadyToRead) -> SupposedBench:
    """The new electrode repeats the newest one that could be used."""
    known = Known(ready.portions, ready.calibration, ready.readings, place.settings.decision, ready.memory)
    usable = [life for life, seen in zip(ready.lives, ready.portions, strict=True) if known.usable(seen)]
    like = max(usable or ready.lives, key=lambda life: life.main.row.row.measured_at)
    return SupposedBench(place, ready, known, like)


def _with_range(bench: SupposedBench) -> SupposedBench:
    """With what such an electrode can do by itself."""
    fresh = fresh_like(bench, 1.0)
    critical, working = own_range(fresh, bench.known)
    return replace(bench, protocol=protocol_of(fresh, bench.known.calibration), critical=critical, working=working)


def protocol_of(fresh: SamplePortion, calibration: Calibration) -> str:
    """What is read beside the sample, as limits name it."""
    parts = ["pre-scan"] if any(dip.dip < 0 for dip in fresh.others) else []
    parts += ["spike"] if closing_spike(fresh.others, calibration.spike_level) else []
    return f"with {' and '.join(parts)}" if parts else "single"


def fresh_like(bench: SupposedBench, dilution: float) -> SamplePortion:
    """The electrode before it has read anything: its rows are those of the one it repeats, in its own dilution; its
    covariates and the noise of its traces are the calibration electrodes' medians."""
    ready, calibration = bench.ready, bench.ready.calibration
    rows = [
        replace(stored, row=replace(stored.row, electrode=NEW, batch=ready.batch, dilution=dilution))
        for stored in bench.like.rows
    ]
    (life,) = lives_of(rows, bench.place.settings)
    made = portion(life, ready.signals, ready.chosen.definition, calibration, bench.place.settings)
    u = float(np.median(calibration.readings.u))
    covariates = zip(calibration.covariates.names, calibration.covariates.reference.tolist(), strict=True)
    return replace(
        made,
        covariate=None if made.covariate is None else calibration.covariate_ref,
        further=tuple((name, value) for name, value in covariates if name != FIRST_COVARIATE),
        u=u,
        failure=None,
        others=tuple(replace(dip, u=u) for dip in made.others),
    )


def _suppose(
    bench: SupposedBench, levels: Sequence[float], dilutions: Sequence[float]
) -> tuple[list[Supposed], list[list[Reading]]]:
    """Rows by dilution, then level, and the readings behind them."""
    unit = bench.ready.chosen.definition.level_unit
    rows, found = [], []
    for dilution in dilutions if levels else ():
        fresh = fresh_like(bench, dilution)
        readings = [read_with(fresh, level, bench.known) for level in levels]
        for level, one in zip(levels, readings, strict=True):
            cell = (1.0 / dilution if fresh.share is None else fresh.share) * level + fresh.added
            where = _where(cell, bench)
            rows.append(Supposed(dilution, False, level, cell, where, Stated.of(one, unit), False))
        found.append(readings)
    return rows, found


def _best(present: Reading, found: Sequence[Sequence[Reading]]) -> tuple[int | None, tuple[int, ...]]:
    if not found:
        return None, ()
    upper_only = present.statement == "not detected"
    choices = [Narrowing.of([width(one, upper_only=upper_only) for one in readings]) for readings in found]
    now = Narrowing.of([width(present, upper_only=upper_only)] * len(found[0]))
    return narrowest(choices, now)


def _where(cell: float, bench: SupposedBench) -> str:
    """Where a cell level lies for such an electrode, in words."""
    if cell > bench.ready.calibration.highest_level:
        return "above the highest standard"
    if bench.critical is not None and cell < bench.critical:
        return "below the critical value"
    if bench.working is None:
        return "no working range"
    low, high = bench.working
    return f"{'below' if cell < low else 'above' if cell > high else 'in'} the working range"


def _why_not(present: Reading) -> str:
    if present.statement == "cannot say":
        return f"the sample's reading says nothing of its level ({present.reason})"
    return "the sample's reading has no best estimate to start from"
