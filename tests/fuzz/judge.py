"""Whether a folder was judged rightly: refused in words, or accepted with the meaning it has."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from datetime import datetime
from functools import cache
from typing import Any

import pandas as pd
import pyproj
from base_region import Folder, base_folder

ROOM = {"longitude": 2e-6, "latitude": 2e-6, "shore_distance_m": 2.0, "shape_m2": 100.0}
LOOSE = ("shore_distance_m", "shape_m2")  # follow from a place, so go with it
SAID_ELSEWHERE = ("decimal", "date_format", "crs")
SHOWN = 160  # letters of a detail


@dataclass(frozen=True, slots=True)
class Right:
    """
    What is right for one mutant.

    Attributes
    ----------
    verdict : str
        `refuse`; `accept`; `either`: accepted it must mean what it says; `free`: no meaning is
        known, so only the other properties are looked at.
    cells : mapping of (table, row, column) to tuple
        Values that a cell may have in place of the base's; `...` among them is any value, and
        the row `...` is every row.
    settings : tuple of str
        Keys of `region.toml` that may differ.
    any_order : bool
        Whether rows may come in another order.
    secrets : tuple of str
        Texts that no message, note or table may hold.
    no_alarm : bool
        Whether a refusal as personal data is wrong.
    told : tuple of str
        Codes of which a note must be given when the region is accepted and differs.
    """

    verdict: str
    cells: Mapping[tuple[str, Any, str], tuple[Any, ...]] = field(default_factory=dict)
    settings: tuple[str, ...] = ()
    any_order: bool = False
    secrets: tuple[str, ...] = ()
    no_alarm: bool = False
    told: tuple[str, ...] = ()


REFUSE, ACCEPT, EITHER, FREE = Right("refuse"), Right("accept"), Right("either"), Right("free")


def judged(folder: Folder, right: Right, problems: list[Any], region: Any) -> tuple[str, str]:
    """
    Outcome and detail of one mutant that was checked without a traceback.

    Returns
    -------
    outcome, detail : str, str
        `refused` and `accepted` are good; any other outcome is a failure.
    """
    said = "\n".join(f"{p} {p!r}" for p in problems)
    if region is not None:
        said += repr(region) + repr(region.notes) + repr(region.sources)
    held = canonical(region) if region is not None else {}
    leak = next((s for s in right.secrets if s in said or s in repr(held)), None)
    if leak is not None:
        return "secret told", "a message, note or table holds the secret"
    if region is None:
        return _refused(right, problems)
    if problems:
        return "half accepted", "a region beside problems"
    if right.verdict == "refuse":
        return "meaning changed", "accepted, and had to be refused"
    if right.verdict == "free":
        return "accepted", ""
    difference = differences(baseline(folder.place, folder.outlines), held, right)
    if difference and not any(n.code in right.told for n in region.notes):
        return "meaning changed", difference[:SHOWN]
    return "accepted", ""


def _refused(right: Right, problems: list[Any]) -> tuple[str, str]:
    """Whether a refusal is right, and in plain words."""
    if not problems:
        return "bare refusal", "no region and no problem"
    codes = ", ".join(dict.fromkeys(p.code for p in problems))
    for p in problems:
        if not (p.code and p.file and p.what and p.why and p.mend):
            return "bare refusal", f"{p.code}: a part of the message is empty"
        if not all(part.isprintable() for part in (p.file, p.what, p.why, p.mend)):
            return "bare refusal", f"{p.code}: letters that can't be printed"
    if right.verdict == "accept":
        return "good refused", f"{codes}: {problems[0]}".replace("\n", " ")[:SHOWN]
    if right.no_alarm and any(p.code == "personal-data" for p in problems):
        return "false alarm", codes
    return "refused", codes


def differences(base: Mapping[str, Any], held: Mapping[str, Any], right: Right) -> str:
    """The first differences between two regions, but those that are allowed."""
    for key, value in base["settings"].items():
        if key not in right.settings and held["settings"][key] != value:
            return f"setting {key}: {value!r} became {held['settings'][key]!r}"
    for table, rows in base.items():
        if table == "settings":
            continue
        if len(rows) != len(held[table]):
            return f"{table}: {len(rows)} rows became {len(held[table])}"
        one, other = (
            sorted(t, key=_sorting) if right.any_order else t for t in (rows, held[table])
        )
        for number, (row, changed) in enumerate(zip(one, other, strict=True)):
            for name, value in row.items():
                allowed = _allowed(right, table, number, name) or (value,)
                found = changed.get(name)
                if ... not in allowed and not any(_same(name, a, found) for a in allowed):
                    return f"{table} row {number} {name}: {value!r} became {found!r}"
    return ""


def _allowed(right: Right, table: str, row: int, name: str) -> tuple[Any, ...] | None:
    """Values that a cell may have, or None where it must be that of the base."""
    for at in (row, ...):
        for column in (name, "*"):
            if (table, at, column) in right.cells:
                return right.cells[table, at, column]
    if name in LOOSE and any(
        t in ("lakes", "landings") and n in ("longitude", "latitude", "area_ha", "*")
        for t, _, n in right.cells
    ):
        return (...,)
    return None


def _sorting(row: Mapping[str, Any]) -> str:
    """A key by which rows are put in one order; measured numbers would be too fine for it."""
    return repr({k: v for k, v in row.items() if k not in ROOM})


def _same(name: str, one: Any, other: Any) -> bool:
    """Whether two values are the same, numbers to their last digits."""
    if one is None or other is None:
        return one is other
    if isinstance(one, bool) or isinstance(other, bool):
        return one is other
    if isinstance(one, float | int) and isinstance(other, float | int):
        return math.isclose(one, other, rel_tol=1e-9, abs_tol=ROOM.get(name, 1e-9))
    return one == other


@cache
def baseline(place: int, outlines: bool) -> dict[str, Any]:
    """The base region at a place, read by spreadnet from plain files."""
    import tempfile
    from pathlib import Path

    from mutants import write

    from spreadnet.evidence.read import check_region

    with tempfile.TemporaryDirectory() as home:
        write(base_folder(place, outlines=outlines), Path(home))
        problems, region = check_region(home)
    if region is None:
        raise RuntimeError("\n".join(map(str, problems)))
    return canonical(region)


def canonical(region: Any) -> dict[str, Any]:
    """A region as plain rows, places in degrees, so that regions in any format compare."""
    settings = {k: v for k, v in asdict(region.settings).items() if k not in SAID_ELSEWHERE}
    tables: dict[str, Any] = {"settings": settings}
    for table in ("lakes", "landings"):
        frame = getattr(region, table)
        plain = pd.DataFrame(frame.drop(columns="geometry")).reset_index()
        middle = frame.geometry.centroid
        lon, lat = _degrees(region.crs).transform(middle.x.to_numpy(), middle.y.to_numpy())
        plain["longitude"], plain["latitude"] = lon, lat
        plain["shape_m2"] = frame.geometry.area.to_numpy()
        tables[table] = _rows(plain)
    for table in ("status", "streams", "visits", "contacts", "movements", "hours", "promised"):
        frame = getattr(region, table)
        tables[table] = _rows(frame.reset_index() if frame.index.name else frame)
    return tables


@cache
def _degrees(crs: str) -> pyproj.Transformer:
    """From a region's CRS to degrees."""
    return pyproj.Transformer.from_crs(crs, "EPSG:4326", always_xy=True)


def _rows(frame: pd.DataFrame) -> list[dict[str, Any]]:
    """Rows of plain values, missing as None."""
    names = [str(c) for c in frame.columns]
    cells = [[_plain(v) for v in frame[c].tolist()] for c in frame.columns]
    return [dict(zip(names, row, strict=True)) for row in zip(*cells, strict=True)]


def _plain(value: Any) -> Any:
    """A value as Python holds it."""
    if isinstance(value, pd.Timestamp):
        return value.to_pydatetime()
    if value is pd.NaT or value is pd.NA or (isinstance(value, float) and math.isnan(value)):
        return None
    if isinstance(value, datetime | str | bool | int | float) or value is None:
        return value
    return value.item() if hasattr(value, "item") else value
