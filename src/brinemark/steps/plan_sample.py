"""The next electrode of a sample, or several at once, planned from what has been read of it; nothing is stored."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from brinemark.records.reader import Reader
from brinemark.records.text import nearest
from brinemark.science.amount.life_checks import spikes_of
from brinemark.science.amount.one_more import Known
from brinemark.science.amount.scale import drift_is_measured
from brinemark.science.amount.volumes import Lot, sample_cell
from brinemark.science.amount.weaknesses import NOT_RISING, signals_rise
from brinemark.science.planning.dilution import (
    DILUTIONS,
    MOST_TOGETHER,
    READ_ONCE,
    RISEN,
    SPIKED,
    Choice,
    Planner,
    Together,
    middle_rise,
    spike_rise,
    used,
)
from brinemark.science.planning.practical import Portion, practical_dilutions
from brinemark.steps.chosen import Chosen
from brinemark.steps.dilute import FROM_MEMORY, UNKNOWN_LOT
from brinemark.steps.making import batch_named
from brinemark.steps.one_more import NEW, fresh_like, newest_batch, supposed_bench
from brinemark.steps.one_more_answers import Stated
from brinemark.steps.packing import unpack_reading
from brinemark.steps.place import Place
from brinemark.steps.plan_sample_answers import NotPossible, PlannedRow, PlannedSample, Prepared, ReadTogether, Told
from brinemark.steps.read import ready_to_read
from brinemark.steps.run_plans import all_electrodes
from brinemark.steps.unread import fresh_of, unread
from brinemark.terms.amounts import Calibration, SamplePortion
from brinemark.terms.dilutions import USUAL, Diluent
from brinemark.terms.errors import Refused
from brinemark.terms.making import READY
from brinemark.terms.sample_plans import PlannedAddition, SampleWish, TooLittleWater
from brinemark.terms.stored import Record

NO_DRIFT = "drift between dips of an electrode is not measured yet: what an addition would bring rests on a default"
ASKED = SampleWish()
STOCK = "stock "  # how a calibration names a stock, beside "lot ID"
MOST_ADDED = 0.1  # share of the cell that an addition may be, so that it is not thinned (our own choice)


@dataclass(frozen=True, slots=True, eq=False)
class _Asked:
    """A sample and an electrode that would read it. fresh : before it has read anything, undiluted; stored : the
    present reading; lot : of the seawater to dilute with; ready : electrodes of the batch that are."""

    place: Place
    chosen: Chosen
    known: Known
    fresh: SamplePortion
    stored: Record | None
    lot: str | None
    cell_mL: float
    ready: int

    @property
    def prescan(self) -> bool:
        """Whether the electrode is read in clean seawater first."""
        return self.fresh.covariate is not None or any(dip.dip < 0 for dip in self.fresh.others)


def plan_sample(place: Place, sample: str, wish: SampleWish = ASKED) -> PlannedSample:
    """What the next electrode of a sample is best used for, by what has been read of it.

    Raises Refused for an unknown sample, batch or lot, for one that is to be read first or was read already, for more
    electrodes or water than there can be, and as practical_dilutions does.
    """
    _check(wish)
    if wish.batch is not None:
        batch_named(place, wish.batch)
    with place.database.reading() as reader:
        asked = (_of_unread if wish.unread else _of_read)(place, reader, sample, wish)
    _check_calibration(asked)
    diluent = _diluent(asked)
    portions = practical_dilutions(DILUTIONS, asked.cell_mL, wish.water_mL, wish.kit, diluent)
    choices = _choices(asked, wish, [one for one in portions if one.reason is None])
    if not choices:
        raise _too_little(sample, wish, asked, 1)
    planner = Planner.of(asked.known, choices, wish.highest)
    together = planner.together(wish.electrodes, wish.water_mL) if wish.electrodes > 1 else None
    if wish.electrodes > 1 and together is None:
        raise _too_little(sample, wish, asked, wish.electrodes)
    return _answer(sample, wish, asked, portions, planner, together)


def _check(wish: SampleWish) -> None:
    if not 1 <= wish.electrodes <= MOST_TOGETHER:
        came = f"{wish.electrodes} electrodes"
        raise Refused(came, f"1 to {MOST_TOGETHER}", "ask for the next one, read it, and ask again")
    if wish.highest is not None and not (math.isfinite(wish.highest) and wish.highest > 0.0):
        raise Refused(f"a highest level of {wish.highest:g}", "a level above 0", "say how high the sample may be")


def _check_calibration(asked: _Asked) -> None:
    """Without a calibration of the instrument, or where signals do not rise, nothing can be expected."""
    made, instrument = asked.known.calibration, asked.fresh.instrument
    if instrument not in made.instruments:
        came = f"an electrode on instrument {instrument}, which the calibration does not know"
        raise Refused(came, f"one of {', '.join(made.instruments)}", "add blanks and standards of it, and calibrate")
    if signals_rise(made.readings) is False:
        raise Refused(f"a calibration whose {NOT_RISING}", "signals that rise", "see what calibrate says")


def _of_read(place: Place, reader: Reader, sample: str, wish: SampleWish) -> _Asked:
    there = [row.row.sample or "" for row in reader.rows(roles=["sample", "control"])]
    if sample not in there:
        alike = nearest(sample, there)
        hint = f"did you mean {alike!r}? " if alike else ""
        raise Refused(f"no sample {sample!r}", "one that was read", f"{hint}say --unread where nothing was read of it")
    batches = all_electrodes(reader).batches()
    ready = ready_to_read(place, reader, sample, lambda made: wish.batch or newest_batch(reader, made, batches))
    if ready.stored is None:
        came = f"no reading of {sample} by the newest calibration and its present rows"
        raise Refused(came, "one to go on from", f"read the sample first, with 'read {sample}'")
    bench = supposed_bench(place, ready)
    row = bench.like.main.row.row
    count = batches[ready.batch].count(READY) if ready.batch in batches else 0
    cell = wish.cell_mL or row.volume_mL or USUAL.volume_mL
    lot = wish.lot or row.matrix_lot
    return _Asked(place, ready.chosen, bench.known, fresh_like(bench, 1.0), ready.stored, lot, cell, count)


def _of_unread(place: Place, reader: Reader, sample: str, wish: SampleWish) -> _Asked:
    if any(row.row.sample == sample for row in reader.rows(roles=["sample", "control"])):
        raise Refused(f"{sample}, of which something was read", "a sample without rows", "leave --unread out")
    batches = all_electrodes(reader).batches()
    found = unread(place, reader, lambda made: wish.batch or newest_batch(reader, made, batches))
    count = batches[found.batch].count(READY) if found.batch in batches else 0
    cell = wish.cell_mL or USUAL.volume_mL
    return _Asked(place, found.chosen, found.known, fresh_of(found, NEW), None, wish.lot, cell, count)


def _diluent(asked: _Asked) -> Diluent:
    if asked.lot is None:
        return Diluent()
    lots = asked.place.settings.lot
    if asked.lot not in lots:
        there = ", ".join(lots) or "none"
        raise Refused(f"no lot {asked.lot!r} in logbook.toml", f"one of its lot sections ({there})", "check the id")
    return Diluent(lots[asked.lot].content, lots[asked.lot].u)


def _choices(asked: _Asked, wish: SampleWish, portions: Sequence[Portion]) -> list[Choice]:
    """Every dilution that can be made, read once or with what may follow."""
    ways = dict(_ways(asked.known.calibration, wish.read_once))
    return [
        Choice(way, used(_diluted(asked, one.dilution), rises), one.rel_u, one.sample_mL)
        for one in portions
        for way, rises in ways.items()
    ]


def _ways(calibration: Calibration, read_once: bool) -> Iterator[tuple[str, tuple[float, ...]]]:
    yield READ_ONCE, ()
    rise = spike_rise(calibration)
    if not read_once and rise is not None:
        yield SPIKED, (rise,)
        yield RISEN, (middle_rise(calibration), rise)


def _diluted(asked: _Asked, dilution: float) -> SamplePortion:
    """The fresh electrode in the sample diluted with its lot of seawater, whose error counts as the reading's own where
    the calibration does not share it."""
    diluent = _diluent(asked)
    cell = sample_cell(dilution, None if asked.lot is None else Lot(f"lot {asked.lot}", diluent.level))
    readings = asked.known.calibration.readings
    shared = {name for name, u in zip(readings.stocks, readings.stock_rel_u, strict=True) if u > 0}
    own = 0.0 if f"lot {asked.lot}" in shared else (1.0 - cell.share) * diluent.u
    parts = tuple(cell.stock_parts)
    return replace(asked.fresh, dilution=dilution, share=cell.share, added=cell.added, added_u=own, stock_parts=parts)


def _too_little(sample: str, wish: SampleWish, asked: _Asked, electrodes: int) -> TooLittleWater:
    freely = practical_dilutions(DILUTIONS, asked.cell_mL, math.inf, wish.kit, _diluent(asked))
    least = min((one for one in freely if one.reason is None), key=lambda one: one.sample_mL)
    count = "one electrode" if electrodes == 1 else f"{electrodes} electrodes"
    return TooLittleWater(
        f"{wish.water_mL:g} mL of {sample} for {count} in cells of {asked.cell_mL:g} mL",
        f"at least {electrodes * least.sample_mL:.3g} mL ({least.dilution:g} times diluted)",
        "use a smaller cell, fewer electrodes or more water",
    )


def _answer(
    sample: str,
    wish: SampleWish,
    asked: _Asked,
    portions: Sequence[Portion],
    planner: Planner,
    together: Together | None,
) -> PlannedSample:
    reading = None if asked.stored is None else unpack_reading(asked.stored)
    definition, decision = asked.chosen.definition, asked.known.decision
    plan = planner.next(reading is not None and reading.statement == "quantified")
    present = planner.bench.present_fold()
    of = {one.dilution: one for one in portions}
    ways = dict(_ways(asked.known.calibration, wish.read_once))
    added = {way: tuple(_additions(asked, wish, rises)) for way, rises in ways.items()}
    rows = []
    for place, (choice, outlook) in enumerate(zip(planner.choices, plan.outlooks, strict=True)):
        water = of[choice.dilution].way
        volumes = choice.sample_mL, 0.0 if water is None else water.diluent_mL
        marks = place == plan.best, place in plan.alike
        told = Told.of(outlook)
        rows.append(PlannedRow(choice.dilution, choice.way, *volumes, choice.rel_u, told, *marks, added[choice.way]))
    named = [rows[plan.best].dilution] if together is None else [rows[n].dilution for n in together.places]
    return PlannedSample(
        sample=sample,
        analyte=definition.analyte,
        unit=definition.level_unit,
        calibration=asked.chosen.record.id,
        reading=None if asked.stored is None else asked.stored.id,
        now=None if reading is None else Stated.of(reading, definition.level_unit),
        batch=asked.fresh.batch,
        ready=asked.ready,
        instrument=asked.fresh.instrument,
        prescan=asked.prescan,
        lot=asked.lot,
        cell_mL=asked.cell_mL,
        water_mL=wish.water_mL if math.isfinite(wish.water_mL) else None,
        highest=planner.highest,
        present_fold=present if math.isfinite(present) else None,
        max_fold=decision.max_fold,
        rows=tuple(rows),
        not_possible=tuple(NotPossible(one.dilution, one.reason) for one in portions if one.reason is not None),
        stop=plan.stop,
        together=None if together is None else _together(rows, together),
        prepare=tuple(Prepared.of(of[dilution]) for dilution in dict.fromkeys(named)),
        cautions=tuple(_cautions(asked, wish, rows[plan.best].way)),
    )


def _additions(asked: _Asked, wish: SampleWish, rises: Sequence[float]) -> Iterator[PlannedAddition]:
    """What follows the main reading: last the closing spike, as the standards were spiked, before it a volume of a
    stock of the settings that brings the rise."""
    made, cell = asked.known.calibration, asked.cell_mL
    for rise in rises[:-1]:
        yield PlannedAddition(rise, False, *_from_stock(asked.place, rise, cell, wish.kit.smallest_mL))
    for rise in rises[-1:]:
        like = min(spikes_of(made.readings, made.spike_level), key=lambda one: abs(one.rise - rise), default=None)
        if like is None:
            yield PlannedAddition(rise, True)
            continue
        names = [name.removeprefix(STOCK) for name in sorted(like.stocks) if name.startswith(STOCK)]
        volume = cell * (1.0 / like.kept - 1.0)
        yield PlannedAddition(rise, True, names[0] if len(names) == 1 else None, float(f"{volume:.3g}") or None)


def _from_stock(place: Place, rise: float, cell_mL: float, least_mL: float) -> tuple[str | None, float | None]:
    """The stock and volume that lift the cell by about the rise: v = V r / (s - r), the balance of amounts where the
    cell holds little against the stock; of several stocks the one with the largest volume up to MOST_ADDED."""
    levels = [(name, stock.level) for name, stock in place.settings.stock.items() if stock.level is not None]
    found = [(cell_mL * rise / (level - rise), name) for name, level in levels if level > rise]
    fits = [one for one in found if least_mL <= one[0] <= MOST_ADDED * cell_mL]
    if not fits:
        return None, None
    volume, name = max(fits)
    return name, float(f"{volume:.3g}")


def _together(rows: Sequence[PlannedRow], found: Together) -> ReadTogether:
    mine = [rows[place] for place in found.places]
    water = math.fsum(row.sample_mL for row in mine)
    dilutions, ways = tuple(row.dilution for row in mine), tuple(row.way for row in mine)
    return ReadTogether(dilutions, ways, water, Told.of(found.outlook))


def _cautions(asked: _Asked, wish: SampleWish, way: str) -> Iterator[str]:
    if way != READ_ONCE and not drift_is_measured(asked.known.calibration.readings):
        yield NO_DRIFT
    if asked.lot is None:
        yield UNKNOWN_LOT
    sources = [*(one.source for one in wish.kit.pipettes), *(one.source for one in wish.kit.flasks)]
    if any("from memory" in source for source in sources):
        yield FROM_MEMORY
