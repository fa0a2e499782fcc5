"""Which electrode of a run is blank, standard, control or sample, and in which order they are read: drawn by lot.

Every batch of the run gets its own blanks and standards. Levels are dealt round, so that over the run, and within
each batch, no level stands on more electrodes than another by more than one. The electrodes of one sample are spread
over as many batches as there are. Within these bounds all is drawn: which electrode of a batch does what, which level
goes where, and the place of every electrode in the order, so that neither level nor sample goes with place, time or
the order of making. Blanks stand first and last and evenly between. On an electrode that reads several levels they
rise, since a life may not fall.

Randomisation within blocks as in any textbook of experiments (common practice, no source).
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from brinemark.science.making.draws import Draws
from brinemark.terms.errors import Refused

BLANK, STANDARD = "blank", "standard"


@dataclass(frozen=True, slots=True)
class Portion:
    """What some electrodes are to read: a sample or control in one dilution. name : portions of one are spread."""

    name: str
    electrodes: int = 1


@dataclass(frozen=True, slots=True)
class Wish:
    """What is asked of a run.

    blanks, standards : electrodes of each batch, no blank only without bracket; levels : of the standards, one twice
    for two electrodes of it [level unit]; levels_per_electrode : how many one electrode reads, rising; bracket :
    blanks first, last and evenly between; blank_every : most electrodes between two blanks, None = as evenly as may be.
    """

    blanks: int = 1
    standards: int = 0
    levels: tuple[float, ...] = ()
    levels_per_electrode: int = 1
    portions: tuple[Portion, ...] = ()
    bracket: bool = True
    blank_every: int | None = None


@dataclass(frozen=True, slots=True)
class Task:
    """What one electrode reads: role blank or standard with its levels, or portion : number in Wish.portions."""

    electrode: str
    batch: str
    role: str
    levels: tuple[float, ...] = ()
    portion: int | None = None


@dataclass(frozen=True, slots=True)
class Allocation:
    """tasks : in the order in which they are read; left : electrodes for which there was nothing to do."""

    tasks: tuple[Task, ...]
    left: tuple[str, ...]


def allocate(electrodes: Sequence[tuple[str, str]], wish: Wish, seed: int) -> Allocation:
    """Draw roles and order for electrodes, given as (name, batch). Raises Refused for what cannot be done."""
    batches: dict[str, list[str]] = {}
    for name, batch in electrodes:
        batches.setdefault(batch, []).append(name)
    _check(electrodes, batches, wish)
    draws = Draws(seed)
    mixed = {batch: draws.shuffled(sorted(batches[batch])) for batch in sorted(batches)}
    known = [*_blanks(mixed, wish), *_standards(mixed, wish, draws)]
    free = {batch: names[wish.blanks + wish.standards :] for batch, names in mixed.items()}
    portions, left = _portions(free, wish, draws)
    return Allocation(tuple(_in_order([*known, *portions], wish, draws)), tuple(sorted(left)))


def _blanks(mixed: Mapping[str, list[str]], wish: Wish) -> Iterator[Task]:
    for batch, names in mixed.items():
        for name in names[: wish.blanks]:
            yield Task(name, batch, BLANK, (0.0,))


def _standards(mixed: Mapping[str, list[str]], wish: Wish, draws: Draws) -> Iterator[Task]:
    """Levels dealt round: batch by batch in random order, electrode by electrode, from one shuffled ring of levels."""
    ring, dealt = draws.shuffled(sorted(wish.levels)), 0
    for batch in draws.shuffled(list(mixed)):
        for name in mixed[batch][wish.blanks : wish.blanks + wish.standards]:
            mine = [ring[(dealt + step) % len(ring)] for step in range(wish.levels_per_electrode)]
            dealt += wish.levels_per_electrode
            yield Task(name, batch, STANDARD, tuple(sorted(mine)))


def _portions(free: Mapping[str, list[str]], wish: Wish, draws: Draws) -> tuple[list[Task], list[str]]:
    """Portions on free electrodes: each into the batch that has least of its name, then most room, then by lot."""
    room = {batch: list(names) for batch, names in free.items()}
    has: dict[tuple[str, str], int] = {}
    tasks = []
    needed: dict[str, int] = {}
    for portion in wish.portions:
        needed[portion.name] = needed.get(portion.name, 0) + portion.electrodes
    rank = {name: place for place, name in enumerate(draws.shuffled(sorted(needed)))}
    order = draws.shuffled([n for n, portion in enumerate(wish.portions) for _ in range(portion.electrodes)])
    order.sort(key=lambda n: (-needed[wish.portions[n].name], rank[wish.portions[n].name]))
    for number in order:
        name = wish.portions[number].name
        batch = min(
            draws.shuffled([batch for batch in sorted(room) if room[batch]]),
            key=lambda one: (has.get((name, one), 0), -len(room[one])),
        )
        has[name, batch] = has.get((name, batch), 0) + 1
        tasks.append(Task(room[batch].pop(), batch, "", portion=number))
    return tasks, [name for names in room.values() for name in names]


def _in_order(tasks: Sequence[Task], wish: Wish, draws: Draws) -> list[Task]:
    """All in random order; bracketed: blanks first and last, and what lies between them parted as evenly as may be."""
    mixed = draws.shuffled(sorted(tasks, key=lambda task: task.electrode))
    if not wish.bracket:
        return mixed
    blanks = [task for task in mixed if task.role == BLANK]
    others = [task for task in mixed if task.role != BLANK]
    gaps = len(blanks) - 1
    longer = set(draws.shuffled(range(gaps))[: len(others) % gaps])
    found, start = [blanks[0]], 0
    for gap in range(gaps):
        stop = start + len(others) // gaps + (gap in longer)
        found += [*others[start:stop], blanks[gap + 1]]
        start = stop
    return found


def _check(electrodes: Sequence[tuple[str, str]], batches: Mapping[str, list[str]], wish: Wish) -> None:
    names = [name for name, _ in electrodes]
    double = next((name for name in names if names.count(name) > 1), None)
    if not names or double is not None:
        came = "no electrode" if not names else f"electrode {double!r} more than once"
        raise Refused(came, "the electrodes of the run, each once", "choose electrodes")
    _check_counts(wish)
    _check_levels(wish)
    _check_room(names, batches, wish)
    _check_brackets(len(batches), wish)


def _check_counts(wish: Wish) -> None:
    counts = {
        "blanks of each batch": (wish.blanks, 1 if wish.bracket else 0),
        "standards of each batch": (wish.standards, 0),
        "levels of an electrode": (wish.levels_per_electrode, 1),
        "electrodes between two blanks": (wish.blank_every if wish.blank_every is not None else 1, 1),
        **{f"electrodes for {portion.name}": (portion.electrodes, 1) for portion in wish.portions},
    }
    for what, (count, least) in counts.items():
        if count < least:
            more = ", or for none around the run" if what.startswith("blanks") and wish.bracket else ""
            raise Refused(f"{count} {what}", f"at least {least}", f"ask for more{more}")


def _check_levels(wish: Wish) -> None:
    if bool(wish.levels) != (wish.standards > 0):
        came = "levels without standards" if wish.levels else "standards without levels"
        raise Refused(came, "both or neither", "say how many standards each batch gets, and their levels")
    said = f"the levels {', '.join(f'{level:g}' for level in wish.levels)}"
    if any(not level > 0 for level in wish.levels):
        raise Refused(said, "levels above 0", "a level of 0 is a blank")
    if wish.levels_per_electrode > 1 and len(set(wish.levels)) < len(wish.levels):
        raise Refused(said, "each level once, where an electrode reads several", "name every level once")
    if wish.levels and wish.levels_per_electrode > len(wish.levels):
        came = f"{wish.levels_per_electrode} levels on an electrode, of {len(wish.levels)} in all"
        raise Refused(came, "no more than there are", "name more levels, or ask for fewer on an electrode")


def _check_room(names: Sequence[str], batches: Mapping[str, list[str]], wish: Wish) -> None:
    own = wish.blanks + wish.standards
    small = next((batch for batch, there in sorted(batches.items()) if len(there) < own), None)
    if small is not None:
        came = f"batch {small} with {len(batches[small])} electrodes in the run"
        expected = f"at least {own}: {wish.blanks} for blanks and {wish.standards} for standards"
        raise Refused(came, expected, "choose more of its electrodes, or ask for fewer")
    read = sum(portion.electrodes for portion in wish.portions)
    needed = own * len(batches) + read
    if needed > len(names):
        came = f"{len(names)} electrodes"
        expected = f"{needed}: {own * len(batches)} for blanks and standards, {read} for samples and controls"
        raise Refused(came, expected, "choose more electrodes, or ask for fewer readings")


def _check_brackets(batches: int, wish: Wish) -> None:
    blanks = wish.blanks * batches
    others = wish.standards * batches + sum(portion.electrodes for portion in wish.portions)
    if not wish.bracket:
        return
    if blanks < 2:
        raise Refused("one blank in the run", "two, first and last", "ask for more blanks, or for none around the run")
    longest = -(-others // (blanks - 1))
    if wish.blank_every is not None and longest > wish.blank_every:
        came = f"{blanks} blanks around {others} other electrodes, so that {longest} stand between two of them"
        raise Refused(came, f"at most {wish.blank_every}", "ask for more blanks, or for more electrodes between them")
