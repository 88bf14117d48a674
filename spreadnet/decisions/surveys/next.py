"""Which landings more visits would tell most about, for the decision where hours go."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from spreadnet.assumptions import Z90
from spreadnet.decisions.ranking import ranks
from spreadnet.decisions.surveys.answers import (
    SHARPENS,
    contacts_of,
    habits_of,
    response_of,
    told_by_a_shift,
    unsure_of,
    worth_of,
)
from spreadnet.decisions.surveys.lakes import no_lakes
from spreadnet.decisions.surveys.value import (
    even_scores,
    gain_of_knowing,
    moved_means,
    shifts_in_doubt,
    whole_shifts,
)
from spreadnet.words import ANY_TIME, short_repr

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from spreadnet.decisions.draws import Run
    from spreadnet.decisions.surveys.answers import Response, Told
    from spreadnet.evidence.gather import Evidence
    from spreadnet.evidence.region import Region
    from spreadnet.model.movement import Movement

    Array = NDArray[np.floating]
    Positions = NDArray[np.integer]

AT_ONCE = 100  # landings worked on at a time
STEP = 1e-3  # of traffic, for the slope of the value of an hour


@short_repr
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
    drawn : bool
        Whether the intervals hold all that is unsure, or only what visits to the landing can tell.
    when : array of int, shape (K,)
        Day block of the survey shift, in the order of `Reach.day_blocks`.
    lakes : DataFrame
        Lakes to survey, see `lakes_to_survey`; empty where only landings were compared.
    """

    table: pd.DataFrame
    shift_hours: float
    shift_avoids: float
    seasons: int
    drawn: bool
    when: Positions
    lakes: pd.DataFrame = field(default_factory=no_lakes)


