"""Files of a region folder as bytes, read once: what is parsed is what is hashed."""

from __future__ import annotations

import hashlib
import os
import stat
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from spreadnet.errors import Problem
from spreadnet.evidence.limits import (
    BOOK_BYTES,
    SETTINGS_BYTES,
    TEXT_BYTES,
    VECTOR_BYTES,
    size_words,
)

PARTS = (".shp", ".dbf", ".shx", ".prj", ".cpg")  # of a shapefile
TEXT_SUFFIXES = (".csv", ".tsv", ".txt")
BOOK_SUFFIXES = (".xlsx", ".xlsm")
VECTOR_SUFFIXES = (".geojson", ".json", ".gpkg", ".shp", ".kml")
# What SQLite keeps beside a database that it is changing, or could not close.
_UNSAVED = ("-wal", "-journal")
_UNUSED = "Nothing in it can be used."


@dataclass(frozen=True, slots=True, eq=False)
class Contents:
    """
    One table's file, or the files of a shapefile.

    Attributes
    ----------
    name, suffix : str
        Name of the file with no folder in it; its ending in small letters.
    parts : mapping of str to bytes
        Every file that was read, by its ending in small letters.
    """

    name: str
    suffix: str
    parts: Mapping[str, bytes]

    @property
    def data(self) -> bytes:
        """Bytes of the file that names the table."""
        return self.parts[self.suffix]

    @property
    def size(self) -> int:
        """Bytes of all parts."""
        return sum(map(len, self.parts.values()))

    @property
    def sha256(self) -> str:
        """SHA-256 of all parts, one after the other in order of their endings."""
        digest = hashlib.sha256()
        for _, data in sorted(self.parts.items()):
            digest.update(data)
        return digest.hexdigest()


def read_contents(path: Path) -> Contents | Problem:
    """
    The bytes of a table's file, with its parts when it is a shapefile.

    Parameters
    ----------
    path : Path
        A file in a region folder.

    Returns
    -------
    contents : Contents or Problem
        A problem when it can't be opened, lies outside the folder, is larger than is read, or
        has changes beside it that were not saved.
    """
    suffix = path.suffix.lower()
    parts: dict[str, bytes] = {}
    left = most = _most(suffix)
    try:
        found = _parts(path) if suffix == ".shp" else [path]
        for part in found:
            ending = part.suffix.lower()
            fault = _elsewhere(part) or (_twice(part, path) if ending in parts else None)
            if fault is not None:
                return fault
            with part.open("rb") as stream:
                if not stat.S_ISREG(os.fstat(stream.fileno()).st_mode):
                    return not_a_file(part)
                parts[ending] = stream.read(left + 1)
            left -= len(parts[ending])
            if left < 0:
                return _too_large(path, sum(p.stat().st_size for p in found), most)
        unsaved = _unsaved(path) if suffix == ".gpkg" else None
    except OSError as error:
        return no_access(path.name, error)
    return unsaved or Contents(path.name, suffix, parts)


def _most(suffix: str) -> int:
    """Bytes that are read of a file with an ending."""
    if suffix in VECTOR_SUFFIXES:
        return VECTOR_BYTES
    if suffix in BOOK_SUFFIXES:
        return BOOK_BYTES
    return TEXT_BYTES if suffix in TEXT_SUFFIXES else SETTINGS_BYTES


def _parts(path: Path) -> list[Path]:
    """The files of a shapefile, whatever the case of their names."""
    stem = path.stem.lower()
    beside = (p for p in sorted(path.parent.iterdir()) if p.stem.lower() == stem)
    others = [p for p in beside if p.suffix.lower() in PARTS[1:]]
    return [path, *others]


def _elsewhere(path: Path) -> Problem | None:
    """The problem that a file is a link that leads out of its folder."""
    folder = path.parent.resolve()
    if path.resolve().is_relative_to(folder):
        return None
    return Problem(
        "link-outside",
        path.name,
        "this is a link to a file outside the folder",
        "A region is what its folder holds, so that a folder from elsewhere can read nothing else.",
        "Put the file itself into the folder.",
    )


def _twice(part: Path, path: Path) -> Problem:
    """The problem that a shapefile has a part twice, in different case."""
    return Problem(
        "two-files",
        path.name,
        f"there are two files that could be {part.name}, in capital and in small letters",
        "Only one of them can be the one to use.",
        "Delete or move the other.",
    )


def _too_large(path: Path, size: int, most: int) -> Problem:
    """The problem that a file is larger than is read."""
    mends = {
        ".toml": "It should hold some lines of settings only.",
        **dict.fromkeys(
            VECTOR_SUFFIXES,
            "Keep only the lakes of your region, and simplify their outlines in a GIS"
            " (to 10 metres, say).",
        ),
    }
    mend = "Keep only the rows of your region and seasons, and the columns that spreadnet knows."
    return Problem(
        "too-large",
        path.name,
        f"the file has {size_words(size)}; {size_words(most)} are read",
        "A larger one would take more memory than many computers have.",
        mends.get(path.suffix.lower(), mend),
    )


def _unsaved(path: Path) -> Problem | None:
    """The problem that changes of a GeoPackage stand in another file beside it."""
    beside = [path.with_name(path.name + ending) for ending in _UNSAVED]
    full = [p for p in beside if os.path.lexists(p) and (p.is_symlink() or p.stat().st_size)]
    if not full:
        return None
    return Problem(
        "unsaved",
        path.name,
        f"changes to it stand in {full[0].name} and not in the file itself",
        "They would be left out.",
        "Close the GIS that has it open (QGIS writes them when it ends), and try again.",
    )


def no_access(name: str, error: OSError) -> Problem:
    """
    The problem that the system does not let a file be read.

    Examples
    --------
    >>> no_access("lakes.csv", PermissionError()).what
    "the file can't be opened (PermissionError)"
    """
    return Problem(
        "no-access",
        name,
        f"the file can't be opened ({type(error).__name__})",
        _UNUSED,
        "Close it where it is open (a workbook in Excel), check the permissions, and try again.",
    )


def not_a_file(path: Path) -> Problem:
    """
    The problem that something with the name of a table is no file.

    Examples
    --------
    >>> not_a_file(Path("nowhere") / "lakes.csv").what
    'this is a link that leads nowhere, a pipe or a device, not a file'
    """
    folder = path.is_dir()
    kind = "a folder" if folder else "a link that leads nowhere, a pipe or a device"
    return Problem(
        "not-a-file",
        path.name,
        f"this is {kind}, not a file",
        _UNUSED,
        "Put the table itself there, as a file" + (", beside the others." if folder else "."),
    )
