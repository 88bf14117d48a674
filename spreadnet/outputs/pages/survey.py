"""The values of the page of surveys."""

from __future__ import annotations

from typing import TYPE_CHECKING

from spreadnet.outputs.files import version
from spreadnet.outputs.render import Table, render
from spreadnet.words import CAUTIONS, chance_text, count_text, odds_text

if TYPE_CHECKING:
    from datetime import date

    from spreadnet.decisions.surveys import SurveyList
    from spreadnet.evidence.region import Region

MOST = 40  # landings, and lakes, on the page; all are in the tables


def survey_page(survey: SurveyList, region: Region, *, made_on: date) -> str:
    """
    One page with the landings and lakes to survey next.

    Parameters
    ----------
    survey : SurveyList
        Result of `survey_next`.
    region : Region
        Names.
    made_on : date
        Day printed on it.

    Returns
    -------
    page : str
        HTML that needs nothing else.
    """
    return render(
        "pages/survey.html.j2",
        title=f"{region.settings.name}: where to survey next",
        landings=_landings(survey, region),
        lakes=_lakes(survey),
        shift_hours=count_text(survey.shift_hours),
        shift_avoids=odds_text(survey.shift_avoids),
        notes=(),
        cautions=CAUTIONS,
        version=version(),
        made_on=made_on.isoformat(),
        seasons=survey.seasons,
    )


def _landings(survey: SurveyList, region: Region) -> Table:
    """Landings where one more survey shift gains something, most first."""
    table = survey.table[survey.table["survey_rank"].notna()].sort_values("survey_rank").head(MOST)
    names = region.landings["name"]
    rows = [
        (
            f"{names[landing_id]} ({landing_id})",
            row["survey_when"],
            f"{row['contacts_launching']:.0f} and {row['contacts_retrieving']:.0f}",
            row["sharpens"],
            chance_text(row["chance_of_change"]),
            odds_text(row["gain"]),
        )
        for landing_id, row in table.iterrows()
    ]
    head = ("landing", "when", "boats launching and retrieving", "tells most of", "hours move")
    kinds = ("", "word", "more", "word", "more", "")
    return Table("Landings to survey, most gain first", (*head, "gain"), rows, kinds=kinds)


def _lakes(survey: SurveyList) -> Table:
    """Lakes whose status would move hours, most gain first, with the reason below."""
    table = survey.lakes[survey.lakes["survey_rank"].notna()].head(MOST).to_dict("records")
    rows = [
        (
            f"{row['lake']} ({row['lake_id']})",
            chance_text(row["chance_infested"]),
            f"{row['surveys']:.0f}",
            odds_text(row["gain"]),
            odds_text(row["gain_of_one_survey"]),
        )
        for row in table
    ]
    head = ("lake", "taken to be infested", "surveys so far", "gain if known", "by one survey")
    below = [f"{row['why']}." for row in table]
    return Table("Lakes to survey, most gain first", head, rows, below=below)
