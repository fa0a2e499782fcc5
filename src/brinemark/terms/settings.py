"""The settings of a logbook as frozen, checked models; `docs/logbook.toml` is their specification."""

from __future__ import annotations

from collections.abc import Mapping
from itertools import pairwise
from typing import Annotated, Any, Literal, Self, TypeAlias

from pydantic import AfterValidator, BaseModel, ConfigDict, Discriminator, Field, Tag, model_validator

Positive = Annotated[float, Field(gt=0)]
Probability = Annotated[float, Field(gt=0, lt=1)]


def _rising(window: tuple[float, float]) -> tuple[float, float]:
    if not window[0] < window[1]:
        raise ValueError("a window [low, high] with low below high")
    return window


def _countable(cycle: str | int) -> str | int:
    if cycle in ("last", "mean") or (isinstance(cycle, int) and cycle >= 1):
        return cycle
    raise ValueError('"last", "mean" or a whole number from 1')


def _apart(places: tuple[float, float]) -> tuple[float, float]:
    if places[0] == places[1]:
        raise ValueError("two wavelengths that differ")
    return places


def _around_one(limits: tuple[float, float]) -> tuple[float, float]:
    if not 0 < limits[0] < 1 < limits[1]:
        raise ValueError("recoveries [low, high] with 0 < low < 1 < high")
    return limits


def _rising_bands(scale: tuple[tuple[float, str], ...]) -> tuple[tuple[float, str], ...]:
    starts, words = [start for start, _ in scale], [text for _, text in scale]
    rising = bool(starts) and starts[0] > 1 and all(low < high for low, high in pairwise(starts))
    if not rising or not all(text.strip() and text.isprintable() and not set(text) & set(";=") for text in words):
        raise ValueError('pairs such as [10, "moderate"] whose starts rise from above 1, with plain words')
    return scale


Window = Annotated[tuple[float, float], AfterValidator(_rising)]
Apart = Annotated[tuple[float, float], AfterValidator(_apart)]
Bands = Annotated[tuple[tuple[float, str], ...], AfterValidator(_rising_bands)]
Cycle = Annotated[str | int, AfterValidator(_countable)]
BaselineName: TypeAlias = Literal["chord", "polynomial", "whittaker"]


