"""The next electrodes of a sample as a list for the bench: what to do step by step, and what would end it."""

from __future__ import annotations

import textwrap
from collections import Counter
from collections.abc import Iterator
from dataclasses import asdict, dataclass
from typing import Any

from brinemark.science.planning.dilution import LITTLE
from brinemark.steps.dilute import SAMPLE_CAUTIONS
from brinemark.steps.plan_sample_answers import PlannedRow, PlannedSample
from brinemark.terms.dilutions import Step
from brinemark.terms.sample_plans import PlannedAddition
from brinemark.terms.wording import amount, opened

NEVER_TOGETHER = (
    "Thiocyanate and acid, oxidants: never together. Gloves and eye protection; local rules come first.",
    *SAMPLE_CAUTIONS,
)
_LINE = 96
_BOX = "[ ] "


@dataclass(frozen=True, slots=True)
class BenchElectrode:
    """One electrode: how it reads the sample, and every step of that in order."""

    what: str
    steps: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class SampleBench:
    """prepare : solutions to make, in order; electrodes : to be read in this order; ends : what would end it; reading :
    id of what there is, None = nothing was read yet."""

    sample: str
    sentence: str
    batch: str
    instrument: str
    calibration: str
    reading: str | None
    prepare: tuple[str, ...]
    electrodes: tuple[BenchElectrode, ...]
    ends: tuple[str, ...]
    cautions: tuple[str, ...] = NEVER_TOGETHER

    @classmethod
    def of(cls, planned: PlannedSample) -> SampleBench:
        """The list of a plan."""
        return cls(
            planned.sample,
            planned.sentence,
            planned.batch,
            planned.instrument,
            planned.calibration,
            planned.reading,
            tuple(_prepared(planned)),
            tuple(BenchElectrode(row.words, tuple(_steps(planned, row))) for row in planned.chosen),
            tuple(_ends(planned)),
        )

    def to_dict(self) -> dict[str, Any]:
        return {
            **asdict(self),
            "prepare": list(self.prepare),
            "electrodes": [{"what": one.what, "steps": list(one.steps)} for one in self.electrodes],
            "ends": list(self.ends),
            "cautions": list(self.cautions),
        }

    def page(self) -> str:
        """The list as plain text to print and take to the bench: a box for each step."""
        return "\n".join([*_head(self), *_boxes(self), *_foot(self)]) + "\n"


def _prepared(planned: PlannedSample) -> Iterator[str]:
    """Every solution once, and how much the electrodes take of it."""
    lot = "seawater of the sample's salinity" if planned.lot is None else f"seawater of lot {planned.lot}"
    cells = Counter(row.dilution for row in planned.chosen)
    made = {one.dilution: one.steps for one in planned.prepare}
    for dilution, count in sorted(cells.items()):
        cell = f"{planned.cell_mL:g} mL" if count == 1 else f"{planned.cell_mL:g} mL for each of {count} cells"
        steps = made.get(dilution, ())
        if not steps:
            yield f"the sample as it is: {cell}"
        for step in steps:
            last = f"; of this {cell}" if step is steps[-1] else ""
            yield f"{dilution:g} times, {step.name}: {_step(step, lot)}{last}"


def _step(step: Step, lot: str) -> str:
    source = f"{step.volume_mL:g} mL of {step.source} ({step.pipette.name})"
    return f"{source} into a {step.flask.volume_mL:g} mL flask, filled up with {lot}"


def _steps(planned: PlannedSample, row: PlannedRow) -> Iterator[str]:
    diluted = "the sample as it is" if row.dilution == 1.0 else f"the sample {row.dilution:g} times diluted"
    if planned.prescan:
        yield "pre-scan in clean seawater, before anything else touches the electrode"
    yield f"main reading: {planned.cell_mL:g} mL of {diluted} in the cell"
    for one in row.additions:
        yield _added(one, planned.unit)
    yield "curves saved, and the row of the run sheet filled in; the electrode is spent"


def _added(one: PlannedAddition, unit: str) -> str:
    what = "closing spike" if one.spike else "addition"
    stock = "a stock" if one.stock is None else f"stock {one.stock}"
    if one.volume_mL is not None:
        how = f"{one.volume_mL:g} mL of {stock}, a rise of about {amount(one.rise)} {unit}"
    else:
        how = f"of {stock} for a rise of {amount(one.rise)} {unit}, volume ______"
    same = ", in stock and volume as standards are spiked" if one.spike else ""
    return f"{what}: {how}{same}; then read again"


def _ends(planned: PlannedSample) -> Iterator[str]:
    """What would end it, before, during and after."""
    if planned.stop is not None:
        yield f"before: no further electrode is needed, since {planned.stop}"
    if planned.prescan:
        yield "stop when a pre-scan is unlike those of its batch: set the electrode aside with a reason, take another"
    if any(row.additions for row in planned.chosen):
        yield "stop when a signal falls after an addition: add nothing more to this cell, and write it down"
    taken = sum(row.sample_mL for row in planned.chosen)
    if planned.water_mL is not None:
        left = f"{planned.water_mL - taken:.3g} mL of {planned.water_mL:g} mL are left after"
        yield f"the electrodes here take {taken:g} mL of the sample; {left}"
    fold = f"{planned.max_fold:g}"
    yield f"afterwards read {planned.sample} anew: stop when it is quantified, its interval within a factor of {fold}"
    yield f"else plan anew before the next electrode, and stop when {LITTLE}"


def _head(bench: SampleBench) -> Iterator[str]:
    yield (
        f"NEXT ELECTRODE OF SAMPLE {bench.sample}"
        if len(bench.electrodes) == 1
        else (f"NEXT {len(bench.electrodes)} ELECTRODES OF SAMPLE {bench.sample}")
    )
    yield from _wrapped(f"{opened(bench.sentence)}.")
    yield f"Batch {bench.batch} on {bench.instrument}; calibration {bench.calibration[:12]}."
    yield ""
    for text in bench.cautions:
        yield from _wrapped(text)


def _boxes(bench: SampleBench) -> Iterator[str]:
    yield from ("", "To make:")
    for text in bench.prepare:
        yield from _wrapped(text, _BOX)
    for number, one in enumerate(bench.electrodes, start=1):
        yield from ("", f"Electrode {number}: {one.what}")
        yield "Name: ______________   Date, time: ______________   Initials: ________"
        for text in one.steps:
            yield from _wrapped(text, _BOX)
        yield f"What was odd: {'_' * 60}"


def _foot(bench: SampleBench) -> Iterator[str]:
    yield from ("", "What ends it:")
    for text in bench.ends:
        yield from _wrapped(text, "- ")


def _wrapped(text: str, mark: str = "") -> list[str]:
    return textwrap.wrap(text, _LINE, initial_indent=mark, subsequent_indent=" " * len(mark), break_on_hyphens=False)
