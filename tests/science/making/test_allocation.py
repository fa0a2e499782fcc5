"""A run is drawn by lot within bounds: every batch its blanks, balanced, bracketed, uniform, the same from one seed."""

from __future__ import annotations

import math
from collections import Counter
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import chi2

from brinemark.science.making.allocation import Allocation, Portion, Task, Wish, allocate
from brinemark.terms.errors import Refused

SEEDS = 3000
CHANCE = 1e-5
"""Probability with which a fair lot exceeds the limit of one chi-square below; a dozen are looked at."""

FOUR = (*((f"A-{n}", "A") for n in range(6)), *((f"B-{n}", "B") for n in range(6)))
WISH = Wish(
    blanks=2,
    standards=2,
    levels=(0.5, 2.0, 8.0, 20.0),
    portions=(Portion("S1"), Portion("S2"), Portion("S3"), Portion("S4")),
)


def uniform(counts: Counter[object], cells: int) -> None:
    """Counts of equally likely outcomes stay below the chi-square that chance exceeds with probability CHANCE."""
    total = sum(counts.values())
    expected = total / cells
    seen = sum((count - expected) ** 2 / expected for count in counts.values())
    seen += (cells - len(counts)) * expected
    assert seen < chi2.isf(CHANCE, cells - 1), counts


@pytest.fixture(scope="module")
def drawn() -> list[Allocation]:
    return [allocate(FOUR, WISH, seed) for seed in range(SEEDS)]


def by_electrode(one: Allocation) -> dict[str, Task]:
    return {task.electrode: task for task in one.tasks}


def kind(task: Task) -> str:
    return task.role or "portion"


def test_every_electrode_of_a_batch_gets_every_role_equally_often(drawn: list[Allocation]) -> None:
    for batch in ("A", "B"):
        names = [name for name, its in FOUR if its == batch]
        for role in ("blank", "standard", "portion"):
            uniform(Counter(n for one in drawn for n in names if kind(by_electrode(one)[n]) == role), 6)


def test_every_level_goes_to_every_electrode_equally_often(drawn: list[Allocation]) -> None:
    seen = [(task.electrode, task.levels[0]) for one in drawn for task in one.tasks if task.role == "standard"]
    uniform(Counter(seen), len(FOUR) * 4)


def test_every_sample_goes_to_every_electrode_equally_often(drawn: list[Allocation]) -> None:
    seen = [(task.electrode, task.portion) for one in drawn for task in one.tasks if task.portion is not None]
    uniform(Counter(seen), len(FOUR) * 4)


def test_no_level_no_sample_and_no_electrode_goes_with_a_place_in_the_order(drawn: list[Allocation]) -> None:
    """Four blanks stand around eight others, in three gaps of which two hold three."""
    places = [[task for task in one.tasks if task.role != "blank"] for one in drawn]
    uniform(Counter((place, one[place].levels or one[place].portion) for one in places for place in range(8)), 64)
    uniform(Counter((place, one[place].electrode) for one in places for place in range(8)), 8 * len(FOUR))
    blanks = [[task for task in one.tasks if task.role == "blank"] for one in drawn]
    uniform(Counter((place, one[place].electrode) for one in blanks for place in range(4)), 4 * len(FOUR))


def test_the_longer_gaps_stand_anywhere(drawn: list[Allocation]) -> None:
    def short(one: Allocation) -> int:
        places = [place for place, task in enumerate(one.tasks) if task.role == "blank"]
        return [after - before - 1 for before, after in pairwise(places)].index(2)

    uniform(Counter(short(one) for one in drawn), 3)


def test_one_seed_gives_one_allocation_whatever_the_order_of_the_electrodes(drawn: list[Allocation]) -> None:
    assert allocate(FOUR, WISH, 7) == drawn[7]
    assert allocate(FOUR[::-1], WISH, 7) == drawn[7]
    assert len({one.tasks for one in drawn}) > 0.99 * SEEDS


def test_a_draw_is_what_it_was_when_this_was_written() -> None:
    """Held, so that a plan can be drawn again years later."""
    order = [(task.electrode, task.role, task.levels) for task in allocate(FOUR[:6], Wish(2, 2, (1.0, 4.0)), 1).tasks]
    assert order == HELD


HELD = [
    ("A-2", "blank", (0.0,)),
    ("A-3", "standard", (4.0,)),
    ("A-4", "standard", (1.0,)),
    ("A-0", "blank", (0.0,)),
]

WISHES = st.builds(
    Wish,
    blanks=st.integers(1, 3),
    standards=st.integers(0, 3),
    levels=st.lists(st.sampled_from([0.5, 1.0, 2.0, 4.0, 8.0, 20.0]), unique=True, max_size=6).map(tuple),
    levels_per_electrode=st.integers(1, 4),
    portions=st.lists(st.builds(Portion, st.sampled_from("STUV"), st.integers(1, 4)), max_size=5).map(tuple),
    bracket=st.booleans(),
    blank_every=st.none() | st.integers(1, 8),
)


@given(st.lists(st.integers(1, 8), min_size=1, max_size=4), WISHES, st.integers(0, 2**31))
def test_what_is_drawn_keeps_every_bound_or_is_refused_in_one_line(sizes: list[int], wish: Wish, seed: int) -> None:
    electrodes = [(f"{batch}-{n}", f"B{batch}") for batch, size in enumerate(sizes) for n in range(size)]
    try:
        one = allocate(electrodes, wish, seed)
    except Refused as refusal:
        assert "\n" not in str(refusal)
        return
    assert sorted([*(task.electrode for task in one.tasks), *one.left]) == sorted(name for name, _ in electrodes)
    assert all(dict(electrodes)[task.electrode] == task.batch for task in one.tasks)
    _check_batches(one, wish, len(sizes))
    _check_levels(one, wish)
    _check_portions(one, wish)
    if wish.bracket:
        _check_brackets(one, wish)


