"""What a cell may be read as, told without spreadnet's own code; nothing at all: refuse it."""

from __future__ import annotations

import re
import unicodedata
from datetime import datetime
from typing import Any

from base_region import ANSWERS, CLOCKS, DATES, NUMBERS, Folder

OUTER = " \t\r\n\u00a0\u202f\ufeff\u200b\u200c\u200d\u2060"
WHOLE = {
    *("ramp_lanes", "trailer_stalls", "surveys", "educators", "launches", "retrievals", "refused"),
}
RANGES = {
    "longitude": (-180, 180),
    "latitude": (-90, 90),
    "area_ha": (0, 1e8),
    "depth_m": (0, 2000),
    "secchi_m": (0, 50),
    "calcium_mg_l": (0, 1000),
    "worth": (0, 1e6),
    "ramp_lanes": (0, 20),
    "trailer_stalls": (0, 2000),
    "surveys": (0, 1000),
    "distance_km": (0, 1000),
    "educators": (0, 50),
    "launches": (0, 2000),
    "retrievals": (0, 2000),
    "refused": (0, 2000),
    "days_out": (0, 400),
    "trips": (0, 1e6),
    "hours": (0, 24),
    "most_km": (0, 2000),
}
KEYS = {"lakes": "lake_id", "landings": "landing_id", "visits": "visit_id"}
WORDS = {
    ("status", "status"): ("present", "absent", "unknown"),
    ("status", "species"): None,
    ("contacts", "direction"): ("launching", "retrieving"),
    ("contacts", "craft"): ("motor", "ballast", "sail", "personal watercraft", "paddle", "unknown"),
}
SPECIES = ("dreissenid_mussel", "spiny_waterflea")
REQUIRED = {
    ("lakes", "lake_id"),
    ("lakes", "longitude"),
    ("lakes", "latitude"),
    ("lakes", "area_ha"),
    ("landings", "landing_id"),
    *(("status", name) for name in ("lake_id", "species", "status")),
    *(("streams", name) for name in ("upstream_lake_id", "downstream_lake_id", "distance_km")),
    *(("visits", name) for name in ("visit_id", "landing_id", "date", "start", "end")),
    *(("contacts", name) for name in ("visit_id", "direction")),
    *(("movements", name) for name in ("from_lake_id", "to_lake_id", "trips")),
    *(("hours", name) for name in ("code", "date")),
    *(("promised", name) for name in ("date", "landing_id", "block")),
}
DEFAULTS: dict[tuple[str, str], Any] = {
    ("lakes", "worth"): 1.0,
    ("landings", "ramp_lanes"): 1,
    ("landings", "jurisdiction"): "none",
    ("landings", "can_staff"): True,
    ("streams", "barrier"): False,
    ("visits", "educators"): 1,
    ("hours", "most_km"): 60.0,
    ("contacts", "craft"): "unknown",
    ("hours", "block"): "any",
    ("hours", "hours"): 4.0,
}
YES, NO = ("yes", "y", "true", "t", "1"), ("no", "n", "false", "f", "0")
NOT_CHECKED = ("not checked", "unchecked", "not seen", "unknown", "na", "n/a", "?", "-")
MISSING = None
_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)(e[+-]?\d+)?", re.IGNORECASE | re.ASCII)
_GROUPED = re.compile(r"[+-]?\d{1,3}(?:([,' \u00a0\u202f])\d{3})(?:\1\d{3})*(?:\.\d+)?", re.ASCII)
_CLOCK = re.compile(r"(\d{1,2}):(\d{2})(?::(\d{2}))? ?([ap])?(?(4)\.?(?:m\.?)?)", re.ASCII)


def readings(folder: Folder, table: str, row: int, heading: str, text: str) -> tuple[Any, ...]:
    """
    Every value that a cell may have in the Region; empty when the folder must be refused.

    Parameters
    ----------
    folder : Folder
        The folder before the cell was changed, whose ids are the known ones.
    table, row, heading : str, int, str
        The cell.
    text : str
        What is written in it; `None` among the values stands for a missing one.
    """
    bare = text.strip(OUTER)
    if bare == "":
        return _blank(folder, table, row, heading)
    if heading in NUMBERS:
        found = _numbers(heading, bare)
        moot = heading == "days_out" and folder.sheets[table].cell(row, "direction") != "launching"
        return (MISSING,) if found and moot else found
    if heading in DATES:
        return _dates(bare, year_too=heading == "first_found")
    if heading in CLOCKS:
        return _clocks(bare)
    if heading in ANSWERS:
        return _answers(bare, checked=table == "contacts" and heading != "corrected")
    if (table, heading) in WORDS:
        return _listed(bare, WORDS[table, heading] or SPECIES, exact=heading == "species")
    return _texts(folder, table, row, heading, bare)


def _blank(folder: Folder, table: str, row: int, heading: str) -> tuple[Any, ...]:
    """What an empty cell stands for."""
    if (table, heading) in REQUIRED:
        return ()
    if heading == "name":
        return (folder.sheets[table].cell(row, KEYS[table]),)
    if (table, heading) == ("status", "surveys"):
        status = folder.sheets[table].cell(row, "status")
        return ({"absent": 1, "unknown": 0}.get(status),)
    if (table, heading) == ("landings", "lake_id"):
        return (folder.sheets[table].cell(row, heading),)  # the lake it lies in
    if table == "landings" and heading in ("longitude", "latitude"):
        return ()
    return (DEFAULTS.get((table, heading)),)


