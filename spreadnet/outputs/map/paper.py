"""The map as a still drawing for paper: a live map loses what lies near the edge of the sheet."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from markupsafe import Markup
from numpy.typing import NDArray

from spreadnet.outputs.map.data import landing_text, place
from spreadnet.outputs.map.key import NUMBERED, TRIP_WIDTHS, landing_symbol
from spreadnet.outputs.palette import (
    ALL_THERE,
    CHANCE,
    GROUND,
    INK,
    LAND,
    LANDING,
    NO_FIGURE,
    PAPER,
    TRIP,
)
from spreadnet.outputs.render import Table
from spreadnet.outputs.safe import for_html, short_text
from spreadnet.words import counted

WIDTH = 1000.0  # units of the drawing; about 5 to the millimetre on a portrait sheet
NUMBER_RADIUS, DOT_RADIUS, FINE_RADIUS = 11.0, 4.5, 1.6  # units
PRINTED_LETTERS = 60  # of a name: longer ones would take the sheet from the map
MANY = 400  # lakes or landings; from here on they are drawn finer, without hatching
MILE_M = 1609.344  # international mile
DETAIL = 0.6  # units: finer corners can't be seen on paper


def print_svg(
    lakes: gpd.GeoDataFrame,
    landings: gpd.GeoDataFrame,
    trips: gpd.GeoDataFrame,
    *,
    classes: NDArray[np.int64],
    status: NDArray[np.int64],
    trip_classes: NDArray[np.int64],
    label: str,
    land: shapely.Polygon,
) -> Markup:
    """
    Drawing of the region with the first landings numbered and a true scale bar.

    Parameters
    ----------
    lakes, landings, trips : geopandas.GeoDataFrame
        As `region_map` takes them, in the projected CRS; landings in rank order, trips those drawn.
    classes, status : array of int, (L,)
        Class of chance (0 to 4, 5 all species there, 6 no figure) and status of each lake.
    trip_classes : array of int, (F,)
        Width class of each trip.
    label : str
        What the drawing shows, for those who hear it.
    land : shapely.Polygon
        As `region_outline` gives it.

    Returns
    -------
    svg : Markup
        One element; nothing outside it is needed.
    """
    frame = _Frame(land.bounds)
    body = (
        f'<rect width="{WIDTH:g}" height="{frame.height:.0f}" fill="{GROUND}"/>'
        f'<path d="{frame.rings(np.array([land]))}" fill="{LAND}" stroke="{LAND}" '
        'stroke-width="22" stroke-opacity="0.45" stroke-linejoin="round"/>'
        + _lakes(lakes, frame, classes, status)
        + _trips(trips, lakes, frame, trip_classes)
        + _landings(landings, frame)
        + _scale_bar(frame)
    )
    return Markup(
        f'<svg class="sheet" viewBox="0 0 {WIDTH:g} {frame.height:.0f}" role="img" '
        f'aria-label="{for_html(label)}" preserveAspectRatio="xMidYMid meet">'
        f"{_patterns()}{body}</svg>"
    )


def _patterns() -> str:
    """Hatching (dark, light) and dots as patterns of the drawing."""
    lined = "".join(
        f'<pattern id="paper-{name}" width="7" height="7" patternUnits="userSpaceOnUse" '
        f'patternTransform="rotate(45)"><path d="M0 0V7" stroke="{colour}" stroke-width="2.4"/>'
        "</pattern>"
        for name, colour in (("hatch", INK), ("hatch-light", PAPER))
    )
    return (
        f'<defs>{lined}<pattern id="paper-dots" width="8" height="8" '
        f'patternUnits="userSpaceOnUse"><circle cx="3" cy="3" r="1.2" fill="{INK}"/>'
        "</pattern></defs>"
    )


class _Frame:
    """From metres to units of the drawing."""

    def __init__(self, bounds: tuple[float, float, float, float]) -> None:
        """Fit the bounds with a small margin; the shape of the sheet stays usable."""
        west, south, east, north = bounds
        span = max(east - west, (north - south) / 1.25, 1.0)
        self.per_m = WIDTH / (1.04 * span)
        self.height = max(min(self.per_m * (north - south) * 1.04, 1300.0), 450.0)
        self.middle = np.array([(west + east) / 2, (south + north) / 2])

    def at(self, points: NDArray[np.float64]) -> NDArray[np.float64]:
        """Points (N, 2) in units, downwards from the top."""
        scale = np.array([self.per_m, -self.per_m])
        return (points - self.middle) * scale + np.array([WIDTH / 2, self.height / 2])

    def rings(self, shapes: NDArray[np.object_]) -> str:
        """Path of all rings of the polygons, with the detail that paper shows."""
        thin = shapely.simplify(shapes, DETAIL / self.per_m, preserve_topology=True)
        rings = shapely.get_rings(shapely.get_parts(thin))
        points, ring = shapely.get_coordinates(rings, return_index=True)
        whole = np.rint(self.at(points) * 10).astype(np.int64)
        paths = []
        for corners in np.split(whole, np.flatnonzero(np.diff(ring)) + 1):
            if len(corners) < 4 or np.ptp(corners, axis=0).max() < 4:
                continue
            steps = np.diff(corners[:-1], axis=0)
            first = f"M{corners[0, 0] / 10:g} {corners[0, 1] / 10:g}l"
            paths.append(first + " ".join(f"{x / 10:g} {y / 10:g}" for x, y in steps) + "z")
        return "".join(paths)


def _lakes(
    lakes: gpd.GeoDataFrame, frame: _Frame, classes: NDArray[np.int64], status: NDArray[np.int64]
) -> str:
    """All lakes, one path for each class and status."""
    shapes = lakes.geometry.to_numpy()
    known = ~np.asarray(lakes.geometry.is_empty | lakes.geometry.isna())
    polygon = known & np.isin(shapely.get_type_id(shapes), [3, 6])
    fills = (*CHANCE, ALL_THERE, NO_FIGURE)
    drawn, many = [], len(lakes) > MANY
    for kind in range(len(fills)):
        for state in range(3):
            chosen = (classes == kind) & (status == state)
            path = frame.rings(shapes[chosen & polygon])
            path += _diamonds(lakes[chosen & known & ~polygon], frame)
            if not path:
                continue
            drawn.append(f'<path d="{path}" fill="{fills[kind]}" fill-rule="evenodd"/>')
            dash = ' stroke-dasharray="4 3"' if state == 2 and not many else ""
            over = {0: "hatch-light" if kind in (3, 4) else "hatch", 2: "dots"}.get(state)
            fill = f"url(#paper-{over})" if over and not many else "none"
            width = (2.4 if state == 0 else 1.1) * (0.3 if many else 1.0)
            drawn.append(
                f'<path d="{path}" fill="{fill}" fill-rule="evenodd" stroke="{INK}" '
                f'stroke-width="{width:.2g}"{dash}/>'
            )
    return "".join(drawn)


def _diamonds(lakes: gpd.GeoDataFrame, frame: _Frame) -> str:
    """Lakes known only as a point."""
    if not len(lakes):
        return ""
    points = frame.at(shapely.get_coordinates(place(lakes.geometry).to_numpy()))
    return "".join(f"M{x:.1f} {y - 7:.1f}l7 7-7 7-7-7z" for x, y in points)


def _trips(
    trips: gpd.GeoDataFrame, lakes: gpd.GeoDataFrame, frame: _Frame, classes: NDArray[np.int64]
) -> str:
    """Trips as bent lines, the direction of travel bending to the left."""
    points = place(lakes.geometry)
    lines = []
    for (_, trip), step in zip(trips.iterrows(), classes, strict=True):
        ends = points.loc[[trip["from_lake_id"], trip["to_lake_id"]]]
        if ends.isna().any() or ends.is_empty.any():
            continue
        (ax, ay), (bx, by) = frame.at(shapely.get_coordinates(ends.to_numpy()))
        mx, my = (ax + bx) / 2 + 0.14 * (by - ay), (ay + by) / 2 - 0.14 * (bx - ax)
        bent = np.array([[ax, ay], [mx, my], [bx, by]])
        lines.append(
            f'<path d="M{ax:.0f} {ay:.0f}Q{mx:.0f} {my:.0f} {bx:.0f} {by:.0f}" fill="none" '
            f'stroke-opacity="0.4" stroke-width="{TRIP_WIDTHS[step]}"/>'
            + _arrow(bent, 5.0 + TRIP_WIDTHS[step])
        )
    return f'<g fill="{TRIP}" stroke="{TRIP}">{"".join(lines)}</g>'


def _arrow(bent: NDArray[np.float64], size: float) -> str:
    """Arrowhead on a bent line (start, bend, end), past its middle as on the screen."""
    u, v = 0.6, 0.4
    x, y = np.array([v * v, 2 * u * v, u * u]) @ bent
    across, down = np.array([-v, v - u, u]) @ bent
    turn = np.arctan2(down, across) + np.array([0.0, 2.5, -2.5])
    tips = zip(x + size * np.cos(turn), y + size * np.sin(turn), strict=True)
    return f'<path d="M{"L".join(f"{a:.1f} {b:.1f}" for a, b in tips)}z" stroke="none"/>'


def _landings(landings: gpd.GeoDataFrame, frame: _Frame) -> str:
    """All landings as dots, the first ones on top with their numbers, moved apart where crowded."""
    ranked = landings["rank"].notna()
    ranked &= ranked.cumsum() <= NUMBERED
    placed = ~(landings.geometry.is_empty | landings.geometry.isna())
    known, numbered = landings[placed], np.asarray(ranked[placed], dtype=bool)
    points = frame.at(shapely.get_coordinates(known.geometry.to_numpy()))
    radius = FINE_RADIUS if len(known) > MANY else DOT_RADIUS
    kinds = np.where(
        known["can_staff"].eq(False), "off", np.where(known["visited"].eq(False), "open", "full")
    )
    dots = [
        landing_symbol(x, y, radius, str(kind))
        for (x, y), kind, number in zip(points, kinds, numbered, strict=True)
        if not number
    ]
    spots = _apart(points[numbered], NUMBER_RADIUS)
    rows = zip(points[numbered], spots, kinds[numbered], known["rank"][numbered], strict=True)
    marks = [_numbered(*row) for row in rows]
    return "".join(dots) + "".join(reversed(marks))


def _numbered(point: NDArray[np.float64], spot: NDArray[np.float64], kind: str, rank: int) -> str:
    """One landing with its rank, joined to its place if it had to move."""
    (x, y), (u, v) = point, spot
    line = ""
    if (x, y) != (u, v):
        line = (
            f'<path d="M{x:.1f} {y:.1f}L{u:.1f} {v:.1f}" stroke="{LANDING}" stroke-width="1.5"/>'
            f'<circle cx="{x:.1f}" cy="{y:.1f}" r="2.5" fill="{LANDING}"/>'
        )
    colour = PAPER if kind == "full" else INK
    return (
        f"{line}{landing_symbol(u, v, NUMBER_RADIUS, kind, numbered=True)}"
        f'<text x="{u:.1f}" y="{v + 4.6:.1f}" font-size="13" font-weight="700" fill="{colour}" '
        f'text-anchor="middle">{int(rank)}</text>'
    )


def _apart(points: NDArray[np.float64], size: float) -> NDArray[np.float64]:
    """Nearby free spots for the circles, tried outwards in eight directions, first ones first."""
    turns = np.arange(8) * np.pi / 4
    around = np.column_stack([np.cos(turns), np.sin(turns)])
    tries = np.concatenate([np.zeros((1, 2)), *(around * far for far in (24.0, 36.0, 50.0, 66.0))])
    spots = np.empty_like(points)
    for row, point in enumerate(points):
        choices = point + tries
        gaps = np.hypot(*(choices[:, None, :] - spots[None, :row, :]).transpose(2, 0, 1))
        free = (gaps > 2.0 * size + 1.0).all(axis=1)
        spots[row] = choices[np.argmax(free)] if free.any() else point
    return spots


def _scale_bar(frame: _Frame) -> str:
    """Kilometres and miles of the projected CRS, and which way is north."""
    top = frame.height - 44
    bars = []
    for unit, metres, y in (("km", 1000.0, top), ("mi", MILE_M, top + 22)):
        most = 0.25 * WIDTH / frame.per_m / metres
        row = [digit * 10.0**power for power in range(-3, 5) for digit in (1, 2, 5)]
        length = max((v for v in row if v <= most), default=row[0])
        right = 16 + length * metres * frame.per_m
        bars.append(
            f'<path d="M16 {y - 5:.0f}v5H{right:.1f}v-5" fill="none" stroke="{INK}" '
            f'stroke-width="2"/><text x="{right + 8:.1f}" y="{y + 3:.0f}" font-size="14" '
            f'fill="{INK}">{length:g} {unit}</text>'
        )
    north = (
        f'<path d="M{WIDTH - 24:g} 14l8 24-8-6-8 6z" fill="{INK}"/>'
        f'<text x="{WIDTH - 24:g}" y="54" font-size="14" text-anchor="middle" fill="{INK}">N</text>'
    )
    return "".join(bars) + north


def print_table(landings: pd.DataFrame, *, ranked: bool, unit: str) -> Table:
    """
    The first ten landings as a table for paper.

    Parameters
    ----------
    landings : pandas.DataFrame
        In rank order.
    ranked : bool
        Whether there is a ranking; without one, the busiest are shown.
    unit : str
        What `avoided_per_100_hours` counts.

    Returns
    -------
    table : Table
        With a caption.
    """
    first = landings[landings["rank"].notna()].head(NUMBERED) if ranked else landings.head(NUMBERED)
    text = pd.DataFrame(landing_text(first))
    heads = ("Rank", "Landing", "Lake", "Avoided per 100 hours", "Boats a season", "Best time")
    rows = [
        (
            _with_range(row["rank"] or "–", row["ranks"]),
            short_text(row["name"], letters=PRINTED_LETTERS),
            short_text(row["lake"], letters=PRINTED_LETTERS),
            _with_range(row["avoided"], row["avoided_range"]),
            _with_range(row["boats"], row["boats_range"]),
            row["when"],
        )
        for row in text.to_dict("records")
    ]
    return Table(_caption(len(rows), ranked, unit), heads, rows)


def _caption(count: int, ranked: bool, unit: str) -> str:
    """What the table holds."""
    what = f"first by {unit}" if ranked else "busiest; this run has no ranking"
    return f"{counted(count, 'landing')}, {what} (90% intervals in brackets)"


def _with_range(value: str, span: str) -> str:
    """Figure with its range in brackets."""
    return f"{value} ({span})" if span else value
