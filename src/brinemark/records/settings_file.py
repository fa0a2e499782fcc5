"""logbook.toml: read into checked settings, and written for a new logbook."""

from __future__ import annotations

import json
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, get_args

from brinemark.records.ranges import RANGES
from brinemark.records.text import nearest, shown
from brinemark.terms.errors import Refused

if TYPE_CHECKING:
    from pydantic import BaseModel
    from pydantic_core import ErrorDetails

    from brinemark.terms.settings import Settings

# Sections in the order of docs/logbook.toml, and those with one table for each id.
SECTIONS = (
    *("logbook", "analyte", "signal", "covariate", "further_covariate", "prescan", "instrument", "stock", "lot"),
    *("conditions", "allowance", "run", "prior", "calibration", "decision", "fish", "costs", "report"),
)
BY_ID = ("instrument", "stock", "lot", "further_covariate")
# Sections whose keys depend on their quantity, and where pydantic puts the family among the keys.
BY_QUANTITY = {"signal": 1, "covariate": 1, "further_covariate": 2}
OF_SPECTRA = ("wavelength", "absorbance", "transmittance", "max_absorbance", "stray_light")
# Values and keys that later versions will take; "*" stands for an id.
LATER_VALUES: Mapping[tuple[str, ...], tuple[str, ...]] = {}
LATER_KEYS: Mapping[tuple[str, ...], str] = {}
_EXPECTED = {
    "finite_number": "a finite number",
    "float_type": "a number",
    "int_type": "a whole number",
    "string_type": "text in quotes",
    "model_type": "a table",
    "dict_type": "a table for each id",
    "tuple_type": "a list of two numbers",
    "missing": "a list of two numbers",
    "too_long": "a list of two numbers",
}

_NEW = """\
# Settings of this logbook. Every key with its meaning stands in docs/logbook.toml.

[logbook]
schema = 1
name = {name}
timezone = {timezone}      # for times written without a zone

[analyte]
name = "thiocyanate"
level_unit = "ug/L"

[signal]                       # how the answer is read from a trace
quantity = "height"
sweep = "anodic"
cycle = "last"
window_V = [0.40, 0.76]
baseline = "chord"

[decision]
alpha = 0.05
beta = 0.05
interval = 0.95
max_fold = 3.0
"""


def settings_text(*, name: str = "unnamed", timezone: str = "UTC") -> str:
    """The short, commented logbook.toml of a new logbook. Raises Refused for a bad name or time zone."""
    if not name.strip() or not name.isprintable():  # before TOML, which refuses some of them without a name
        raise Refused(f"the logbook name {shown(name)}", "one printable line", "give another name")
    text = _NEW.format(name=json.dumps(name, ensure_ascii=False), timezone=json.dumps(timezone))
    parse_settings(text, "logbook.toml")
    return text


DEFAULT_TOML = _NEW.format(name='"unnamed"', timezone='"UTC"')


def write_settings(path: Path, text: str = DEFAULT_TOML) -> Settings:
    """Write the text as a new settings file and give the settings. Raises Refused when it is wrong or there is one."""
    settings = parse_settings(text, path.name)
    try:
        with path.open("x", encoding="utf-8", newline="\n") as file:
            file.write(text)
    except FileExistsError:
        raise Refused(f"{path.name} is there already", "a new place", "choose another folder", file=path.name) from None
    return settings


def read_settings(path: Path) -> Settings:
    """The checked settings of a logbook.

    Raises Refused for a file that is missing or no TOML, and for wrong keys and values: the message names
    the first in full and the others by key.
    """
    return parse_settings(text_of(bytes_of(path), path.name), path.name)


def bytes_of(path: Path) -> bytes:
    """The bytes of a settings file. Raises Refused when it cannot be read."""
    try:
        return path.read_bytes()
    except OSError as error:
        raise _unreadable(path.name, str(error.strerror)) from None


def text_of(data: bytes, name: str) -> str:
    """Bytes of a settings file as text. Raises Refused when they are not UTF-8."""
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise _unreadable(name, f"byte {error.start + 1} is not UTF-8") from None


