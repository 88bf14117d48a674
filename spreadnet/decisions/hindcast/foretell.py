"""Fit on what was known before a year, and score the finds since."""

from __future__ import annotations

from dataclasses import dataclass
from numbers import Integral
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from scipy.optimize import brentq

from spreadnet.chance import stream
from spreadnet.decisions.draws import in_order
from spreadnet.decisions.hindcast.past import (
    known_lakes,
    last_year_foretold,
    past_region,
    what_was_left_out,
    years_of_finds,
)
from spreadnet.decisions.hindcast.scores import auc, brier, groups, hits
from spreadnet.decisions.hindcast.simple_rules import RULES, foretold_by_rules, nearest_km
from spreadnet.evidence.estimating import find_years
from spreadnet.evidence.gather import gather_evidence
from spreadnet.model.distance import landing_and_lake_points
from spreadnet.model.estimates import drawn_estimates
from spreadnet.model.finds import foretold_finds
from spreadnet.model.inputs import place_of, spread_inputs, watched
from spreadnet.model.movement import fit_movement
from spreadnet.model.spread import Coverage, expected_spread
from spreadnet.words import short_repr

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

    from spreadnet.assumptions import Assumptions
    from spreadnet.evidence.gather import Evidence
    from spreadnet.evidence.region import Note, Region
    from spreadnet.model.inputs import Place
    from spreadnet.model.movement import Movement
    from spreadnet.options import Settled

    Array = NDArray[np.floating]

MODEL = "spreadnet"
PREDICTORS = (MODEL, *RULES)
ENOUGH_SINCE, ENOUGH_BEFORE = 5, 3  # finds below which scores say next to nothing
ALL = "all"


@short_repr
@dataclass(frozen=True, slots=True, eq=False)
class Hindcast:
    """
    What the model would have foretold, and what came.

    Attributes
    ----------
    region : str
        Name of the region.
    from_year, through : int
        First and last year that was foretold.
    draws, seed : int
        Draws over which chances are averaged, and the seed.
    finds : DataFrame, index species
        `label` of the species; `before` and `since`: dated finds; `lakes` that were foretold and
        the finds `expected` in them, a median with its 90% interval `expected_low`,
        `expected_high`; `enough`: whether scores mean something.
    scores : DataFrame, index species, predictor
        `auc` with `auc_low`, `auc_high`; `hits_5`, `hits_10`, `hits_20` finds among the first of
        the list; `brier`, and `brier_skill` over the same chance for all; `expected` finds.
    lakes : DataFrame
        One row a lake and species that could be foretold: `lake_id`, `name`, `species`, `chance`,
        `found`, `year`, `area_ha`, `distance_km` to the nearest lake known infested, `launches`.
    groups : DataFrame, index species
        What came by what was foretold, see `foretelling.groups`.
    notes : tuple of Note
        What was left out so that nothing learned later leaks in.
    """

    region: str
    from_year: int
    through: int
    draws: int
    seed: int
    finds: pd.DataFrame
    scores: pd.DataFrame
    lakes: pd.DataFrame
    groups: pd.DataFrame
    notes: tuple[Note, ...]


def hindcast(
    region: Region,
    *,
    from_year: int,
    options: Settled,
    assumptions: Assumptions | None = None,
    drop_later_visits: bool = False,
) -> Hindcast:
    """
    Foretell the finds since a year from what was known before it, and score that.

    Parameters
    ----------
    region : Region
        As `read_region` gives it.
    from_year : int
        First year foretold; the last is that of the latest find or of the past that the region
        knows of, whichever is later.
    options : Settled
        Chances are averaged over its draws; the years foretold stand for its seasons.
    assumptions : Assumptions, optional
        As for `assess`.
    drop_later_visits : bool
        Leave out visits and contacts from `from_year` on too. They are kept otherwise: they say
        how boats move, which is taken not to change, and nothing of what is infested.

    Returns
    -------
    hindcast : Hindcast
        Scores beside those of simpler rules fitted to the same earlier finds.

    Raises
    ------
    ModelError
        If no find is dated before the year, or the year lies beyond what is known.
    ValueError
        If the year is not a whole number.
    """
    _check_year(from_year)
    draws, seed = options.draws, options.seed
    years = years_of_finds(region)
    through = last_year_foretold(region, years, from_year=from_year)
    past = past_region(region, from_year=from_year, drop_later_visits=drop_later_visits)
    evidence = gather_evidence(past, assumptions=assumptions)
    movement = fit_movement(past, evidence, seed=seed)
    chances, counts = _chances(
        past, evidence, movement, years=through - from_year + 1, options=options
    )
    launches = np.bincount(
        movement.landing_lake,
        evidence.traffic.table["launches"].to_numpy(float),
        minlength=len(region.lakes),
    ).astype(float)
    foretold = [
        _foretold(
            region,
            past,
            name,
            chance=chances[name],
            launches=launches,
            span=(from_year, through),
        )
        for name in years
    ]
    scores = pd.concat(
        [_scores(one) for one in foretold], keys=list(years), names=["species", "predictor"]
    )
    lakes = pd.concat(foretold, ignore_index=True).rename(columns={MODEL: "chance"})
    before = {name: int((year < from_year).sum()) for name, year in years.items()}
    return Hindcast(
        region=region.settings.name,
        from_year=from_year,
        through=through,
        draws=draws,
        seed=seed,
        finds=_finds(lakes, before, {n: evidence.species[n].label for n in years}, counts),
        scores=scores,
        lakes=lakes.drop(columns=list(RULES)),
        groups=_all_groups(lakes),
        notes=tuple(
            what_was_left_out(region, from_year=from_year, drop_later_visits=drop_later_visits)
        ),
    )


