"""The definition under which samples are first read is locked: a later change is not blind, and that is told.

What a lock says is told beside an answer and is no part of a reading's record, which follows from its recipe alone.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from typing import Any

from brinemark.records.reader import Reader
from brinemark.steps.answers import SampleReading
from brinemark.steps.identity import Definition, Made, Recipe, definition_from
from brinemark.terms.settings import SIGNAL_SECTIONS, family
from brinemark.terms.stored import Record

STUDY, DEFINITION, LOCK = "signal study", "definition", "definition lock"
NO_CHOICE = ("level_unit", "analyte")
"""Parts of a definition that do not decide how a curve becomes a number."""


@dataclass(frozen=True, slots=True)
class DefinitionChoice:
    """How the definition of a sample's reading was chosen, as it stood when samples were first read under it.

    lock : id of the record; tried : different definitions of all studies and calibrations before, itself included;
    changed : sections of the settings in which it differs from a definition that samples had been read with before,
    empty when the choice was blind.
    """

    lock: str
    tried: int
    changed: tuple[str, ...]

    @property
    def blind(self) -> bool:
        return not self.changed

    def to_dict(self) -> dict[str, Any]:
        return asdict(self) | {"changed": list(self.changed), "blind": self.blind}

    @classmethod
    def of(cls, lock: Record) -> DefinitionChoice:
        results: Any = lock.results
        return cls(lock.id, results["tried"], tuple(results["changed"]))

    @property
    def warnings(self) -> list[str]:
        """A sentence when the choice was not blind."""
        if self.blind:
            return []
        verb = "differs" if len(self.changed) == 1 else "differ"
        return [
            f"samples were read by another definition before this one ({', '.join(self.changed)} {verb}): the choice "
            "was not blind"
        ]


@dataclass(frozen=True, slots=True)
class SeenAlready:
    """What a study must say first: readings of samples so far, and whether the present definition is locked and blind.

    readings : of samples, by any definition; locked : whether a sample was read by the present one; choice : how the
    present one was or would be chosen.
    """

    readings: int
    locked: bool
    choice: DefinitionChoice

    @property
    def warnings(self) -> list[str]:
        if not self.readings:
            return []
        many = f"{self.readings} reading{'' if self.readings == 1 else 's'}"
        late = f"samples were read already ({many}): a definition that is chosen now is not chosen blind"
        return [*self.choice.warnings, late]


def seen_already(reader: Reader, definition: Definition) -> SeenAlready:
    """What was read of samples, as seen by the present definition."""
    used, read = _used(reader), reader.sample_readings()
    locked = _key(definition) in {_key(used[calibration]) for calibration in read}
    choice = DefinitionChoice.of(lock_of(reader, definition))
    return SeenAlready(sum(count for count, _ in read.values()), locked, choice)


def lock_of(reader: Reader, definition: Definition) -> Record:
    """The lock of a definition: the stored one, else a new one that says what was tried and read until now."""
    return _locks(reader).get(_key(definition)) or _new_lock(reader, definition)


def told(reader: Reader, answers: Sequence[SampleReading]) -> list[SampleReading]:
    """Readings with how their definition was chosen, and a warning if that was not blind; controls stay as they are."""
    locks, used = _locks(reader), _used(reader)
    return [_told(answer, locks.get(_key(used[answer.calibration]))) for answer in answers]


def _told(answer: SampleReading, lock: Record | None) -> SampleReading:
    of_sample = any(line.role == "sample" for use in answer.electrodes for line in use.readings)
    if lock is None or not of_sample:
        return answer
    choice = DefinitionChoice.of(lock)
    return replace(answer, choice=choice.to_dict(), warnings=(*choice.warnings, *answer.warnings))


def _locks(reader: Reader) -> dict[str, Record]:
    """The first lock of each definition."""
    return {_key(definition_from(_plain(one.settings))): one for one in reader.newest_first(LOCK)}


def _new_lock(reader: Reader, definition: Definition) -> Record:
    used = _used(reader)
    recipe = Recipe(LOCK, "samples read", (), definition.identity)
    changed = list(_changed(reader, used, definition))
    return recipe.record(Made({"tried": _tried(reader, [*used.values(), definition]), "changed": changed}, {}))


def tried_until_now(reader: Reader, definition: Definition) -> int:
    """How many different definitions were used or tried so far, the present one included."""
    return _tried(reader, [*_used(reader).values(), definition])


def _tried(reader: Reader, used: Sequence[Definition]) -> int:
    """How many definitions are used or were tried in a study; one that is both, or was tried twice, counts once."""
    stored = [_plain(settings)["signal"] for _, settings in reader.settings_of(STUDY, DEFINITION)]
    studied = {_as_text(SIGNAL_SECTIONS[family(one)].model_validate(one).model_dump(mode="json")) for one in stored}
    return len({_key(one) for one in used}) + len(studied - {_as_text(one.identity["signal"]) for one in used})


def _changed(reader: Reader, used: Mapping[str, Definition], definition: Definition) -> dict[str, None]:
    """Sections in which definitions differ that samples were read by before this one, which may have no lock yet."""
    wanted, found = _choice(definition), dict[str, None]()
    for calibration, _ in sorted(reader.sample_readings().items(), key=lambda one: one[1][1]):
        then = _choice(used[calibration])
        if then == wanted:
            break
        found.update((f"[{name}]", None) for name in wanted if then[name] != wanted[name])
    return found


def _used(reader: Reader) -> dict[str, Definition]:
    """Definitions by calibration."""
    return {name: definition_from(_plain(said)["definition"]) for name, said in reader.settings_of("calibration")}


def _choice(definition: Definition) -> dict[str, Any]:
    return {name: part for name, part in definition.identity.items() if name not in NO_CHOICE}


def _key(definition: Definition) -> str:
    return _as_text(_choice(definition))


def _as_text(value: Any) -> str:
    return json.dumps(value, sort_keys=True)


def _plain(settings: Any) -> Mapping[str, Any]:
    found: Mapping[str, Any] = settings
    return found
