"""How well the order would have been foretold, in words."""

from __future__ import annotations

from typing import TYPE_CHECKING

from spreadnet.words.numbers import counted

if TYPE_CHECKING:
    from collections.abc import Mapping

    import pandas as pd

BESIDE = "area and distance"  # the rule that is named where none does better


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