def _check_year(year: object) -> None:
    """Refuse what is not a whole number of 1 or more."""
    whole = isinstance(year, Integral) and not isinstance(year, bool)
    if not whole or year < 1:  # type: ignore[operator]
        message = f"Invalid from_year '{year}'. It must be a whole number of 1 or more."
        raise ValueError(message)


def _chances(
    past: Region, evidence: Evidence, movement: Movement, *, years: int, options: Settled
) -> tuple[dict[str, Array], dict[str, Array]]:
    """
    Chance of a find in each lake, and finds in all in each draw, by species.

    Chances are means over draws of the spread by boats, or where no landing is listed of what the
    finds alone have taught. Where they taught enough, the finds in all come from courses in which
    each find sends boats too, and chances are scaled to add up to their median.
    """
    place = place_of(past, evidence, movement)
    shared = (evidence, movement, place, options.seed, years)
    each: dict[str, list[Array]] = {}
    drawn = in_order(_draw, shared, range(options.draws), workers=options.workers)
    for done, one_draw in enumerate(drawn, 1):
        for name, chance in one_draw.items():
            each.setdefault(name, []).append(chance)
        options.progress.step(done, options.draws, "foretelling")
    chances = {name: np.mean(each[name], axis=0) for name in each}
    counts = {name: np.sum(each[name], axis=1) for name in each}
    for name, one in movement.finds.species.items():
        found: Array = np.zeros(options.draws)
        for draw in range(options.draws):
            rng = stream(options.seed, f"finds foretold {name}", draw)
            values = one.fit.draw(rng)
            course = foretold_finds(one.fit, values, rng, ahead=one.ahead, seasons=years)
            found[draw] = (course < years).sum()
        hazard = -np.log1p(-np.minimum(chances[name], 1 - 1e-9))
        chances[name] = _adding_up(hazard, float(np.median(found)))
        counts[name] = found
    return chances, counts


def _adding_up(hazard: Array, total: float) -> Array:
    """Chances in the order of hazards that add up to a number of finds."""
    at_risk = int((hazard > 0).sum())
    if not 0 < total < at_risk:
        return np.where(hazard > 0, min(max(total, 0.0), 1.0), 0.0)
    middle = float(np.log(total / hazard.sum()))
    scale = brentq(lambda s: float(-np.expm1(-np.exp(s) * hazard).sum() - total), middle - 1, 60)
    return np.asarray(-np.expm1(-np.exp(scale) * hazard))


def _draw(shared: tuple[Evidence, Movement, Place, int, int], draw: int) -> dict[str, Array]:
    """Chance that each lake's first find falls in the years foretold, in one draw."""
    evidence, movement, place, seed, years = shared
    estimates = drawn_estimates(evidence, movement, seed=seed, draw=draw)
    inputs, _ = spread_inputs(estimates, movement, place=place)
    nobody = Coverage.none(len(place.landing_ids))
    chances = {}
    for name, one in inputs.items():
        path = expected_spread(one, nobody, seasons=years)
        known = watched(name, estimates, place=place)
        yearly = estimates.species[name].values["found_in_year"]
        chances[name] = _found_chance(path.cumulative_hazard, one.initial, known, yearly)
        told = None if estimates.told is None else estimates.told.species.get(name)
        if told is not None:
            elsewhere = np.ones(len(known), bool)
            elsewhere[movement.landing_lake] = False
            alone = -np.expm1(-years * told.season.hazard[elsewhere])
            chances[name][elsewhere] = np.maximum(chances[name][elsewhere], alone)
    return chances


