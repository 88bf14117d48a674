"""A region folder to a frozen `Region`, with every problem found in one pass."""

from __future__ import annotations

import os.path
from collections.abc import Collection, Mapping
from dataclasses import replace
from os import PathLike
from pathlib import Path
from typing import Any

import geopandas as gpd
import pandas as pd
import pyproj

from spreadnet.errors import InputError, Problem
from spreadnet.evidence.cells import nearest
from spreadnet.evidence.checking import (
    check_table,
    count_notes,
    count_problems,
    fill_defaults,
    reference_problems,
    row_problems,
    settle_blocks,
    settle_directions,
    settle_waters,
    visit_notes,
    without_notes,
)
from spreadnet.evidence.columns import columns
from spreadnet.evidence.files import (
    BOOK_SUFFIXES,
    TEXT_SUFFIXES,
    Contents,
    find_files,
    read_contents,
    read_csv,
    read_xlsx,
)
from spreadnet.evidence.personal import brief, coded, shown, withheld, without_private
from spreadnet.evidence.region import SETTINGS_FILE, TABLES, Note, Region, Settings, Source
from spreadnet.evidence.settings import SettingsReading, read_settings
from spreadnet.evidence.types import Checked, Manner, Reading, TextTable
from spreadnet.evidence.vector import read_vector
from spreadnet.evidence.where import Placed, place_lakes, place_landings

WHOLE = ("formula-error", "personal-data")  # after these a cell counts as empty
NEEDS_ROWS = ("lakes", "landings")


def read_region(folder: str | Path) -> Region:
    """
    The region of a folder, ready for the model.

    Parameters
    ----------
    folder : str or Path
        Folder with `region.toml` and the tables.

    Returns
    -------
    region : Region
        Frozen; nothing in the folder is changed.

    Raises
    ------
    InputError
        If anything in the files has to be mended first; `problems` holds all of it.
    """
    problems, region = check_region(folder)
    if region is None:
        raise InputError(problems)
    return region


def as_region(region: Region | str | Path) -> Region:
    """
    The region itself, or the one of the folder that stands for it.

    Parameters
    ----------
    region : Region or path
        What `read_region` gave, or its folder.

    Returns
    -------
    region : Region
        Read anew at each call where a folder is given.

    Raises
    ------
    InputError
        If anything in the files has to be mended first.
    ValueError
        If it is neither.
    """
    if isinstance(region, Region):
        return region
    if isinstance(region, (str, PathLike)):
        return read_region(Path(region))
    message = (
        f"Invalid region of type {type(region).__name__}. Give what `read_region` gives, or the "
        "folder of a region."
    )
    raise ValueError(message)


