"""Result tables as files that spreadsheets and a GIS open: CSV, GeoPackage, GraphML."""

from __future__ import annotations

import csv
from contextlib import contextmanager
from datetime import date
from importlib import resources
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
import pyogrio
from pyogrio.errors import DataLayerError, DataSourceError, FeatureError

from spreadnet.outputs.files.graphml import write_graphml
from spreadnet.outputs.files.workbook import workbook
from spreadnet.outputs.safe import for_cell, for_layer
from spreadnet.words import CAUTIONS

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from datetime import datetime
    from pathlib import Path

    import geopandas as gpd

    from spreadnet.decisions.hindcast import Hindcast
    from spreadnet.decisions.plan import SeasonPlan
    from spreadnet.decisions.ranking import Assessment
    from spreadnet.decisions.surveys import SurveyList
    from spreadnet.evidence.region import Region

DIGITS = 6  # significant digits written: more would be noise


def write_tables(
    assessment: Assessment, folder: Path, *, made_on: date | None = None
) -> list[Path]:
    """
    Write the tables of an assessment.

    Parameters
    ----------
    assessment : Assessment
        Result of `assess`.
    folder : Path
        An existing folder.
    made_on : date, optional
        Day that the GeoPackage gives as its last change; today when left out.

    Returns
    -------
    files : list of Path
        `landings.csv` (best rank first), `lakes.csv`, `trips.csv`, `gap_rates.csv`,
        `comparison.csv`, `totals.csv`, `by_season.csv`, `network.graphml` and `region.gpkg`.
    """
    landings = in_rank_order(assessment.landings)
    files = [
        write_csv(_located(landings), folder / "landings.csv"),
        write_csv(_located(assessment.lakes), folder / "lakes.csv"),
        write_csv(assessment.trips.drop(columns="geometry"), folder / "trips.csv", index=False),
        write_csv(assessment.evidence.gaps.table, folder / "gap_rates.csv"),
        write_csv(assessment.comparison, folder / "comparison.csv"),
        write_csv(assessment.totals, folder / "totals.csv"),
        write_csv(assessment.by_season, folder / "by_season.csv", index=False),
    ]
    graph = write_graphml(assessment.network, folder / "network.graphml")
    try:
        with _dated(made_on or date.today()):
            return [*files, graph, _write_geopackage(assessment, folder / "region.gpkg")]
    except (FeatureError, DataLayerError, DataSourceError) as error:  # e.g. the disk is full
        message = f"region.gpkg could not be written ({error})"
        raise OSError(message) from error


def plan_tables(plan: SeasonPlan, folder: Path) -> list[Path]:
    """
    Write the tables of a season plan.

    Parameters
    ----------
    plan : SeasonPlan
        Result of `season_plan`.
    folder : Path
        An existing folder.

    Returns
    -------
    files : list of Path
        `plan.csv`, `ways.csv`, `value_of_hours.csv`, `rules.csv` and
        `spreading.csv`.
    """
    return [
        write_csv(plan.table, folder / "plan.csv", index=False),
        write_csv(plan.ways, folder / "ways.csv"),
        write_csv(plan.value, folder / "value_of_hours.csv", index=False),
        write_csv(plan.rules, folder / "rules.csv"),
        write_csv(plan.spreading, folder / "spreading.csv"),
    ]


def hindcast_tables(result: Hindcast, folder: Path) -> list[Path]:
    """
    Write the tables of a hindcast.

    Parameters
    ----------
    result : Hindcast
        Result of `hindcast`.
    folder : Path
        An existing folder.

    Returns
    -------
    files : list of Path
        `scores.csv`, `lakes.csv` (highest chance first) and `groups.csv`.
    """
    scores = result.scores.join(result.finds[["before", "since", "enough"]])
    lakes = result.lakes.sort_values(
        ["species", "chance", "lake_id"], ascending=[True, False, True], kind="stable"
    )
    return [
        write_csv(scores, folder / "scores.csv"),
        write_csv(lakes, folder / "lakes.csv", index=False),
        write_csv(result.groups, folder / "groups.csv"),
    ]


def survey_tables(
    survey: SurveyList, region: Region, folder: Path, *, stamp: datetime
) -> list[Path]:
    """
    Write what one more survey shift at each landing, and the status of each lake, would gain.

    Parameters
    ----------
    survey : SurveyList
        Result of `survey_next`.
    region : Region
        Names of landings.
    folder : Path
        An existing folder.
    stamp : datetime
        When it was made, with its offset, for the workbook.

    Returns
    -------
    files : list of Path
        `survey.csv` and `lakes_to_survey.csv`, most gain first, and `survey.xlsx`, both as sheets.
    """
    table = survey.table.copy()
    table.insert(0, "name", region.landings["name"])
    table = table.sort_values("survey_rank", kind="stable", na_position="last")
    sheets = {"landings": table.reset_index(), "lakes": survey.lakes}
    book = workbook(
        {name: rounded(sheet) for name, sheet in sheets.items()}, cautions=CAUTIONS, stamp=stamp
    )
    (folder / "survey.xlsx").write_bytes(book)
    return [
        write_csv(table, folder / "survey.csv"),
        write_csv(survey.lakes, folder / "lakes_to_survey.csv", index=False),
        folder / "survey.xlsx",
    ]


