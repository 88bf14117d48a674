"""The finding in a few lines, and what every output says of its limits."""

from __future__ import annotations

import textwrap
from dataclasses import dataclass
from typing import TYPE_CHECKING

from spreadnet.words.numbers import counted, figure, odds_range, odds_text, rough_text

if TYPE_CHECKING:
    import pandas as pd

    from spreadnet.words.types import Place, Ranked

ON_SITE = (
    "This ranks where education helps; it does not authorise anyone to inspect, detain or turn a "
    "boat away.",
    "Educators do not touch boats, do not argue, and pass what the law asks to the local "
    "authority, never into this tool.",
    "Nobody stands alone at a landing where that can be helped; whoever must says where and until "
    "when, and reports back.",
    "Stay clear of moving vehicles and trailers, keep off slippery ramps, and wear a life jacket "
    "at the water's edge.",
    "Leave for shelter at the first thunder, stop in great heat, and end before dusk.",
    "Hot-water cleaning burns and is for trained staff.",
    "Rules on plants, drains and drying differ by place: local law and licensed practice decide.",
)
ALONE = (
    "Shifts are planned for one person (crew = 1): do not work alone at the water where it can be "
    "helped. Go in twos, or agree with somebody when you call and what they do if you don't."
)
CAUTIONS = ("Numbers are model estimates with intervals, not findings.", *ON_SITE)
WIDTH = 88
GROUPS_ONLY = "groups-only"  # code of the note that there is no order within groups
SURE = 0.8  # share of repeats above which the finding gives a factor


@dataclass(frozen=True, slots=True)
class Size:
    """What hours buy: numbers that are told before any ratio, `boats` and `with_gap` a season."""

    hours: float
    landings: int
    seasons: int
    avoided: float
    boats: float
    with_gap: float
    weighted: bool


def headline(size: Size) -> str:
    """
    What hours buy, in one sentence for the head of map and plan.

    Parameters
    ----------
    size : Size
        What they avoid and whom they meet.

    Returns
    -------
    sentence : str
        Without a final full stop.

    Examples
    --------
    >>> headline(Size(320, 5, 5, 0.0417, 2984.0, 702.0, weighted=False))
    'About 1 in 24 that one infestation is avoided in 5 seasons; 3,000 boats met a season, 700 of
    them with something to put right (320 hours a season at 5 landings)'
    """
    weighted = " (weighted)" if size.weighted else ""
    said = odds_text(size.avoided)
    good = (
        f"About {said} that one infestation{weighted} is avoided"
        if " in " in said
        else f"About {said} infestations{weighted} avoided"
    )
    return (
        f"{good} in {counted(size.seasons, 'season')}; {rough_text(size.boats)} boats met a "
        f"season, {rough_text(size.with_gap)} of them with something to put right "
        f"({size.hours:,.0f} hours a season at {counted(size.landings, 'landing')})"
    )


def finding(assessment: Ranked) -> str:
    """
    One sentence that says what was found, for the title of the map.

    Parameters
    ----------
    assessment : Ranked
        Result of `assess`.

    Returns
    -------
    sentence : str
        Without a final full stop.
    """
    landings = assessment.landings
    if landings["rank"].isna().all():
        alone = len(landings["lake_id"].unique()) == 1
        why = (
            "no other lake has a landing" if alone else "no hour avoids an infestation that counts"
        )
        return f"No landing can be ranked: {why}"
    placed = assessment.comparison.T["ranked"]
    if placed["hours_a_season"] <= 0:
        return f"No hours were placed: {_why_none(assessment)}"
    if placed["avoided"] <= 0:
        return (
            f"{placed['hours_a_season']:,.0f} hours a season have nothing to avoid where educators "
            "can be placed"
        )
    return headline(size_of(placed, assessment.seasons, place=assessment.region))


def size_of(row: pd.Series, seasons: int, *, place: Place) -> Size:
    """
    What hours buy, from a row of a comparison of ways.

    Parameters
    ----------
    row : Series
        `hours_a_season`, `landings`, `avoided`, `boats_met_a_season`, `boats_with_a_gap_a_season`.
    seasons : int
        Seasons looked ahead.
    place : Place
        Says whether infestations all count alike.

    Returns
    -------
    size : Size
        For `headline`.
    """
    return Size(
        hours=float(row["hours_a_season"]),
        landings=int(row["landings"]),
        seasons=seasons,
        avoided=float(row["avoided"]),
        boats=float(row["boats_met_a_season"]),
        with_gap=float(row["boats_with_a_gap_a_season"]),
        weighted=is_weighted(place),
    )


