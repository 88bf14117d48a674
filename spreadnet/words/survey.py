"""Where one more survey shift would tell most, in words."""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING

from spreadnet.words.finding import WIDTH
from spreadnet.words.numbers import chance_text, figure, odds_text
from spreadnet.words.reasons import assumed_words

if TYPE_CHECKING:
    from collections.abc import Sequence

    import pandas as pd

    from spreadnet.words.types import Place, Surveyed

WORTH_A_LINE = 0.01  # of the first landing's gain; those that gain less are not listed


def survey_words(survey: Surveyed, region: Place, *, shown: int = 10) -> str:
    """
    The landings to survey next, in words.

    Parameters
    ----------
    survey : Surveyed
        Result of `survey_next`.
    region : Place
        Names of landings and lakes.
    shown : int
        Most landings listed.

    Returns
    -------
    text : str
        Several lines, no final newline.
    """
    table = survey.table[survey.table["survey_rank"].notna()].sort_values("survey_rank")
    head = f"{region.settings.name}: where one more survey shift would sharpen the decision most"
    if table.empty:
        why = "no survey shift would move hours: where they go is sure enough, or none are placed"
        return "\n".join([head, "", why, *_lake_lines(survey, shown=shown)])
    listed = table["gain"] >= WORTH_A_LINE * table["gain"].iloc[0]
    shorter, table = listed.sum() <= shown, table[listed].head(shown)
    meaning = (
        f"Gain = new infestations avoided over {survey.seasons} seasons, weighted as in the "
        f"ranking, because hours are then placed better. A {survey.shift_hours:g} h shift of "
        f"education where the last hours go avoids {odds_text(survey.shift_avoids)}"
        f"{_beside(table['gain'].iloc[0], survey.shift_avoids)}. Educators who note what they find "
        "tell the same as surveyors."
    )
    if not survey.drawn:
        meaning += " Intervals hold only what visits to the landing itself can tell."
    lakes = region.lakes["name"]
    lines = [head, "", *textwrap.wrap(meaning, WIDTH), ""]
    for landing_id, row in table.iterrows():
        landing = region.landings.loc[landing_id]
        lines.append(
            f"{row['survey_rank']:>3}  {landing['name']} [{landing_id}], "
            f"{lakes[landing['lake_id']]}: gain {odds_text(row['gain'])}, hours move with chance "
            f"{chance_text(row['chance_of_change'])}"
        )
        lines += textwrap.wrap(
            _detail(row), WIDTH, initial_indent="     - ", subsequent_indent="       "
        )
    if shorter:
        lines.append("At all other landings one more shift gains next to nothing or nothing.")
    return "\n".join([*lines, *_lake_lines(survey, shown=shown)])


def _lake_lines(survey: Surveyed, *, shown: int) -> list[str]:
    """Lakes to survey, where knowing their status would move hours."""
    table = survey.lakes[survey.lakes["survey_rank"].notna()]
    if table.empty:
        return []
    first = table["gain"].iloc[0]
    lines = ["", "Lakes to survey, by what knowing whether they are infested would gain", ""]
    for row in table[table["gain"] >= WORTH_A_LINE * first].head(shown).to_dict("records"):
        lines.append(
            f"{row['survey_rank']:>3}  {row['lake']} [{row['lake_id']}]: gain "
            f"{odds_text(row['gain'])} if it became known, {odds_text(row['gain_of_one_survey'])} "
            "by one survey"
        )
        lines += textwrap.wrap(
            row["why"], WIDTH, initial_indent="     - ", subsequent_indent="       "
        )
    return lines


def lake_survey_words(
    species: str,
    *,
    chance: float,
    surveys: float,
    moves: Sequence[tuple[float, str | None]],
) -> str:
    """
    Why a lake should be surveyed.

    Parameters
    ----------
    species : str
        In words.
    chance : float
        That it is infested, as it is taken now.
    surveys : float
        Surveys so far that did not find it.
    moves : sequence of (float, str or None), length 2
        Hours a season that would move, and the landing where most of them would go: if it is
        infested, and if it is free.

    Returns
    -------
    words : str
        One line.

    Examples
    --------
    >>> lake_survey_words("weed", chance=0.3, surveys=0, moves=[(8, "Ramp (A)"), (0, None)])
    'weed: never looked for there, taken to be 30% likely; if it is there, 8 hours a season move,
    most to Ramp (A); if not, none move'
    """

    def told(hours: float, landing: str | None) -> str:
        if landing is None:
            return "none move"
        return f"{hours:,.0f} hours a season move, most to {landing}"

    here, free = (told(*one) for one in moves)
    return f"{species}: {assumed_words(surveys, chance)}; if it is there, {here}; if not, {free}"


def _beside(gain: float, shift_avoids: float) -> str:
    """Whether surveying is worth the hours that it takes."""
    if gain < shift_avoids:
        return ", more than any survey shift gains: survey where educators are anyway"
    return ""


def _detail(row: pd.Series) -> str:
    """When to go, whom one meets and what it tells."""
    when = f"{row['survey_when']}, "
    placed = row["hours_ranked"]
    has = f"{placed:,.0f} h a season placed there now" if placed > 0 else "no hours there now"
    return (
        f"{when}about {row['contacts_launching']:.0f} boats launching and "
        f"{row['contacts_retrieving']:.0f} retrieving; tells most of {row['sharpens']}; 90% "
        f"interval {figure(row['width_now'])} wide now, {figure(row['width_after'])} after; {has}"
    )