class Section(BaseModel):
    """A table of logbook.toml: frozen, unknown keys refused, no NaN or infinity."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)


class LogbookSection(Section):
    schema_version: Literal[1] = Field(alias="schema", default=1)
    name: str = "unnamed"
    timezone: str = "UTC"


class AnalyteSection(Section):
    name: str = "thiocyanate"
    level_unit: str = "ug/L"
    molar_mass: Positive | None = None


class CurveSection(Section):
    quantity: Literal["height", "charge", "potential", "width"] = "height"
    sweep: Literal["anodic", "cathodic"] = "anodic"
    cycle: Cycle = "last"
    window_V: Window = (0.40, 0.76)
    baseline: Literal["chord", "polynomial", "whittaker"] = "chord"


class CovariateSection(Section):
    quantity: Literal["height", "charge", "charging"] = "charge"
    sweep: Literal["anodic", "cathodic"] = "anodic"
    cycle: Cycle = "last"
    window_V: Window = (-0.36, 0.00)
    baseline: Literal["chord", "polynomial", "whittaker"] = "chord"


class BandCovariateSection(Section):
    quantity: Literal["band"]
    window_nm: Window = Field(description="[nm] low and high end of the window with the band")
    baseline: BaselineName = "chord"


class DifferenceCovariateSection(Section):
    quantity: Literal["difference"]
    wavelengths_nm: Apart = Field(description="[nm] absorbance at the first less that at the second")


Against = Annotated[
    Literal["nothing", "prescan"],
    Field(description='"prescan": the electrode\'s own spectrum is taken off first; "nothing": the spectrum as it is'),
]


class BandSection(BandCovariateSection):
    against: Against = "nothing"


class DifferenceSection(DifferenceCovariateSection):
    against: Against = "nothing"


FAMILIES = ("wave", "band", "difference")


def family(value: Any) -> str:
    """Which of FAMILIES a [signal] or [covariate] belongs to, by its quantity; all quantities of traces are "wave"."""
    quantity = value.get("quantity") if isinstance(value, Mapping) else getattr(value, "quantity", None)
    return quantity if quantity in FAMILIES[1:] else FAMILIES[0]


SignalSection: TypeAlias = CurveSection | BandSection | DifferenceSection
PrescanQuantity: TypeAlias = CovariateSection | BandCovariateSection | DifferenceCovariateSection
TaggedSignal = Annotated[
    Annotated[CurveSection, Tag("wave")]
    | Annotated[BandSection, Tag("band")]
    | Annotated[DifferenceSection, Tag("difference")],
    Discriminator(family),
]
TaggedCovariate = Annotated[
    Annotated[CovariateSection, Tag("wave")]
    | Annotated[BandCovariateSection, Tag("band")]
    | Annotated[DifferenceCovariateSection, Tag("difference")],
    Discriminator(family),
]
SIGNAL_SECTIONS: Mapping[str, type[SignalSection]] = {
    "wave": CurveSection,
    "band": BandSection,
    "difference": DifferenceSection,
}
COVARIATE_SECTIONS: Mapping[str, type[PrescanQuantity]] = {
    "wave": CovariateSection,
    "band": BandCovariateSection,
    "difference": DifferenceCovariateSection,
}


class PrescanSection(Section):
    use: Literal["covariate", "zero", "both"] = "both"
    max_ratio: Annotated[float, Field(gt=1)] = 2.5


class InstrumentSection(Section):
    sign: Literal["anodic positive", "cathodic positive"] = "anodic positive"
    scan_rate_V_per_s: Positive | None = None
    reference: str | None = None
    potential: str | None = None
    current: str | None = None
    time: str | None = None
    cycle: str | None = None
    layout: Literal["long", "wide"] = "long"
    wavelength: str | None = Field(
        default=None, description="name of the column of wavelengths, when not found by itself"
    )
    absorbance: str | None = Field(
        default=None, description="name of the column of absorbances, when not found by itself"
    )
    transmittance: str | None = Field(default=None, description="name of the column of transmittances, in its place")
    max_absorbance: Positive | None = Field(
        default=None, description='[1] a larger absorbance in what is read gets the flag "saturated"'
    )
    stray_light: Annotated[float, Field(ge=0, lt=1)] | None = Field(
        default=None, description="[1] share of the light that gets past the sample"
    )

    @model_validator(mode="after")
    def _wide_finds_its_columns(self) -> InstrumentSection:
        if self.layout == "wide" and self.cycle is not None:
            raise ValueError('layout "wide" takes the cycle from the numbers of the current columns; leave out cycle')
        return self


class ConditionsSection(Section):
    salinity: float | None = None
    pH: float | None = None
    temperature_C: float | None = None
    contact_s: float | None = None
    stirring: float | str | None = None
    scan_rate_V_per_s: Positive | None = None
    reference: str | None = None


class AllowanceSection(Section):
    """How far beyond the span of the standards a condition may lie; _part : as a part of the span's end."""

    salinity: Annotated[float, Field(ge=0)] = 1.0
    pH: Annotated[float, Field(ge=0)] = 0.2
    temperature_C: Annotated[float, Field(ge=0)] = 2.0
    contact_part: Annotated[float, Field(ge=0, le=1)] = 0.2
    volume_part: Annotated[float, Field(ge=0, le=1)] = 0.2
    scan_rate_part: Annotated[float, Field(ge=0, le=1)] = 0.05


class RunSection(Section):
    max_gap_h: Positive = 12.0
    control_limits: Annotated[tuple[float, float], AfterValidator(_around_one)] = (0.7, 1.3)
    control_history: Annotated[int, Field(ge=10, le=1000)] = 20
    blank_probability: Annotated[float, Field(gt=0, lt=0.5)] = 0.001
    volume_rel_u: Annotated[float, Field(ge=0, lt=1)] = 0.01


class StockSection(Section):
    level: Positive | None = None
    rel_u: Annotated[float, Field(ge=0, lt=1)] | None = None


class LotSection(Section):
    content: Annotated[float, Field(ge=0)] = 0.0
    u: Annotated[float, Field(ge=0)] = 0.0

    @model_validator(mode="after")
    def _u_within_content(self) -> Self:
        if self.u > self.content:
            raise ValueError(
                f"u {self.u:g} is above content {self.content:g}; a lot's error is shared as a part of its content, so "
                "the content that is likeliest must be above it"
            )
        return self


