"""Mass balance against published arithmetic, hand sums and the kinetics themselves."""

from __future__ import annotations

import numpy as np
import pytest

from brinemark.science.fish.kinetics import SCN_PER_CN, constants, follow
from brinemark.science.fish.mass_balance import (
    CANNOT_SAY,
    DOUBTFUL,
    EXCLUDED,
    LETHAL_MG_KG,
    LIMIT_MG_KG,
    NO_RISE,
    POSSIBLE,
    Level,
    MassBalance,
    balance,
    dilution_history,
    fish_alone,
    fish_ever_in,
    volume_at,
)
from brinemark.science.fish.parameters import FIXED, Parameter, own_source
from brinemark.science.fish.tanks import Add, Fish, History, Leave, Move, Renew, Resize, Supply, Tank
from brinemark.science.fish.worlds import Drawing, World, draw_world, kinetics_of, published_worlds, with_parameters
from brinemark.terms.errors import Refused

DRAWING = Drawing(200, 3)
WORLDS = published_worlds()


def exactly(share: float) -> tuple[World, ...]:
    """Both worlds with the share converted known."""
    fixed = Parameter("converted", "1", share, 1.0, FIXED, own_source("a test"))
    return tuple(with_parameters(world, fixed) for world in WORLDS)


def still(volume: float, mass: float, count: int = 1) -> History:
    return History((Tank("a", volume),), (Fish("one", count, mass, tank="a"),))


def of(
    history: History, low: float | None, blank: float | None = 0.0, worlds: tuple[World, ...] = WORLDS
) -> MassBalance:
    return balance(Level(low, blank), history, "a", 1.0, worlds, DRAWING)


# Arithmetic of D = C V / (2.232 f m) with f = 0.8, rounded to two figures.
@pytest.mark.parametrize(
    ("level", "volume", "mass", "dose"),
    [(5.0, 100.0, 0.010, 28.0), (5.0, 100.0, 0.100, 2.8), (20.0, 1.0, 0.005, 2.2), (5.0, 1000.0, 0.050, 56.0)],
)
def test_the_implied_dose_of_four_readings(level: float, volume: float, mass: float, dose: float) -> None:
    found = of(still(volume, mass), level, worlds=exactly(0.8)).least
    assert found is not None
    assert found.median == pytest.approx(dose, rel=0.02)
    assert found.lower == found.upper == found.median


def test_one_reading_of_7_ug_L_from_10_g_in_1_L_is_possible_by_itself() -> None:
    found = of(still(1.0, 0.010), 7.0, worlds=exactly(0.8))
    assert found.least is not None
    assert found.least.median == pytest.approx(0.39, abs=0.005)
    assert found.status == POSSIBLE


def test_the_lethal_dose_beside_it_is_that_of_cyanide_in_potassium_cyanide() -> None:
    assert pytest.approx(3.0, abs=0.01) == LETHAL_MG_KG  # KCN 7.49 mg/kg, oral, rat (ECHA dossier 13737)


def test_the_words_carry_dose_interval_and_scale() -> None:
    found = of(still(100.0, 0.010), 5.0, worlds=exactly(0.8))
    assert (
        "would need 28 mg CN per kg (28 to 28), 9.4 times a mammalian lethal dose; no value exists for fish"
        in (found.words[1])
    )
    assert any("7.49 mg/kg" in source for source in found.sources)
    assert all("None" not in words and "nan" not in words for words in found.words)


def test_fish_are_excluded_doubtful_or_possible() -> None:
    statuses = [of(still(100.0, mass), 5.0).status for mass in (0.010, 0.100, 1.0)]
    assert statuses == [EXCLUDED, DOUBTFUL, POSSIBLE]
    assert "cannot be the only source" in " ".join(of(still(100.0, 0.010), 5.0).words)
    assert "does not show that they are" in " ".join(of(still(100.0, 1.0), 5.0).words)


def test_each_world_needs_at_least_the_least_dose_and_no_release_needs_more_than_any() -> None:
    found = of(still(1.0, 0.010), 7.0)
    released, not_released = found.worlds
    assert found.least is not None and released.dose is not None
    assert released.dose.lower > found.least.lower and released.dose.median > found.least.median
    assert not_released.dose is None and "no dose does it" in not_released.words


def test_the_dose_of_a_world_gives_the_reading_back() -> None:
    fixed = [
        Parameter(name, each.unit, each.median, 1.0, FIXED, own_source("a test"))
        for name, each in WORLDS[0].parameters.items()
    ]
    world = with_parameters(WORLDS[0], *fixed)
    events = (Move(1.0, "one", "a"), Renew(2.0, "a", 0.3), Leave(2.5, "one", 1, dead=True), Add(2.6, "a", 50.0))
    tank = Tank("a", 20.0, exchange_L_d=4.0, source_ug_L=0.4, filled_d=0.5)
    history = History((tank,), (Fish("one", 5, 0.01),), events)
    dose = balance(Level(3.0, 0.4), history, "a", 4.0, (world,), Drawing(1, 1)).worlds[0].dose
    assert dose is not None
    alone = fish_alone(history)
    dosed = History(alone.tanks, (Fish("one", 5, 0.01, dose.median),), alone.events)
    level = follow(kinetics_of(draw_world(world, Drawing(1, 1))), dosed, np.array([4.0])).water_ug_L[0, 0, 0]
    assert level == pytest.approx(2.6)