def _unreadable(name: str, why: str) -> Refused:
    return Refused(
        f"the settings cannot be read ({why})", "a settings file in UTF-8", "give the logbook's folder", file=name
    )


@dataclass(frozen=True, slots=True)
class Finding:
    """What is wrong in a settings file. keys : section, id where there is one, and key; () for the file as a whole."""

    keys: tuple[str, ...]
    came: str
    expected: str
    remedy: str

    @property
    def sentence(self) -> str:
        return f"{self.came}; expected {self.expected}; {self.remedy}"


def parse_settings(text: str, name: str) -> Settings:
    """Settings from the text of a settings file. Raises Refused, see read_settings."""
    settings, findings = check_settings(text)
    if settings is None or findings:
        raise refusal_of(findings, name)
    return settings


def check_settings(text: str) -> tuple[Settings | None, tuple[Finding, ...]]:
    """Settings from a text with all that is wrong in it; None with at least one finding when there are none.

    Each key is found fault with once. A rule about several keys is looked at with the defaults of those that are wrong.
    """
    from pydantic import ValidationError

    from brinemark.terms.settings import Settings

    try:
        table = tomllib.loads(text.replace("\r\n", "\n"))
    except tomllib.TOMLDecodeError as error:
        return None, (Finding((), f"not TOML: {error}", "settings as in docs/logbook.toml", "correct the line"),)
    try:
        settings = Settings.model_validate_json(json.dumps(table, default=str), strict=True)
    except ValidationError as error:
        details = _distinct(error.errors())
        return None, (*(_fault(detail) for detail in details), *_rest(table, details))
    return settings, (*_further(settings), *_spectra_faults(settings))


def _further(settings: Settings) -> list[Finding]:
    """What the types of the keys do not say, key by key."""
    return [
        *_text_faults(settings),
        *_zone_faults(settings),
        *_condition_faults(settings),
        *_id_faults(settings),
        *_instrument_faults(settings),
    ]


def _rest(table: dict[str, Any], details: list[ErrorDetails]) -> list[Finding]:
    """Further findings in what is left when the wrong keys are taken out; none when that does not hold together."""
    from pydantic import ValidationError

    from brinemark.terms.settings import Settings

    wrong = [_keys(detail) for detail in details]
    for keys in wrong:
        _take_out(table, keys)
    try:
        settings = Settings.model_validate_json(json.dumps(table, default=str), strict=True)
    except ValidationError:
        return []
    kinds = [] if any(keys[0] in BY_QUANTITY for keys in wrong) else _spectra_faults(settings)
    return [one for one in (*_further(settings), *kinds) if one.keys not in wrong]


def _take_out(table: dict[str, Any], keys: tuple[str, ...]) -> None:
    *outer, last = keys[: _deep(keys)]
    inner: Any = table
    for key in outer:
        inner = inner.get(key) if isinstance(inner, dict) else None
    if isinstance(inner, dict):
        inner.pop(last, None)


def refusal_of(findings: tuple[Finding, ...], name: str) -> Refused:
    """All findings in one line: the first in full, of the others what came and what was expected."""
    first, *others = findings
    remedy = first.remedy
    if others:
        remedy += f" (also wrong: {' | '.join(f'{one.came}; expected {one.expected}' for one in others)})"
    return Refused(first.came, first.expected, remedy, file=name)


def _distinct(details: list[ErrorDetails]) -> list[ErrorDetails]:
    """One detail a key: a key of either of two types is reported once for each type."""
    seen: dict[tuple[str, ...], ErrorDetails] = {}
    for detail in details:
        seen.setdefault(_keys(detail), detail)
    return list(seen.values())


def _keys(detail: ErrorDetails) -> tuple[str, ...]:
    loc = tuple(str(part) for part in detail["loc"])
    place = BY_QUANTITY.get(loc[0], len(loc))
    loc = loc[:place] + loc[place + 1 :]
    return loc[:-1] if loc[-1] in ("str", "int", "float") and len(loc) > 2 else loc


def _deep(keys: tuple[str, ...]) -> int:
    """How many names lead to a key of this section; what follows is a place in a list."""
    return 3 if keys[0] in BY_ID else 2


