"""The result of a run: frozen tables in the input's order, and what they rest on."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from spreadnet.words import CAUTIONS, card, compared, finding, top_landings

if TYPE_CHECKING:
    from collections.abc import Mapping

    import geopandas as gpd
    import networkx as nx
    import pandas as pd

    from spreadnet.decisions.ranking.compare import RankComparison
    from spreadnet.evidence.gather import Evidence
    from spreadnet.evidence.region import Note, Region
    from spreadnet.model.finds import Calibration
    from spreadnet.model.movement import Movement


@dataclass(frozen=True, slots=True, eq=False, repr=False)
class Assessment:
    """
    What `assess` returns; tables keep the ids and the order of the region.

    Attributes
    ----------
    region : Region
        The input.
    evidence : Evidence
        Step one: traffic, shares, gap rates, status.
    movement : Movement
        Step two: the law of movement and its fit.
    landings : GeoDataFrame, index landing_id
        Rank, what the next hours avoid, intervals, reasons. `rank` is missing everywhere when
        there is nothing to rank by.
    lakes : GeoDataFrame, index lake_id
        Status and chances of each species.
    trips : GeoDataFrame
        Trips between lakes, largest first, as lines.
    network : networkx.DiGraph
        The lakes as a graph.
    comparison : DataFrame, index way
        The same hours placed by the ranking, busiest first and equally.
    totals : DataFrame, index species
        New infestations without education: expected at the best estimates with the interval over
        draws, simulated at the best estimates with its standard error, and the interval of single
        futures over all draws.
    by_season : DataFrame
        Chance of a new infestation of each lake by the end of each season, expected and simulated.
    calibration : mapping of species to Calibration
        Establishment chances and what they rest on.
    skill : DataFrame, index species, predictor
        How well the latest finds would have been foretold, beside simple rules, see `skill_table`.
    rank_variance : DataFrame, index group
        What the uncertainty of the first 20 ranks comes from: share of their variance by group of
        inputs, with its standard error, largest first.
    seasons, draws, seed : int
        Seasons ahead, number of draws, seed.
    notes : tuple of Note
        What the run did without, and what to keep in mind.
    """

    region: Region
    evidence: Evidence
    movement: Movement
    landings: gpd.GeoDataFrame
    lakes: gpd.GeoDataFrame
    trips: gpd.GeoDataFrame
    network: nx.DiGraph
    comparison: pd.DataFrame
    totals: pd.DataFrame
    by_season: pd.DataFrame
    skill: pd.DataFrame
    rank_variance: pd.DataFrame
    calibration: Mapping[str, Calibration]
    seasons: int
    draws: int
    seed: int
    notes: tuple[Note, ...]

    def __repr__(self) -> str:
        return (
            f"<Assessment of {self.region.settings.name}: {len(self.landings)} landings, "
            f"{len(self.lakes)} lakes, {self.seasons} seasons, {self.draws} draws, "
            f"seed {self.seed}>"
        )

    def _repr_html_(self) -> str:
        return card(
            self.region.settings.name,
            lines=[
                *(f"{text}." for text in (finding(self), compared(self)) if text),
                f"{self.seasons} seasons, {self.draws} draws.",
            ],
            table=self.top(5),
            cautions=CAUTIONS[:2],
        )

    def top(self, count: int = 10) -> pd.DataFrame:
        """
        The first landings as a short table in words.

        Parameters
        ----------
        count : int
            Landings to list, 1 or more.

        Returns
        -------
        table : DataFrame, index landing_id
            `rank`, `landing`, `lake`, `avoided per 100 hours` with its 90% interval, the 90%
            interval of the rank, and the main reason. No rows where there is no ranking.

        Raises
        ------
        ValueError
            If the count is below 1.
        """
        return top_landings(self, count=count)

    def compare(self, other: Assessment) -> RankComparison:
        """
        Which ranks another result moves, and what its order would lose by the estimates here.

        Parameters
        ----------
        other : Assessment
            Another result for the same landings, e.g. with another law of movement or other
            assumptions.

        Returns
        -------
        comparison : RankComparison
            Says it in words; `table` holds the ranks, `lost` the share lost.

        Raises
        ------
        ValueError
            If the two have other landings, or other day types and blocks.
        """
        from spreadnet.decisions.ranking.compare import compare_rankings

        comparison: RankComparison = compare_rankings(self, other)
        return comparison
