"""Coordinate systems as files state them, none of which may name a file, a grid or an address."""

from __future__ import annotations

import re
import warnings
from typing import Any

import pyproj

from spreadnet.evidence.limits import CRS_LETTERS

AUTHORITIES = ("EPSG", "ESRI", "IGNF", "OGC")
SURE = 90  # percent: a system spelled out is taken for the EPSG one that PROJ is so sure of
_OUTSIDE = "rests on a grid or a method outside the file, which is not read"
_CODE = re.compile(rf"({'|'.join(AUTHORITIES)}):([A-Za-z0-9_]{{1,20}})", re.IGNORECASE)
_URN = re.compile(
    rf"urn:(?:ogc|x-ogc):def:crs:({'|'.join(AUTHORITIES)}):[0-9.]*:([A-Za-z0-9_]{{1,20}})",
    re.IGNORECASE,
)
_WKT = re.compile(
    r"(PROJCS|GEOGCS|COMPD_CS|PROJCRS|PROJECTEDCRS|GEOGCRS|GEOGRAPHICCRS|GEODCRS|GEODETICCRS"
    r"|COMPOUNDCRS|BOUNDCRS)\s*[\[(]",
    re.IGNORECASE,
)
_PROJ = re.compile(r"\+proj=[a-z0-9_]+(?:\s+\+[A-Za-z0-9_]+(?:=[A-Za-z0-9_.,+\-]+)?)*")
# What a projection may be described by; none of these names a file.
_PARAMETERS = {
    *("proj", "lat_0", "lon_0", "lat_1", "lat_2", "lat_ts", "lonc", "alpha", "gamma"),
    *("k", "k_0", "x_0", "y_0", "zone", "south", "datum", "ellps", "a", "b", "rf", "f", "R"),
    *("towgs84", "pm", "units", "to_meter", "no_defs", "type", "over", "wktext"),
}


def parse_crs(text: str) -> pyproj.CRS:
    """
    The coordinate system that a text states.

    Only what is closed in itself is read: a code of a known list, a definition written out (WKT),
    or a projection with its numbers (`+proj=laea ...`). PROJ would also take operations in several
    steps, files with definitions, and grids by path or address; a region folder has no use for
    these, and they would have it read other files or call the network.

    Parameters
    ----------
    text : str
        Such as `EPSG:32709`, a URN, the words of a .prj, or `+proj=utm +zone=9 +south`.

    Returns
    -------
    crs : pyproj.CRS
        The one of EPSG where a definition written out is the same.

    Raises
    ------
    ValueError
        With what is wrong with the text, in words that can follow it.

    Examples
    --------
    >>> parse_crs("urn:ogc:def:crs:EPSG::32709").to_string()
    'EPSG:32709'
    >>> parse_crs("+proj=utm +zone=9 +south +nadgrids=@other.gsb")
    Traceback (most recent call last):
    ValueError: has '+nadgrids', which is not read
    """
    text = text.strip("\ufeff\0 \t\r\n")
    if len(text) > CRS_LETTERS:
        raise ValueError(f"is {len(text)} letters long; {CRS_LETTERS} are read")
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # that a text drops what nobody needs
            return _parsed(text)
    except pyproj.exceptions.ProjError:  # CRSError is one
        raise ValueError("is not a known coordinate system") from None


def _parsed(text: str) -> pyproj.CRS:
    """The system of a text in one of the forms that are read."""
    named = _CODE.fullmatch(text) or _URN.fullmatch(text)
    if named:
        return pyproj.CRS.from_authority(named[1].upper(), named[2]).to_2d()
    if _WKT.match(text):
        return _closed(pyproj.CRS.from_wkt(text), extended="EXTENSION" in text.upper())
    if "+init" in text or re.search(r"\+proj=pipeline\b|\+step\b", text):
        raise ValueError("is an operation of several steps, or a name of one, not a system")
    if not text.startswith("+proj="):
        raise ValueError("is not a known coordinate system")
    names = re.findall(r"\+([^\s=]*)", text)
    odd = next((name for name in names if name not in _PARAMETERS), None)
    if odd is not None:
        raise ValueError(f"has '+{odd[:40]}', which is not read")
    if not _PROJ.fullmatch(text):
        raise ValueError("is not a known coordinate system")
    return _closed(pyproj.CRS.from_string(text))


def _closed(crs: pyproj.CRS, *, extended: bool = False) -> pyproj.CRS:
    """The EPSG system that is the same, or the system itself when it rests on numbers alone."""
    flat = crs.to_2d()
    code = flat.to_epsg(min_confidence=SURE)
    if code:
        return pyproj.CRS.from_epsg(code)
    if extended:  # words for PROJ alone, which it may follow in place of all others
        raise ValueError(_OUTSIDE)
    waiting: list[Any] = [flat.to_json_dict()]
    while waiting:
        part = waiting.pop()
        if isinstance(part, list):
            waiting += part
        elif isinstance(part, dict):
            method = part.get("method")
            own = isinstance(method, dict) and str(method.get("name", "")).startswith("PROJ ")
            if own or not isinstance(part.get("value", 0.0), int | float):
                raise ValueError(_OUTSIDE)
            waiting += part.values()
    return flat
