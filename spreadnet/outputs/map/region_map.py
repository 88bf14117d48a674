"""The map of a region as one page: lakes, ranked landings, trips, a list and a print sheet."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import folium
import geopandas as gpd
import numpy as np
import pandas as pd
from branca.element import Figure, MacroElement
from folium.template import Template
from markupsafe import Markup
from numpy.typing import NDArray

from spreadnet.outputs import palette
from spreadnet.outputs.map import key as map_key
from spreadnet.outputs.map.data import (
    PARTS,
    SHOWN_TRIPS,
    figures,
    has_all,
    lake_status,
    landing_order,
    landing_radius,
    listed_trips,
    page_data,
)
from spreadnet.outputs.map.offline import OfflineMap, Page, map_html, page_part
from spreadnet.outputs.map.paper import print_svg, print_table
from spreadnet.outputs.map.shapes import region_outline
from spreadnet.outputs.safe import clean_text, for_script, short_text
from spreadnet.words import counted

__all__ = ["Caption", "map_html", "region_map"]

SCRIPTS = (
    *("map_tables.js", "map_draw.js", "map_hit.js", "map_cards.js", "map_list.js"),
    "map_page.js",
)
LEAST_SIZED = 1e-11  # infestations avoided below which the key shows no sizes
LAKE_COLUMNS = ("name", "area_ha", "new_infestation_chance")
LAKE_SPECIES_COLUMNS = ("status_", "infested_chance_", "new_infestation_chance_")
LANDING_COLUMNS = (
    *("rank", "name", "lake_id", "lake_name", "avoided_per_100_hours", "avoided_low"),
    *("avoided_high", "rank_low", "rank_high", "chance_first_10", "launches", "launches_low"),
    *("launches_high", "visited", "can_staff", "best_when", "leaving_share"),
    *("bridging_boats_per_100_hours", "reasons"),
)
TITLE_LETTERS = 200
TRIP_COLUMNS = ("from_lake_id", "to_lake_id", "trips", "introductions", "distance_km")


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Caption:
    """
    What is written on a map beside its data.

    `title` says the finding, `lead` the sentence after it; `species` maps names to labels;
    `status_through` is the day of the last survey, None if not known; `run` is the short id of the
    run's record; `unit` says what `avoided_per_100_hours` counts.
    """

    region: str
    title: str
    made_on: str
    version: str
    seed: int
    draws: int
    seasons: int
    season: str
    species: Mapping[str, str]
    cautions: tuple[str, ...]
    notes: tuple[str, ...]
    status_through: str | None
    run: str
    lead: str = ""
    unit: str = "new infestations avoided per 100 hours worked"


class _Drawing(MacroElement):
    """The script that draws the data on the map and fills the list beside it."""

    _template = Template(
        """
        {% macro script(this, kwargs) %}
        {{ this.code }}
        spreadnetPage({{ this._parent.get_name() }},
          JSON.parse(document.getElementById("map-data").textContent));
        {% endmacro %}
        """
    )

    def __init__(self, code: str) -> None:
        """Keep the text of the script."""
        super().__init__()
        self._name = "Drawing"
        self.code = code


def region_map(
    lakes: gpd.GeoDataFrame,
    landings: gpd.GeoDataFrame,
    trips: gpd.GeoDataFrame,
    *,
    caption: Caption,
) -> folium.Map:
    """
    Map of a region with the ranked landings beside it.

    A list of ranks alone does not show why: the map puts the landings among the lakes that boats
    come from and go to, and says for each landing what its rank rests on.

    Parameters
    ----------
    lakes : geopandas.GeoDataFrame
        Index lake_id; `name`, `area_ha`, `new_infestation_chance`, and for each species
        `status_<s>` (infested / looked for, not found / not surveyed), `infested_chance_<s>`,
        `new_infestation_chance_<s>`; polygons or points.
    landings : geopandas.GeoDataFrame
        Index landing_id; `rank`, `rank_low`, `rank_high`, `name`, `lake_id`, `lake_name`,
        `avoided_per_100_hours`, `avoided_low`, `avoided_high`, `chance_first_10`, `launches`,
        `launches_low`, `launches_high`, `visited`, `can_staff`, `best_when`, `leaving_share`,
        `reasons` (sentences joined by "; "); points.
    trips : geopandas.GeoDataFrame
        `from_lake_id`, `to_lake_id`, `trips`, `introductions`, `distance_km`; lines or nothing.
    caption : Caption
        What is written on the map.

    Returns
    -------
    region : folium.Map
        Saving it, or `map_html`, gives one page that needs no network. Layers that need only
        Leaflet can be added.

    Raises
    ------
    ValueError
        If a column is missing, an id is unknown or twice, the tables are not in one projected CRS,
        a status is not a known word, or a shape has no place on the map.

    Notes
    -----
    Only the largest 60 flows between lakes are drawn at once, and those of a chosen lake. Shapes
    are simplified by 2% of the square root of their area, at most 25 m, for drawing alone.
    """
    lakes, landings, trips = _checked(lakes, landings, trips, caption)
    landings, listed = landing_order(landings), listed_trips(trips)
    drawn = listed.head(SHOWN_TRIPS)
    status = lake_status(lakes, list(caption.species))
    steps = map_key.round_steps(
        lakes["new_infestation_chance"], count=4, smallest=1 / PARTS, largest=0.5
    )
    trip_steps = map_key.round_steps(drawn["trips"], count=3, smallest=0.01, largest=1e8)
    land = region_outline(pd.concat([lakes.geometry, landings.geometry]))
    data = page_data(lakes, landings, listed, species=caption.species, land=land)
    data |= {
        "steps": steps,
        "trip_steps": trip_steps,
        "style": _style(),
        "seasons": caption.seasons,
        "unit": caption.unit,
        "words": _status_words(caption),
    }
    region = _empty_map(data["bounds"])
    region.add_child(_Drawing("\n".join(page_part(name) for name in SCRIPTS)))
    sheet = print_svg(
        lakes,
        landings,
        drawn,
        classes=_classes(lakes["new_infestation_chance"], status, steps),
        status=status[:, 0],
        trip_classes=np.searchsorted(trip_steps, drawn["trips"].to_numpy(float), side="right"),
        label=f"Map of {short_text(caption.region)}: "
        + short_text(caption.title, letters=TITLE_LETTERS),
        land=land,
    )
    values = _page_values(
        lakes, landings, trips, caption=caption, steps=steps, trip_steps=trip_steps
    )
    style = f":root {{ {palette.declarations()} }}\n{page_part('map_page.css')}"
    values |= {"data": Markup(for_script(data)), "print_map": sheet, "style": Markup(style)}
    region.get_root()._template = Page("map/web/map_page.html", values)  # type: ignore[assignment]
    return region


def _empty_map(bounds: object) -> OfflineMap:
    """Map without layers; the page's script fits it to the region."""
    south, west, north, east = np.asarray(bounds, dtype=float)
    region = OfflineMap(
        location=[(south + north) / 2, (west + east) / 2],
        tiles=None,
        zoom_start=8,
        zoom_snap=0.25,
        zoom_delta=1,
        max_zoom=18,
        prefer_canvas=True,
        attribution_control=False,
    )
    figure = region.get_root()
    assert isinstance(figure, Figure)
    figure.header._children.clear()  # the page's own head says these things
    return region