def _found_chance(hazards: Array, initial: Array, known: Array, yearly: float) -> Array:
    """
    Chance of a first find: infested in a year and found after the delay, or unseen until now.

    Of lakes that hold it unseen, those are still to be found that came in lately; with the delay
    as it is, and lakes infested in any of the last years alike, that is about one year's finds.
    """
    years = len(hazards) - 1
    missed = 1 - yearly
    free = np.exp(-hazards)
    new = free[:-1] - free[1:]
    delay = 1 - missed ** np.arange(years, 0, -1)
    since = (new * delay[:, None]).sum(axis=0) * known
    waiting = known * missed
    unseen = waiting / np.maximum(waiting + 1 - known, 1e-12) * (1 - missed**years)
    return (1 - initial) * since + initial * unseen


def _foretold(
    region: Region,
    past: Region,
    name: str,
    *,
    chance: Array,
    launches: Array,
    span: tuple[int, int],
) -> pd.DataFrame:
    """
    One row a lake that could be foretold, with what the model and every rule said of it.

    Lakes known infested then are left out, and those whose find has no date.
    """
    year = find_years(region.status, region.lakes, name)
    then = known_lakes(past, name)
    counted = ~then & ~(known_lakes(region, name) & ~np.isfinite(year))
    _, points = landing_and_lake_points(region.landings, region.lakes)
    area_ha = region.lakes["area_ha"].to_numpy(float)
    rules = foretold_by_rules(year, area_ha=area_ha, launches=launches, points=points, span=span)
    table = pd.DataFrame(
        {
            "lake_id": region.lakes.index,
            "name": region.lakes["name"].to_numpy(),
            "species": name,
            MODEL: chance,
            "found": np.isfinite(year),
            "year": year,
            "area_ha": area_ha,
            "distance_km": nearest_km(points, then),
            "launches": launches,
            **rules,
        }
    )
    return table[counted]


def _scores(foretold: pd.DataFrame) -> pd.DataFrame:
    """Scores of the model and of the rules for one species."""
    found = foretold["found"].to_numpy(bool)
    same = brier(foretold["same for all"].to_numpy(float), found)
    rows = {}
    for predictor in PREDICTORS:
        chance = foretold[predictor].to_numpy(float)
        area, low, high = auc(chance, found)
        score = brier(chance, found)
        rows[predictor] = {
            "auc": area,
            "auc_low": low,
            "auc_high": high,
            **{f"hits_{first}": n for first, n in hits(chance, found).items()},
            "brier": score,
            "brier_skill": 1 - score / same if same > 0 else np.nan,
            "expected": float(chance.sum()),
        }
    return pd.DataFrame.from_dict(rows, orient="index")


def _finds(
    lakes: pd.DataFrame,
    before: Mapping[str, int],
    labels: Mapping[str, str],
    counts: Mapping[str, Array],
) -> pd.DataFrame:
    """Finds before and since by species."""
    ends = {name: np.quantile(count, [0.05, 0.5, 0.95]) for name, count in counts.items()}
    by_species = lakes.groupby("species", sort=False)
    table = pd.DataFrame(
        {
            "label": pd.Series(labels),
            "before": pd.Series(before),
            "since": by_species["found"].sum(),
            "lakes": by_species.size(),
            "expected": pd.Series({name: each[1] for name, each in ends.items()}),
            "expected_low": pd.Series({name: each[0] for name, each in ends.items()}),
            "expected_high": pd.Series({name: each[2] for name, each in ends.items()}),
        }
    )
    table["enough"] = (table["since"] >= ENOUGH_SINCE) & (table["before"] >= ENOUGH_BEFORE)
    return table.rename_axis("species")


def _all_groups(lakes: pd.DataFrame) -> pd.DataFrame:
    """Groups of each species and, where there are several, of all together."""
    parts = {
        str(name): groups(part["chance"].to_numpy(float), part["found"].to_numpy(bool))
        for name, part in lakes.groupby("species", sort=False)
    }
    if len(parts) > 1:
        parts[ALL] = groups(lakes["chance"].to_numpy(float), lakes["found"].to_numpy(bool))
    return pd.concat(parts, names=["species", "group"]).droplevel("group")
