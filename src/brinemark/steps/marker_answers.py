"""What is answered about results of other methods: plain records that give themselves as JSON, and their cautions."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any

from brinemark.steps.answers import ANSWER_SCHEMA, plain
from brinemark.terms.findings import Finding
from brinemark.terms.surveillance import MarkerComparison

OWN = "this logbook's electrodes"


@dataclass(frozen=True, slots=True)
class Caution:
    """A limit of what a comparison can show, and where that is known from."""

    text: str
    source: str

    @property
    def words(self) -> str:
        return f"{self.text} ({self.source})"


CAUTIONS = (
    Caution(
        "what was found in the water is confirmed by mass spectrometry on a split sample: the liquid-chromatographic "
        "one detected thiocyanate in seawater down to 0.6 ug/L and gave an amount from 1 ug/L",
        "Can excreted thiocyanate be used to detect cyanide exposure in live reef fish?, PLoS ONE 2018, "
        "doi 10.1371/journal.pone.0196841; abstract read",
    ),
    Caution(
        "the standard colorimetric method for thiocyanate in water cannot confirm anything below 70 to 100 ug/L",
        "ASTM D4193: 0.1 to 2.0 mg/L, validated from 0.07 to 1.42 mg/L",
    ),
    Caution(
        "cyanide distilled from tissue and read by its electrode is another quantity, of which 60 to 80 % were "
        "recovered in fish",
        "Potentiometry for Cyanide Detection Applied to Fisheries Regulation, Philipp J Fish 2022, "
        "doi 10.31398/tpjf/29.1.2021-0015; abstract read",
    ),
    Caution(
        "in that distillation thiocyanate with nitrite or nitrate can give cyanide, so that the two methods do not err "
        "apart from each other",
        "from memory, not read",
    ),
    Caution(
        "fish turn part of the thiocyanate in them back into cyanide",
        "Acute Toxicity of Thiocyanate to Trout, Transactions of the American Fisheries Society 1985; abstract read",
    ),
)


@dataclass(frozen=True, slots=True)
class MarkersTaken:
    """What taking in a table of other methods did; new is False when the logbook had every result already.

    record : id of what holds them; rows, known : results that were new, and that were there; supersedes : the record
    that is corrected.
    """

    title: str
    new: bool
    record: str
    rows: int
    known: int
    supersedes: str | None
    warnings: tuple[str, ...] = ()

    def to_dict(self) -> dict[str, Any]:
        """The shape of terms/schemas/markers-add.json."""
        return {"schema": ANSWER_SCHEMA, **asdict(self), "warnings": list(self.warnings)}


@dataclass(frozen=True, slots=True)
class CheckedMarkers:
    """A table of other methods that was looked through; nothing is stored.

    findings : every fault, by row; empty when it would be taken in. rows : that can be understood; new : of them that
    the logbook does not have; remarks : what is odd but not refused.
    """

    title: str
    rows: int
    new: int
    findings: tuple[Finding, ...]
    remarks: tuple[str, ...] = ()

    @property
    def sound(self) -> bool:
        return not self.findings

    def to_dict(self) -> dict[str, Any]:
        """The shape of terms/schemas/markers-check.json."""
        return {
            "schema": ANSWER_SCHEMA,
            "title": self.title,
            "sound": self.sound,
            "rows": self.rows,
            "new": self.new,
            "findings": [one.to_dict() for one in self.findings],
            "remarks": list(self.remarks),
        }


@dataclass(frozen=True, slots=True)
class MethodNote:
    """One method and marker: how many samples it was reported for, in how many it was found."""

    method: str
    marker: str
    unit: str
    samples: int
    found: int


@dataclass(frozen=True, slots=True)
class Compared:
    """Two methods beside each other.

    first, second : names; same_quantity : whether both report one quantity in one unit, so that there is a line and a
    ratio; comparison : None with a reason; left_out : samples that do not take part, by reason, with their number.
    """

    first: str
    second: str
    same_quantity: bool
    comparison: MarkerComparison | None
    left_out: tuple[tuple[str, int], ...] = ()
    reason: str | None = None

    def to_dict(self) -> dict[str, Any]:
        return {
            "first": self.first,
            "second": self.second,
            "same_quantity": self.same_quantity,
            "comparison": plain(self.comparison),
            "left_out": [{"reason": reason, "samples": count} for reason, count in self.left_out],
            "reason": self.reason,
        }


@dataclass(frozen=True, slots=True)
class MarkersAnswer:
    """Results of other methods beside this logbook's readings and beside each other; nothing is stored.

    at : level at which found or not found was asked, in unit; None = each result by its own limit.
    """

    unit: str
    at: float | None
    methods: tuple[MethodNote, ...]
    comparisons: tuple[Compared, ...]
    cautions: tuple[Caution, ...] = CAUTIONS

    def to_dict(self) -> dict[str, Any]:
        """The shape of terms/schemas/markers.json."""
        return {
            "schema": ANSWER_SCHEMA,
            "unit": self.unit,
            "at": self.at,
            "methods": plain(self.methods),
            "comparisons": [one.to_dict() for one in self.comparisons],
            "cautions": plain(self.cautions),
        }