def _style() -> dict[str, object]:
    """Colours and widths for the page's script."""
    return {
        "chance": [*palette.CHANCE, palette.ALL_THERE, palette.NO_FIGURE],
        "ink": palette.INK,
        "soft": palette.SOFT,
        "land": palette.LAND,
        "paper": palette.PAPER,
        "landing": palette.LANDING,
        "off": palette.LANDING_OFF,
        "trip": palette.TRIP,
        "graticule": palette.GRATICULE,
        "halo": palette.HALO,
        "chosen": palette.CHOSEN,
        "widths": list(map_key.TRIP_WIDTHS),
    }


def _classes(
    chance: pd.Series, status: NDArray[np.int64], steps: Sequence[float]
) -> NDArray[np.int64]:
    """Class of each lake's chance: 0 to 4, 5 every species there, 6 no figure."""
    values = figures(chance)
    parts = np.rint(values * PARTS)
    found = np.searchsorted(np.rint(np.asarray(steps) * PARTS), parts, side="right")
    return np.where(has_all(status), 5, np.where(np.isfinite(values), found, 6))


def _page_values(
    lakes: gpd.GeoDataFrame,
    landings: gpd.GeoDataFrame,
    trips: gpd.GeoDataFrame,
    *,
    caption: Caption,
    steps: list[float],
    trip_steps: list[float],
) -> dict[str, object]:
    """What the page's template names, all but data and drawings."""
    drawn = listed_trips(trips).head(SHOWN_TRIPS)
    ranked = bool(landings["rank"].notna().any())
    text = _key_text(lakes, len(drawn), len(trips), caption)
    sizes = _sizes(landings) if ranked else []
    lines = trip_steps if len(drawn) else []

    def key(prefix: str, switches: bool) -> Markup:
        more = "; a chosen place shows its lake's own" if switches else ""
        return map_key.key_html(
            steps=steps,
            trip_steps=lines,
            sizes=sizes if switches else [],
            text=text
            | {"prefix": prefix, "trips": text["trips"].format(more)}
            | map_key.landing_words(caption.unit, ranked=ranked, sized=switches and bool(sizes)),
            switches=switches,
        )

    return {
        "title": short_text(caption.title, letters=TITLE_LETTERS),
        "lead": short_text(caption.lead, letters=TITLE_LETTERS),
        "region": short_text(caption.region),
        "facts": _facts(caption),
        "cautions": caption.cautions,
        "notes": (*caption.notes, *_own_notes()),
        "key": key("screen", True),
        "print_key": key("paper", False),
        "table": print_table(landings, ranked=ranked, unit=caption.unit),
        "species": [short_text(label) for label in caption.species.values()],
        "counts": f"{len(lakes):,} lakes and {len(landings):,} landings",
    }


