"""What a survey over consignments answers: plain records that give themselves as JSON."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from brinemark.steps.answers import ANSWER_SCHEMA, plain
from brinemark.steps.tested_tanks import NotCounted
from brinemark.steps.water_power import WaterPower
from brinemark.terms.surveillance import (
    ExpectedFalse,
    FalseFindings,
    Funnel,
    PrevalenceStatement,
    TimePoint,
)


@dataclass(frozen=True, slots=True)
class SurveyedConsignment:
    """Tanks of one consignment, origin and season that were tested.

    positive : in how many thiocyanate was found; days : from capture to the sample, mean [d]; volume_L : of the tanks,
    mean [L]; samples : those that count.
    """

    name: str
    origin: str
    season: str
    tested: int
    positive: int
    days: float
    volume_L: float
    samples: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class SurveyedWorld:
    """What the survey says in one world.

    statements : of each origin and season; chart : the same in order of time; funnel_prevalence : at which the funnel
    expects its shares, the prevalence over all of them together, or 0 where none can be stated; sensitivity : mean
    chance of a consignment's tests to find exposed fish, in the order of the consignments.
    """

    world: str
    words: str
    statements: tuple[PrevalenceStatement, ...]
    chart: tuple[TimePoint, ...]
    funnel: Funnel
    funnel_prevalence: float
    sensitivity: tuple[float, ...]

    def to_dict(self) -> dict[str, Any]:
        """As JSON; the statements stand once, in the order of the chart."""
        said: dict[str, Any] = plain(self)
        for point in said["chart"]:
            del point["prevalence"]
        return said


@dataclass(frozen=True, slots=True, eq=False)
class SurveyAnswer:
    """Prevalence over consignments under each world apart; nothing is stored.

    power : of the logbook's electrodes, None with a reason; known, nominal : false findings to expect among the tested
    tanks, at the rate of fish that were not exposed (None = none were tested), and at alpha; worlds : empty with a
    reason.
    """

    alpha: float
    power: WaterPower | None
    consignments: tuple[SurveyedConsignment, ...]
    not_counted: tuple[NotCounted, ...]
    false_findings: FalseFindings | None
    known: ExpectedFalse | None
    nominal: ExpectedFalse
    worlds: tuple[SurveyedWorld, ...]
    cautions: tuple[str, ...]
    reason: str | None = None

    @property
    def tested(self) -> int:
        return sum(one.tested for one in self.consignments)

    @property
    def positive(self) -> int:
        return sum(one.positive for one in self.consignments)

    def to_dict(self) -> dict[str, Any]:
        """The shape of terms/schemas/survey.json."""
        return {
            "schema": ANSWER_SCHEMA,
            "alpha": self.alpha,
            "tested": self.tested,
            "positive": self.positive,
            "test": None if self.power is None else self.power.to_dict(),
            "consignments": plain(self.consignments),
            "not_counted": plain(self.not_counted),
            "false_findings": plain(self.false_findings),
            "expected_false": {"known": plain(self.known), "nominal": plain(self.nominal)},
            "worlds": [one.to_dict() for one in self.worlds],
            "cautions": list(self.cautions),
            "reason": self.reason,
        }

    def __str__(self) -> str:
        found = f"thiocyanate found in {self.positive} of {self.tested} tested tanks"
        count = len({one.name for one in self.consignments})
        return f"{found} of {count} {'consignment' if count == 1 else 'consignments'}"