def _dotted(keys: tuple[str, ...]) -> str:
    """[section] key, as the file writes it."""
    keys = keys[: _deep(keys)]
    if len(keys) < _deep(keys):
        return f"[{'.'.join(keys)}]"
    return f"[{'.'.join(keys[:-1])}] {keys[-1]}"


def _fault(detail: ErrorDetails) -> Finding:
    keys, kind, value = _keys(detail), detail["type"], detail["input"]
    place = BY_QUANTITY.get(keys[0], len(detail["loc"]))
    family = str(detail["loc"][place]) if place < len(detail["loc"]) else ""
    at = keys[: _deep(keys)]
    general = (keys[0], "*", *keys[2:]) if keys[0] in BY_ID and len(keys) > 2 else keys
    where = _dotted(keys)
    if general in LATER_KEYS:
        today = f"today no such key ({LATER_KEYS[general]})"
        return Finding(at, f"{where} is not accepted yet", today, "remove the key")
    if kind == "extra_forbidden":
        return Finding(at, *_unknown(keys, where, family))
    if kind == "missing" and isinstance(value, dict):
        return Finding(at, f"no {where}", _expected(detail), "write it")
    came = f"{where} = {json.dumps(value, ensure_ascii=False, default=str)}"
    came = came if len(came) <= 160 else f"{came[:160]}..."
    expected = _expected(detail)
    if value in LATER_VALUES.get(keys, ()):
        return Finding(at, f"{came} is not accepted yet", f"today {expected}", "write that, or leave the key out")
    if kind == "value_error" and isinstance(value, dict):
        return Finding(at, f"{where}: {detail['ctx']['error']}", "values that agree", "change one of them")
    return Finding(at, came, expected, "correct the value, or remove the key for its default")


def _unknown(keys: tuple[str, ...], where: str, family: str) -> tuple[str, str, str]:
    known = _known_keys(keys[:-1], family)
    alike = nearest(keys[-1], known)
    what = "key" if len(keys) > 1 else "section"
    expected = f"the nearest known {what}, {alike}" if alike else f"one of {', '.join(known)}"
    return f"{where} is an unknown {what}", expected, "correct the name or remove it"


def _known_keys(section: tuple[str, ...], family: str) -> tuple[str, ...]:
    from brinemark.terms.settings import COVARIATE_SECTIONS, SIGNAL_SECTIONS, Settings

    model: type[BaseModel] = Settings
    if section and family:
        model = SIGNAL_SECTIONS[family] if section[0] == "signal" else COVARIATE_SECTIONS[family]
    elif section:
        model = model_of(Settings.model_fields[section[0]].annotation)
    return tuple(field.alias or key for key, field in model.model_fields.items())


def model_of(annotation: Any) -> type[BaseModel]:
    """The model of a section's type, which may be optional or one for each id."""
    model: type[BaseModel] = next((kind for kind in get_args(annotation) if hasattr(kind, "model_fields")), annotation)
    return model


def _expected(detail: ErrorDetails) -> str:
    context = detail.get("ctx", {})
    if detail["type"] in ("literal_error", "enum"):
        expected = str(context["expected"]).replace("'", '"')
        of_signal = detail["loc"][-1] == "quantity" and detail["loc"][0] in BY_QUANTITY
        return f'{expected}; of a spectrum "band" or "difference"' if of_signal else expected
    if detail["type"] in _EXPECTED:
        expected = _EXPECTED[detail["type"]]
        if "scale" in detail["loc"]:
            return 'pairs such as [10, "moderate"]'
        is_cycle = str(detail["loc"][-2:-1]) == "('cycle',)"
        return '"last", "mean" or a whole number from 1' if is_cycle else expected
    bounds = {"gt": "above", "ge": "at least", "lt": "below", "le": "at most"}
    for key, words in bounds.items():
        if key in context:
            return f"a number {words} {context[key]:g}"
    return detail["msg"].removeprefix("Input should be ").removeprefix("Value error, ")