def _key_text(lakes: gpd.GeoDataFrame, drawn: int, trips: int, caption: Caption) -> dict[str, str]:
    """Words of the key that depend on the data."""
    infested, _, not_surveyed, all_there = _status_words(caption)
    everywhere = has_all(lake_status(lakes, list(caption.species)))
    chance = figures(lakes["new_infestation_chance"])
    points = lakes.geometry.geom_type.isin(["Point", "MultiPoint"]).any()
    some = f"The {drawn} largest of {trips:,} flows" if drawn < trips else f"All {drawn:,} flows"
    return {
        "seasons": counted(caption.seasons, "season"),
        "infested": infested,
        "not_surveyed": not_surveyed,
        "all_there": all_there,
        "no_figure": "No figure" if (~np.isfinite(chance) & ~everywhere).any() else "",
        "points": "Lake known only as a point" if points else "",
        "trips": f"{some}{{}}. Lines are not routes."
        if drawn
        else "No trips between lakes in this run.",
    }


def _status_words(caption: Caption) -> list[str]:
    """Words for a lake over all species: the three of `STATUSES`, and infested by every one."""
    if len(caption.species) == 1:
        return ["Infested", "Looked for, not found", "Not surveyed", "Already there"]
    first = ["Infested by one species or more", "Looked for, not found"]
    return [*first, "Some species not surveyed", "Every species already there"]


