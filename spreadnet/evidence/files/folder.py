"""Which file of a folder is which table."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from pathlib import Path

from spreadnet.errors import Problem
from spreadnet.evidence.cells.cells import nearest
from spreadnet.evidence.personal.privacy import brief
from spreadnet.evidence.region import REQUIRED_TABLES, SETTINGS_FILE, TABLES, Note
from spreadnet.evidence.vector.vector import SHAPEFILE_PARTS, SUFFIXES

TEXT_SUFFIXES = (".csv", ".tsv", ".txt")
BOOK_SUFFIXES = (".xlsx", ".xlsm")
OLD_SUFFIXES = (".xls", ".ods", ".numbers", ".xlsb")
SPATIAL = ("lakes", "landings")
SHOWN_FILES = 10
_ASIDE = ("readme", "license")
_COMPANIONS = (
    *SHAPEFILE_PARTS[1:],
    ".qmd",
    ".qix",
    ".sbn",
    ".sbx",
    ".xml",
    ".gpkg-wal",
    ".gpkg-shm",
)


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
    for path in sorted(p for p in folder.iterdir() if p.is_file()):
        stem, suffix = path.stem.lower(), path.suffix.lower()
        if path.name.startswith(("~$", ".")) or stem in _ASIDE:
            continue
        if path.name.lower() == SETTINGS_FILE:
            found["region"] = [path]
        elif stem in TABLES and suffix in _readable(stem):
            found.setdefault(stem, []).append(path)
        elif stem in TABLES and suffix in OLD_SUFFIXES:
            problems.append(_old(path))
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
    return (*plain, *SUFFIXES) if table in SPATIAL else plain


def _old(path: Path) -> Problem:
    """The problem that a spreadsheet is in a format that is not read."""
    return Problem(
        "unreadable",
        path.name,
        f"{path.suffix} files are not read",
        "Nothing in it can be used.",
        "Save it as .xlsx or CSV.",
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


def fingerprint(path: Path) -> tuple[int, str]:
    """Bytes and SHA-256 of a file; of all its parts, in order of name, for a shapefile."""
    paths = [path]
    if path.suffix.lower() == ".shp":
        same = (p for p in path.parent.iterdir() if p.stem == path.stem)
        paths = sorted(p for p in same if p.suffix.lower() in SHAPEFILE_PARTS)
    digest, size = hashlib.sha256(), 0
    for part in paths:
        data = part.read_bytes()
        digest.update(data)
        size += len(data)
    return size, digest.hexdigest()
