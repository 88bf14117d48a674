"""The three tables as the compact data that the map page draws from."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from spreadnet.outputs.map.key import STATUSES
from spreadnet.outputs.map.shapes import (
    crosses_180,
    degrees,
    packed_points,
    packed_polygons,
    simplified,
    whole_degrees,
)
from spreadnet.outputs.safe import clean_text, short_text
from spreadnet.words import count_text, odds_text, percent_text, rough_text

LISTED_TRIPS = 400  # flows in the page; enough to show where one lake's boats go
SHOWN_TRIPS = 60  # lines drawn at once; more hide the lakes
REASON_LETTERS = 500  # of one sentence; more only where names in it are far too long
PARTS = 10_000  # chances travel as whole parts of this
SMALLEST_RADIUS, LARGEST_RADIUS = 2.0, 11.5  # pixels: avoids nothing, avoids most


def lake_status(lakes: pd.DataFrame, species: Sequence[str]) -> NDArray[np.int64]:
    """
    Status of each lake over all species as a number in `STATUSES`.

    Infested if any species is; looked for and not found only if that holds for every species: a
    lake must never look searched when it was not.

    Parameters
    ----------
    lakes : pandas.DataFrame
        With a column `status_<s>` for each species.
    species : sequence of str
        Species in scope.

    Returns
    -------
    status : array of int, (L, S + 1)
        First over all species, then species by species.

    Raises
    ------
    ValueError
        If a status is not one of the three.
    """
    codes = {word: code for code, word in enumerate(STATUSES)}
    columns = []
    for name in species:
        words = lakes[f"status_{name}"].fillna("not surveyed").astype(str)
        unknown = words[~words.isin(codes)]
        if len(unknown):
            message = (
                f"Invalid status_{name} '{clean_text(unknown.iloc[0])}' of lake "
                f"'{clean_text(unknown.index[0])}'. It must be one of {', '.join(STATUSES)}."
            )
            raise ValueError(message)
        columns.append(words.map(codes).to_numpy(dtype=np.int64))
    each = np.column_stack(columns)
    every = np.where((each == 0).any(axis=1), 0, each.max(axis=1))
    return np.column_stack([every, each])


def has_all(status: NDArray[np.int64]) -> NDArray[np.bool_]:
    """Which lakes hold every species already, (L,), from `lake_status`."""
    return np.asarray((status[:, 1:] == 0).all(axis=1))


def place(shapes: gpd.GeoSeries) -> gpd.GeoSeries:
    """A point on each shape (never off the water, unlike a centroid)."""
    found = shapely.point_on_surface(shapes.to_numpy())
    return gpd.GeoSeries(found, index=shapes.index, crs=shapes.crs)


def figures(values: pd.Series) -> NDArray[np.float64]:
    """Numbers of a column, whatever its type; NaN where there is none."""
    return np.asarray(values.astype("Float64").to_numpy(dtype=float, na_value=np.nan)).astype(float)


def landing_radius(avoided: NDArray[np.float64]) -> NDArray[np.float64]:
    """Radius of each landing in pixels: its area grows with what it avoids, from a dot."""
    known = np.where(np.isfinite(avoided), np.maximum(avoided, 0.0), 0.0)
    most = known.max(initial=0.0)
    share = known / most if most > 0 else 0.0 * known
    area = SMALLEST_RADIUS**2 + (LARGEST_RADIUS**2 - SMALLEST_RADIUS**2) * share
    radius: NDArray[np.float64] = np.sqrt(area)
    return radius


def landing_order(landings: pd.DataFrame) -> pd.DataFrame:
    """Landings by rank, those without one last, busiest first."""
    return landings.sort_values(
        ["rank", "launches", "name"],
        ascending=[True, False, True],
        na_position="last",
        kind="stable",
    )


def about_equal(landings: pd.DataFrame) -> list[int]:
    """
    Group of each landing, in rank order: those of one group can't be told apart.

    A landing joins the group before it when its own rank range and that of the group's first
    landing each reach the other's rank.

    Parameters
    ----------
    landings : pandas.DataFrame
        In rank order, with `rank`, `rank_low`, `rank_high`.

    Returns
    -------
    groups : list of int
        From 0; -1 without a rank.

    Examples
    --------
    >>> ranks = pd.DataFrame({"rank": [1, 2, 3], "rank_low": [1, 1, 3], "rank_high": [2, 3, 3]})
    >>> about_equal(ranks)
    [0, 0, 1]
    """
    groups: list[int] = []
    first_rank, first_high = -1.0, -1.0
    table = (
        landings[["rank", "rank_low", "rank_high"]]
        .astype("Float64")
        .to_numpy(float, na_value=np.nan)
    )
    for rank, low, high in table:
        if not np.isfinite(rank):
            groups.append(-1)
            continue
        if not (groups and low <= first_rank and first_high >= rank):
            first_rank, first_high = rank, high
            groups.append(max(groups, default=-1) + 1)
        else:
            groups.append(groups[-1])
    return groups


def landing_text(landings: pd.DataFrame) -> dict[str, list[str]]:
    """
    What is said of each landing, ready to show.

    Parameters
    ----------
    landings : pandas.DataFrame
        As `region_map` takes it.

    Returns
    -------
    text : dict
        Lists in the order of the table: name, lake, rank, ranks, first_10, avoided,
        avoided_range, boats, boats_range, when, leaving, bridging.
    """

    def numbers(column: str) -> NDArray[np.float64]:
        return figures(landings[column])

    def spans(low: str, high: str, words: object) -> list[str]:
        pairs = zip(numbers(low), numbers(high), strict=True)
        return [
            _unbroken(f"{words(a)} to {words(b)}") if np.isfinite(a + b) else ""  # type: ignore[operator]
            for a, b in pairs
        ]

    def each(column: str, words: object) -> list[str]:
        return [words(v) if np.isfinite(v) else "" for v in numbers(column)]  # type: ignore[operator]

    return {
        "name": [short_text(v) for v in landings["name"]],
        "lake": [short_text(v) for v in landings["lake_name"]],
        "rank": each("rank", count_text),
        "ranks": spans("rank_low", "rank_high", count_text),
        "first_10": each("chance_first_10", percent_text),
        "avoided": each("avoided_per_100_hours", odds_text),
        "avoided_range": spans("avoided_low", "avoided_high", odds_text),
        "boats": each("launches", count_text),
        "boats_range": spans("launches_low", "launches_high", count_text),
        "when": [short_text(v) for v in landings["best_when"]],
        "leaving": each("leaving_share", percent_text),
        "bridging": each("bridging_boats_per_100_hours", rough_text),
    }


def _unbroken(text: str) -> str:
    """Text whose chances are not parted at the end of a line."""
    return text.replace("1 in ", "1\u00a0in\u00a0")


def listed_trips(trips: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """The trips that go with the page: the largest flows between two lakes, in falling order."""
    amount = figures(trips["trips"])
    apart = trips["from_lake_id"].to_numpy(dtype=object) != trips["to_lake_id"].to_numpy(
        dtype=object
    )
    kept = trips[np.isfinite(amount) & (amount > 0) & apart]
    return kept.sort_values("trips", ascending=False, kind="stable").head(LISTED_TRIPS)


def page_data(
    lakes: gpd.GeoDataFrame,
    landings: gpd.GeoDataFrame,
    trips: gpd.GeoDataFrame,
    *,
    species: Mapping[str, str],
    land: shapely.Polygon,
) -> dict[str, object]:
    """
    All that the page draws, as lists and packed text.

    Parameters
    ----------
    lakes, landings, trips : geopandas.GeoDataFrame
        As `region_map` takes them; landings in the order of the list, trips those drawn.
    species : mapping of str to str
        Name to label.
    land : shapely.Polygon
        As `region_outline` gives it.

    Returns
    -------
    data : dict
        Ready for `for_script`; no number in it is not finite.
    """
    everything = pd.concat([lakes.geometry, landings.geometry])
    turned = crosses_180(gpd.GeoSeries(everything, crs=lakes.crs))
    outline = degrees(gpd.GeoSeries([land], crs=lakes.crs), turned=turned)
    west, south, east, north = outline.total_bounds
    return {
        "bounds": [round(float(v), 5) for v in (south, west, north, east)],
        "species": [short_text(label) for label in species.values()],
        "land": packed_points(shapely.get_coordinates(outline.to_numpy())[:-1]),
        "lakes": _lake_data(lakes, list(species), turned=turned),
        "landings": _landing_data(landings, lakes.index, turned=turned),
        "trips": _trip_data(trips, lakes.index, turned=turned),
    }


def _parts(values: pd.Series) -> list[int | None]:
    """Chances as whole parts of `PARTS`; None where there is no figure."""
    numbers = figures(values)
    return [round(v * PARTS) if np.isfinite(v) else None for v in numbers]


def _positions(shapes: gpd.GeoSeries) -> dict[str, object]:
    """Packed points of those that have a place, and the rows that have none."""
    missing = np.asarray(shapes.is_empty | shapes.isna())
    points = np.zeros((len(shapes), 2))
    points[~missing] = shapely.get_coordinates(shapes[~missing].to_numpy())
    return {"at": packed_points(points), "nowhere": [int(row) for row in np.flatnonzero(missing)]}


def _lake_data(lakes: gpd.GeoDataFrame, species: list[str], *, turned: bool) -> dict[str, object]:
    """Columns of the lakes."""
    shapes = degrees(simplified(lakes.geometry), turned=turned)
    status = lake_status(lakes, species)
    areas = figures(lakes["area_ha"])
    chances = ["new_infestation_chance", *(f"new_infestation_chance_{name}" for name in species)]
    return {
        "name": [short_text(name) for name in lakes["name"]],
        "area": [float(f"{v:.3g}") if np.isfinite(v) else None for v in areas],
        "status": ["".join(map(str, column)) for column in status.T],
        "new": [_parts(lakes[column]) for column in chances],
        "now": [_parts(lakes[f"infested_chance_{name}"]) for name in species],
        "shape": packed_polygons(shapes),
        **_positions(place(shapes)),
    }


def _landing_data(
    landings: gpd.GeoDataFrame, lake_ids: pd.Index, *, turned: bool
) -> dict[str, object]:
    """Columns of the landings."""
    points = degrees(landings.geometry, turned=turned)
    avoided = figures(landings["avoided_per_100_hours"])
    reasons = [
        [short_text(part, letters=REASON_LETTERS) for part in clean_text(text).split(";")]
        for text in landings["reasons"]
    ]
    return {
        **landing_text(landings),
        "radius": [round(float(r), 1) for r in landing_radius(avoided)],
        "group": about_equal(landings),
        "of": [int(row) for row in lake_ids.get_indexer(landings["lake_id"])],
        "visited": "".join("1" if v is True or v == 1 else "0" for v in landings["visited"]),
        "staffed": "".join("0" if v is False or v == 0 else "1" for v in landings["can_staff"]),
        "why": [[part for part in parts if part] for parts in reasons],
        **_positions(points),
    }


def _trip_data(trips: gpd.GeoDataFrame, lake_ids: pd.Index, *, turned: bool) -> dict[str, object]:
    """Columns of the trips drawn; a straight line is drawn from lake to lake instead."""
    lines = degrees(trips.geometry, turned=turned) if len(trips) else trips.geometry
    paths = []
    for line in lines:
        bent = line is not None and line.geom_type == "LineString" and len(line.coords) > 2
        points = np.asarray(line.coords)[:, :2] if bent else np.zeros((0, 2))
        paths.append(whole_degrees(points).ravel().tolist())

    def numbers(column: str) -> NDArray[np.float64]:
        return figures(trips[column])

    return {
        "from": [int(row) for row in lake_ids.get_indexer(trips["from_lake_id"])],
        "to": [int(row) for row in lake_ids.get_indexer(trips["to_lake_id"])],
        "boats": [float(f"{v:.6g}") for v in numbers("trips")],
        "arrivals": [odds_text(v) for v in numbers("introductions")],
        "km": [count_text(v) for v in numbers("distance_km")],
        "shown": SHOWN_TRIPS,
        "path": paths,
    }
