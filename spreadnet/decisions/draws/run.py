"""The model run on one set of estimates: spread of every species and what an hour avoids."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from spreadnet.decisions.draws.parallel import in_order
from spreadnet.decisions.hours import coverage_of, hour_reach, steady, value_of_an_hour
from spreadnet.model.estimates import GROUPS, drawn_estimates
from spreadnet.model.inputs import each_species
from spreadnet.model.spread import (
    Coverage,
    expected_spread,
    gradient,
    lake_rates,
    new_infestations,
    simulate,
    total,
    totals_under,
)
from spreadnet.words import short_repr

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

    from numpy.typing import NDArray

    from spreadnet.decisions.hours import Reach
    from spreadnet.evidence.gather import Evidence
    from spreadnet.model.estimates import Estimates
    from spreadnet.model.finds import Calibration
    from spreadnet.model.inputs import Place
    from spreadnet.model.movement import Movement
    from spreadnet.model.spread import Futures, Gradient, Path, Rates, SpreadInputs

    Array = NDArray[np.floating]

ANOTHER = 1_000_000_000  # added to a draw's number for a draw that no run comes to
FUTURES = 5  # simulated for each draw; more draws tell more than more futures of one
COMPARED = 200  # draws on which ways to place hours are compared: an interval needs no more


@short_repr
@dataclass(frozen=True, slots=True, eq=False)
class Run:
    """
    Spread of every species without education, and its slope, for one set of estimates.

    `inputs`, `paths`, `slopes` and `calibration` are by species; `weights` say what one infestation
    of each counts; `seasons` are looked ahead.
    """

    weights: Mapping[str, float]
    inputs: Mapping[str, SpreadInputs]
    paths: Mapping[str, Path]
    slopes: Mapping[str, Gradient]
    calibration: Mapping[str, Calibration]
    reach: Reach
    seasons: int

    def hour_values(self) -> tuple[Array, Array]:
        """Weighted infestations avoided by an hour a season, leaving and arriving, (K, D)."""
        leaving: Array = np.zeros_like(self.reach.boats)
        arriving: Array = np.zeros_like(self.reach.boats)
        for name, slope in self.slopes.items():
            out, into = value_of_an_hour(slope, self.reach)
            leaving, arriving = (
                leaving + self.weights[name] * out,
                arriving + self.weights[name] * into,
            )
        return leaving, arriving

    def best_block(self) -> NDArray[np.intp]:
        """Day block in which an hour avoids most at each landing, (K,); ties to most boats."""
        leaving, arriving = self.hour_values()
        keys = (-self.reach.passing, -steady(leaving + arriving))
        return np.lexsort(keys, axis=1)[:, 0]

    def per_100_hours(self, block: NDArray[np.intp]) -> tuple[Array, Array]:
        """
        Avoided by 100 hours at the next hours worked in a day block, leaving and arriving, (K,).

        An hour in every season is `seasons` hours in all, so the effect of one hour a season is
        shared among them.
        """
        leaving, arriving = self.hour_values()
        row = np.arange(len(block))
        scale = 100 / self.seasons
        return scale * leaving[row, block], scale * arriving[row, block]

    def total(self, coverage: Coverage) -> float:
        """Weighted new infestations with the given coverage."""
        return sum(
            self.weights[name] * total(one, expected_spread(one, coverage, seasons=self.seasons))
            for name, one in self.inputs.items()
        )

    def slope_at(self, coverage: Coverage) -> tuple[Array, Array]:
        """Weighted infestations avoided per unit of further coverage, leaving and arriving."""
        leaving: Array = np.zeros(len(self.reach.boats))
        arriving: Array = np.zeros(len(self.reach.boats))
        for name, one in self.inputs.items():
            rates = lake_rates(one, coverage, establish=1.0)
            path = expected_spread(one, rates=rates, seasons=self.seasons)
            slope = gradient(one, coverage, path, rates=rates)
            leaving = leaving + self.weights[name] * slope.leaving
            arriving = arriving + self.weights[name] * slope.arriving
        return leaving, arriving

    def value_after(self, hours: Array) -> Array:
        """Weighted infestations avoided by one more hour a season, given hours placed, (K, D)."""
        leaving, arriving = self.slope_at(coverage_of(hours, self.reach))
        return leaving[:, None] * self.reach.leaving + arriving[:, None] * self.reach.arriving

    def new_infestations(self) -> dict[str, Array]:
        """Chance that each lake is free now and infested at the end, by species."""
        return {name: new_infestations(one, self.paths[name]) for name, one in self.inputs.items()}

    def chances_if_free(self) -> dict[str, Array]:
        """Chance of each lake being infested at the end if it is free now, by species."""
        return {name: -np.expm1(-path.cumulative_hazard[-1]) for name, path in self.paths.items()}


def run_model(
    estimates: Estimates,
    movement: Movement,
    *,
    place: Place,
    seasons: int,
    tell: Callable[[str, SpreadInputs, Rates], None] | None = None,
) -> Run:
    """
    Run the spread of every species without education, and the adjoint.

    Parameters
    ----------
    estimates : Estimates
        Best estimates or one draw.
    movement : Movement
        The law of movement.
    place : Place
        Fixed facts of the region.
    seasons : int
        Seasons to look ahead.
    tell : callable, optional
        Given each species with its inputs and rates between lakes (every introduction counted
        once), while they are at hand.

    Returns
    -------
    run : Run
        In the order of the region's landings and lakes.
    """
    inputs, calibration, paths, slopes = {}, {}, {}, {}
    for name, one, fit, rates in each_species(estimates, movement, place=place):
        inputs[name], calibration[name] = one, fit
        paths[name] = expected_spread(one, rates=rates, seasons=seasons)
        slopes[name] = gradient(one, None, paths[name], rates=rates)
        if tell is not None:
            tell(name, one, rates)
        del rates
    reach = hour_reach(estimates, place)
    return Run(place.settings.species, inputs, paths, slopes, calibration, reach, seasons)


@short_repr
@dataclass(frozen=True, slots=True, eq=False)
class Setting:
    """
    What every draw shares, sent to each process that works draws out.

    `block` (K,) is the day block that counts and `known` by species (L,) the lakes known to be
    infested, both at the best estimates; `hours` by way (K, D) are compared on the same draws, the
    first `COMPARED`. The first `redrawn` draws are repeated with each group of inputs drawn anew.
    """

    evidence: Evidence
    movement: Movement
    place: Place
    seasons: int
    seed: int
    block: NDArray[np.intp]
    known: Mapping[str, NDArray[np.bool_]]
    hours: Mapping[str, Array]
    redrawn: int


@short_repr
@dataclass(frozen=True, slots=True, eq=False)
class DrawRow:
    """What one draw gave, as in `Draws`."""

    scores: Array
    new_any: Array
    totals: Mapping[str, float]
    avoided: Array | None
    simulated: Mapping[str, Array]
    counts: Mapping[str, NDArray[np.integer]]
    redrawn: Array | None = None


@short_repr
@dataclass(frozen=True, slots=True, eq=False)
class Draws:
    """
    What N draws gave, one row a draw.

    `scores` (N, K) avoided per 100 hours in the day block that is best at the best estimates;
    `new_any` (N, L) chance of a new infestation of any species that a lake may still be free of;
    `totals` by species (N,) new infestations expected; `avoided` (at most `COMPARED`, ways) by the
    same hours;
    `simulated` by species (N, FUTURES) new infestations in single futures of each draw; `counts`
    by species (T, L) futures of all draws in which a lake is newly infested by each season;
    `redrawn` (M, G, K) scores of the first M draws with each group of `GROUPS` drawn anew.
    """

    scores: Array
    new_any: Array
    totals: Mapping[str, Array]
    avoided: Array
    simulated: Mapping[str, Array]
    counts: Mapping[str, NDArray[np.integer]]
    redrawn: Array


def setting_of(
    evidence: Evidence,
    movement: Movement,
    *,
    place: Place,
    best: Run,
    hours: Mapping[str, Array],
    seed: int,
    redrawn: int = 0,
) -> Setting:
    """
    What the draws share, from the model at the best estimates.

    Parameters
    ----------
    evidence, movement, place
        As for `run_model`.
    best : Run
        The model at the best estimates: says which day block counts and which lakes are infested.
    hours : mapping of way to array, shape (K, D)
        Hours placed in each way, compared on the same draws.
    seed : int
        Seed of the run.
    redrawn : int
        Draws that are repeated with each group of inputs drawn anew.

    Returns
    -------
    setting : Setting
        The same for every draw.
    """
    known = {name: one.initial == 1 for name, one in best.inputs.items()}
    return Setting(
        evidence,
        movement.packed(),
        place,
        best.seasons,
        seed,
        best.best_block(),
        known,
        dict(hours),
        redrawn,
    )


def run_draw(setting: Setting, draw: int) -> DrawRow:
    """
    Run the model on one draw of everything uncertain.

    Parameters
    ----------
    setting : Setting
        What every draw shares.
    draw : int
        Number of the draw, 0 or more.

    Returns
    -------
    row : DrawRow
        The same for the same seed and draw, wherever it is worked out.
    """
    row, by_education = _draw_row(setting, draw)
    if draw < setting.redrawn:
        row = replace(row, redrawn=_redrawn(setting, draw, by_education))
    return row


def _draw_row(setting: Setting, draw: int) -> tuple[DrawRow, Array]:
    """
    What a draw gives, and its scores with other education; its trips are let go after that.

    What educators do changes neither the spread without them nor its slope, so this one repeat
    needs no new run.
    """
    estimates = drawn_estimates(setting.evidence, setting.movement, seed=setting.seed, draw=draw)
    futures: dict[str, Futures] = {}

    def let_spread(name: str, one: SpreadInputs, rates: Rates) -> None:
        futures[name] = simulate(
            one,
            seasons=setting.seasons,
            seed=setting.seed,
            species=name,
            futures=range(draw * FUTURES, (draw + 1) * FUTURES),
            rates=rates.times(one.establish),
        )

    run = run_model(
        estimates,
        setting.movement,
        place=setting.place,
        seasons=setting.seasons,
        tell=let_spread,
    )
    other = _others(setting, draw, "education")
    left = (1 - other.education_ratio) / max(1 - estimates.education_ratio, 1e-12)
    by_education = replace(run, reach=hour_reach(other, setting.place))
    row = DrawRow(
        scores=np.sum(run.per_100_hours(setting.block), axis=0),
        new_any=any_new(run, setting.known),
        totals={name: float(new.sum()) for name, new in run.new_infestations().items()},
        avoided=avoided_by(run, setting.hours) if draw < COMPARED else None,
        simulated={name: one.new() for name, one in futures.items()},
        counts={name: one.counts_by_season() for name, one in futures.items()},
    )
    return row, left * np.sum(by_education.per_100_hours(setting.block), axis=0)


def _redrawn(setting: Setting, draw: int, by_education: Array) -> Array:
    """Scores of a draw with each group of inputs taken from another one, (G, K)."""
    return np.array(
        [
            by_education
            if group == "education"
            else _scores(setting, _others(setting, draw, group))
            for group in GROUPS
        ]
    )


def _others(setting: Setting, draw: int, group: str) -> Estimates:
    """Estimates of a draw with one group of inputs taken from another one."""
    return drawn_estimates(
        setting.evidence,
        setting.movement,
        seed=setting.seed,
        draw=draw,
        others={group: draw + ANOTHER},
    )


def _scores(setting: Setting, estimates: Estimates) -> Array:
    """Avoided per 100 hours at each landing for one set of estimates, (K,)."""
    run = run_model(estimates, setting.movement, place=setting.place, seasons=setting.seasons)
    return np.sum(run.per_100_hours(setting.block), axis=0)


def run_draws(
    setting: Setting,
    draws: range,
    *,
    workers: int | None,
    step: Callable[[int, int, str], None],
) -> Draws:
    """
    Run the model on draws of everything uncertain.

    Parameters
    ----------
    setting : Setting
        What every draw shares.
    draws : range
        Numbers of the draws, one or more; a part of them gives the same rows as the whole.
    workers : int or None
        Processes, see `parallel.in_order`.
    step : callable
        Told `(done, draws, what)` after each draw.

    Returns
    -------
    draws : Draws
        The same for the same seed on any number of workers.
    """
    numbers, species = len(draws), list(setting.place.status)
    n_lakes = len(setting.place.worth)
    scores = np.empty((numbers, len(setting.block)))
    new_any = np.empty((numbers, n_lakes), np.float32)  # a thousand draws of a state are large
    totals = {name: np.empty(numbers) for name in species}
    simulated = {name: np.empty((numbers, FUTURES)) for name in species}
    counts = {name: np.zeros((setting.seasons, n_lakes), np.int64) for name in species}
    avoided, redrawn = [], []
    results = in_order(run_draw, setting, draws, workers=workers, threads=setting.movement.compiled)
    for at, row in enumerate(results):
        scores[at], new_any[at] = row.scores, row.new_any
        for name in species:
            totals[name][at], simulated[name][at] = row.totals[name], row.simulated[name]
            counts[name] += row.counts[name]
        avoided += [] if row.avoided is None else [row.avoided]
        redrawn += [] if row.redrawn is None else [row.redrawn]
        step(at + 1, numbers, "drawing")
    return Draws(
        scores=scores,
        new_any=new_any,
        totals=totals,
        avoided=np.array(avoided),
        simulated=simulated,
        counts=counts,
        redrawn=np.array(redrawn).reshape(-1, len(GROUPS), len(setting.block)),
    )


def avoided_by(run: Run, hours: Mapping[str, Array]) -> Array:
    """
    Weighted infestations avoided by hours placed in each way.

    Parameters
    ----------
    run : Run
        The model on one set of estimates.
    hours : mapping of way to array, shape (K, D)
        Hours a season.

    Returns
    -------
    avoided : array, shape (ways,)
        In the order of `hours`.
    """
    nobody = Coverage.none(len(run.reach.boats))
    totals = totals_of(run, [nobody, *(coverage_of(each, run.reach) for each in hours.values())])
    return totals[0] - totals[1:]


def totals_of(
    run: Run, coverages: Sequence[Coverage], *, rates: Mapping[str, Rates] | None = None
) -> Array:
    """
    Weighted new infestations under each of several coverages.

    Parameters
    ----------
    run : Run
        The model on one set of estimates.
    coverages : sequence of Coverage, length P
        Shares of boats reached in every season.
    rates : mapping of species to Rates, optional
        As `run_model` tells them, where they were kept.

    Returns
    -------
    totals : array, shape (P,)
        To be compared with others from here: last bits differ from those of `Run.total`.
    """
    together = Coverage.together(coverages)
    totals = np.zeros(len(coverages))
    for name, one in run.inputs.items():
        known = None if rates is None else rates[name]
        under = totals_under(one, together, seasons=run.seasons, rates=known)
        totals = totals + run.weights[name] * under
    return totals


def any_new(run: Run, known: Mapping[str, NDArray[np.bool_]]) -> Array:
    """
    Chance of a new infestation of any species that the lake is not known to have.

    Parameters
    ----------
    run : Run
        The model on one set of estimates.
    known : mapping of species to array of bool, shape (L,)
        Lakes known to be infested.

    Returns
    -------
    chance : array, shape (L,)
        If the lake is free of these species now; 0 where it has them all.
    """
    return any_of(
        [np.where(known[name], 0.0, chance) for name, chance in run.chances_if_free().items()]
    )


def any_of(chances: list[Array]) -> Array:
    """
    Chance of at least one of several independent events.

    Examples
    --------
    >>> any_of([np.array([0.5, 0.0]), np.array([0.5, 0.1])])
    array([0.75, 0.1 ])
    """
    return 1 - np.prod([1 - chance for chance in chances], axis=0)