def test_the_source_blank_is_taken_off_and_a_missing_one_is_said() -> None:
    history = still(100.0, 0.010)
    with_blank, without = of(history, 5.0, 4.0), of(history, 5.0, None)
    assert with_blank.rise_ug_L == 1.0 and without.rise_ug_L == 5.0
    assert "no blank of the source water" in without.words[-1]
    assert not any("no blank" in words for words in with_blank.words)


def test_no_rise_no_lower_end_and_no_fish_are_said() -> None:
    history = still(100.0, 0.010)
    assert of(history, 3.0, 4.0).status == NO_RISE
    assert of(history, None).status == CANNOT_SAY and of(history, None).least is None
    assert of(History((Tank("a", 1.0),)), 3.0).status == CANNOT_SAY


def test_dead_and_removed_fish_count() -> None:
    events = (Leave(0.2, "one", 2, dead=True), Leave(0.3, "one", 3), Leave(2.0, "one", 1))
    history = History((Tank("a", 10.0),), (Fish("one", 8, 0.01, tank="a"),), events)
    (fish,) = fish_ever_in(history, "a", 1.0)
    assert (fish.count, fish.dead, fish.removed) == (8, 2, 3)
    assert of(history, 5.0).least == of(still(10.0, 0.01, 8), 5.0).least
    assert "8 fish, 2 of them dead and 3 taken out since, of 80 g" in of(history, 5.0).words[0]


def test_fish_that_passed_through_count_and_their_later_deaths_elsewhere_do_not() -> None:
    events = (Leave(0.1, "one", 1), Move(0.2, "one", "b"), Leave(0.5, "one", 1, dead=True))
    history = History((Tank("a", 1.0), Tank("b", 1.0)), (Fish("one", 4, 0.01, tank="a"),), events)
    (first,), (second,) = fish_ever_in(history, "a", 1.0), fish_ever_in(history, "b", 1.0)
    assert (first.count, first.dead, first.removed) == (4, 0, 1)
    assert (second.count, second.dead, second.removed) == (3, 1, 0)
    assert fish_ever_in(history, "b", 0.15) == ()


def test_the_dilution_history_is_what_the_kinetics_make_of_a_level() -> None:
    events = (
        Renew(1.0, "a", 0.25),
        Resize(2.0, "a", 40.0),
        Move(2.5, "one", "b", carried_L=1.0),
        Move(3.0, "one", "a", carried_L=2.0),
        Resize(4.0, "a", 10.0),
    )
    tanks = (Tank("a", 20.0, exchange_L_d=3.0, start_ug_L=8.0), Tank("b", 20.0, start_ug_L=0.0))
    # water carried into b and back is left out of the level followed: b is emptied of it in between
    history = History(tanks, (Fish("one", 1, 0.01, tank="a"),), (*events, Renew(2.7, "b", 1.0)))
    steps = dilution_history(history, "a", 5.0)
    assert [step.words for step in steps] == [
        "filled",
        "25% renewed",
        "filled up to 40 L",
        "1 L left with fish",
        "2 L came with fish",
        "drained to 10 L",
    ]
    level = follow(constants(), history, np.array([5.0])).water_ug_L[0, 0, 0]
    assert 8.0 * steps[0].left == pytest.approx(level)
    assert steps[-1].left == pytest.approx(np.exp(-3.0 / 10.0))
    assert volume_at(history, "a", 3.5) == pytest.approx(41.0)


@pytest.mark.parametrize(
    ("history", "tank", "words"),
    [
        (still(1.0, 0.01), "z", "unknown tank 'z'"),
        (still(0.0, 0.01), "a", "volume of tank a 0 L"),
        (still(1.0, 0.0), "a", "mass of fish one 0 kg"),
        (History((Tank("a", 1.0, filled_d=2.0),)), "a", "sample at 1 d from tank a"),
        (History((Tank("a", 1.0),), (Fish("one", 1, 0.01),), (Move(2.0, "one", "a"),)), "a", "before fish one went in"),
        (History((Tank("a", 1.0),), (Fish("one", 1, 0.01, exposed_d=3.0, tank="a"),)), "a", "after the sample"),
    ],
)
def test_what_cannot_have_been_is_refused(history: History, tank: str, words: str) -> None:
    with pytest.raises(Refused, match=words):
        balance(Level(5.0, 0.0), history, tank, 1.0, WORLDS, DRAWING)


def test_fish_alone_leaves_no_other_source_in_the_history() -> None:
    events = (Renew(0.3, "a", 0.5, level_ug_L=9.0), Add(0.4, "a", 50.0), Resize(0.5, "a", 30.0))
    tank = Tank("a", 10.0, exchange_L_d=2.0, source_ug_L=3.0, start_ug_L=7.0)
    history = History((tank,), (Fish("one", 1, 0.01, 4.0, tank="a"),), events, (Supply("a", 6.0),))
    course = follow(constants(), fish_alone(history), np.array([0.0, 1.0]))
    assert np.all(course.water_ug_L == 0.0)
    assert np.allclose(course.body_ug.sum(axis=2), SCN_PER_CN * 10.0)  # 1 mg CN per kg in 10 g


def test_fish_are_excluded_only_when_the_whole_interval_lies_above_the_limit() -> None:
    middle = of(still(100.0, 0.055), 5.0)
    assert middle.least is not None
    assert middle.least.lower < LIMIT_MG_KG < middle.least.median
    assert middle.status == DOUBTFUL
