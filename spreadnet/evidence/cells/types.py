"""How cells are written, and columns and tables in their types."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import pandas as pd

    from spreadnet.errors import Problem
    from spreadnet.evidence.region import Note


@dataclass(frozen=True, slots=True)
class Manner:
    """How numbers and dates are written in one file."""

    decimal: str = "."
    date_format: str = "YYYY-MM-DD"


@dataclass(frozen=True, slots=True, eq=False)
class Typed:
    """A typed column with the problems and notes of converting it; a blank cell is missing."""

    values: pd.Series
    problems: tuple[Problem, ...] = ()
    notes: tuple[Note, ...] = ()


@dataclass(frozen=True, slots=True, eq=False)
class Checked:
    """A typed table (index: spreadsheet rows) with problems and notes, before defaults."""

    table: str
    file: str
    frame: pd.DataFrame
    problems: tuple[Problem, ...] = ()
    notes: tuple[Note, ...] = ()
