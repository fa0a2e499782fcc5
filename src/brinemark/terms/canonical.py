"""Canonical bytes, record ids and content hashes (RFC 8785 JSON; arrays as little-endian float64)."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from typing import TypeAlias

import numpy as np

JsonValue: TypeAlias = "bool | int | float | str | Sequence[JsonValue] | Mapping[str, JsonValue] | None"


def canonical_bytes(value: JsonValue) -> bytes:
    """Bytes of value by RFC 8785. Raises ValueError for NaN, infinities and integers above 2^53."""
    import rfc8785

    try:
        return rfc8785.dumps(value)
    except rfc8785.CanonicalizationError as error:
        raise ValueError(str(error)) from error


def sha256_hex(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()


def record_id(  # noqa: PLR0913 - the seven parts of an identity, all but one by keyword
    kind: str,
    *,
    schema: int,
    parents: Sequence[str],
    role: str,
    settings: JsonValue,
    engine: str,
    seed: int | None = None,
) -> str:
    """Id of a record: sha256 of what it was made from and how, never of its results."""
    return sha256_hex(
        canonical_bytes(
            {
                "kind": kind,
                "schema": schema,
                "parents": list(parents),
                "role": role,
                "settings": settings,
                "engine": engine,
                "seed": seed,
            }
        )
    )


def content_hash(results: JsonValue, arrays: Mapping[str, object] | None = None) -> str:
    """sha256 of results: canonical JSON, then each array by name as little-endian float64."""
    digest = hashlib.sha256(canonical_bytes(results))
    for name in sorted(arrays or {}):
        values = np.ascontiguousarray((arrays or {})[name], dtype="<f8")
        digest.update(name.encode() + repr(values.shape).encode() + values.tobytes())
    return digest.hexdigest()
