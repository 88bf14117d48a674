"""Two rankings of the same landings side by side: what moved, and what it would cost."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Protocol

import numpy as np
import pandas as pd

from spreadnet.decisions.draws import avoided_by, one_thread, run_model
from spreadnet.decisions.hours import place_ranked
from spreadnet.model.estimates import best_estimates
from spreadnet.model.inputs import place_of
from spreadnet.words import CAUTIONS, card, figure

if TYPE_CHECKING:
    from spreadnet.decisions.draws import Run
    from spreadnet.evidence.gather import Evidence
    from spreadnet.evidence.region import Region
    from spreadnet.model.movement import Movement

FIRST = 10  # landings of which it is said how many stay among the first
SHOWN = 10
SAME = 0.005  # share lost below which as many are avoided


class Ranking(Protocol):
    """What is asked of a ranking here; an `Assessment` has it."""

    @property
    def region(self) -> Region:
        """The input."""

    @property
    def evidence(self) -> Evidence:
        """Step one."""

    @property
    def movement(self) -> Movement:
        """Step two."""

    @property
    def landings(self) -> pd.DataFrame:
        """Landings with their ranks."""

    @property
    def seasons(self) -> int:
        """Seasons looked ahead."""


@dataclass(frozen=True, slots=True, eq=False, repr=False)
class RankComparison:
    """
    What another ranking does to the order of landings, and to what is avoided.

    Attributes
    ----------
    table : DataFrame, index landing_id
        `landing`, `rank` here, `other_rank`, and `moved`: places further down in the other (above
        0) or further up; in the order of the ranking here, missing where one has no ranking.
    kept : int
        Of the first ten landings here, those among the first ten of the other.
    avoided, avoided_by_other : float
        New infestations avoided, by the estimates here, with the hours placed by the order here
        and by the other's.
    hours, seasons : float, int
        Hours a season that are placed, and seasons looked ahead, both as here.
    """

    table: pd.DataFrame
    kept: int
    avoided: float
    avoided_by_other: float
    hours: float
    seasons: int

    @property
    def lost(self) -> float:
        """Share of what is avoided that the other's order would lose; 0 where nothing is."""
        return 1 - self.avoided_by_other / self.avoided if self.avoided > 0 else 0.0

    def __repr__(self) -> str:
        return "\n".join(self._sentences())

    def _repr_html_(self) -> str:
        columns = {"rank": "rank here", "other_rank": "rank there"}
        table = self.table.head(SHOWN).rename(columns=columns)
        return card(
            "Two rankings side by side", lines=self._sentences(), table=table, cautions=CAUTIONS[:2]
        )

    def _sentences(self) -> list[str]:
        """What changed, in words."""
        first = min(FIRST, len(self.table))
        moves = self.table["moved"].abs().head(first).dropna()
        told = [f"{self.kept} of the first {first} landings are among the first {first} there too."]
        if len(moves) and moves.max() > 0:
            told.append(
                f"These {first} move by {figure(float(moves.mean()))} places on average, "
                f"by {int(moves.max())} at most."
            )
        change = "as many as"
        if abs(self.lost) >= SAME:
            change = f"{abs(self.lost):.0%} {'fewer' if self.lost > 0 else 'more'} than"
        told.append(
            f"{self.hours:,.0f} hours a season placed by the other's order would avoid "
            f"{figure(self.avoided_by_other)} new infestations in {self.seasons} seasons by the "
            f"estimates here, {change} by the order here ({figure(self.avoided)})."
        )
        return told


@one_thread
def compare_rankings(here: Ranking, other: Ranking) -> RankComparison:
    """
    What another ranking of the same landings changes, by the estimates of this one.

    Parameters
    ----------
    here : Assessment
        By whose estimates it is counted, within whose limits hours are placed.
    other : Assessment
        Another result for the same landings, e.g. with another law of movement.

    Returns
    -------
    comparison : RankComparison
        Ranks that moved, and what would be lost.

    Raises
    ------
    ValueError
        If the two have other landings, or other day types and blocks.
    """
    _check_alike(here, other)
    runs = [_best_run(here, here.seasons), _best_run(other, here.seasons)]
    hours = {
        name: place_ranked(here.region.settings.hours, runs[0].reach, value=run.value_after)
        for name, run in zip(("here", "other"), runs, strict=True)
    }
    avoided = avoided_by(runs[0], hours)
    table = pd.DataFrame(
        {
            "landing": here.landings["name"],
            "rank": here.landings["rank"],
            "other_rank": other.landings["rank"],
        }
    )
    table["moved"] = table["other_rank"] - table["rank"]
    first = (table[["rank", "other_rank"]] <= FIRST).fillna(False)
    return RankComparison(
        table=table.sort_values("rank", kind="stable"),
        kept=int(first.all(axis=1).sum()),
        avoided=float(avoided[0]),
        avoided_by_other=float(avoided[1]),
        hours=float(hours["here"].sum()),
        seasons=here.seasons,
    )


def _check_alike(here: Ranking, other: Ranking) -> None:
    """Refuse rankings of other landings or other times."""
    missing = here.landings.index.symmetric_difference(other.landings.index)
    if len(missing):
        named = ", ".join(map(str, missing[:3]))
        message = (
            f"Invalid comparison. {len(missing)} landings are in only one of the two results "
            f"({named}); both must rank the same ones."
        )
        raise ValueError(message)
    blocks = [one.evidence.traffic.day_blocks[["day_type", "block"]] for one in (here, other)]
    if not np.array_equal(blocks[0].to_numpy(), blocks[1].to_numpy()):
        message = "Invalid comparison. The two results have other time blocks in region.toml."
        raise ValueError(message)


def _best_run(result: Ranking, seasons: int) -> Run:
    """The model at the best estimates of a result."""
    place = place_of(result.region, result.evidence, result.movement)
    estimates = best_estimates(result.evidence, result.movement)
    return run_model(estimates, result.movement, place=place, seasons=seasons)