def survey_next(
    region: Region,
    evidence: Evidence,
    movement: Movement,
    *,
    run: Run,
    hours: Array,
    scores: Array | None = None,
    survey_hours: float | None = None,
    room: NDArray[np.bool_] | None = None,
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
    survey_hours : float, optional
        Length of the survey shift; the shift length of `region.toml` when left out.
    room : array of bool, shape (K, D), optional
        Day blocks in which a survey shift could be worked; all when left out.

    Returns
    -------
    survey : SurveyList
        In the region's order.

    Notes
    -----
    Expected value of sample information (Raiffa & Schlaifer 1961, Applied Statistical Decision
    Theory, from memory): every shift that a landing could have is compared with the shift
    elsewhere that it would replace, and the landing's value moves by as much as the answers are
    expected to move the estimates of gap rates, of where boats come from and of traffic. That it
    falls behind where a lake is lost sooner, or a crew has its hands full, is counted in. What
    answers at one landing say of others, of the law of movement and of days out of the water is
    left out.
    """
    worth, reach = worth_of(run, hours), run.reach
    length = reach.shift_hours if survey_hours is None else survey_hours
    unsure = unsure_of(worth, habits_of(region.contacts, evidence), evidence, movement)
    told = told_by_a_shift(unsure, evidence, reach=reach, hours=length)
    response = response_of(worth, evidence, movement, reach=reach)
    best = np.argmax(worth.of_an_hour(reach), axis=1)
    parts = _parts(told, response, best)
    tells = parts.sum(axis=0)
    if room is not None:
        tells = np.where(room, tells, -1.0)
    row, when = np.arange(len(best)), np.argmax(tells, axis=1)
    known = told.at(row, when)
    seen = _seen(response.at(row, best), known)[:, 0]
    gain, chance, margin = _gains(response, known, top=seen.max(axis=1), run=run, hours=hours)
    table = pd.DataFrame(index=region.landings.index)
    table["survey_rank"] = _ranked(gain, list(table.index))
    table["gain"], table["chance_of_change"] = gain, chance
    table["sharpens"] = np.array(SHARPENS)[np.argmax(parts[:, row, when], axis=0)]
    table["survey_when"] = _when(run, when, evidence)
    boats = contacts_of(evidence, reach, hours=length)
    table["contacts_launching"], table["contacts_retrieving"] = (b[row, when] for b in boats)
    score = np.sum(run.per_100_hours(run.best_block()), axis=0)
    table["avoided_per_100_hours"] = score
    table["width_now"], table["width_after"] = _widths(
        score,
        told=_spread(seen),
        all_told=_spread(_seen(response.at(row, best), unsure.all())[:, 0]),
        scores=scores,
    )
    table["hours_ranked"] = hours.sum(axis=1)
    each = margin * length / run.seasons
    return SurveyList(table, length, each, run.seasons, drawn=scores is not None, when=when)


def _parts(told: Told, response: Response, best: Positions) -> Array:
    """Variance told of the best hour's value by gaps, waters and traffic, (3, K, D of survey)."""
    hour = response.at(np.arange(len(best)), best)
    one = np.ones((len(best), 1))
    before, after = (hour.values(one, one, t)[:, 0] for t in (one, one + STEP))
    by_traffic = (after - before) / STEP
    follows = (1 - hour.hazard - hour.unseen)[:, None]
    leaving, arriving = hour.leaving**2, (hour.arriving * follows) ** 2
    return np.stack(
        [
            leaving * told.leaving + arriving * told.arriving,
            arriving * told.waters,
            by_traffic**2 * told.traffic,
        ]
    )


def _seen(response: Response, told: Told) -> Array:
    """Values that an hour may turn out to have after the survey, (K, D, Q)."""
    leaving, arriving, traffic = even_scores(3).T
    return response.values(
        moved_means(told.leaving, leaving),
        moved_means(told.arriving + told.waters, arriving),
        moved_means(told.traffic, traffic),
    )


def _spread(seen: Array) -> Array:
    """Variance of each row over the square of its mean, (K,); 0 where nothing is avoided."""
    mean = seen.mean(axis=1, keepdims=True)
    share = np.divide(seen, mean, out=np.ones_like(seen), where=mean > 0)
    return np.asarray(share.var(axis=1))


def _gains(
    response: Response, told: Told, *, top: Array, run: Run, hours: Array
) -> tuple[Array, Array, float]:
    """
    Gain and chance of change of each landing, (K,), and the value of the last hour placed.

    `top` (K,) is the most that an hour may turn out to be worth; landings far off are left out.
    """
    values = response.leaving + response.arriving
    shift, budget = run.reach.shift_hours, float(hours.sum())
    placed = int(np.ceil(budget / shift - 1e-9))
    block, value, against = shifts_in_doubt(values, whole_shifts(values, run.reach), placed=placed)
    gets, doubted = value > against, (value > 0) & (against > 0)
    near = (doubted & (gets | (top[:, None] > against))).any(axis=1)
    gain, chance = np.zeros(len(values)), np.zeros(len(values))
    for few in np.array_split(np.flatnonzero(near), max(int(near.sum()) // AT_ONCE, 1)):
        for k, seen in zip(few, _seen(response.at(few), told.at(few)), strict=True):
            used = doubted[k]
            gain[k], chance[k] = gain_of_knowing(
                value[k, used], against[k, used], seen[block[k, used]]
            )
    margin = np.min(value[gets], initial=np.inf)
    return min(shift, budget) * gain, chance, float(margin) if np.isfinite(margin) else 0.0


def _widths(
    score: Array, *, told: Array, all_told: Array, scores: Array | None
) -> tuple[Array, Array]:
    """Widths of the 90% interval of the score now and after a shift, (K,) each."""
    if scores is None:
        now = 2 * Z90 * np.sqrt(all_told) * score
        whole = all_told
    else:
        low, high = np.quantile(scores, [0.05, 0.95], axis=0)
        now = high - low
        whole = _spread(scores.T)
    left = np.clip(1 - told / np.maximum(whole, 1e-300), 0.0, 1.0)
    return now, now * np.sqrt(left)


def _ranked(gain: Array, ids: list[str]) -> pd.Series:
    """Order by gain, missing where nothing is gained."""
    return pd.Series(ranks(gain, ids), index=ids, dtype="Int64").mask(gain <= 0)


def _when(run: Run, when: Positions, evidence: Evidence) -> list[str]:
    """Day blocks in words."""
    blocks = run.reach.day_blocks
    words = (blocks["day_type"] + " " + blocks["block"]).to_numpy()
    return list(words[when]) if evidence.traffic.timed else [ANY_TIME] * len(when)
