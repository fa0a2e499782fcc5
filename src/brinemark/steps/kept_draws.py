"""Draws of batches kept beside the calibration, so that a sample read tomorrow does not make them anew.

They are a cache: each follows from the calibration, its seed and the batch's present electrodes, which its key names.
"""

from __future__ import annotations

from brinemark.records.reader import Reader
from brinemark.records.writer import Writer
from brinemark.science.amount.predictive import BatchPart, DrawMemory


def draw_memory(reader: Reader, calibration_id: str) -> DrawMemory:
    """A memory that looks up what earlier calls have kept for a calibration."""

    return DrawMemory(lambda key: kept_draws(reader, calibration_id, key))


def kept_draws(reader: Reader, calibration_id: str, key: str) -> BatchPart | None:
    """What earlier calls have kept of one batch, or None."""
    kept = reader.cached_arrays(calibration_id, key)
    return None if kept is None else BatchPart(kept["latents"], kept["log_ratio"])


def keep_draws(writer: Writer, calibration_id: str, memory: DrawMemory) -> None:
    """Keep what a memory has made."""
    parts = memory.fresh.items()
    writer.cache_arrays(
        {(calibration_id, key): {"latents": part.latents, "log_ratio": part.log_ratio} for key, part in parts}
    )