class PriorSection(Section):
    """[center, sd] on the working scale, relative to the data's own scale; None = the default."""

    ln_gain: tuple[float, Positive] | None = None
    ln_K: tuple[float, Positive] | None = None
    ln_h: tuple[float, Positive] | None = None
    ln_floor: tuple[float, Positive] | None = None
    ln_batch_sd: tuple[float, Positive] | None = None
    ln_electrode_sd: tuple[float, Positive] | None = None
    ln_K_sd: tuple[float, Positive] | None = None
    ln_noise: tuple[float, Positive] | None = None
    slope: tuple[float, Positive] | None = None
    instrument_offset: tuple[float, Positive] | None = None
    logit_share: tuple[float, Positive] | None = None
    ln_floor_sd: tuple[float, Positive] | None = None
    ln_floor_batch_sd: tuple[float, Positive] | None = None
    ln_own_K_sd: tuple[float, Positive] | None = None
    ln_drift_sd: tuple[float, Positive] | None = None
    prescan_shift: tuple[float, Positive] | None = None
    dip_drift: tuple[float, Positive] | None = None
    spike_shift: tuple[float, Positive] | None = None
    defects: bool = False
    ln_low_odds: tuple[float, Positive] | None = None
    ln_high_odds: tuple[float, Positive] | None = None
    salinity_K: tuple[float, Positive] | None = None
    salinity_floor: tuple[float, Positive] | None = None
    matrix_K_sd: Annotated[float, Field(ge=0)] = 0.10
    spike_level: Positive | None = None
    widen: Positive = 1.0


class CalibrationSection(Section):
    seed: Annotated[int, Field(ge=0, lt=2**32)] = 20260
    draws: Annotated[int, Field(ge=256, le=16384)] = 1024


class DecisionSection(Section):
    alpha: Probability = 0.05
    beta: Probability = 0.05
    interval: Probability = 0.95
    max_fold: Annotated[float, Field(gt=1)] = 3.0

    @model_validator(mode="after")
    def _alpha_within_interval(self) -> DecisionSection:
        if self.alpha > 1.0 - self.interval + 1e-12:
            raise ValueError(
                f"alpha {self.alpha:g} is above 1 - interval = {1 - self.interval:g}, so a lower limit could be 0"
            )
        return self


class CostsSection(Section):
    """What things cost, in one currency; 0 = not set. reading_h : hours that one reading of one electrode takes."""

    electrode: Annotated[float, Field(ge=0)] = 0.0
    hour: Annotated[float, Field(ge=0)] = 0.0
    reference_analysis: Annotated[float, Field(ge=0)] = 0.0
    fish: Annotated[float, Field(ge=0)] = 0.0
    courier: Annotated[float, Field(ge=0)] = 0.0
    currency: str = ""
    reading_h: Positive = 0.25


class ReportSection(Section):
    """How reports are set; font_folder : with fonts for scripts that those of the program lack."""

    decimal: Literal["point", "comma"] = "point"
    font_folder: str | None = None


class FishSection(Section):
    """What is said of consignments of fish. scale : start of each band of likelihood ratios, with its words."""

    alpha: Probability = 0.01
    hold_h: Positive | None = None
    draws: Annotated[int, Field(ge=200, le=5000)] = 400
    seed: Annotated[int, Field(ge=0, le=2**32 - 1)] = 1
    scale: Bands | None = None
    scale_source: str | None = None
    scale_from_memory: bool = False

    @model_validator(mode="after")
    def _check_source(self) -> Self:
        if self.scale is not None and not (self.scale_source or "").strip():
            raise ValueError("a scale without scale_source, the document it is from")
        return self


class Settings(Section):
    """Everything in logbook.toml."""

    logbook: LogbookSection = LogbookSection()
    analyte: AnalyteSection = AnalyteSection()
    signal: TaggedSignal = CurveSection()
    covariate: TaggedCovariate | None = None
    further_covariate: dict[str, TaggedCovariate] = {}
    prescan: PrescanSection = PrescanSection()
    instrument: dict[str, InstrumentSection] = {}
    stock: dict[str, StockSection] = {}
    lot: dict[str, LotSection] = {}
    conditions: ConditionsSection = ConditionsSection()
    allowance: AllowanceSection = AllowanceSection()
    run: RunSection = RunSection()
    prior: PriorSection = PriorSection()
    calibration: CalibrationSection = CalibrationSection()
    decision: DecisionSection = DecisionSection()
    fish: FishSection = FishSection()
    costs: CostsSection = CostsSection()
    report: ReportSection = ReportSection()

    @property
    def of_spectra(self) -> bool:
        """Whether the logbook's curves are spectra; otherwise they are voltammograms."""
        return family(self.signal) != FAMILIES[0]