def check_region(
    folder: str | Path, *, species: Collection[str] | None = None
) -> tuple[list[Problem], Region | None]:
    """
    Every problem of a region folder in one pass, and the region when there is none.

    Parameters
    ----------
    folder : str or Path
        Folder with `region.toml` and the tables.
    species : collection of str, optional
        Known species; those of `spreadnet.evidence.species.species` when not given.

    Returns
    -------
    problems, region : list of Problem, Region or None
        Problems in the order of files and rows. What the run will do without is in
        `region.notes`.
    """
    folder = Path(folder)
    if not os.path.isdir(folder):  # noqa: PTH112 - a name too long is no folder to it, to Path an error
        return [_printable(_no_folder(folder), None)], None
    pyproj.network.set_network_enabled(False)  # whatever PROJ_NETWORK says
    files = find_files(folder)
    known_species = _species() if species is None else species
    opened = {t: read_contents(files.paths[t]) for t in ("region", *TABLES) if t in files.paths}
    settings = _settings(opened.get("region"), known_species)
    readings = {t: _read(given, t) for t, given in opened.items() if t != "region"}
    problems = [*files.problems, *settings.problems]
    notes = list(files.notes)
    for reading in readings.values():
        problems += reading.problems
        notes += reading.notes
    texts = {t: r.table for t, r in readings.items() if r.table is not None}
    country = settings.settings.country
    texts, private = without_private(texts, country=country)
    problems += private
    manner = Manner(settings.settings.decimal, settings.settings.date_format)
    tables = {t: check_table(text, manner=manner) for t, text in texts.items()}
    for table, settle in (
        ("contacts", settle_waters),
        ("hours", settle_blocks),
        ("promised", settle_blocks),
    ):
        if table in tables:
            tables[table] = settle(tables[table])
    placed = _place(texts, tables, settings)
    problems += count_problems(tables)
    notes += count_notes(tables)
    problems += _all_problems(texts, tables, settings.settings, placed, known_species)
    problems += _jurisdiction_problems(settings, tables)
    if "contacts" in tables:  # only now: what is left out is checked too
        tables["contacts"] = settle_directions(tables["contacts"])
    notes += [note for checked in tables.values() for note in checked.notes]
    notes += [note for place in placed.values() for note in place.notes]
    if problems:
        return [_printable(p, country) for p in _in_order(_without_echoes(problems))], None
    region = _region(settings.settings, tables, placed, notes)
    sources = tuple(
        _source(t, given, texts.get(t))
        for t, given in opened.items()
        if isinstance(given, Contents)
    )
    return [], _with_sources(region, sources)


def _species() -> Collection[str]:
    """Names of the species that ship with spreadnet."""
    from spreadnet.evidence.species import read_species

    return tuple(read_species())


def _no_folder(folder: Path) -> Problem:
    """The problem that the folder is not there, or is none."""
    file = os.path.isfile(folder)  # noqa: PTH113 - as above
    mend = "Check the path; `spreadnet new FOLDER` makes one with empty tables."
    return Problem(
        "no-folder",
        brief(folder.name or str(folder)),
        "this is a file, not a folder" if file else "there is no such folder",
        "A region is a folder with region.toml and the tables.",
        f"Name the folder that the file lies in. {mend}" if file else mend,
    )


def _settings(given: Contents | Problem | None, species: Collection[str]) -> SettingsReading:
    """`region.toml`, or placeholders when it can't be read; a missing one is told elsewhere."""
    if isinstance(given, Contents):
        return read_settings(given.data, species=species)
    empty = read_settings(b"", species=species)
    return SettingsReading(empty.settings, () if given is None else (given,), {})


def _read(given: Contents | Problem, table: str) -> Reading:
    """One file as text cells, by its ending."""
    if isinstance(given, Problem):
        return Reading(None, (given,))
    if given.suffix in TEXT_SUFFIXES:
        reading = read_csv(given.data, table=table, file=given.name)
    elif given.suffix in BOOK_SUFFIXES:
        reading = read_xlsx(given.data, table=table, file=given.name)
    else:
        reading = read_vector(given, table=table)
    if reading.table is not None and reading.table.cells.empty and table in NEEDS_ROWS:
        problem = _no_rows(given.name, table)
        return Reading(reading.table, (*reading.problems, problem), reading.notes)
    return reading


def _no_rows(file: str, table: str) -> Problem:
    """The problem that a required table has headings only."""
    return Problem(
        "no-rows",
        file,
        "the table has no rows below its headings",
        f"Without {table} there is nothing to rank.",
        f"Fill in one row for each of the {table}.",
        row=2,
    )


def _place(
    texts: dict[str, TextTable], tables: dict[str, Checked], settings: SettingsReading
) -> dict[str, Placed]:
    """Lakes and landings in space, as far as they could be read."""
    lakes = Placed(None, None)
    placed = {}
    row = settings.lines.get("crs")
    if "lakes" in tables and _has_place(texts["lakes"]):
        lakes = place_lakes(texts["lakes"], tables["lakes"], settings.settings, row=row)
        placed["lakes"] = lakes
    if "landings" in tables:
        placed["landings"] = place_landings(
            texts["landings"],
            tables["landings"],
            lakes,
            settings.settings,
            lakes_file=texts["lakes"].file if "lakes" in texts else "lakes",
        )
    return placed


