"""Laws of the parameters, their draws, and what is refused."""

from __future__ import annotations

import numpy as np
import pytest

from brinemark.science.fish.parameters import (
    ASSUMED,
    FIXED,
    LOG_NORMAL,
    LOG_UNIFORM,
    LOGIT_NORMAL,
    MEASURED,
    MEMORY,
    READ,
    UNIFORM,
    Parameter,
    Source,
    draw,
    measured,
    replaced,
)
from brinemark.science.fish.worlds import published_worlds
from brinemark.terms.errors import Refused

NOWHERE = Source("", "", "", ASSUMED)
ONE_SIGMA = 0.8413447460685429  # standard normal distribution at 1


def parameter(law: str, median: float, spread: float, name: str = "x") -> Parameter:
    return Parameter(name, "1/d", median, spread, law, NOWHERE)


def test_quantiles_follow_their_laws() -> None:
    assert parameter(LOG_NORMAL, 2.0, 3.0).quantile(np.array([0.5, ONE_SIGMA])) == pytest.approx([2.0, 6.0])
    assert parameter(LOG_UNIFORM, 2.0, 3.0).quantile(np.array([0.0, 0.5, 1.0])) == pytest.approx([2 / 3, 2.0, 6.0])
    assert parameter(UNIFORM, 2.0, 1.5).quantile(np.array([0.0, 0.5, 1.0])) == pytest.approx([0.5, 2.0, 3.5])
    assert parameter(LOGIT_NORMAL, 0.5, np.log(3.0)).quantile(ONE_SIGMA) == pytest.approx(0.75)
    assert np.all(parameter(FIXED, 0.0, 1.0).quantile(np.array([0.1, 0.9])) == 0.0)


def test_of_n_draws_one_falls_into_each_nth_of_the_law() -> None:
    drawn = draw({"x": parameter(LOG_UNIFORM, 1.0, 10.0)}, 200, seed=4)["x"]
    parts = np.floor(200 * (np.log10(np.sort(drawn)) + 1.0) / 2.0)
    assert parts.tolist() == list(range(200))
    assert np.any(np.diff(drawn) < 0.0)


def test_a_seed_gives_the_same_draws_and_parameters_are_independent() -> None:
    world = published_worlds()[0].parameters
    first, again, other = draw(world, 500, 3), draw(world, 500, 3), draw(world, 500, 4)
    assert all(np.array_equal(first[name], again[name]) for name in world)
    assert not np.array_equal(first["uptake"], other["uptake"])
    ranks = np.array([np.argsort(np.argsort(values)) for values in first.values()])
    correlation = np.corrcoef(ranks) - np.eye(len(ranks))
    assert np.max(np.abs(correlation)) < 4.0 / np.sqrt(500)  # four standard errors of a correlation of none


def test_replacing_one_parameter_leaves_the_draws_of_the_others() -> None:
    world = published_worlds()[1].parameters
    own = measured(world["water_loss"], 0.4, 1.2, "spiked tank water, 3 levels over 2 d")
    new = replaced(world, own)
    assert new["water_loss"].source.standing == MEASURED
    before, after = draw(world, 50, 9), draw(new, 50, 9)
    assert [name for name in world if not np.array_equal(before[name], after[name])] == ["water_loss"]
    assert np.median(after["water_loss"]) == pytest.approx(0.4, rel=0.02)


@pytest.mark.parametrize(
    ("new", "words"),
    [
        (parameter(LOG_NORMAL, 1.0, 2.0, "no such"), "parameter 'no such'"),
        (Parameter("uptake", "mL/g/h", 1.0, 2.0, LOG_NORMAL, NOWHERE), "unit 'mL/g/h' of uptake"),
        (parameter("square", 1.0, 2.0), "law 'square'"),
        (parameter(LOG_NORMAL, -1.0, 2.0), "median -1 of x"),
        (parameter(LOG_NORMAL, 1.0, 0.5), r"spread 0\.5 of x"),
        (parameter(LOGIT_NORMAL, 1.0, 0.5), "median 1 of x"),
    ],
)
def test_what_cannot_be_a_parameter_is_refused(new: Parameter, words: str) -> None:
    with pytest.raises(Refused, match=words):
        replaced(published_worlds()[0].parameters, new)


def test_every_parameter_of_the_worlds_says_where_it_comes_from() -> None:
    for world in published_worlds():
        for each in world.parameters.values():
            assert each.source.standing in (READ, MEMORY, ASSUMED)
            # A number without a publication says in words what it rests on.
            assert each.source.doi or each.source.how
            assert each.source.standing in str(each.source)
            if each.source.standing == READ and each.source.doi:
                assert each.source.title and each.source.journal and each.source.doi.startswith("10.")
