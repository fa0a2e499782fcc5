"""The few errors. Every message is one line that says what came, what was expected and what to do."""

from __future__ import annotations


class BrinemarkError(Exception):
    """Base of every error that Brinemark raises on purpose; its text is one line."""


class Refused(BrinemarkError):
    """Wrong input. Nothing has been stored or lost.

    Attributes
    ----------
    came, expected, remedy : what was found, what would have been accepted, what to do.
    file, row, column : where, when the input is a file or a table (row 1 is the header).
    """

    def __init__(
        self,
        came: str,
        expected: str,
        remedy: str,
        *,
        file: str | None = None,
        row: int | None = None,
        column: str | None = None,
    ) -> None:
        self.came, self.expected, self.remedy = came, expected, remedy
        self.file, self.row, self.column = file, row, column
        super().__init__(self._sentence())

    @property
    def without_place(self) -> str:
        """What is wrong, for a form that marks the field itself."""
        return " ".join(f"{self.came}; expected {self.expected}; {self.remedy}".split())

    def _sentence(self) -> str:
        places = (
            self.file,
            None if self.row is None else f"row {self.row}",
            None if self.column is None else f"column {self.column}",
        )
        where = ", ".join(place for place in places if place)
        return f"{' '.join(where.split())}: {self.without_place}" if where else self.without_place


class GateFailed(BrinemarkError):
    """A calibration did not pass a numerical gate; nothing has been stored.

    Attributes
    ----------
    gate : name of the gate, for example "Pareto k".
    value, limit : what was measured and what is allowed.
    parameter : the weakest parameter of the model.
    """

    def __init__(self, gate: str, value: float, limit: float, parameter: str) -> None:
        self.gate, self.value, self.limit, self.parameter = gate, value, limit, parameter
        super().__init__(
            f"calibration failed its gate '{gate}': {value:.3g} where at most {limit:.3g} is allowed; "
            f"the weakest parameter is {parameter}; add standards that bear on it, "
            "or raise [calibration] draws; nothing was stored"
        )


class Stopped(BrinemarkError):
    """The caller's progress callback asked to stop; nothing has been stored."""

    def __init__(self, done: int, total: int) -> None:
        self.done, self.total = done, total
        super().__init__(f"stopped after {done} of {total} steps; nothing was stored")