def _has_place(text: TextTable) -> bool:
    """Whether a table says where its rows are (that it does not is told by its headings)."""
    return len(text.cells) > 0 and (
        text.geometry is not None or {"longitude", "latitude"} <= set(text.cells.columns)
    )


def _all_problems(
    texts: dict[str, TextTable],
    tables: dict[str, Checked],
    settings: Settings,
    placed: dict[str, Placed],
    species: Collection[str],
) -> list[Problem]:
    """Problems of cells, places, references and rows."""
    known: dict[str, Collection[str]] = {"species": species}
    keys = {"lakes": "lake_id", "landings": "landing_id", "visits": "visit_id"}
    for table, key in keys.items():
        if table in tables and key in texts[table].cells:
            known[table] = frozenset(tables[table].frame[key].dropna())
    files = {table: text.file for table, text in texts.items()}
    problems = [p for place in placed.values() for p in place.problems]
    for checked in tables.values():
        problems += checked.problems
        problems += reference_problems(checked, known, files)
        problems += row_problems(checked, settings)
    return problems


def _jurisdiction_problems(
    settings: SettingsReading, tables: Mapping[str, Checked]
) -> list[Problem]:
    """Hours promised to a jurisdiction that no landing belongs to."""
    if "landings" not in tables:
        return []
    known = sorted(set(tables["landings"].frame["jurisdiction"].dropna()))
    problems = []
    for name in settings.settings.jurisdiction_hours:
        if name not in known:
            near = nearest(name, known)
            hint = f"Did you mean '{near}'? " if near else ""
            problems.append(
                Problem(
                    "unknown-jurisdiction",
                    SETTINGS_FILE,
                    f"no landing has the jurisdiction {shown(name)}",
                    "Its hours could be placed nowhere.",
                    f"{hint}Use a name from the column jurisdiction of landings.",
                    row=settings.lines.get("jurisdiction_hours"),
                    column="jurisdiction_hours",
                )
            )
    return problems


def _without_echoes(problems: list[Problem]) -> list[Problem]:
    """Problems less those that only follow from another: of cells moved, lost or taken out."""
    moved = {(p.file, p.row) for p in problems if p.code == "long-row"}
    failed = {(p.file, p.row, p.column) for p in problems if p.code in WHOLE}
    lost = {p.file for p in problems if p.code == "formula-unsaved"}
    return [
        p
        for p in problems
        if p.code in ("long-row", *WHOLE)
        or not (
            (p.file, p.row, p.column) in failed
            or (p.file, p.row) in moved
            or (p.code == "missing-value" and p.file in lost)
        )
    ]


def _in_order(problems: list[Problem]) -> list[Problem]:
    """Problems in the order of files and rows, each once."""
    order = {name: i for i, name in enumerate((SETTINGS_FILE.removesuffix(".toml"), *TABLES))}

    def place(problem: Problem) -> tuple[int, str, int]:
        """Sort key: table, file, row."""
        stem = problem.file.split(".")[0].lower()
        return order.get(stem, len(order)), problem.file, problem.row or 0

    return sorted(dict.fromkeys(problems), key=place)


def _printable(problem: Problem, country: str | None) -> Problem:
    """The problem without contact details, and with letters that no screen shows by their codes."""
    return replace(
        problem,
        file=_safe(problem.file, country),
        what=_safe(problem.what, country),
        why=_safe(problem.why, country),
        mend=_safe(problem.mend, country),
        column=None if problem.column is None else _safe(problem.column, country),
    )


def _safe(text: str, country: str | None) -> str:
    """A message as it may be shown and kept."""
    return coded(withheld(text, country))


