"""What a tank record leaves unsaid, or says that bears on what a reading of its water can mean: plain sentences."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable, Iterator, Sequence

from brinemark.records.text import shown
from brinemark.terms.tanks import CAPTIVE_BRED, CATCH, FED, IN, SAMPLE, TREATED, TankRow

LONG_AGO_D = 60.0
REPORTED_D = 28
"""How long fish were reported to release thiocyanate: PLoS ONE 2012, 7(4), e35355; the number from memory."""
FASTED_H = (24.0, 48.0)
"""Fish should fast so long before a sample: common practice, no source."""
_OXIDANTS = ("ozon", "chlorin", "bromin", "hypochlorit", "bleach", "peroxid")
_THIOSULFATE = ("dechlorinator", "thiosulfate", "thiosulphate")  # words begin so: a dechlorinator is no chlorine
_COPPER = ("copper",)
_NAMED = 5

Remark = tuple[str, str]
"""A sentence, and what it is about: fish or a sample; sentences that are alike are told once with all that they are
about."""


def tank_remarks(rows: Iterable[TankRow], tank: str, sample: str) -> tuple[str, ...]:
    """What to keep in mind of one sample: of its taking, of its tank and of the fish that went into it before.

    rows : of one consignment in order of time.
    """
    rows = list(rows)
    taken = next(row for row in rows if row.what == SAMPLE and row.sample == sample and row.tank == tank)
    fish = _fish_before(rows, tank, taken)
    of_fish = [
        f"{text}: {about}" for row in rows if row.what == CATCH and row.fish in fish for text, about in _fish(row)
    ]
    return (*of_fish, *(text for text, _ in _of_sample(rows, taken)))


def take_in_remarks(rows: Sequence[TankRow], new: Collection[TankRow]) -> tuple[str, ...]:
    """The same for the catches and samples that are new, those that are alike told once."""
    return tuple(_told_once(_all(rows, new)))


def _all(rows: Sequence[TankRow], new: Collection[TankRow]) -> Iterator[Remark]:
    for row in new:
        if row.what == CATCH:
            yield from _fish(row)
    for row in new:
        if row.what == SAMPLE:
            yield from _of_sample(rows, row)


def _told_once(remarks: Iterable[Remark]) -> Iterator[str]:
    abouts: dict[str, list[str]] = {}
    for text, about in remarks:
        abouts.setdefault(text, []).append(about)
    for text, found in abouts.items():
        more = f" and {len(found) - _NAMED} more" if len(found) > _NAMED else ""
        yield f"{text}: {', '.join(found[:_NAMED])}{more}"


def _fish(row: TankRow) -> Iterator[Remark]:
    about = f"fish {shown(row.fish)}"
    if row.species is None:
        yield "no species is recorded, and rates differ between species", about
    if row.origin is None:
        yield "no origin is recorded, so that other sources near it cannot be judged", about


def _of_sample(rows: Sequence[TankRow], taken: TankRow) -> Iterator[Remark]:
    about = f"sample {shown(taken.sample)}"
    yield from ((text, about) for text in _taking(taken))
    yield from ((text, about) for text in _water(rows, taken))


def _taking(taken: TankRow) -> Iterator[str]:
    if taken.split_seal is None:
        yield "no part was split off for mass spectrometry, so that nothing can confirm it"
    if taken.seal is None:
        yield "no seal is recorded"
    if taken.filtration_um is None:
        yield "no filtration is recorded; what lives in unfiltered water uses thiocyanate up"
    if taken.storage is None:
        yield "no storage is recorded, and thiocyanate is lost in stored water"
    if taken.smoker is None:
        yield "it is not recorded whether its taker smokes; saliva holds thiocyanate"
    elif taken.smoker:
        # Saliva of smokers: 0.97 mmol/L on average and up to 3.92, Res J Pharm Technol 2018,
        # 10.5958/0974-360X.2018.00449.3; 3.92 mmol/L of 58.08 g/mol, 1 uL in 10 mL, is 23 ug/L.
        yield "its taker smokes, and a smoker's saliva holds much thiocyanate: 1 uL in 10 mL can give 20 ug/L"


def _water(rows: Sequence[TankRow], taken: TankRow) -> Iterator[str]:
    fish = _fish_before(rows, str(taken.tank), taken)
    before = [row for row in rows if row.at.timestamp() <= taken.at.timestamp()]
    for row in before:
        days = _hours(row, taken) / 24.0
        if row.what == CATCH and row.fish in fish and row.history != CAPTIVE_BRED and days > LONG_AGO_D:
            yield f"fish {shown(row.fish)} were caught {days:.0f} d before; reports of release end at {REPORTED_D} d"
    here = [row for row in before if row.tank == taken.tank]
    fed = [_hours(row, taken) for row in here if row.what == FED]
    if fed and min(fed) <= FASTED_H[1]:
        limit = FASTED_H[0] if min(fed) <= FASTED_H[0] else FASTED_H[1]
        yield f"the fish were fed within {limit:.0f} h before, and feed can give thiocyanate"
    for row in here:
        if row.what == TREATED:
            yield from _treatment(str(row.substance))


def _treatment(substance: str) -> Iterator[str]:
    for words, meaning in _TREATMENTS:
        if any(re.search(rf"\b{word}", substance.casefold()) for word in words):
            yield f"the tank was treated with {shown(substance)}: {meaning}"


_TREATMENTS = (
    (_OXIDANTS, "oxidants destroy thiocyanate, so that finding none says nothing"),
    (_THIOSULFATE, "thiosulfate answers on the electrode as thiocyanate does, so that a finding may be false"),
    (_COPPER, "copper can change the answer of the electrode"),
)


def _fish_before(rows: Sequence[TankRow], tank: str, taken: TankRow) -> set[str | None]:
    """Fish that went into the tank before a sample was taken from it."""
    end = taken.at.timestamp()
    return {row.fish for row in rows if row.what == IN and row.tank == tank and row.at.timestamp() <= end}


def _hours(row: TankRow, later: TankRow) -> float:
    return (later.at.timestamp() - row.at.timestamp()) / 3600.0