def compared(assessment: Ranked) -> str:
    """
    How the ranking does beside busiest first, and how sure its size is.

    Parameters
    ----------
    assessment : Ranked
        Result of `assess`.

    Returns
    -------
    sentence : str
        Without a final full stop; empty where nothing is avoided.
    """
    row = assessment.comparison.T["ranked"]
    ranked, busiest = (assessment.comparison["avoided"][w] for w in ("ranked", "busiest first"))
    if ranked <= 0 or assessment.landings["rank"].isna().all():
        return ""
    low, high = (odds_text(float(row[end])) for end in ("avoided_low", "avoided_high"))
    between = f"Between {low} and {high} by what is not known for sure"
    if ranked < 0.95 * busiest:
        return f"{between}; less than the same hours avoid busiest first"
    if ranked < 1.05 * busiest:
        return f"{between}; about as much as the same hours avoid busiest first"
    sure = float(assessment.comparison["chance_ranked_is_better"]["busiest first"])
    if sure < SURE:
        return (
            f"{between}; more than the same hours avoid busiest first in only {round(10 * sure)} "
            "of 10 repeats"
        )
    if ranked > 20 * busiest:
        return f"{between}; far more than the same hours avoid busiest first"
    return f"{between}; {ranked / busiest:.1f} times what the same hours avoid busiest first"


def outlook(assessment: Ranked) -> str:
    """
    How many new infestations are expected without education, to set what is avoided against.

    Parameters
    ----------
    assessment : Ranked
        Result of `assess`.

    Returns
    -------
    sentence : str
        One sentence with its final full stop.
    """
    parts = [
        f"{figure(row['new_infestations'])} of {assessment.evidence.species[str(name)].label} "
        f"({figure(row['low'])} to {figure(row['high'])}; in 9 of 10 simulated courses "
        f"{row['one_future_low']:,.0f} to {row['one_future_high']:,.0f})"
        for name, row in assessment.totals.iterrows()
    ]
    return (
        f"Without education, new infestations expected in {assessment.seasons} seasons: "
        f"{', '.join(parts)}; what is avoided is worked out by the same model that ranks."
    )


def _why_none(assessment: Ranked) -> str:
    """Why no hours could be placed."""
    settings = assessment.region.settings
    if settings.hours <= 0:
        return "`hours` in region.toml is 0"
    most = settings.most_hours_per_landing_week * settings.season_days / 7
    longest = assessment.evidence.traffic.day_blocks["hours_in_season"].max()
    if min(most, longest) < settings.shift_hours:
        return f"no whole shift of {settings.shift_hours:g} h fits in the season and its blocks"
    return "no landing that can be staffed has anything to avoid"


def read_first(*, region: str, made_on: str) -> str:
    """
    What goes with tables that can hold no sentence: the cautions, and where columns are explained.

    Parameters
    ----------
    region : str
        Name of the region.
    made_on : str
        Day of the result.

    Returns
    -------
    text : str
        Several lines with a final line break.
    """
    lines = [f"{region}, {made_on}", "", "Read this before you use or pass on any of these files."]
    for caution in CAUTIONS:
        lines += ["", *textwrap.wrap(caution, WIDTH, initial_indent="- ", subsequent_indent="  ")]
    more = "columns.csv says what every column of every table means, run.json what it rests on."
    return "\n".join([*lines, "", more, ""])


def unit(assessment: Ranked) -> str:
    """
    What `avoided_per_100_hours` counts, in words.

    Parameters
    ----------
    assessment : Ranked
        Result of `assess`.

    Returns
    -------
    words : str
        Says the seasons, and whether infestations are weighted.
    """
    weighted = "weighted new" if is_weighted(assessment.region) else "new"
    seasons = counted(assessment.seasons, "season")
    return f"{weighted} infestations avoided over {seasons} per 100 hours worked in them"


def first_landings(assessment: Ranked, *, shown: int, head: str = "") -> str:
    """
    The first landings with what they avoid and why, as lines of text.

    Parameters
    ----------
    assessment : Ranked
        Result of `assess`.
    shown : int
        Landings to list, 1 or more.
    head : str
        Said first, such as the finding of a plan; the finding of the ranking when left out.

    Returns
    -------
    text : str
        Several lines, without a final line break.
    """
    landings = assessment.landings.sort_values("rank", kind="stable")
    settings = assessment.region.settings
    grouped = in_groups(assessment)
    told = f"{settings.name}: {grouped}{head or finding(assessment)}."
    lines = [*textwrap.wrap(told, WIDTH), ""]
    for note in assessment.notes:
        if note.code == "skill":
            lines += [*textwrap.wrap(f"{note.text}.", WIDTH), ""]
    if not landings["rank"].isna().all():
        weights = _weights(assessment)
        meaning = (
            f"Avoided = {unit(assessment)}, by the first 100 worked at the landing, with the 90% "
            f"interval of the number and of the rank; 1 in 340 is one infestation avoided where "
            f"that is done 340 times over.{f' {weights}.' if weights else ''}"
        )
        lines += [*textwrap.wrap(meaning, WIDTH), ""]
        for landing_id, row in landings.head(shown).iterrows():
            lines.append(
                f"{_place(row, grouped)}  {row['name']} [{landing_id}], {row['lake_name']}: "
                f"{odds_text(row['avoided_per_100_hours'])} avoided "
                f"({odds_text(row['avoided_low'])} to {odds_text(row['avoided_high'])}), "
                f"rank {row['rank_low']} to {row['rank_high']}"
            )
            for reason in row["reasons"].split("; "):
                lines += textwrap.wrap(
                    reason, WIDTH, initial_indent="     - ", subsequent_indent="       "
                )
    if lines[-1]:
        lines.append("")
    return "\n".join([*lines, *_same_hours(assessment)])


