"""What one survey shift at a landing would tell of the value of an hour there."""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import TYPE_CHECKING

import numpy as np

from spreadnet.decisions.hours import coverage_of, met_in_an_hour
from spreadnet.decisions.surveys.value import learned
from spreadnet.evidence.estimating import WATERS
from spreadnet.evidence.region import DIRECTIONS, GAPS
from spreadnet.evidence.statistics import START_EFFECT
from spreadnet.model.movement import TRAFFIC, within_lake_split
from spreadnet.model.spread import covered, expected_spread, gradient
from spreadnet.words import short_repr

if TYPE_CHECKING:
    import pandas as pd
    from numpy.typing import NDArray

    from spreadnet.decisions.draws import Run
    from spreadnet.decisions.hours import Reach
    from spreadnet.evidence.gather import Evidence
    from spreadnet.evidence.statistics import Pooled
    from spreadnet.model.movement import Movement
    from spreadnet.model.spread import Coverage, SpreadInputs

    Array = NDArray[np.floating]
    Positions = NDArray[np.integer]

SHARPENS = ("gap rates", "where boats come from", "traffic")
LAUNCHING, RETRIEVING = (DIRECTIONS.index(d) for d in ("launching", "retrieving"))
OTHER, OUTSIDE = (WATERS.index(w) for w in ("other", "outside"))


@short_repr
@dataclass(frozen=True, slots=True, eq=False)
class Worth:
    """
    Avoided by reaching all boats of each landing, with hours placed as they are; K landings.

    Attributes
    ----------
    leaving, arriving : arrays, shape (R, K)
        By route; all species, weighted.
    from_outside : array, shape (K,)
        Share of arriving that boats from outside the region have.
    hazard, unseen : arrays, shape (K,)
        Lakes that are brought more are lost sooner whatever is done, or are lost already: what
        arriving boats count falls by these shares of the growth of what they bring.
    """

    leaving: Array
    arriving: Array
    from_outside: Array
    hazard: Array
    unseen: Array

    def of_an_hour(self, reach: Reach) -> Array:
        """Avoided by one more hour a season, (K, D)."""
        leaving, arriving = self.leaving.sum(axis=0), self.arriving.sum(axis=0)
        return leaving[:, None] * reach.leaving + arriving[:, None] * reach.arriving


@short_repr
@dataclass(frozen=True, slots=True, eq=False)
class Unsure:
    """
    How unsure a landing's own numbers are, as shares of what they count; K landings.

    Pairs of a variance and the variance of one boat met, of what boats `leaving` and `arriving`
    count through each gap (G, K) and of what those arriving count through the `waters` they come
    from (K,); and the variance of the landing's `traffic` over its square (K,).
    """

    leaving: tuple[Array, Array]
    arriving: tuple[Array, Array]
    waters: tuple[Array, Array]
    traffic: Array

    def all(self) -> Told:
        """What would be told if all became known, (K,) each."""
        gaps = (self.leaving[0].sum(axis=0), self.arriving[0].sum(axis=0))
        return Told(*gaps, self.waters[0], self.traffic)


@short_repr
@dataclass(frozen=True, slots=True, eq=False)
class Told:
    """
    Variance that a survey shift tells about, of the numbers of `Unsure`, in all gaps together.

    Shapes (K, D) by day block of the survey, or (K,).
    """

    leaving: Array
    arriving: Array
    waters: Array
    traffic: Array

    def at(self, rows: Positions, block: Positions | None = None) -> Told:
        """Of some landings, each in one day block of the survey where blocks are given."""
        cells = rows if block is None else (rows, block)
        return Told(*(getattr(self, f.name)[cells] for f in fields(self)))


@short_repr
@dataclass(frozen=True, slots=True, eq=False)
class Response:
    """
    How the value of an hour at K landings responds to what is learned of the landing alone.

    Attributes
    ----------
    leaving, arriving : arrays, shape (K, D)
        Parts of the value of an hour, by day block of the hour.
    hazard, unseen : arrays, shape (K,)
        As in `Worth`.
    drawn : array, shape (K,)
        Share of what arrives that follows the landing's traffic.
    split : array, shape (K,)
        Share of its lake's boats that use the landing.
    pull : float
        Exponent with which boats follow the traffic of a lake; NaN where trips are given.
    passing : array, shape (K, D)
        Boats passing in an hour.
    contacts_per_hour, visit_spread : float
        Boats that a crew has hands for, and how hours differ, as in `met_in_an_hour`.
    """

    leaving: Array
    arriving: Array
    hazard: Array
    unseen: Array
    drawn: Array
    split: Array
    pull: float
    passing: Array
    contacts_per_hour: float
    visit_spread: float

    def at(self, rows: Positions, block: Positions | None = None) -> Response:
        """Of some landings, each in one day block of the hour where blocks are given, (n, 1)."""
        given = {f.name: getattr(self, f.name) for f in fields(self)}
        for name, value in given.items():
            if not isinstance(value, float):
                wide = value.ndim == 2 and block is not None
                given[name] = value[rows, block][:, None] if wide else value[rows]
        return Response(**given)

    def values(self, leaving: Array, arriving: Array, traffic: Array) -> Array:
        """
        Value of an hour, (K, D, Q), with what each depends on times a factor, (K, Q) each.

        Exact for the split of a lake's boats and for crews with their hands full; for lakes that
        are brought more, good to some percent for changes by half (a test).
        """
        brought = arriving * (1 - self.drawn[:, None] * (1 - traffic))
        more = brought - 1
        into = brought * np.exp(-self.hazard[:, None] * more) / (1 + self.unseen[:, None] * more)
        out = leaving
        if not np.isnan(self.pull):
            lake = 1 - self.split[:, None] * (1 - traffic)
            out = leaving * traffic * np.maximum(lake, 1e-12) ** (self.pull - 1)
        both = self.leaving[:, :, None] * out[:, None] + self.arriving[:, :, None] * into[:, None]
        met_now, met_then = (
            met_in_an_hour(boats, self.contacts_per_hour, spread=self.visit_spread)
            for boats in (self.passing[:, :, None], self.passing[:, :, None] * traffic[:, None])
        )
        before = np.maximum(met_now * traffic[:, None], 1e-300)
        return both * np.where(met_then > 0, met_then / before, 1.0)


