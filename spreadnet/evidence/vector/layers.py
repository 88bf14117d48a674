"""What every reader of a vector file gives, or says when it can't."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pyproj

from spreadnet.errors import Problem
from spreadnet.evidence.limits import MOST_CELLS, MOST_COLUMNS, MOST_ROWS
from spreadnet.evidence.personal import brief

SHOWN_LAYERS = 10
RESAVE = "Open it in a GIS and save it again as GeoJSON or GeoPackage."


class CannotRead(Exception):
    """A file that is not read: the parts of its problem besides the file's name."""

    def __init__(
        self,
        what: str,
        mend: str = RESAVE,
        *,
        why: str = "Nothing in it can be used.",
        code: str = "unreadable",
        row: int | None = None,
    ) -> None:
        super().__init__(what)
        self.what, self.mend, self.why, self.code, self.row = what, mend, why, code, row

    def problem(self, file: str) -> Problem:
        """The problem of a file."""
        return Problem(self.code, file, self.what, self.why, self.mend, row=self.row)


@dataclass(frozen=True, slots=True, eq=False)
class Layer:
    """
    Rows of a vector file.

    Attributes
    ----------
    attributes : dict of str to list
        Values of each column as the file has them, None where there is none.
    shapes : array of shapely geometries
        One a row, or None.
    crs : pyproj.CRS, optional
        None when the file does not say.
    """

    attributes: dict[str, list[Any]]
    shapes: np.ndarray
    crs: pyproj.CRS | None


def choose_layer(names: Sequence[str], table: str) -> int:
    """
    Position of the layer that holds a table: the one named like it, or the only one.

    Raises
    ------
    CannotRead
        If several could be meant, or there is none.

    Examples
    --------
    >>> choose_layer(["ponds", "Lakes"], "lakes")
    1
    """
    same = [i for i, name in enumerate(names) if name.strip().lower() == table]
    chosen = same or list(range(len(names)))
    if len(chosen) == 1:
        return chosen[0]
    if not names:
        raise no_geometry()
    raise CannotRead(
        f"the file has {len(names)} layers: {', '.join(map(brief, names[:SHOWN_LAYERS]))}",
        f"Name the right one '{table}', or save it alone in a file.",
        why="It is not clear which of them is the table.",
        code="which-layer",
    )


def bounded(rows: int, columns: int) -> None:
    """
    See to it that a layer is not larger than is read.

    Raises
    ------
    CannotRead
        If it has too many rows, columns or cells.

    Examples
    --------
    >>> bounded(1_000, 20)
    """
    if rows <= MOST_ROWS and columns <= MOST_COLUMNS and rows * columns <= MOST_CELLS:
        return
    limits = f"{MOST_ROWS} rows, {MOST_COLUMNS} columns and {MOST_CELLS} cells"
    raise CannotRead(
        f"the layer has {rows} rows and {columns} columns, or more",
        "Keep only the lakes of your region and the columns that spreadnet knows.",
        why=f"At most {limits} are read: more would take more memory than many computers have.",
        code="too-large",
    )


def no_geometry() -> CannotRead:
    """What is said of a file in which no row has a place."""
    return CannotRead(
        "no row of the file has a geometry",
        "Save it with its geometry, or as CSV with the columns longitude and latitude.",
        why="Distances can't be measured without places.",
        code="no-geometry",
    )


def stated(text: str, where: str) -> pyproj.CRS:
    """
    The coordinate system that a file states.

    Raises
    ------
    CannotRead
        If it is none, or would have other files or the network read.

    Examples
    --------
    >>> stated("EPSG:4326", "its crs").name
    'WGS 84'
    """
    from spreadnet.evidence.vector.stated_crs import parse_crs

    try:
        return parse_crs(text)
    except ValueError as error:
        raise CannotRead(
            f"{where}, '{brief(text)}', {error}",
            "Set the layer's coordinate system in a GIS (by its EPSG code) and save it again.",
            why="Without it the places can't be put on a map or measured.",
            code="crs-unknown",
        ) from None
