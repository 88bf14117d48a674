"""Which landings more visits would tell most about, for the decision where hours go."""

from __future__ import annotations

import textwrap
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from spreadnet.assumptions import Z90
from spreadnet.decisions.ranking import ranks
from spreadnet.decisions.summary import WIDTH, figure
from spreadnet.decisions.survey_answers import (
    SHARPENS,
    contacts_of,
    habits_of,
    told_by_a_shift,
    worth_of,
)
from spreadnet.decisions.survey_value import (
    chance_of_change,
    expected_gain,
    shifts_in_doubt,
    whole_shifts,
)

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from spreadnet.decisions.runs import Run
    from spreadnet.evidence.gather import Evidence
    from spreadnet.evidence.region import Region
    from spreadnet.model.trips import Movement

    Array = NDArray[np.floating]
    Positions = NDArray[np.integer]

ENDLESS = 1e9  # hours of a survey after which all of a landing is known
WORTH_A_LINE = 0.01  # of the first landing's gain; those that gain less are not listed


@dataclass(frozen=True, slots=True, eq=False)
class SurveyList:
    """
    What one more survey shift at each landing would gain.

    Attributes
    ----------
    table : DataFrame, index landing_id
        In the region's order. `survey_rank`: 1 where most is gained, missing where nothing is;
        `gain`: infestations (weighted, over all seasons) that are expected to be avoided besides,
        because hours are then placed better; `chance_of_change`: chance that hours move;
        `sharpens`: what it tells most of, one of `SHARPENS`; `survey_when`: day block that tells
        most; `contacts_launching`, `contacts_retrieving`: expected in the shift;
        `avoided_per_100_hours`, and the width of its 90% interval `width_now` and, as far as can
        be expected, `width_after`; `hours_ranked`: hours a season that the ranking places there.
    shift_hours : float
        Length of the survey shift.
    shift_avoids : float
        What one shift of education avoids where the last hours are placed, beside which the gain
        can be seen.
    seasons : int
        Seasons looked ahead.
    """

    table: pd.DataFrame
    shift_hours: float
    shift_avoids: float
    seasons: int


def survey_next(
    region: Region,
    evidence: Evidence,
    movement: Movement,
    *,
    run: Run,
    hours: Array,
    scores: Array | None = None,
    factor: Array | float = 1.0,
) -> SurveyList:
    """
    Expected gain of one more survey shift at each landing.

    Knowing a landing better gains something only if hours may move because of it: landings near
    the border between those that get hours and those that do not, and not well known. Where
    educators can't be placed nothing is gained, however little is known, because no hours can
    move there; it may still be worth surveying for other reasons.

    Parameters
    ----------
    region : Region
        Its contacts say how often each gap is checked.
    evidence : Evidence
        Step one.
    movement : Movement
        Step two.
    run : Run
        The model at the best estimates.
    hours : array, shape (K, D)
        Hours that the ranking places.
    scores : array, shape (N, K), optional
        Avoided per 100 hours in draws, for the width of the intervals. Left out, the intervals
        hold only what more visits to the landing could tell.
    factor : array, shape (K,), or float
        What real hours avoid over what the slope says, see `shortlist.Exact`; for the table only.

    Returns
    -------
    survey : SurveyList
        In the region's order.

    Notes
    -----
    Expected value of sample information (Raiffa & Schlaifer 1961, Applied Statistical Decision
    Theory, from memory): every shift that a landing could have is compared with the shift
    elsewhere that it would replace, and the landing's value moves by as much as the answers are
    expected to move the estimates of gap rates, of where boats come from and of traffic. The
    value is taken as linear in the rates of one landing. What answers at one landing say of
    others, of the law of movement and of days out of the water is left out.
    """
    worth, reach = worth_of(run, hours), run.reach
    habits = habits_of(region.contacts, evidence)
    told, all_told = (
        told_by_a_shift(worth, habits, evidence, movement, reach=reach, hours=length)
        for length in (reach.shift_hours, ENDLESS)
    )
    values = worth.of_an_hour(reach)
    row, best = np.arange(len(values)), np.argmax(values, axis=1)
    when = np.argmax(told[:, row, best].sum(axis=0), axis=1)
    told, all_told = told[:, row, :, when], all_told[:, row, :, when]  # (K, 3, D)
    gain, chance, margin = _gains(values, np.sqrt(told.sum(axis=1)), run=run, hours=hours)
    square = np.maximum(values[row, best], 1e-300) ** 2
    table = pd.DataFrame(index=region.landings.index)
    table["survey_rank"] = _ranked(gain, list(table.index))
    table["gain"], table["chance_of_change"] = gain, chance
    table["sharpens"] = np.array(SHARPENS)[np.argmax(told[row, :, best], axis=1)]
    table["survey_when"] = _when(run, when, evidence)
    for name, boats in zip(
        ("launching", "retrieving"),
        contacts_of(evidence, reach, hours=reach.shift_hours),
        strict=True,
    ):
        table[f"contacts_{name}"] = boats[row, when]
    score = np.sum(run.per_100_hours(run.best_block()), axis=0) * factor
    table["avoided_per_100_hours"] = score
    table["width_now"], table["width_after"] = _widths(
        score,
        told=told[row, :, best].sum(axis=1) / square,
        all_told=all_told[row, :, best].sum(axis=1) / square,
        scores=None if scores is None else scores * factor,
    )
    table["hours_ranked"] = hours.sum(axis=1)
    return SurveyList(
        table, reach.shift_hours, margin * reach.shift_hours / run.seasons, run.seasons
    )


