"""Brinemark: amounts with honest intervals from one-use, hand-made electrodes."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from brinemark.logbook import Logbook as Logbook

__version__ = "0.1.0"
__all__ = ["Logbook", "__version__"]


def __getattr__(name: str) -> Any:
    # Lazy, so that light parts of the package do not pull in the science or the database.
    if name == "Logbook":
        import importlib

        return importlib.import_module("brinemark.logbook").Logbook
    raise AttributeError(f"module 'brinemark' has no attribute {name!r}")