def in_rank_order(landings: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """
    Landings with the best rank first; those without a rank keep their order at the end.

    Parameters
    ----------
    landings : GeoDataFrame
        With a column `rank`.

    Returns
    -------
    ordered : GeoDataFrame
        The same rows.
    """
    return landings.sort_values("rank", kind="stable", na_position="last")


def rounded(table: pd.DataFrame, *, digits: int = DIGITS) -> pd.DataFrame:
    """
    Copy with decimal numbers cut to a number of significant digits.

    Parameters
    ----------
    table : DataFrame
        Any table.
    digits : int
        Significant digits, 1 or more.

    Returns
    -------
    copy : DataFrame
        Missing and infinite values are kept as they are.

    Examples
    --------
    >>> rounded(pd.DataFrame({"a": [1234.56789, 0.000123456789]}), digits=3)["a"].tolist()
    [1230.0, 0.000123]
    """
    copy = table.copy()
    for column in copy.columns:
        if copy[column].dtype.kind == "f":
            values = copy[column].to_numpy(float)
            with np.errstate(divide="ignore", invalid="ignore"):
                size = np.floor(np.log10(np.abs(values)))
            usable = np.isfinite(size)
            places = (digits - 1 - np.where(usable, size, 0)).astype(int)
            kept = [
                round(v, p) if u else v
                for v, p, u in zip(values.tolist(), places.tolist(), usable.tolist(), strict=True)
            ]
            copy[column] = kept
    return copy


@contextmanager
def _dated(day: date) -> Iterator[None]:
    """Have GDAL write this day in place of the time, so that equal runs give equal bytes."""
    name = "OGR_CURRENT_DATE"
    earlier = pyogrio.get_gdal_config_option(name)
    pyogrio.set_gdal_config_options({name: f"{day.isoformat()}T00:00:00.000Z"})
    try:
        yield
    finally:
        pyogrio.set_gdal_config_options({name: earlier})


def _located(table: gpd.GeoDataFrame) -> pd.DataFrame:
    """Table with longitude and latitude of a point on each shape in place of the shape."""
    points = table.geometry.representative_point().to_crs("EPSG:4326")
    plain = pd.DataFrame(table.drop(columns="geometry"))
    plain["longitude"], plain["latitude"] = points.x.round(6), points.y.round(6)
    return plain


def write_csv(table: pd.DataFrame, path: Path, *, index: bool = True) -> Path:
    """
    Write a table for spreadsheets: UTF-8 with a mark, so that accents are read as they are.

    Parameters
    ----------
    table : DataFrame
        Any table.
    path : Path
        File to write.
    index : bool
        Whether the index goes first.

    Returns
    -------
    path : Path
        The file written.
    """
    plain = rounded(pd.DataFrame(table.reset_index() if index else table))
    for column in plain.columns[[plain[c].dtype.kind == "b" for c in plain.columns]]:
        plain[column] = plain[column].map({True: "yes", False: "no"})  # as in the input
    texts = [c for c in plain.columns if plain[c].dtype.kind not in "fiub"]
    plain[texts] = plain[texts].map(lambda v: for_cell(v) if isinstance(v, str) else v)
    plain.to_csv(path, index=False, encoding="utf-8-sig", lineterminator="\n")
    return path


def write_meanings(result: str, files: Sequence[Path], path: Path) -> Path:
    """
    Write the table that says what every column of some tables means.

    Parameters
    ----------
    result : str
        What they belong to: `run`, which may hold a plan, `plan`, `hindcast` or `survey`.
    files : sequence of Path
        Files written; those that are no tables have no rows.
    path : Path
        File to write.

    Returns
    -------
    path : Path
        The file written.
    """
    source = resources.files("spreadnet.outputs.files").joinpath("columns.csv")
    rows = csv.reader(source.read_text(encoding="utf-8").splitlines())
    head = next(rows)
    names = {file.name for file in files}
    kept = [row[1:] for row in rows if result in row[0].split() and row[1] in names]
    with path.open("w", encoding="utf-8", newline="") as file:
        csv.writer(file, lineterminator="\n").writerows([head[1:], *kept])
    return path


def _write_geopackage(assessment: Assessment, path: Path) -> Path:
    """Layers lakes, landings, trips and run_info, in the region's projected CRS, with cautions."""
    told = {"DESCRIPTION": " ".join(CAUTIONS)}  # what a GIS shows of a layer
    layers = {
        "lakes": assessment.lakes.reset_index(),
        "landings": in_rank_order(assessment.landings).reset_index(),
        "trips": assessment.trips,
    }
    for name, layer in layers.items():
        if len(layer):
            pyogrio.write_dataframe(
                _plain(layer),
                path,
                layer=name,
                driver="GPKG",
                append=path.exists(),
                layer_options=told,
            )
    info = pd.DataFrame(
        [
            ("region", assessment.region.settings.name),
            ("seasons", str(assessment.seasons)),
            ("draws", str(assessment.draws)),
            ("seed", str(assessment.seed)),
            *((f"caution {number}", text) for number, text in enumerate(CAUTIONS, start=1)),
        ],
        columns=["key", "value"],
    )
    pyogrio.write_dataframe(info, path, layer="run_info", driver="GPKG", append=path.exists())
    return path


def _plain(layer: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Layer with column types that every GIS knows: nullable ones made plain."""
    plain = layer.copy()
    for column in plain.columns.drop("geometry"):
        if plain[column].dtype.kind == "O":
            plain[column] = plain[column].map(lambda v: for_layer(v) if isinstance(v, str) else v)
        if str(plain[column].dtype) == "boolean":
            plain[column] = plain[column].astype("object").where(plain[column].notna(), None)
            plain[column] = plain[column].map({True: "yes", False: "no"})
        elif plain[column].dtype.kind == "b":
            plain[column] = plain[column].map({True: "yes", False: "no"})
        elif str(plain[column].dtype) == "Int64":
            plain[column] = (
                plain[column].astype("float64")
                if plain[column].isna().any()
                else plain[column].astype("int64")
            )
    return plain