def _numbers(heading: str, text: str) -> tuple[Any, ...]:
    """The number of a text, with marks between thousands taken out where they stand right."""
    plain = unicodedata.normalize("NFKC", text) if text.isprintable() else text
    plain = re.sub("[\u2212\ufe63\uff0d]", "-", plain)
    grouped = heading not in ("longitude", "latitude") and (
        _GROUPED.fullmatch(text.replace("\u2212", "-"))
    )
    if grouped:
        plain = text.replace("\u2212", "-").replace(grouped[1], "")
    if not _NUMBER.fullmatch(plain):
        return ()
    value = float(plain)
    low, high = RANGES[heading]
    fits = low <= value <= high and (heading not in WHOLE or value == int(value))
    return (value,) if fits else ()


def _dates(text: str, *, year_too: bool) -> tuple[Any, ...]:
    """The day of an ISO date, or the first day of a year alone."""
    plain = unicodedata.normalize("NFKC", text)
    if year_too and re.fullmatch(r"\d{4}", plain, re.ASCII):
        plain = f"{plain}-01-01"
    found = re.fullmatch(r"(\d{4})-(\d{1,2})-(\d{1,2})([ T]00:00(:00(\.0+)?)?)?", plain, re.ASCII)
    if not found:
        return ()
    try:
        return (datetime(int(found[1]), int(found[2]), int(found[3])),)
    except ValueError:
        return ()


def _clocks(text: str) -> tuple[Any, ...]:
    """Hours after midnight."""
    found = _CLOCK.fullmatch(unicodedata.normalize("NFKC", text).lower())
    if not found:
        return ()
    hours, minutes, seconds = int(found[1]), int(found[2]), int(found[3] or 0)
    if minutes > 59 or seconds > 59 or hours > 24:
        return ()
    if found[4]:
        if not 1 <= hours <= 12:
            return ()
        hours = hours % 12 + (12 if found[4] == "p" else 0)
    value = hours + minutes / 60 + seconds / 3600
    return (value,) if value <= 24 else ()


def _answers(text: str, *, checked: bool) -> tuple[Any, ...]:
    """Yes, no, or not checked."""
    word = re.sub(r"[\s_]+", " ", text.lower()).removesuffix(".0")
    if word in YES:
        return (True,)
    if word in NO:
        return (False,)
    return (MISSING,) if checked and word in NOT_CHECKED else ()


def _listed(text: str, words: tuple[str, ...], *, exact: bool) -> tuple[Any, ...]:
    """The word of a list, in any case and with any mark between its parts."""
    plain = re.sub(r"[\s_\-]+", " ", text).strip().lower()
    found = [w for w in words if text == w or (not exact and plain == w.replace("_", " "))]
    return (found[0],) if found else ()


def _texts(folder: Folder, table: str, row: int, heading: str, text: str) -> tuple[Any, ...]:
    """Ids, which must stay those of the base where rows refer to them, and free text."""
    known = _known(folder, table, heading)
    if KEYS.get(table) == heading:
        used = _is_used(folder, table, heading, folder.sheets[table].cell(row, heading))
        others = [r for i, r in enumerate(_column(folder, table, heading)) if i != row]
        same = folder.sheets[table].cell(row, heading)
        if text == same:
            return (text,)
        return () if used or text in others else (text, text.removesuffix(".0"))
    if heading in ("last_water", "next_water"):
        direction = folder.sheets[table].cell(row, "direction")
        asked = (direction == "launching") == (heading == "last_water")
        value = text.lower() if text.lower() in ("outside", "none") else text
        value = value if value in ("outside", "none") else _repaired(value)
        if not asked and text.lower() != "nan":
            return (MISSING,)  # left out and counted, whatever it is
        if value not in known and value not in ("outside", "none"):
            return ()
        return (value,) if asked else (MISSING,)
    if known is not None:
        return (text,) if text in known else ()
    if heading == "block":
        return _blocks(text, any_too=table == "hours")
    return (text,)


def _repaired(text: str) -> str:
    """An id without the `.0` that a spreadsheet gave it."""
    return text.removesuffix(".0") if re.fullmatch(r"\d+\.0", text, re.ASCII) else text


def _blocks(text: str, *, any_too: bool) -> tuple[Any, ...]:
    """A block of the base's settings."""
    if any_too and text.lower() == "any":
        return ("any",)
    plain = re.sub(r"\s", "", unicodedata.normalize("NFKC", text)).replace("\u2013", "-")
    plain = "-".join(part.zfill(5) for part in plain.split("-"))
    known = ("06:00-10:00", "10:00-14:00", "14:00-18:00", "18:00-22:00")
    return (plain,) if plain in known else ()


def _known(folder: Folder, table: str, heading: str) -> list[str] | None:
    """Ids that a cell may name, or None where it names none."""
    if "lake_id" in heading and table != "lakes":
        return _column(folder, "lakes", "lake_id")
    if heading in ("last_water", "next_water"):
        return _column(folder, "lakes", "lake_id")
    if "landing_id" in heading and table != "landings":
        return _column(folder, "landings", "landing_id")
    if heading == "visit_id" and table != "visits":
        return _column(folder, "visits", "visit_id")
    return None


def _column(folder: Folder, table: str, heading: str) -> list[str]:
    """The cells of one column."""
    sheet = folder.sheets[table]
    return [row[sheet.headings.index(heading)] for row in sheet.rows]


def _is_used(folder: Folder, table: str, heading: str, value: str) -> bool:
    """Whether another table names an id."""
    tail = heading
    return any(
        value in _column(folder, other, h)
        for other, sheet in folder.sheets.items()
        if other != table
        for h in sheet.headings
        if h.endswith(tail) or (tail == "lake_id" and h in ("last_water", "next_water"))
    )
