"""Values that were made before, so that what several readings have in common is worked out once."""

from __future__ import annotations

from collections.abc import Callable, Hashable
from typing import Any, TypeVar

Value = TypeVar("Value")


class Memo:
    """The values that were last asked for, by key: no more than room of them, so that memory does not grow with what
    is read."""

    def __init__(self, room: int) -> None:
        self._room = room
        self._kept: dict[Hashable, Any] = {}

    def of(self, key: Hashable, make: Callable[[], Value]) -> Value:
        """The value of a key, made if it is not there; what was not asked for longest gives way."""
        found: Value = self._kept.pop(key) if key in self._kept else make()
        while len(self._kept) >= self._room:
            del self._kept[next(iter(self._kept))]
        self._kept[key] = found
        return found

    def __len__(self) -> int:
        return len(self._kept)
