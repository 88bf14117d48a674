"""What every column means: the one reader of `tables.csv`."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from importlib import resources

KINDS = (
    "text",
    "number",
    "integer",
    "date",
    "date or year",
    "clock",
    "yes/no",
    "yes/no/not checked",
    "geometry",
    "weights",
    "hours by name",
    "numbers",
    "dates",
    "clock ranges",
)
# Why each table is asked for: said with every fault in it, and in the templates' README.
PURPOSE = {
    "lakes": "A lake's place, size and water decide which boats it draws and what can live there.",
    "landings": "Landings are what is ranked, and each must be on the right lake.",
    "status": "Which lakes are infested decides which boats matter.",
    "streams": "Running water spreads species without boats.",
    "visits": "Visits tell how many boats use a landing in an hour.",
    "contacts": "Contacts tell where boats go and what they carry.",
    "movements": "Trips between lakes are how species spread.",
    "hours": "Who can work when decides which shifts of a plan can be filled.",
    "promised": "Shifts that are promised stay in every plan.",
}
# Columns of contacts that hold a lake_id besides the words for no lake of the region.
WATERS = ("last_water", "next_water")
# What software leaves in a heading unseen: byte-order mark, zero-width and no-break spaces.
_UNSEEN = dict.fromkeys(map(ord, "\ufeff\u200b\u200c\u200d\u2060\u00ad"))


@dataclass(frozen=True, slots=True)
class Column:
    """
    One column of a table, or one key of `region.toml`, as `tables.csv` defines it.

    `key` is `key` for the identifier of the table itself, `species`, or `table.column` when the
    cell must name a row of another table. `example` holds the cells of the example in the
    templates' README, separated by `;` (one TOML value for `region`).
    """

    table: str
    name: str
    kind: str
    unit: str
    required: bool
    default: str
    low: float | None
    high: float | None
    allowed: tuple[str, ...]
    key: str
    description: str
    example: str = ""

    @property
    def range_words(self) -> str:
        """The allowed range in words, empty when there is none."""
        if self.low is not None and self.high is not None:
            return f"{plain_number(self.low)} to {plain_number(self.high)}"
        if self.low is not None:
            return f"{plain_number(self.low)} or more"
        return f"{plain_number(self.high)} or less" if self.high is not None else ""


def plain_number(value: float) -> str:
    """
    A number for a message: thousands parted from 10,000 on, and an exponent only where it helps.

    Examples
    --------
    >>> plain_number(0.5), plain_number(2000.0), plain_number(1e8), plain_number(1e-6)
    ('0.5', '2000', '100,000,000', '0.000001')
    """
    if 1e-8 < abs(value) < 1e-4:
        return f"{value:.10f}".rstrip("0")
    return f"{value:,.12g}" if 10_000 <= abs(value) < 1e12 else f"{value:g}"


def read_columns(text: str) -> tuple[Column, ...]:
    r"""
    Column definitions from the text of a `tables.csv`.

    Parameters
    ----------
    text : str
        CSV with the heading of the shipped `tables.csv`.

    Returns
    -------
    columns : tuple of Column
        In the order of the rows.

    Raises
    ------
    ValueError
        If a row has an unknown type, or names a column of its table twice.

    Examples
    --------
    >>> text = "table,column,type,unit,required,default,low,high,allowed,key,description,example"
    >>> read_columns(text + "\nlakes,depth_m,number,m,no,,0,2000,,,Depth.,14")[0].range_words
    '0 to 2000'
    """
    rows = csv.DictReader(io.StringIO(text))
    found: dict[tuple[str, str], Column] = {}
    for row in rows:
        column = _column(row)
        if column.kind not in KINDS:
            message = (
                f"Invalid type '{column.kind}' of {column.table}.{column.name}. One of {KINDS}."
            )
            raise ValueError(message)
        if (column.table, column.name) in found:
            message = f"Invalid column '{column.name}'. Table {column.table} has it twice."
            raise ValueError(message)
        found[column.table, column.name] = column
    return tuple(found.values())


def _column(row: dict[str, str]) -> Column:
    """One row of `tables.csv` as a Column."""
    return Column(
        table=row["table"],
        name=row["column"],
        kind=row["type"],
        unit=row["unit"],
        required=row["required"] == "yes",
        default=row["default"],
        low=float(row["low"]) if row["low"] else None,
        high=float(row["high"]) if row["high"] else None,
        allowed=tuple(w for w in row["allowed"].split(";") if w),
        key=row["key"],
        description=row["description"],
        example=row.get("example") or "",
    )


@cache
def all_columns() -> tuple[Column, ...]:
    """Every column of every table, in the order of the shipped `tables.csv`."""
    text = resources.files("spreadnet.evidence").joinpath("tables.csv").read_text(encoding="utf-8")
    return read_columns(text)


def columns(table: str, definitions: Sequence[Column] | None = None) -> dict[str, Column]:
    """
    Columns of one table by name, in order.

    Parameters
    ----------
    table : str
        `region` (the keys of `region.toml`) or one of `spreadnet.evidence.region.TABLES`.
    definitions : sequence of Column, optional
        Definitions to use in place of the shipped ones.

    Returns
    -------
    columns : dict of str to Column
        Empty never: an unknown table raises.

    Raises
    ------
    ValueError
        If no column belongs to `table`.

    Examples
    --------
    >>> columns("lakes")["area_ha"].unit
    'ha'
    """
    given = all_columns() if definitions is None else definitions
    found = {column.name: column for column in given if column.table == table}
    if not found:
        message = f"Invalid table '{table}'. It must be one that tables.csv names."
        raise ValueError(message)
    return found


def plain_heading(heading: str) -> str:
    r"""
    A heading as it is compared: unseen characters gone, lower case, `_` between words.

    Examples
    --------
    >>> plain_heading("\ufeff Lake ID ")
    'lake_id'
    """
    seen = heading.translate(_UNSEEN).replace("\u00a0", " ").strip().lower()
    return re.sub(r"[\s\-]+", "_", seen)