def _sizes(landings: gpd.GeoDataFrame) -> list[tuple[float, float]]:
    """Three landings for the key: round values with the radius they are drawn with."""
    avoided = figures(landings["avoided_per_100_hours"])
    most = np.nanmax(np.where(np.isfinite(avoided), avoided, 0.0), initial=0.0)
    if most < LEAST_SIZED:  # too little for round values that mean anything
        return []
    top = max(
        float(f"{d}e{p}") for p in range(-12, 9) for d in (1, 2, 5) if float(f"{d}e{p}") <= most
    )
    values = np.array([top / 10, top / 2 if top / 2 > top / 10 else top, top, most])
    radius = landing_radius(values)
    return [(float(v), float(r)) for v, r in zip(values[:3], radius[:3], strict=True)]


def _facts(caption: Caption) -> list[str]:
    """Line of dates and run under the title."""
    facts = [
        caption.season,
        f"Status through {caption.status_through}" if caption.status_through else "",
        f"Made on {caption.made_on}",
        f"{caption.draws:,} repeats, seed {caption.seed}",
        f"Run {caption.run}",
        f"spreadnet {caption.version}",
    ]
    return [fact for fact in facts if clean_text(fact)]


def _own_notes() -> tuple[str, ...]:
    """What the map itself does to the data."""
    return (
        "Lake outlines are simplified for drawing: a landing may sit a few metres off the shore.",
        "North is up. The land behind the lakes is drawn from the lakes alone.",
        "The map is drawn with Leaflet (BSD licence); it asks for nothing from the network.",
    )


def _checked(
    lakes: gpd.GeoDataFrame, landings: gpd.GeoDataFrame, trips: gpd.GeoDataFrame, caption: Caption
) -> tuple[gpd.GeoDataFrame, gpd.GeoDataFrame, gpd.GeoDataFrame]:
    """Return the three tables in one CRS once their columns and ids hold together."""
    if not caption.species:
        raise ValueError("Invalid caption species '{}'. At least one must be named. None is.")
    wanted = [prefix + name for name in caption.species for prefix in LAKE_SPECIES_COLUMNS]
    _need(lakes, "lakes", (*LAKE_COLUMNS, *wanted))
    _need(landings, "landings", LANDING_COLUMNS)
    _need(trips, "trips", TRIP_COLUMNS)
    for table, what in ((lakes, "lakes"), (landings, "landings")):
        if not table.index.is_unique:
            twice = table.index[table.index.duplicated()][0]
            raise ValueError(
                f"Invalid {what} '{twice}'. Each id may be there once. It is repeated."
            )
    if lakes.crs is None or not lakes.crs.is_projected:
        message = f"Invalid lakes CRS '{lakes.crs}'. It must be a projected one in metres."
        raise ValueError(message)
    for ids, what in (
        (landings["lake_id"], "landings"),
        (trips["from_lake_id"], "trips"),
        (trips["to_lake_id"], "trips"),
    ):
        unknown = ids[~ids.isin(lakes.index)]
        if len(unknown):
            message = (
                f"Invalid {ids.name} '{unknown.iloc[0]}' in {what}. It must be the id of a lake. "
                f"{len(unknown)} of {len(ids)} are not."
            )
            raise ValueError(message)
    if not (lakes.geometry.notna() & ~lakes.geometry.is_empty).any():
        raise ValueError("Invalid lakes geometry. At least one lake must have a place.")
    return lakes, _same_crs(landings, lakes, "landings"), _same_crs(trips, lakes, "trips")


def _need(table: gpd.GeoDataFrame, what: str, columns: Sequence[str]) -> None:
    """Refuse a table that lacks columns, naming all of them."""
    missing = [name for name in (*columns, "geometry") if name not in table.columns]
    if missing:
        message = f"Invalid {what}. Every column must be there. Missing: {', '.join(missing)}."
        raise ValueError(message)


def _same_crs(table: gpd.GeoDataFrame, lakes: gpd.GeoDataFrame, what: str) -> gpd.GeoDataFrame:
    """Return the table in the CRS of the lakes; an empty one may come without."""
    if table.crs is None:
        if len(table):
            raise ValueError(f"Invalid {what} CRS 'None'. It must be stated.")
        return table.set_crs(lakes.crs)
    return table if table.crs == lakes.crs else table.to_crs(lakes.crs)
