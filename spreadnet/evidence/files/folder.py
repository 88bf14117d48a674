"""Which file of a folder is which table."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from spreadnet.errors import Problem
from spreadnet.evidence.cells import nearest
from spreadnet.evidence.files.contents import (
    BOOK_SUFFIXES,
    PARTS,
    TEXT_SUFFIXES,
    VECTOR_SUFFIXES,
    no_access,
    not_a_file,
)
from spreadnet.evidence.personal import brief
from spreadnet.evidence.region import REQUIRED_TABLES, SETTINGS_FILE, TABLES, Note
from spreadnet.words import short_repr

OTHER_BOOKS = (".xls", ".ods", ".numbers", ".xlsb")
OTHER_VECTORS = (".fgb", ".gml", ".kmz", ".gdb", ".tab", ".mif", ".gpx", ".topojson", ".zip")
SPATIAL = ("lakes", "landings")
SHOWN_FILES = 10
_ASIDE = ("readme", "license")
_COMPANIONS = (
    *PARTS[1:],
    ".qmd",
    ".qix",
    ".sbn",
    ".sbx",
    ".xml",
    ".gpkg-wal",
    ".gpkg-shm",
)


@short_repr
@dataclass(frozen=True, slots=True, eq=False)
class Files:
    """The file of each table, with problems and notes about the folder."""

    paths: dict[str, Path]
    problems: tuple[Problem, ...]
    notes: tuple[Note, ...]


def find_files(folder: Path) -> Files:
    """
    The file of each table, told by its name without the ending.

    Parameters
    ----------
    folder : Path
        A region folder.

    Returns
    -------
    files : Files
        `region` stands for `region.toml`. Two files for a table, or a required one missing, are
        problems; a file that is no table is a note.
    """
    found: dict[str, list[Path]] = {}
    others: list[Path] = []
    problems: list[Problem] = []
    try:
        entries = sorted(folder.iterdir())
    except OSError as error:
        return Files({}, (no_access(brief(folder.name), error),), ())
    for path in entries:
        stem, suffix = path.stem.lower(), path.suffix.lower()
        table = "region" if path.name.lower() == SETTINGS_FILE else stem
        readable = table == "region" or (table in TABLES and suffix in _readable(table))
        if path.name.startswith(("~$", ".")) or stem in _ASIDE:
            continue
        if not path.is_file():
            if readable:
                problems.append(not_a_file(path))
                found.setdefault(table, [])
        elif readable:
            found.setdefault(table, []).append(path)
        elif stem in TABLES and suffix in _other(stem):
            problems.append(_other_format(path))
            found.setdefault(stem, [])
        elif stem.split(".")[0] not in SPATIAL or suffix not in _COMPANIONS:
            others.append(path)
    problems += [_two(table, paths) for table, paths in found.items() if len(paths) > 1]
    for table in ("region", *REQUIRED_TABLES):
        if table not in found:
            problems.append(_missing(table, others, "Without it there is nothing to rank."))
    if "contacts" in found and "visits" not in found:
        why = "Every contact belongs to a visit: its landing, day and hours are there."
        problems.append(_missing("visits", others, why))
    notes: tuple[Note, ...] = ()
    if others:
        names = ", ".join(brief(p.name) for p in others[:SHOWN_FILES])
        names += f" and {len(others) - SHOWN_FILES} more" if len(others) > SHOWN_FILES else ""
        notes = (Note("not-read", f"not a table, so not read: {names}"),)
    return Files({t: p[0] for t, p in found.items() if p}, tuple(problems), notes)


def _readable(table: str) -> tuple[str, ...]:
    """Endings that a table may have."""
    plain = (*TEXT_SUFFIXES, *BOOK_SUFFIXES)
    return (*plain, *VECTOR_SUFFIXES) if table in SPATIAL else plain


def _other(table: str) -> tuple[str, ...]:
    """Endings of formats that hold a table but are not read."""
    return (*OTHER_BOOKS, *OTHER_VECTORS) if table in SPATIAL else OTHER_BOOKS


def _other_format(path: Path) -> Problem:
    """The problem that a table is in a format that is not read."""
    book = path.suffix.lower() in OTHER_BOOKS
    mend = "Save it as .xlsx or CSV."
    return Problem(
        "unreadable",
        path.name,
        f"{path.suffix} files are not read",
        "Nothing in it can be used.",
        mend if book else "Open it in a GIS and save it as GeoPackage or GeoJSON.",
    )


def _two(table: str, paths: list[Path]) -> Problem:
    """The problem that a table has two files."""
    return Problem(
        "two-files",
        paths[1].name,
        f"{' and '.join(p.name for p in paths)} are both the table {table}",
        "Only one of them can be the one to use.",
        "Delete, move or rename the others.",
    )


def _missing(table: str, others: list[Path], why: str) -> Problem:
    """The problem that a needed file is not there."""
    near = nearest(table, [p.stem.lower() for p in others])
    hint = next(
        (f" Is {brief(p.name)} meant for it?" for p in others if p.stem.lower() == near), ""
    )
    name = SETTINGS_FILE if table == "region" else f"{table}.csv"
    kinds = "" if table == "region" else f" ({', '.join(_readable(table))})"
    return Problem(
        "missing-table",
        name,
        f"there is no {name}" if table == "region" else f"there is no table {table}",
        why,
        f"Add it{kinds}.{hint} `spreadnet new FOLDER` writes empty ones.",
    )
