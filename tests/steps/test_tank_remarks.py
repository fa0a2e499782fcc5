"""What is odd about a sample, its tank or its fish is told in plain sentences and refuses nothing."""

from __future__ import annotations

import pytest

from brinemark.records.tank_json import in_order
from brinemark.records.tank_record import read_tank_record
from brinemark.steps.tank_remarks import take_in_remarks, tank_remarks
from brinemark.terms.settings import Settings
from brinemark.terms.tanks import TankRow
from tank_build import Cells, catch, happening, small_consignment, tank_csv


def rows(changes: dict[int, Cells] | None = None, *more: Cells) -> list[TankRow]:
    """The small consignment; changes : by row of the file."""
    found = small_consignment()
    for number, cells in (changes or {}).items():
        found[number - 2] = {**found[number - 2], **cells}
    return in_order(read_tank_record(tank_csv([*found, *more]).encode(), "t.csv", Settings()).rows)


def test_nothing_is_said_of_a_sample_that_leaves_nothing_open() -> None:
    assert tank_remarks(rows(), "T1", "W1") == ()
    assert take_in_remarks(rows(), rows()) == ()


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({2: {"species": ""}}, "no species is recorded"),
        ({2: {"origin": ""}}, "no origin is recorded"),
        ({11: {"split_seal": ""}}, "mass spectrometry"),
        ({11: {"seal": ""}}, "no seal is recorded"),
        ({11: {"filtration_um": ""}}, "no filtration is recorded"),
        ({11: {"storage": ""}}, "no storage is recorded"),
        ({11: {"smoker": ""}}, "it is not recorded whether its taker smokes"),
        ({11: {"smoker": "yes"}}, "its taker smokes"),
        ({2: {"at": "2031-01-20T06:00Z"}}, "were caught 73 d before"),
    ],
)
def test_what_is_left_open_or_doubtful_is_named(changes: dict[int, Cells], words: str) -> None:
    (remark,) = tank_remarks(rows(changes), "T1", "W1")
    assert words in remark
    assert any(words in one for one in take_in_remarks(rows(changes), rows(changes)))


def test_the_day_of_bred_fish_means_nothing() -> None:
    assert tank_remarks(rows({2: {"at": "2031-01-20T06:00Z", "history": "captive-bred"}}), "T1", "W1") == ()


@pytest.mark.parametrize(
    ("cells", "words"),
    [
        (happening("fed", "03T00:00", tank="T1", substance="krill"), "fed within 24 h"),
        (happening("fed", "01T09:00", tank="T1", substance="krill"), ""),
        (happening("treated", "02T10:00", tank="T1", substance="Sodium hypochlorite"), "oxidants destroy thiocyanate"),
        (happening("treated", "02T10:00", tank="T1", substance="ozone, 2 h"), "oxidants destroy thiocyanate"),
        (happening("treated", "02T10:00", tank="T1", substance="Dechlorinator"), "thiosulfate answers"),
        (happening("treated", "02T10:00", tank="T1", substance="copper sulfate"), "copper can change the answer"),
        (happening("treated", "02T10:00", tank="T1", substance="malachite green"), ""),
        (happening("treated", "03T12:00", tank="T1", substance="ozone"), ""),
        (happening("treated", "02T10:00", tank="T2", substance="ozone"), ""),
    ],
)
def test_feed_and_treatments_of_the_tank_before_the_sample_are_named(cells: Cells, words: str) -> None:
    told = tank_remarks(rows({4: {"at": "2031-03-30T08:00Z"}}, cells), "T1", "W1")
    assert len(told) == bool(words)
    assert all(words in one for one in told)


def test_fed_a_day_and_a_half_before_is_told_with_the_longer_fast() -> None:
    fed = happening("fed", "02T10:00", tank="T1", substance="krill")
    (told,) = tank_remarks(rows({11: {"at": "2031-04-03T22:00Z"}, 12: {"at": "2031-04-03T23:00Z"}}, fed), "T1", "W1")
    assert "fed within 48 h before" in told


def test_remarks_that_are_alike_are_told_once_with_all_that_they_are_about() -> None:
    found = rows({number: {"seal": ""} for number in (11, 12, 13)})
    assert take_in_remarks(found, found) == ("no seal is recorded: sample 'W1', sample 'W2', sample 'W3'",)
    assert take_in_remarks(found, []) == ()
    many = rows(None, *(catch(f"F{number}", species="") for number in range(3, 11)))
    (told,) = take_in_remarks(many, many)
    assert told.endswith("and 3 more")