@short_repr
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
    leaving, arriving, outside, hazard, unseen = (
        np.sum(part, axis=0) for part in zip(*parts, strict=True)
    )
    whole = np.maximum(arriving.sum(axis=0), 1e-300)
    return Worth(
        leaving, arriving, np.minimum(outside / whole, 1.0), hazard / whole, unseen / whole
    )


def _worth_of_one(
    one: SpreadInputs, coverage: Coverage, *, seasons: int
) -> tuple[Array, Array, Array, Array, Array]:
    """Leaving and arriving by route; of arriving what is from outside, hazard and unseen, (K,)."""
    path = expected_spread(one, coverage, seasons=seasons)
    slope = gradient(one, coverage, path)
    lake = one.landing_lake
    routes = one.education_effect[:, None] * one.arriving
    routes = (routes * (one.weights * one.outside_leaving)[:, None]).sum(axis=0)
    by_lake = one.establish * slope.lake_value.sum(axis=0)[lake]
    left, into = covered(one, coverage)
    held = path.infested[:-1].sum(axis=0)[lake]  # seasons, summed
    carried = one.trips.into(left.T * held[:, None])
    carried += seasons * one.outside_boats[:, None] * one.outside_leaving
    brought = (carried * into.T) @ one.weights
    hazard = one.allee_exponent * one.habitat[lake] * one.establish * brought
    # Of lakes that may hold it unseen, those that were brought more hold it the likelier.
    share = np.minimum(hazard / np.maximum(path.cumulative_hazard[-1][lake], 1e-300), 1.0)
    return (
        slope.leaving_routes,
        slope.arriving_routes,
        by_lake * one.outside_boats * routes,
        slope.arriving * hazard,
        slope.arriving * one.initial[lake] * share,
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


def unsure_of(worth: Worth, habits: Habits, evidence: Evidence, movement: Movement) -> Unsure:
    """
    How unsure each landing's own numbers are, and how much one boat met says of them.

    Parameters
    ----------
    worth : Worth
        What reaching all boats would avoid.
    habits : Habits
        How often questions are answered.
    evidence, movement
        Steps one and two.

    Returns
    -------
    unsure : Unsure
        In the order of the landings.

    Notes
    -----
    What reaching boats avoids is in proportion to the landing's own gap rates and shares of
    waters. One boat says the less the more alike boats of one visit are, and the more seldom it
    is asked.
    """
    return Unsure(
        leaving=_in_gaps(worth.leaving, habits, evidence, direction=RETRIEVING),
        arriving=_in_gaps(worth.arriving, habits, evidence, direction=LAUNCHING),
        waters=_in_waters(worth, habits, evidence, movement),
        traffic=evidence.traffic.own_spread(),
    )


def told_by_a_shift(unsure: Unsure, evidence: Evidence, *, reach: Reach, hours: float) -> Told:
    """
    What a survey shift is expected to tell of each landing, by day block of the survey.

    Parameters
    ----------
    unsure : Unsure
        How unsure the landings' numbers are.
    evidence : Evidence
        Step one: when how many boats pass.
    reach : Reach
        At the best estimates.
    hours : float
        Length of the survey shift.

    Returns
    -------
    told : Told
        Shapes (K, D).

    Notes
    -----
    All boats launched are counted, spoken with or not, and count for less the more visits differ.
    """
    launching, retrieving = contacts_of(evidence, reach, hours=hours)
    boats = hours * evidence.traffic.launch_rate
    boats = boats / (1 + evidence.traffic.rates.visit_spread**2 * boats)
    traffic = unsure.traffic[:, None]
    waters, each = (part[:, None] for part in unsure.waters)
    return Told(
        leaving=_told_in_gaps(unsure.leaving, retrieving),
        arriving=_told_in_gaps(unsure.arriving, launching),
        waters=learned(waters, each, launching),
        traffic=learned(traffic, np.ones_like(traffic), boats),
    )


def response_of(worth: Worth, evidence: Evidence, movement: Movement, *, reach: Reach) -> Response:
    """
    How the value of an hour responds to what is learned of a landing.

    Parameters
    ----------
    worth : Worth
        What reaching all boats would avoid.
    evidence, movement
        Steps one and two.
    reach : Reach
        At the best estimates.

    Returns
    -------
    response : Response
        In the order of the landings.
    """
    launches = np.maximum(evidence.traffic.table["launches"].to_numpy(float), 1e-6)
    given = movement.ready is not None  # trips of a ready table do not follow traffic
    return Response(
        leaving=worth.leaving.sum(axis=0)[:, None] * reach.leaving,
        arriving=worth.arriving.sum(axis=0)[:, None] * reach.arriving,
        hazard=worth.hazard,
        unseen=worth.unseen,
        drawn=worth.from_outside if given else np.ones(len(launches)),
        split=within_lake_split(launches, movement.group),
        pull=np.nan if given else _pull_of_traffic(movement),
        passing=reach.passing,
        contacts_per_hour=evidence.contacts_per_hour.value,
        visit_spread=evidence.traffic.rates.visit_spread,
    )


def _told_in_gaps(unsure: tuple[Array, Array], boats: Array) -> Array:
    """Variance told by boats met (K, D), of all gaps together, (K, D)."""
    told = np.zeros_like(boats)
    for variance, each in zip(*unsure, strict=True):
        told += learned(variance[:, None], each[:, None], boats)
    return told


def _in_gaps(
    worth: Array, habits: Habits, evidence: Evidence, *, direction: int
) -> tuple[Array, Array]:
    """Variance of a direction's worth through each gap, over its square, and that of one boat."""
    checked = evidence.gaps.table["checked"].to_numpy(float)
    checked = checked.reshape(-1, len(DIRECTIONS), len(GAPS))[:, direction].sum(axis=0)
    share = worth / np.maximum(worth.sum(axis=0), 1e-300)
    variances, each = np.zeros((2, len(GAPS), worth.shape[1]))
    for gap in range(len(GAPS)):
        rate = evidence.gaps.rates[direction][gap]
        counts = share[gap] * _by_rate(rate, evidence, direction=direction)
        variances[gap], each[gap] = rate.own_spread() * counts**2
        each[gap] *= _alike(checked[gap], rate.checked.sum())
    return variances, _asked(each, habits.checked[direction][:, None])


def _by_rate(rate: Pooled, evidence: Evidence, *, direction: int) -> Array:
    """Change of the log of a route's worth with the landing's own gap rate, (K,)."""
    mean = rate.mean()
    if direction == RETRIEVING:
        return 1 / mean
    # Rates on arriving count over the region's mean, of which the landing is part, within bounds.
    launches = evidence.traffic.table["launches"].to_numpy(float)
    whole = max(float(mean @ launches), 1e-300)
    bound = max(evidence.assumptions["arriving_bound"], 1.0)
    ratio = mean * launches.sum() / whole
    free = (ratio > 1 / bound) & (ratio < bound)
    return np.where(free, (1 - mean * launches / whole) / mean, 0.0)


def _in_waters(
    worth: Worth, habits: Habits, evidence: Evidence, movement: Movement
) -> tuple[Array, Array]:
    """Variance of the worth of boats arriving through the waters they come from, as `_in_gaps`."""
    shares = evidence.shares
    mean = shares.mean()
    counts = np.zeros_like(mean)
    counts[:, OUTSIDE] = worth.from_outside / mean[:, OUTSIDE]
    if movement.ready is None:  # trips of a ready table do not follow what boats say
        counts[:, OTHER] = (1 - worth.from_outside) / mean[:, OTHER]
    variance, each = shares.own_spread(counts)
    each = each * _alike(shares.counts.sum(), shares.answers.sum())
    return variance, _asked(each, np.array(habits.named))


def _asked(each: Array, share: Array) -> Array:
    """Variance of one boat met, where only a share of the boats met is asked."""
    known = np.broadcast_to(share > 0, each.shape)
    spread = np.divide(each, share, out=np.full(each.shape, np.inf), where=known)
    return np.maximum(spread, 1e-300)  # numbers that are sure have no spread, and nothing to learn


def _pull_of_traffic(movement: Movement) -> float:
    """How a lake's pull follows its traffic: the exponent of the law, 1 for a law of one's own."""
    if movement.fit is None:
        return 1.0
    names = list(movement.fit.attractions)
    return float(movement.coefficients[names.index(TRAFFIC)]) if TRAFFIC in names else 0.0


def _alike(answers: float, counted: float) -> float:
    """How many answers of a visit count as one, as it was found when they were pooled."""
    return answers / counted if counted > 0 else START_EFFECT
