"""Tables on their way from file to region: text cells, then columns and tables in their types."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from spreadnet.words import short_repr

if TYPE_CHECKING:
    import pandas as pd

    from spreadnet.errors import Problem
    from spreadnet.evidence.region import Note


@short_repr
@dataclass(frozen=True, slots=True, eq=False)
class TextTable:
    """
    One table as text, before any cell is converted.

    Attributes
    ----------
    table, file : str
        Name of the table, and of the file with no folder in it.
    cells : DataFrame of str
        Columns are plain headings; the index is the row number a spreadsheet shows. Blank is "".
    letters : dict of str to str
        Heading to the column letter in the spreadsheet.
    encoding : str, optional
        How the bytes were read, for CSV.
    decimal : str, optional
        Decimal mark of the numbers where the format settles it (workbooks, vector files).
    geometry : GeometryArray, optional
        Geometry of the rows of a vector file, in `crs`.
    crs : optional
        `pyproj.CRS` of the geometry; None when the file does not say.
    """

    table: str
    file: str
    cells: pd.DataFrame
    letters: dict[str, str] = field(default_factory=dict)
    encoding: str | None = None
    decimal: str | None = None
    geometry: Any = None
    crs: Any = None


@short_repr
@dataclass(frozen=True, slots=True, eq=False)
class Reading:
    """What came of reading one file: the table if it could be read, problems, and notes."""

    table: TextTable | None
    problems: tuple[Problem, ...] = ()
    notes: tuple[Note, ...] = ()


@dataclass(frozen=True, slots=True)
class Manner:
    """How numbers and dates are written in one file."""

    decimal: str = "."
    date_format: str = "YYYY-MM-DD"


@short_repr
@dataclass(frozen=True, slots=True, eq=False)
class Typed:
    """A typed column with the problems and notes of converting it; a blank cell is missing."""

    values: pd.Series
    problems: tuple[Problem, ...] = ()
    notes: tuple[Note, ...] = ()


@short_repr
@dataclass(frozen=True, slots=True, eq=False)
class Checked:
    """A typed table (index: spreadsheet rows) with problems and notes, before defaults."""

    table: str
    file: str
    frame: pd.DataFrame
    problems: tuple[Problem, ...] = ()
    notes: tuple[Note, ...] = ()