def _computed(
    table: str, checked: Checked, placed: dict[str, Placed], settings: Settings
) -> dict[str, Any]:
    """Defaults that are worked out from other cells."""
    frame = checked.frame
    if table == "lakes":
        area = placed["lakes"].frame["area_ha"]  # type: ignore[index]
        return {"name": frame["lake_id"], "area_ha": frame["lake_id"].map(area)}
    if table == "landings":
        return {"name": frame["landing_id"]}
    if table == "status":
        return {"surveys": frame["status"].map({"absent": 1, "unknown": 0}).astype("Int64")}
    return {"hours": settings.shift_hours} if table == "hours" else {}


def _region(
    settings: Settings, tables: dict[str, Checked], placed: dict[str, Placed], notes: list[Note]
) -> Region:
    """The region of tables without problems."""
    filled = {t: fill_defaults(c, _computed(t, c, placed, settings)) for t, c in tables.items()}
    frames = {t: filled[t].frame if t in filled else empty_frame(t) for t in TABLES}
    for table, checked in filled.items():
        notes = notes + [n for n in checked.notes if n not in tables[table].notes]
    lakes = _spatial(frames["lakes"], placed["lakes"].frame, "lake_id")
    where = placed["landings"].frame
    assert where is not None  # no problems, so every landing has its place
    landings = frames["landings"].drop(columns="lake_id").join(where)
    landings = _spatial(landings, None, "landing_id", crs=lakes.crs)
    plain = {t: frames[t].reset_index(drop=True) for t in TABLES[2:]}
    plain["visits"] = plain["visits"].set_index("visit_id")
    order = ["lake_id", "name", "geometry", "ramp_lanes", "trailer_stalls", "jurisdiction"]
    landings = landings[[*order, "can_staff", "shore_distance_m"]]
    region = Region(
        settings=settings,
        lakes=lakes,
        landings=landings,
        status=plain["status"],
        streams=plain["streams"],
        visits=plain["visits"],
        contacts=plain["contacts"],
        movements=plain["movements"],
        hours=plain["hours"],
        promised=plain["promised"],
        crs=str(placed["lakes"].crs),
    )
    notes += visit_notes(region.visits, settings) + without_notes(region)
    told = tuple(Note(note.code, _safe(note.text, settings.country)) for note in notes)
    return replace(region, notes=told)


def _spatial(
    frame: pd.DataFrame, shapes: gpd.GeoDataFrame | None, key: str, *, crs: Any = None
) -> gpd.GeoDataFrame:
    """A table indexed by its id with its geometry, without longitude and latitude."""
    made = frame.set_index(key).drop(columns=["longitude", "latitude"])
    if shapes is None:
        return gpd.GeoDataFrame(made, geometry="geometry", crs=crs)
    made.insert(1, "geometry", shapes["geometry"].reindex(made.index))
    return gpd.GeoDataFrame(made, geometry="geometry", crs=shapes.crs)


def empty_frame(table: str) -> pd.DataFrame:
    """
    A table without rows, in the types that its columns have.

    Examples
    --------
    >>> empty_frame("streams").dtypes.astype(str).to_dict()
    {'upstream_lake_id': 'str', 'downstream_lake_id': 'str', 'distance_km': 'float64',
    'barrier': 'boolean'}
    """
    names = [n for n, c in columns(table).items() if c.kind != "geometry"]
    text = TextTable(table, table, pd.DataFrame(columns=names, dtype="str"))
    return check_table(text, manner=Manner()).frame


def _source(table: str, given: Contents, text: TextTable | None) -> Source:
    """The record of one file."""
    size, sha256 = given.size, given.sha256
    if text is None:
        return Source(table, given.name, size, sha256, 0, "UTF-8")
    crs = withheld(text.crs.to_string()) if text.crs is not None else None
    return Source(table, given.name, size, sha256, len(text.cells), text.encoding, crs)


def _with_sources(region: Region, sources: tuple[Source, ...]) -> Region:
    """The region with the record of its files."""
    return replace(region, sources=sources)
