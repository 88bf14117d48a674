"""What one survey shift at a landing would tell of the value of an hour there."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from spreadnet.decisions.coverage import coverage_of
from spreadnet.decisions.survey_value import learned
from spreadnet.evidence.pooling import START_EFFECT
from spreadnet.evidence.region import DIRECTIONS, GAPS
from spreadnet.evidence.shares import WATERS
from spreadnet.model.movement import TRAFFIC, within_lake_split
from spreadnet.model.spread import covered, expected_spread, gradient

if TYPE_CHECKING:
    import pandas as pd
    from numpy.typing import NDArray

    from spreadnet.decisions.coverage import Reach
    from spreadnet.decisions.runs import Run
    from spreadnet.evidence.gather import Evidence
    from spreadnet.evidence.pooling import Pooled
    from spreadnet.model.spread import Coverage, SpreadInputs
    from spreadnet.model.trips import Movement

    Array = NDArray[np.floating]

SHARPENS = ("gap rates", "where boats come from", "traffic")
LAUNCHING, RETRIEVING = (DIRECTIONS.index(d) for d in ("launching", "retrieving"))
OTHER, OUTSIDE = (WATERS.index(w) for w in ("other", "outside"))


@dataclass(frozen=True, slots=True, eq=False)
class Worth:
    """
    Avoided by reaching all boats of each landing, with hours placed as they are.

    `leaving`, `arriving` (R, K) by route; `from_outside` (K,) the part of arriving that boats from
    outside the region have. All species, weighted. `follows` (K,) is the change of the log of
    what arriving boats count with the log of what they bring: below 1, since a lake that is
    brought much is soon infested whatever is done, or may be already.
    """

    leaving: Array
    arriving: Array
    from_outside: Array
    follows: Array

    def of_an_hour(self, reach: Reach) -> Array:
        """Avoided by one more hour a season, (K, D)."""
        leaving, arriving = self.leaving.sum(axis=0), self.arriving.sum(axis=0)
        return leaving[:, None] * reach.leaving + arriving[:, None] * reach.arriving


@dataclass(frozen=True, slots=True, eq=False)
class Habits:
    """
    How often a question is answered, of boats spoken with.

    `checked` (2, G) by direction and gap, `named` the water a boat launched was last in; 1 where
    nobody was spoken with.
    """

    checked: Array
    named: float


def worth_of(run: Run, hours: Array) -> Worth:
    """
    What reaching all boats of each landing would further avoid, by route.

    Parameters
    ----------
    run : Run
        The model at the best estimates.
    hours : array, shape (K, D)
        Hours placed.

    Returns
    -------
    worth : Worth
        From one more run of the spread and its adjoint.
    """
    coverage = coverage_of(hours, run.reach)
    parts = [
        [run.weights[name] * part for part in _worth_of_one(one, coverage, seasons=run.seasons)]
        for name, one in run.inputs.items()
    ]
    leaving, arriving, outside, following = (
        np.sum(part, axis=0) for part in zip(*parts, strict=True)
    )
    whole = arriving.sum(axis=0)
    follows = np.divide(following, whole, out=np.ones_like(whole), where=whole > 0)
    return Worth(leaving, arriving, outside, follows)


def _worth_of_one(
    one: SpreadInputs, coverage: Coverage, *, seasons: int
) -> tuple[Array, Array, Array, Array]:
    """Leaving and arriving by route, the part from outside, and the part that follows, one species."""
    path = expected_spread(one, coverage, seasons=seasons)
    slope = gradient(one, coverage, path)
    lake = one.landing_lake
    routes = one.education_effect[:, None] * one.arriving
    routes = (routes * (one.weights * one.outside_leaving)[:, None]).sum(axis=0)
    by_lake = one.establish * slope.lake_value.sum(axis=0)[lake]
    _, rates = covered(one, coverage)
    brought = (path.carried.sum(axis=0) * rates.T) @ one.weights
    hazard = one.allee_exponent * one.habitat[lake] * one.establish * brought
    # Of lakes that may hold it unseen, those that were brought more hold it the likelier.
    share = hazard / np.maximum(path.cumulative_hazard[-1][lake], 1e-300)
    follows = 1 - hazard - one.initial[lake] * np.minimum(share, 1.0)
    return (
        slope.leaving_routes,
        slope.arriving_routes,
        by_lake * one.outside_boats * routes,
        slope.arriving * follows,
    )


def habits_of(contacts: pd.DataFrame, evidence: Evidence) -> Habits:
    """
    How often each gap was checked and the last water named.

    Parameters
    ----------
    contacts : DataFrame
        As in `Region`; may have no rows.
    evidence : Evidence
        Step one.

    Returns
    -------
    habits : Habits
        Shares of the contacts of each direction.
    """
    met = np.array([(contacts["direction"] == direction).sum() for direction in DIRECTIONS], float)
    counts = evidence.gaps.table["checked"].to_numpy(float)
    checked = counts.reshape(-1, len(DIRECTIONS), len(GAPS)).sum(axis=0)
    share = np.divide(checked, met[:, None], out=np.ones_like(checked), where=met[:, None] > 0)
    named = evidence.shares.counts.sum() / met[LAUNCHING] if met[LAUNCHING] else 1.0
    return Habits(np.minimum(share, 1.0), min(float(named), 1.0))


def contacts_of(evidence: Evidence, reach: Reach, *, hours: float) -> tuple[Array, Array]:
    """
    Boats spoken with in a shift by day block, launching and retrieving, (K, D) each.

    Parameters
    ----------
    evidence : Evidence
        Step one.
    reach : Reach
        At the best estimates.
    hours : float
        Length of the shift.

    Returns
    -------
    launching, retrieving : arrays, shape (K, D)
        As many as an educator would speak with.
    """
    spoken = hours * reach.boats / np.maximum(reach.passing, 1e-12)
    return spoken * evidence.traffic.launch_rate, spoken * evidence.traffic.retrieval_rate


def told_by_a_shift(
    worth: Worth,
    habits: Habits,
    evidence: Evidence,
    movement: Movement,
    *,
    reach: Reach,
    hours: float,
) -> Array:
    """
    Variance of the value of an hour that a survey shift is expected to tell about.

    Parameters
    ----------
    worth : Worth
        What reaching all boats would avoid.
    habits : Habits
        How often questions are answered.
    evidence, movement
        Steps one and two.
    reach : Reach
        At the best estimates.
    hours : float
        Length of the survey shift.

    Returns
    -------
    told : array, shape (3, K, D, D)
        By what is told (`SHARPENS`), landing, day block of the hour, day block of the survey.

    Notes
    -----
    What reaching boats avoids is in proportion to the landing's own gap rates and shares of
    waters, as far as `Worth.follows` says. Boats counted tell of its traffic, on which trips depend (see `_by_traffic`). Answers
    and counts are divided by how alike those of one visit are.
    """
    launching, retrieving = contacts_of(evidence, reach, hours=hours)
    leaving = _through_gaps(worth.leaving, retrieving, evidence, habits, direction=RETRIEVING)
    brought = worth.arriving * worth.follows
    arriving = _through_gaps(brought, launching, evidence, habits, direction=LAUNCHING)
    waters = _through_waters(worth, launching * habits.named, evidence, movement)
    boats = hours * evidence.traffic.launch_rate
    boats = boats / (1 + evidence.traffic.rates.visit_spread**2 * boats)
    traffic = learned(evidence.traffic.own_spread()[:, None], np.ones_like(boats), boats)
    by_traffic = _by_traffic(worth, evidence, movement, reach=reach)
    out, into = reach.leaving[:, :, None] ** 2, reach.arriving[:, :, None] ** 2
    return np.stack(
        [
            out * leaving[:, None, :] + into * arriving[:, None, :],
            into * waters[:, None, :],
            by_traffic[:, :, None] ** 2 * traffic[:, None, :],
        ]
    )


def _through_gaps(
    worth: Array, contacts: Array, evidence: Evidence, habits: Habits, *, direction: int
) -> Array:
    """Variance of a direction's worth told by checks of its gaps, (K, D)."""
    told = np.zeros_like(contacts)
    table = evidence.gaps.table["checked"].to_numpy(float)
    checked = table.reshape(-1, len(DIRECTIONS), len(GAPS))[:, direction]
    for gap in range(len(GAPS)):
        rate = evidence.gaps.rates[direction][gap]
        variance, noise = rate.own_spread()
        effect = _alike(checked[:, gap].sum(), rate.checked.sum())
        answers = contacts * habits.checked[direction, gap] / effect
        each = _by_rate(worth[gap], rate, evidence, direction=direction)
        told += each[:, None] ** 2 * learned(variance[:, None], noise[:, None], answers)
    return told


