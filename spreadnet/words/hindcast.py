"""How well finds would have been foretold, in words."""

from __future__ import annotations

from typing import TYPE_CHECKING

from spreadnet.words.numbers import counted, figure

if TYPE_CHECKING:
    from collections.abc import Mapping

    import pandas as pd

    from spreadnet.words.types import Foretold

BESIDE = "area and distance"  # the rule that is named where none does better


def hindcast_title(result: Foretold) -> str:
    """
    What was foretold from what.

    Parameters
    ----------
    result : Foretold
        Result of `hindcast`.

    Returns
    -------
    title : str
        Without a final full stop.
    """
    return (
        f"{result.region}: finds of {result.from_year} to {result.through}, foretold from what was "
        f"known before {result.from_year}"
    )


def finds_words(row: pd.Series) -> str:
    """
    How many finds came and how many were expected, for one species.

    Parameters
    ----------
    row : Series
        Row of `finds`.

    Returns
    -------
    words : str
        Without a final full stop.
    """
    return (
        f"{row['since']:.0f} found of {row['lakes']:.0f} lakes, {figure(row['expected'])} "
        f"expected ({figure(row['expected_low'])} to {figure(row['expected_high'])}); "
        f"{row['before']:.0f} finds before"
    )


def groups_words(groups: pd.DataFrame) -> str:
    """
    Finds beside chances foretold, for those who can't see the chart.

    Parameters
    ----------
    groups : DataFrame
        Rows of one species in `groups`.

    Returns
    -------
    words : str
        Two sentences.
    """
    parts = [
        f"{row['from']:.0%} to {row['to']:.0%} foretold: {row['found']:.0f} of {row['lakes']:.0f} "
        f"lakes with a find, {figure(row['expected'])} expected"
        for row in groups.to_dict("records")
    ]
    return "Lakes by the chance foretold. " + "; ".join(parts) + "."


def hindcast_words(result: Foretold) -> str:
    """
    The scores in a few lines, with a plain word where there are too few finds.

    Parameters
    ----------
    result : Foretold
        Result of `hindcast`.

    Returns
    -------
    text : str
        Several lines, without a final line break.
    """
    lines = [hindcast_title(result)]
    for name, row in result.finds.iterrows():
        lines += ["", f"{row['label']}: {finds_words(row)}"]
        if row["since"] == 0:
            lines.append("  nothing was found since, so the order can't be scored")
            continue
        if not row["enough"]:
            lines.append(
                "  too few finds to judge: with so few, a good and a bad model can look alike"
            )
        for predictor, score in result.scores.loc[str(name)].iterrows():
            lines.append(
                f"  {predictor:<16} {score['hits_5']:.1f} / {score['hits_10']:.1f} / "
                f"{score['hits_20']:.1f} in the first 5 / 10 / 20, AUC {auc_words(score)}, "
                f"Brier skill {score['brier_skill']:+.2f}"
            )
    return "\n".join(lines)


def auc_words(score: pd.Series) -> str:
    """
    AUC with its interval.

    Parameters
    ----------
    score : Series
        Row of `scores`.

    Returns
    -------
    words : str
        Two places each: the interval is never finer than that.
    """
    return f"{score['auc']:.2f} ({score['auc_low']:.2f} to {score['auc_high']:.2f})"


def skill_lines(skill: pd.DataFrame, labels: Mapping[str, str]) -> list[str]:
    """
    One line a species: how the latest finds would have been ordered, beside simple rules.

    Parameters
    ----------
    skill : DataFrame, index species, predictor
        Result of `skill_table`.
    labels : mapping of species to str
        Names for people.

    Returns
    -------
    lines : list of str
        Species where a simple rule does better come first.
    """
    first: list[str] = []
    then: list[str] = []
    for name in skill.index.get_level_values("species").unique():
        table = skill.loc[name]
        ours, rules = table.iloc[0], table.iloc[1:]
        worse = rules[rules["verdict"] == "worse"]
        rule = worse["gain"].idxmin() if len(worse) else BESIDE
        verdict = {
            "better": "better than",
            "no different": "no different from",
            "worse": "worse than",
        }[rules.loc[rule, "verdict"]]
        years = f"{ours['from_year']:.0f} to {ours['through']:.0f}"
        line = (
            f"{labels[name]}: {counted(int(ours['found']), 'find')} of {years}, foretold from "
            f"{int(ours['before'])} before: order {verdict} {rule.removesuffix(' alone')} alone "
            f"(of 100 pairs of a lake with a find and one without, {100 * ours['auc']:.0f} in the "
            f"right order, {100 * rules.loc[rule, 'auc']:.0f} by that rule)"
        )
        (first if len(worse) else then).append(line)
    return first + then
