"""The definition under which samples are first read is locked: a later change is not blind, and that is told."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any

from brinemark.records.reader import Reader
from brinemark.steps.identity import Definition, Made, Recipe, definition_from
from brinemark.terms.stored import Record

STUDY, DEFINITION, LOCK = "signal study", "definition", "definition lock"
NAMES = {"level_unit": "[analyte] level_unit", "analyte": "[analyte] name"}


@dataclass(frozen=True, slots=True)
class DefinitionChoice:
    """How the definition of a sample's reading was chosen, as it stood when samples were first read under it.

    lock : id of the record; tried : definitions that `signals` had tried before; changed : sections of the settings in
    which it differs from a definition that samples had been read with before, empty when the choice was blind.
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
        return [
            f"samples were read with another definition before ({', '.join(self.changed)} differs): the choice of this "
            "one was not blind"
        ]


def lock_of(reader: Reader, definition: Definition) -> Record:
    """The lock of a definition: the stored one, else a new one that says what was tried and read until now."""
    wanted = definition.identity
    locks = [one for one in reader.newest_first(LOCK) if _identity(one.settings) == wanted]
    if locks:
        return locks[-1]
    recipe = Recipe(LOCK, "samples read", (), wanted)
    tried = sum(1 for _ in reader.newest_first(STUDY, DEFINITION))
    return recipe.record(Made({"tried": tried, "changed": _changed(reader, definition)}, {}))


def _identity(stored: Any) -> dict[str, Any]:
    return definition_from(stored).identity


def _changed(reader: Reader, definition: Definition) -> list[Any]:
    """Sections in which the definitions of earlier readings of samples differ; none where this one was used first."""
    wanted, found = definition.identity, dict[str, None]()
    for record in list(reader.newest_first("reading"))[::-1]:
        settings: Any = record.settings
        if not _of_a_sample(record):
            continue
        then = _identity(settings["definition"])
        if then == wanted:
            break  # samples were read with it before any lock was kept: what came later does not touch that choice
        found.update((NAMES.get(key, f"[{key}]"), None) for key in wanted if then[key] != wanted[key])
    return list(found)


def _of_a_sample(record: Record) -> bool:
    results: Any = record.results
    uses = results["context"]["electrodes"]
    return any(line["role"] == "sample" for use in uses for line in use["readings"])