def _by_rate(worth: Array, rate: Pooled, evidence: Evidence, *, direction: int) -> Array:
    """Change of a route's worth with the landing's own gap rate, (K,)."""
    mean = rate.mean()
    if direction == RETRIEVING:
        return worth / mean
    # Rates on arriving count over the region's mean, of which the landing is part, within bounds.
    launches = evidence.traffic.table["launches"].to_numpy(float)
    whole = float(mean @ launches)
    bound = max(evidence.assumptions["arriving_bound"], 1.0)
    ratio = mean * launches.sum() / max(whole, 1e-300)
    free = (ratio > 1 / bound) & (ratio < bound)
    return np.where(free, worth / mean * (1 - mean * launches / max(whole, 1e-300)), 0.0)


def _through_waters(worth: Worth, answers: Array, evidence: Evidence, movement: Movement) -> Array:
    """Variance of the worth of boats arriving told by the waters they name, (K, D)."""
    shares = evidence.shares
    mean = shares.mean()
    from_outside = worth.from_outside
    from_other = np.maximum(worth.arriving.sum(axis=0) - from_outside, 0.0)
    if movement.ready is not None:  # trips of a ready table do not follow what boats say
        from_other = np.zeros_like(from_other)
    each = np.zeros_like(mean)
    each[:, OTHER] = worth.follows * from_other / mean[:, OTHER]
    each[:, OUTSIDE] = worth.follows * from_outside / mean[:, OUTSIDE]
    variance, noise = shares.own_spread(each)
    effect = _alike(shares.counts.sum(), shares.answers.sum())
    return learned(variance[:, None], np.maximum(noise, 1e-300)[:, None], answers / effect)