def _gains(values: Array, spread: Array, *, run: Run, hours: Array) -> tuple[Array, Array, float]:
    """Gain and chance of change of each landing, (K,), and the value of the last hour placed."""
    shift, budget = run.reach.shift_hours, float(hours.sum())
    shifts = whole_shifts(values, run.reach)
    placed = int(np.ceil(budget / shift - 1e-9))
    block, value, against = shifts_in_doubt(values, shifts, placed=placed)
    moves = np.take_along_axis(spread, block, axis=1)
    gain = min(shift, budget) * expected_gain(value, against, moves).sum(axis=1)
    change = chance_of_change(value, against, moves)
    gets = value > against
    # A landing's shifts go or come one after another: the likeliest to move says if any does.
    chance = np.where(gets, change, 0.0).max(axis=1, initial=0.0)
    chance += np.where(gets, 0.0, change).max(axis=1, initial=0.0)
    margin = np.min(value[gets], initial=np.inf)
    return gain, np.minimum(chance, 1.0), float(margin) if np.isfinite(margin) else 0.0


def _widths(
    score: Array, *, told: Array, all_told: Array, scores: Array | None
) -> tuple[Array, Array]:
    """Widths of the 90% interval of the score now and after a shift, (K,) each."""
    if scores is None:
        now = 2 * Z90 * score * np.sqrt(all_told)
        whole = all_told
    else:
        low, high = np.quantile(scores, [0.05, 0.95], axis=0)
        now = high - low
        mean = np.maximum(scores.mean(axis=0), 1e-300)
        whole = scores.var(axis=0) / mean**2
    left = np.clip(1 - told / np.maximum(whole, 1e-300), 0.0, 1.0)
    return now, now * np.sqrt(left)


def _ranked(gain: Array, ids: list[str]) -> pd.Series:
    """Order by gain, missing where nothing is gained."""
    order = pd.array(list(ranks(gain, ids)), dtype="Int64")
    order[gain <= 0] = pd.NA
    return pd.Series(order, index=ids)


def _when(run: Run, when: Positions, evidence: Evidence) -> object:
    """Day blocks in words."""
    blocks = run.reach.day_blocks
    words = (blocks["day_type"] + " " + blocks["block"]).to_numpy()
    return words[when] if evidence.traffic.timed else "not known"


def survey_words(survey: SurveyList, region: Region, *, shown: int = 10) -> str:
    """
    The landings to survey next, in words.

    Parameters
    ----------
    survey : SurveyList
        Result of `survey_next`.
    region : Region
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
        return f"{head}\n\n{why}"
    table = table[table["gain"] >= WORTH_A_LINE * table["gain"].iloc[0]].head(shown)
    meaning = (
        f"Gain = new infestations avoided over {survey.seasons} seasons, weighted as in the "
        f"ranking, because hours are then placed better. A {survey.shift_hours:g} h shift of "
        f"education where the last hours go avoids {figure(survey.shift_avoids)}. Educators who "
        "note what they find tell the same as surveyors."
    )
    lakes = region.lakes["name"]
    lines = [head, "", *textwrap.wrap(meaning, WIDTH), ""]
    for landing_id, row in table.iterrows():
        landing = region.landings.loc[landing_id]
        lines.append(
            f"{row['survey_rank']:>3}  {landing['name']} [{landing_id}], "
            f"{lakes[landing['lake_id']]}: gain {figure(row['gain'])}, hours move with chance "
            f"{row['chance_of_change']:.0%}"
        )
        lines += textwrap.wrap(
            _detail(row), WIDTH, initial_indent="     - ", subsequent_indent="       "
        )
    return "\n".join(lines)


def _detail(row: pd.Series) -> str:
    """When to go, whom one meets and what it tells."""
    when = "" if row["survey_when"] == "not known" else f"{row['survey_when']}, "
    placed = row["hours_ranked"]
    has = f"{placed:,.0f} h a season placed there now" if placed > 0 else "no hours there now"
    return (
        f"{when}about {row['contacts_launching']:.0f} boats launching and "
        f"{row['contacts_retrieving']:.0f} retrieving; tells most of {row['sharpens']}; 90% "
        f"interval {figure(row['width_now'])} wide now, {figure(row['width_after'])} after; {has}"
    )