def in_groups(assessment: Ranked) -> str:
    """
    That the order goes no further than groups, where nothing was counted.

    Parameters
    ----------
    assessment : Ranked
        Result of `assess`.

    Returns
    -------
    sentence : str
        With its full stop and a space, to stand before all else; empty where there is an order.
    """
    texts = [note.text for note in assessment.notes if note.code == GROUPS_ONLY]
    return f"{texts[0][0].upper()}{texts[0][1:]}. " if texts else ""


def _place(row: pd.Series, grouped: str) -> str:
    """Rank of a landing, or its group where the order goes no further."""
    return f"group {row['rank_group']}" if grouped else f"{row['rank']:>3}"


def top_landings(assessment: Ranked, *, count: int) -> pd.DataFrame:
    """
    The first landings as a table in words.

    Parameters
    ----------
    assessment : Ranked
        Result of `assess`.
    count : int
        Landings to list, 1 or more.

    Returns
    -------
    table : DataFrame, index landing_id
        In the order of ranks; no rows where there is no ranking.

    Raises
    ------
    ValueError
        If the count is below 1.
    """
    if count < 1:
        message = f"Invalid count '{count}'. It must be a whole number of 1 or more."
        raise ValueError(message)
    landings = assessment.landings
    landings = landings[landings["rank"].notna()].sort_values("rank", kind="stable").head(count)
    ends = ("avoided_per_100_hours", "avoided_low", "avoided_high")
    avoided = [
        odds_range(value, low, high)
        for value, low, high in zip(*(landings[column] for column in ends), strict=True)
    ]
    ranks = zip(landings["rank_low"], landings["rank_high"], strict=True)
    table = landings[["rank", "name", "lake_name"]].rename(
        columns={"name": "landing", "lake_name": "lake"}
    )
    table["avoided per 100 hours"] = avoided
    table["rank, 90% interval"] = [f"{low} to {high}" for low, high in ranks]
    table["main reason"] = [reasons.split("; ")[0] for reasons in landings["reasons"]]
    return table


def is_weighted(place: Place) -> bool:
    """Whether infestations do not all count alike, by species or by the worth of lakes."""
    counts = {*place.settings.species.values(), *place.lakes["worth"]}
    return counts != {1.0}


def _weights(assessment: Ranked) -> str:
    """What an infestation counts, where not all count alike."""
    weights = assessment.region.settings.species
    parts = []
    if set(weights.values()) != {1.0}:
        labels = {name: assessment.evidence.species[name].label for name in weights}
        listed = ", ".join(f"of {labels[name]} {weight:g}" for name, weight in weights.items())
        parts.append(f"an infestation {listed}")
    if set(assessment.region.lakes["worth"]) != {1.0}:
        parts.append("lakes by their worth")
    return f"Weights: {', '.join(parts)}" if parts else ""


def _same_hours(assessment: Ranked) -> list[str]:
    """The three ways of placing hours, side by side."""
    settings = assessment.region.settings
    lines = [
        *textwrap.wrap(outlook(assessment), WIDTH),
        f"Up to {settings.hours:,.0f} hours in each of {assessment.seasons} seasons, placed three "
        "ways:",
    ]
    for way, row in assessment.comparison.iterrows():
        cost = ""
        if "cost_per_infestation_avoided" in row and row["avoided"] > 0:
            each = "weighted infestation" if _weights(assessment) else "infestation"
            cost = f", cost {row['cost_per_infestation_avoided']:,.0f} for each {each} avoided"
        landings = counted(int(row["landings"]), "landing")
        lines.append(
            f"  {way:<14} {row['hours_a_season']:,.0f} h at {landings}: "
            f"{odds_text(row['avoided'])} avoided ({odds_text(row['avoided_low'])} to "
            f"{odds_text(row['avoided_high'])}), {row['boats_met_a_season']:,.0f} boats met a "
            f"season{cost}"
        )
    return lines