def _text_faults(settings: Settings) -> list[Finding]:
    """Names and the unit stand in answers and charts: one printable line each."""
    texts = {
        ("logbook", "name"): settings.logbook.name,
        ("analyte", "name"): settings.analyte.name,
        ("analyte", "level_unit"): settings.analyte.level_unit,
    }
    return [
        Finding(keys, f"{_dotted(keys)} = {shown(text)}", "one printable line", "correct the text")
        for keys, text in texts.items()
        if not text.strip() or not text.isprintable()
    ]


def _condition_faults(settings: Settings) -> list[Finding]:
    faults: list[Finding] = []
    for key, value in settings.conditions:
        if isinstance(value, float) and key in RANGES and not RANGES[key].holds(value):
            came = f"[conditions] {key} = {value:g}"
            faults.append(Finding(("conditions", key), came, str(RANGES[key]), "correct the number"))
    return faults


def _zone_faults(settings: Settings) -> list[Finding]:
    from zoneinfo import ZoneInfo

    zone = settings.logbook.timezone
    try:
        ZoneInfo(zone)
    except (ValueError, OSError, KeyError):
        came = f"[logbook] timezone = {shown(zone)}"
        expected = "a zone of the tz database such as UTC"
        return [Finding(("logbook", "timezone"), came, expected, "correct the zone")]
    return []


def _id_faults(settings: Settings) -> list[Finding]:
    named = [(kind, name) for kind in BY_ID for name in getattr(settings, kind)]
    return [
        Finding((kind, name), f"[{kind}.{name}], an id {shown(name)}", "an id without outer spaces", "correct the id")
        for kind, name in named
        if name != name.strip() or not name.isprintable() or not name
    ]


def _instrument_faults(settings: Settings) -> list[Finding]:
    faults: list[Finding] = []
    for name, section in settings.instrument.items():
        where = f"[instrument.{name}]"
        columns = ("potential", "current", "time", "cycle", "wavelength", "absorbance", "transmittance")
        named = [text for key in columns if (text := getattr(section, key)) is not None]
        if len({text.casefold() for text in named}) < len(named):
            came = f"{where} names one column twice"
            faults.append(Finding(("instrument", name), came, "a different column for each", "correct the names"))
    return faults


def _spectra_faults(settings: Settings) -> list[Finding]:
    """A logbook holds spectra or voltammograms, by its [signal]; what belongs to the other kind is a mistake."""
    from brinemark.terms.settings import family

    here, other = ("spectra", "voltammograms") if settings.of_spectra else ("voltammograms", "spectra")
    faults: list[Finding] = []
    named = [(("further_covariate", name), one) for name, one in settings.further_covariate.items()]
    covariates: list[tuple[tuple[str, ...], Any]] = [(("covariate",), settings.covariate), *named]
    for place, covariate in covariates:
        if covariate is not None and (family(covariate) == "wave") == settings.of_spectra:
            came = f'[{".".join(place)}] quantity = "{covariate.quantity}", and [signal] reads {here}'
            expected = '"band" or "difference"' if settings.of_spectra else '"height", "charge" or "charging"'
            faults.append(Finding((*place, "quantity"), came, expected, "read both from one kind of curve"))
    if named and settings.covariate is None:
        first = named[0][0]
        came, expected = f"[{'.'.join(first)}] without [covariate]", "the first of them in [covariate]"
        faults.append(Finding(first, came, expected, "move it there"))
    for name, section in settings.instrument.items():
        for key in sorted(section.model_fields_set):
            if (key in OF_SPECTRA) != settings.of_spectra:
                came = f"[instrument.{name}] {key}, which is of {other}, and [signal] reads {here}"
                remedy = "remove the key, or keep a logbook for each kind"
                faults.append(Finding(("instrument", name, key), came, f"keys for {here}", remedy))
    if getattr(settings.signal, "against", "nothing") == "prescan" and settings.prescan.use != "covariate":
        came = f'[prescan] use = "{settings.prescan.use}", and [signal] against = "prescan" takes the pre-scan off'
        expected = 'use = "covariate": a pre-scan less itself says nothing'
        faults.append(Finding(("prescan", "use"), came, expected, "write that"))
    return faults
