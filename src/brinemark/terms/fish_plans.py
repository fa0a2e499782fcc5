"""A plan for a consignment of fish: what is asked, and what it says to do and to expect."""

from __future__ import annotations

from dataclasses import dataclass, field

from brinemark.terms.surveillance import SampleSize


@dataclass(frozen=True, slots=True)
class FishTest:
    """What is known of a test: probability that it finds an affected fish, with its standard uncertainty, and that it
    finds an unaffected one."""

    sensitivity: float = 1.0
    sensitivity_u: float = 0.0
    false_rate: float = 0.0


@dataclass(frozen=True, slots=True)
class Bags:
    """Fish come in bags that are alike: how many bags, how many fish of each are tested, and the correlation between
    two fish of a bag."""

    count: int
    tested_in_each: int = 1
    correlation: float = 0.0


@dataclass(frozen=True, slots=True)
class PoolWish:
    """Waters poured together in equal parts: the lowest level of an affected water that has to be found, the minimum
    detectable value of the test [level unit], and the most waters that may go into a pool."""

    level: float
    minimum: float
    largest: int = 100


@dataclass(frozen=True, slots=True)
class HoldWish:
    """Fish held in clean water before it is read: fish in a tank, mass of one [g], days since capture, volumes [L] and
    holds [d] to choose among, minimum detectable value [ug/L]."""

    minimum: float
    fish: int = 1
    mass_g: float = 20.0
    days: float = 1.0
    volumes_L: tuple[float, ...] = (1.0,)
    holds_d: tuple[float, ...] = (0.0, 0.5, 1.0, 2.0, 4.0, 7.0)


@dataclass(frozen=True, slots=True)
class FishCosts:
    """Unit costs: a test, a second test, a fish that is spent, and what is sent once. Nothing was told = 0."""

    test: float = 0.0
    second_test: float = 0.0
    fish: float = 0.0
    courier: float = 0.0

    @property
    def told(self) -> bool:
        """Whether any of them is not 0."""
        return any((self.test, self.second_test, self.fish, self.courier))


@dataclass(frozen=True, slots=True)
class FishWish:
    """What is asked.

    fish : in the consignment, None = so many that taking some changes nothing; names : of the fish or tanks, None =
    they are numbered from 1; prevalence : share affected that is to be found; most : tests that can be made at most.
    """

    fish: int | None
    prevalence: float
    confidence: float = 0.95
    names: tuple[str, ...] | None = None
    most: int | None = None
    test: FishTest = field(default_factory=FishTest)
    second: FishTest | None = None
    bags: Bags | None = None
    pool: PoolWish | None = None
    hold: HoldWish | None = None
    costs: FishCosts = field(default_factory=FishCosts)


@dataclass(frozen=True, slots=True)
class Screen:
    """Both tests together, positives of the first going to the second: probability that an affected fish is found by
    both, that an unaffected one is, and first and second tests to expect of the sample."""

    sensitivity: float
    false_rate: float
    first_tests: float
    second_tests: float


@dataclass(frozen=True, slots=True)
class Expected:
    """Of the sample at the wished prevalence: affected fish in it, findings that are true and false, affected fish in
    the sample that are missed, and those that were not tested (None without a number of fish); false findings and the
    chance of at least one if no fish is affected."""

    affected: float
    true_findings: float
    false_findings: float
    missed: float
    not_tested: float | None
    false_if_none: float
    any_false_if_none: float


@dataclass(frozen=True, slots=True)
class PoolAnswer:
    """members : waters in a pool, 1 = pooling does not help, with the reason; tests : to expect for the whole sample,
    members of positive pools read one by one; level : of an affected water in the pool [level unit]."""

    members: int
    pools: int
    tests: float
    level: float
    reason: str


@dataclass(frozen=True, slots=True)
class WorldHold:
    """What holding fish buys in one world: the best volume [L] and hold [d], or the reason why none is better; chance :
    that the water of exposed fish is found there, with its standard error; size : tanks to test with that chance as the
    sensitivity, None = no number does; said : in words."""

    world: str
    volume_L: float
    hold_d: float | None
    chance: float
    error: float
    false_alarm: float
    size: SampleSize | None
    said: str


@dataclass(frozen=True, slots=True)
class Pick:
    """Fish or tanks drawn by lot, in rising order; bag : they are of, None without bags."""

    fish: tuple[str, ...]
    bag: str | None = None


@dataclass(frozen=True, slots=True)
class FishPlan:
    """size : how many to test for the wish, None = no number does; tested : how many are drawn; reached : probability
    to find at least one affected fish with them; needed : what an impossible wish would need, None = it is possible;
    picks : which ones, by lot from seed."""

    wish: FishWish
    size: int | None
    tested: int
    reached: float
    affected: int | None
    needed: str | None
    picks: tuple[Pick, ...]
    seed: int
    screen: Screen
    expected: Expected
    pool: PoolAnswer | None
    holds: tuple[WorldHold, ...]
    cost: float
    remarks: tuple[str, ...]