def _check_batches(one: Allocation, wish: Wish, batches: int) -> None:
    for role, count in (("blank", wish.blanks), ("standard", wish.standards)):
        found = Counter(task.batch for task in one.tasks if task.role == role)
        assert found == ({f"B{batch}": count for batch in range(batches)} if count else {})


def _check_levels(one: Allocation, wish: Wish) -> None:
    standards = [task for task in one.tasks if task.role == "standard"]
    for task in standards:
        assert len(task.levels) == wish.levels_per_electrode
        assert all(before < after for before, after in pairwise(task.levels))
    for group in (standards, *([t for t in standards if t.batch == b] for b in {t.batch for t in standards})):
        counts = Counter(level for task in group for level in task.levels)
        used = [counts[level] for level in wish.levels]
        assert not group or max(used) - min(used) <= 1


def _check_portions(one: Allocation, wish: Wish) -> None:
    counts = Counter(task.portion for task in one.tasks if task.portion is not None)
    assert counts == {number: portion.electrodes for number, portion in enumerate(wish.portions)}


def _check_brackets(one: Allocation, wish: Wish) -> None:
    places = [place for place, task in enumerate(one.tasks) if task.role == "blank"]
    assert (places[0], places[-1]) == (0, len(one.tasks) - 1)
    gaps = [after - before - 1 for before, after in pairwise(places)]
    assert max(gaps) - min(gaps) <= 1
    assert wish.blank_every is None or max(gaps) <= wish.blank_every


def test_the_electrodes_of_a_sample_are_spread_over_batches() -> None:
    electrodes = [(f"{batch}{n}", batch) for batch in "ABC" for n in range(5)]
    wish = Wish(portions=(Portion("S1", 3), Portion("S2", 2), Portion("S3", 1), Portion("S1", 2)))
    for seed in range(50):
        tasks = allocate(electrodes, wish, seed).tasks
        batches = Counter(task.batch for task in tasks if task.portion in (0, 3))
        assert sorted(batches.values()) == [1, 2, 2]
        assert sorted(Counter(task.batch for task in tasks if task.portion == 1).values()) == [1, 1]


REFUSED = {
    "no electrode": ([], Wish()),
    "electrode 'A-0' more than once": ([FOUR[0], FOUR[0]], Wish()),
    "0 blanks of each batch": (FOUR, Wish(blanks=0)),
    "-1 blanks of each batch": (FOUR, Wish(blanks=-1, bracket=False)),
    "-1 standards": (FOUR, Wish(standards=-1)),
    "0 electrodes for S1": (FOUR, Wish(portions=(Portion("S1", 0),))),
    "levels without standards": (FOUR, Wish(levels=(1.0,))),
    "standards without levels": (FOUR, Wish(standards=1)),
    "levels above 0": (FOUR, Wish(standards=1, levels=(0.0, 1.0))),
    "the levels 1, 1": (FOUR, Wish(standards=1, levels=(1.0, 1.0), levels_per_electrode=2)),
    "the levels nan": (FOUR, Wish(standards=1, levels=(math.nan,))),
    "3 levels on an electrode, of 2 in all": (FOUR, Wish(standards=1, levels=(1.0, 2.0), levels_per_electrode=3)),
    "batch B with 1 electrodes": (FOUR[:7], Wish(blanks=2)),
    "expected 13: 8 for blanks and standards, 5 for samples": (
        FOUR,
        Wish(2, 2, (1.0,), portions=(Portion("S1", 5),)),
    ),
    "one blank in the run": (FOUR[:6], Wish(blanks=1)),
    "so that 4 stand between two of them; expected at most 3": (
        FOUR,
        Wish(blanks=1, portions=(Portion("S1", 4),), blank_every=3),
    ),
    "0 electrodes between two blanks": (FOUR, Wish(blank_every=0)),
}


@pytest.mark.parametrize("words", list(REFUSED))
def test_what_cannot_be_done_is_refused_by_one_clear_error(words: str) -> None:
    electrodes, wish = REFUSED[words]
    with pytest.raises(Refused) as caught:
        allocate(electrodes, wish, 1)
    assert words in str(caught.value)


@pytest.mark.parametrize("seed", range(5))
def test_a_level_that_is_named_twice_goes_to_two_electrodes_of_each_batch(seed: int) -> None:
    one = allocate(FOUR, Wish(standards=3, levels=(2.0, 2.0, 20.0)), seed)
    for batch in ("A", "B"):
        levels = sorted(task.levels for task in one.tasks if task.role == "standard" and task.batch == batch)
        assert levels == [(2.0,), (2.0,), (20.0,)]


def test_without_brackets_a_run_may_have_no_blank() -> None:
    one = allocate(FOUR[:3], Wish(blanks=0, bracket=False, portions=(Portion("S1", 3),)), 3)
    assert Counter(kind(task) for task in one.tasks) == {"portion": 3}
    assert one.left == ()


def test_without_brackets_one_blank_will_do() -> None:
    one = allocate(FOUR[:3], Wish(bracket=False, portions=(Portion("S1", 2),)), 3)
    assert Counter(kind(task) for task in one.tasks) == {"blank": 1, "portion": 2}
