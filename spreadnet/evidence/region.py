"""
The frozen object that a region folder becomes once every table has been read and checked.

Here its rows are put in order, whoever makes or changes it: sums, ties and random numbers go by
place in a table, so only tables in one order give the same bytes for the same rows.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from typing import TYPE_CHECKING, Any

from spreadnet.evidence.columns import columns
from spreadnet.words import CAUTIONS, card, short_repr

if TYPE_CHECKING:
    import geopandas as gpd
    import pandas as pd

GAPS = ("plug", "plants", "animals", "mud", "water")
DIRECTIONS = ("launching", "retrieving")
DAY_TYPES = ("weekday", "weekend")
TABLES = (
    *("lakes", "landings", "status", "streams", "visits", "contacts", "movements", "hours"),
    "promised",
)
SETTINGS_FILE = "region.toml"
REQUIRED_TABLES = ("lakes", "landings", "status")
WITH_ID = ("lakes", "landings", "visits")  # indexed by it


@dataclass(frozen=True, slots=True)
class Block:
    """A time block of the day, in hours after midnight, `first < last`."""

    first: float
    last: float

    @property
    def hours(self) -> float:
        """Length of the block in hours."""
        return self.last - self.first

    @property
    def label(self) -> str:
        """The block as the user writes it, e.g. `06:00-10:00`."""
        return f"{clock(self.first)}-{clock(self.last)}"


def clock(hours: float) -> str:
    """
    Hours after midnight as a clock time.

    Examples
    --------
    >>> clock(6.5)
    '06:30'
    """
    minutes = round(hours * 60)
    return f"{minutes // 60:02d}:{minutes % 60:02d}"


@short_repr
@dataclass(frozen=True, slots=True)
class Settings:
    """
    What `region.toml` says, with the documented defaults filled in.

    Names stand in alphabetical order, days and blocks in order of time, however they were given.
    """

    name: str
    season_first_day: date
    season_last_day: date
    species: Mapping[str, float]
    crs: str | None = None
    hours: float = 200.0
    shift_hours: float = 4.0
    blocks: tuple[Block, ...] = (Block(6, 10), Block(10, 14), Block(14, 18), Block(18, 22))
    holidays: tuple[date, ...] = ()
    seasons: int = 5
    known_through: int | None = None
    most_hours_per_landing_week: float = 12.0
    most_share_per_landing: float | None = None
    least_landings: int = 0
    most_counting_share: float = 0.1
    contacts_per_hour: float | None = None
    cost_per_hour: float | None = None
    cost_per_km: float | None = None
    crew: int = 1
    rest_hours: float = 11.0
    most_shifts_per_person_week: int = 5
    after_dusk: bool = False
    unasked_landings: bool = True
    jurisdiction_hours: Mapping[str, float] = field(default_factory=dict)
    replan_gain: float = 0.02
    time_zone: str | None = None
    country: str | None = None
    education: str = "check together"
    landing_snap_m: float = 150.0
    decimal: str = "."
    date_format: str = "YYYY-MM-DD"
    assumptions: Mapping[str, Any] = field(default_factory=dict)

    def __post_init__(self) -> None:
        for name in ("species", "jurisdiction_hours", "assumptions"):
            object.__setattr__(self, name, dict(sorted(getattr(self, name).items())))
        object.__setattr__(self, "holidays", tuple(sorted(self.holidays)))
        object.__setattr__(self, "blocks", tuple(sorted(self.blocks, key=lambda b: b.first)))

    @property
    def season_days(self) -> int:
        """Days of the season, both ends counted."""
        return (self.season_last_day - self.season_first_day).days + 1


@dataclass(frozen=True, slots=True)
class Note:
    """Something the reader did or will do without: said to the user, never an error."""

    code: str
    text: str


@dataclass(frozen=True, slots=True)
class Source:
    """One input file as it was read, for the run record. `file` has no folder in it."""

    table: str
    file: str
    bytes: int
    sha256: str
    rows: int
    encoding: str | None = None
    crs: str | None = None


@dataclass(frozen=True, slots=True, eq=False, repr=False)
class Region:
    """
    A region folder, read and checked: nine tables, the settings and what was noticed.

    Every table stands in one order, see `in_order`, however its rows were given; so the order of
    rows in a file changes nothing that is worked out from it.

    Attributes
    ----------
    settings : Settings
        `region.toml` with defaults filled.
    lakes : GeoDataFrame
        Index `lake_id` (text, in order). Columns `name`, `geometry` (polygon, multipolygon
        or point, in `crs`), `area_ha`, `depth_m`, `secchi_m`, `calcium_mg_l`, `worth`.
    landings : GeoDataFrame
        Index `landing_id` (text, in order). Columns `lake_id`, `name`, `geometry` (point, in
        `crs`), `ramp_lanes`, `trailer_stalls`, `jurisdiction`, `can_staff`, `shore_distance_m`
        (0 on the water or shoreline).
    status, streams, visits, contacts, movements, hours, promised : DataFrame
        Columns as in `tables.csv`; no rows when the table is not there. `visits` is indexed by
        `visit_id`. Text is `str`, numbers `float64` with NaN, counts `Int64`, yes/no and gap
        answers `boolean` (missing = not checked, not answered), dates `datetime64[s]`, clock
        times hours after midnight as `float64`.
    crs : str
        Projected CRS of all geometry, easting and northing in metres.
    notes : tuple of Note
        Defaults filled with their counts, repairs made, and what the run does without.
    sources : tuple of Source
        The files that were read.
    """

    settings: Settings
    lakes: gpd.GeoDataFrame
    landings: gpd.GeoDataFrame
    status: pd.DataFrame
    streams: pd.DataFrame
    visits: pd.DataFrame
    contacts: pd.DataFrame
    movements: pd.DataFrame
    hours: pd.DataFrame
    promised: pd.DataFrame
    crs: str
    notes: tuple[Note, ...] = ()
    sources: tuple[Source, ...] = ()

    def __post_init__(self) -> None:
        for table in TABLES:
            object.__setattr__(self, table, in_order(getattr(self, table), table))

    def __repr__(self) -> str:
        return (
            f"<Region {self.settings.name}: {len(self.lakes)} lakes, {len(self.landings)} "
            f"landings, {len(self.visits)} visits, {len(self.contacts)} contacts>"
        )

    @property
    def known_through(self) -> int:
        """
        Last year of which it is known what was found: later ones are unknown, not empty.

        As `region.toml` says, else that of the last dated find or survey, else the year before the
        season.
        """
        if self.settings.known_through is not None:
            return self.settings.known_through
        days = [self.status[name].dropna() for name in ("first_found", "last_survey")]
        years = [int(one.max().year) for one in days if len(one)]
        return max(years, default=self.settings.season_first_day.year - 1)

    def _repr_html_(self) -> str:
        settings = self.settings
        without = f" {len(self.notes)} notes: see `.notes`." if self.notes else ""
        return card(
            settings.name,
            lines=[
                f"{len(self.lakes):,} lakes, {len(self.landings):,} landings, "
                f"{len(self.visits):,} visits, {len(self.contacts):,} contacts.",
                f"Season {settings.season_first_day} to {settings.season_last_day}, "
                f"{settings.hours:,.0f} educator hours, {settings.seasons} seasons looked ahead; "
                f"species: {', '.join(settings.species)}.{without}",
            ],
            cautions=CAUTIONS[:2],
        )


def in_order(rows: pd.DataFrame, table: str) -> pd.DataFrame:
    """
    Rows of a table in the order that a region keeps: by id, or where there is none by all columns.

    Parameters
    ----------
    rows : DataFrame
        Lakes, landings and visits are indexed by their id; not changed.
    table : str
        One of `TABLES`.

    Returns
    -------
    ordered : DataFrame
        The same rows. Letters count by their code, so `L10` stands before `L2`. Rows alike in every
        column of `tables.csv` stand for the same, so which of them comes first is all one.

    Examples
    --------
    >>> import pandas as pd
    >>> rows = pd.DataFrame({"upstream_lake_id": ["L2", "L1"], "downstream_lake_id": ["L3", "L3"]})
    >>> in_order(rows, "streams")["upstream_lake_id"].tolist()
    ['L1', 'L2']
    """
    if table in WITH_ID:
        in_place = rows.index.is_monotonic_increasing
        return rows if in_place else rows.sort_index(kind="stable")
    keys = [name for name in columns(table) if name in rows]
    return rows.sort_values(keys, kind="stable", ignore_index=True) if keys else rows
