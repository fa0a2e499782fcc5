"""What an interpretation says of one tank in words for people who are not chemists. It never convicts."""

from __future__ import annotations

from collections.abc import Sequence

from brinemark.science.fish.mass_balance import CANNOT_SAY, EXCLUDED, NO_RISE, MassBalance
from brinemark.science.fish.wording import NOT_AN_ALL_CLEAR, support
from brinemark.steps.fish_answers import WaterAnswer, WorldAnswer, most_telling
from brinemark.steps.weighing import Scales
from brinemark.terms.evidence import Cap, VerbalScale, Weight
from brinemark.terms.wording import opened

SCREENING = (
    "This screens and weighs; it does not convict. An accredited laboratory confirms a find, by mass spectrometry on a "
    "sealed part of the same water, and local law decides what follows."
)
NEVER_AN_ALL_CLEAR = (
    "Where no thiocyanate is found, that does not show how the fish were caught: after a few days there may be nothing "
    "left to find."
)


def headline(
    waters: Sequence[WaterAnswer], balance: MassBalance | None, worlds: Sequence[WorldAnswer], scales: Scales
) -> str:
    """One line: what was read, what the amount asks of the fish, and what each world makes of it."""
    read = [one for one in waters if one.reading is not None]
    if not waters:
        return "no water of this tank was taken"
    if not read:
        return "water taken, not read yet"
    told = [read[most_telling(read)].sentence]
    if balance is not None and balance.status not in (CANNOT_SAY, NO_RISE):
        told.append(balance.status)
    elif balance is not None and balance.status == NO_RISE:
        told.append(NO_RISE)
    told += [f"world '{one.world}': {world_words(one, scales.scale, scales.cap)}" for one in worlds]
    return "; ".join(told)


def world_words(world: WorldAnswer, scale: VerbalScale, cap: Cap) -> str:
    """The support in this world, against the account that explains the readings best. cap : where the world has none
    of its own."""
    weight = least_weight(world)
    if weight is None:
        return "no ratio" if world.table is None else "no ratio without a background of this water"
    if weight.log10_ratio == weight.lower == weight.upper == 0.0:
        return "the readings say nothing either way"
    return support(weight, scale, world.cap or cap)


def least_weight(world: WorldAnswer) -> Weight | None:
    """Of the weights against all accounts that are open, the one with the least support for exposure."""
    if world.judged is None:
        return None
    return min((world.judged, *world.against), key=lambda one: one.log10_ratio)


def tank_sentences(
    waters: Sequence[WaterAnswer],
    balance: MassBalance | None,
    worlds: Sequence[WorldAnswer],
    accounts: Sequence[tuple[str, str]],
) -> tuple[str, ...]:
    """The same at length, in reading order: readings, amount, other accounts, worlds, and what a negative means."""
    told = [f"{one.sample}: {one.sentence}." for one in waters]
    told += [] if balance is None else [f"{opened(_amount_words(one))}." for one in balance.words]
    if balance is not None and balance.status == EXCLUDED:
        told.append("Whatever a ratio below says, it cannot make these fish the only source.")
    told += [f"The record does not exclude {name}: {why}." for name, why in accounts]
    told += [sentence for world in worlds for sentence in world.told]
    read = [one for one in waters if one.reading is not None]
    if read and not any(one.found for one in read) and NOT_AN_ALL_CLEAR not in told:
        told.append(NEVER_AN_ALL_CLEAR)
    return tuple(dict.fromkeys(told))


def _amount_words(text: str) -> str:
    return text.replace(f"{CANNOT_SAY}:", "no mass balance:", 1) if text.startswith(CANNOT_SAY) else text
