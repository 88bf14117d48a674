"""What spreadnet raises, and the four-part problem that every message is made of."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

SHOWN = 20  # problems printed in full; the rest are counted


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing wrong with the user's files: what, where, why it matters, how to mend it.

    `row` is the number a spreadsheet shows beside the row (the heading is row 1); `code` is a
    stable short name such as `unknown-lake`, the same in every output.
    """

    code: str
    file: str
    what: str
    why: str
    mend: str
    row: int | None = None
    column: str | None = None

    def __str__(self) -> str:
        """Three lines: place and fault, why it matters, how to mend it."""
        place = self.file
        if self.row is not None:
            place += f", row {self.row}"
        if self.column is not None:
            place += f", column {self.column}"
        return f"{place}: {self.what}\n    {self.why}\n    {self.mend}"


class SpreadnetError(Exception):
    """Base of every error that spreadnet raises on purpose."""


class InputError(SpreadnetError, ValueError):
    """The user's files have problems; `problems` holds them all, in file and row order."""

    def __init__(self, problems: Sequence[Problem]) -> None:
        self.problems = tuple(problems)
        count = len(self.problems)
        lines = [f"{count} problem{'s' if count != 1 else ''} in the input"]
        lines += [str(problem) for problem in self.problems[:SHOWN]]
        if count > SHOWN:
            lines.append(f"... and {count - SHOWN} more")
        super().__init__("\n".join(lines))


class OutputError(SpreadnetError, OSError):
    """A result can't be written where it was asked for; nothing was left half-written."""


class WorkerError(SpreadnetError, RuntimeError):
    """The processes or machines asked for can't do the work; the message says why."""


class ModelError(SpreadnetError, ArithmeticError):
    """The numbers given do not determine an answer; the message says which and what to do."""
