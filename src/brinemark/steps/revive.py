"""Frozen records from the JSON that `finite(asdict(...))` made of them."""

from __future__ import annotations

import math
import types
from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from typing import Any, TypeVar, Union, get_args, get_origin, get_type_hints

Kind = TypeVar("Kind")


def revive(kind: type[Kind], plain: Mapping[str, Any]) -> Kind:
    """A record of this dataclass; what came later than the JSON has its default, and a number without end stands where
    the JSON has none."""
    hints = get_type_hints(kind)
    named = [field.name for field in fields(kind) if field.name in plain]  # type: ignore[arg-type]
    return kind(**{name: _value(hints[name], plain[name]) for name in named})


def _value(hint: Any, value: Any) -> Any:
    if get_origin(hint) in (Union, types.UnionType):
        if value is None:
            return None
        return _value(next(one for one in get_args(hint) if one is not type(None)), value)
    if get_origin(hint) is tuple:
        return tuple(_value(get_args(hint)[0], one) for one in value)
    if is_dataclass(hint):
        return revive(hint, value)  # type: ignore[arg-type]
    if hint is float:
        return math.inf if value is None else float(value)
    return value