def _by_traffic(worth: Worth, evidence: Evidence, movement: Movement, *, reach: Reach) -> Array:
    """
    Change of the value of an hour with the log of the landing's own traffic, (K, D).

    Boats arriving are in proportion to it; boats leaving as far as the landing's share of its
    lake's boats, and the pull of the lake, are. A crew with its hands full reaches a smaller share.
    """
    launches = np.maximum(evidence.traffic.table["launches"].to_numpy(float), 1e-6)
    split = within_lake_split(launches, movement.group)
    pull, drawn = _pull_of_traffic(movement), float(movement.ready is None)
    outside = worth.from_outside
    arriving = outside + drawn * np.maximum(worth.arriving.sum(axis=0) - outside, 0.0)
    arriving = worth.follows * arriving
    leaving = drawn * (1 - split + pull * split) * worth.leaving.sum(axis=0)
    full = reach.boats < (1 - evidence.traffic.refusal) * reach.passing * (1 - 1e-9)
    value = leaving[:, None] * reach.leaving + arriving[:, None] * reach.arriving
    return value - np.where(full, worth.of_an_hour(reach), 0.0)


def _pull_of_traffic(movement: Movement) -> float:
    """How a lake's pull follows its traffic: the exponent of the law, 1 for a law of one's own."""
    if movement.fit is None:
        return 1.0
    names = list(movement.fit.attractions)
    return float(movement.coefficients[names.index(TRAFFIC)]) if TRAFFIC in names else 0.0


def _alike(answers: float, counted: float) -> float:
    """How many answers of a visit count as one, as it was found when they were pooled."""
    return answers / counted if counted > 0 else START_EFFECT
