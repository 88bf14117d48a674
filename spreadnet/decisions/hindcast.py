"""Fit on what was known before a year, and score the finds since."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from spreadnet.assumptions import DEFAULT
from spreadnet.decisions.foretelling import auc, brier, fit_rule, groups, hits
from spreadnet.decisions.parallel import in_order
from spreadnet.decisions.summary import figure
from spreadnet.errors import ModelError
from spreadnet.evidence.gather import gather_evidence
from spreadnet.evidence.region import Note
from spreadnet.evidence.status import find_years
from spreadnet.model.distance import lake_points, planar_km
from spreadnet.model.estimates import drawn_estimates
from spreadnet.model.inputs import place_of, spread_inputs, watched
from spreadnet.model.spread import Coverage, expected_spread
from spreadnet.model.trips import fit_movement

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from numpy.typing import NDArray

    from spreadnet.assumptions import Assumptions
    from spreadnet.evidence.gather import Evidence
    from spreadnet.evidence.region import Region
    from spreadnet.model.inputs import Place
    from spreadnet.model.trips import Movement

    Array = NDArray[np.floating]

PREDICTORS = ("spreadnet", "lake area alone", "distance alone", "traffic alone", "same for all")
ENOUGH_SINCE, ENOUGH_BEFORE = 5, 3  # finds below which scores say next to nothing
ALL = "all"
FAR_KM = 1000.0  # farther than this counts the same
MOST_APART = 3000  # lakes above which distances of the past are those of today


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
        the finds `expected` in them; `enough`: whether scores mean something.
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
    draws: int = 50,
    seed: int = 1,
    assumptions: Assumptions = DEFAULT,
    drop_later_visits: bool = False,
    workers: int | None = None,
    step: Callable[[int, int, str], None] = lambda *_: None,
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
    draws : int
        Draws of everything uncertain over which chances are averaged, 1 or more.
    seed : int
        Seed of the random numbers.
    assumptions : Assumptions
        As for `assess`.
    drop_later_visits : bool
        Leave out visits and contacts from `from_year` on too. They are kept otherwise: they say
        how boats move, which is taken not to change, and nothing of what is infested.
    workers : int, optional
        As for `assess`.
    step : callable
        Told `(done, draws, what)`.

    Returns
    -------
    hindcast : Hindcast
        Scores beside those of simpler rules fitted to the same earlier finds.

    Raises
    ------
    ModelError
        If no find is dated before the year, or the year lies beyond what is known.
    """
    years = {name: find_years(region.status, region.lakes, name) for name in _scope(region)}
    through = _check(region, years, from_year)
    past = past_region(region, from_year=from_year, drop_later_visits=drop_later_visits)
    evidence = gather_evidence(past, assumptions=assumptions)
    movement = fit_movement(past, evidence, seed=seed)
    place = replace(place_of(past, evidence), through=from_year - 1)
    shared = (evidence, movement, place, seed, through - from_year + 1)
    total: dict[str, Array] = {}
    for done, chances in enumerate(in_order(_draw, shared, range(draws), workers=workers), 1):
        total = {name: total.get(name, 0) + chance for name, chance in chances.items()}
        step(done, draws, "foretelling")
    launches = np.bincount(
        movement.landing_lake,
        evidence.traffic.table["launches"].to_numpy(float),
        minlength=len(region.lakes),
    ).astype(float)
    rows = [
        _lake_rows(region, past, name, chance=total[name] / draws, year=year).assign(
            launches=launches
        )
        for name, year in years.items()
    ]
    lakes = pd.concat([_near(one, region, past, movement) for one in rows], ignore_index=True)
    before = {n: int((y < from_year).sum()) for n, y in years.items()}
    tables = [
        _scores(
            lakes[lakes["species"] == name],
            past,
            launches=launches,
            year=year,
            span=(from_year, through),
        )
        for name, year in years.items()
    ]
    scores = pd.concat(tables, keys=list(years), names=["species", "predictor"])
    return Hindcast(
        region=region.settings.name,
        from_year=from_year,
        through=through,
        draws=draws,
        seed=seed,
        finds=_finds(lakes, before, {n: evidence.species[n].label for n in years}),
        scores=scores,
        lakes=lakes.drop(columns="place"),
        groups=_all_groups(lakes),
        notes=tuple(_notes(region, from_year, drop_later_visits)),
    )


def past_region(region: Region, *, from_year: int, drop_later_visits: bool = False) -> Region:
    """
    The region as it was known before a year.

    Parameters
    ----------
    region : Region
        As it is known now.
    from_year : int
        Finds and surveys of this year and later are taken away.
    drop_later_visits : bool
        Whether visits and contacts are too.

    Returns
    -------
    region : Region
        Lakes found since, and those found at an unknown time, are unknown again. A number of
        surveys that goes on past the year, or has no date, is taken away: how many were made
        before is not known.
    """
    status = region.status.copy()
    found = pd.to_datetime(status["first_found"]).dt.year
    later = (status["status"] == "present") & ~(found < from_year)
    seen_later = ~(pd.to_datetime(status["last_survey"]).dt.year < from_year)
    status.loc[later, "status"] = "unknown"
    status.loc[later, "first_found"] = pd.NaT
    unsure = later | ((status["status"] != "present") & seen_later)
    status.loc[unsure, "status"] = "unknown"
    status.loc[unsure, "surveys"] = 0
    status.loc[seen_later, "last_survey"] = pd.NaT
    if not drop_later_visits:
        return replace(region, status=status)
    earlier = region.visits["date"].dt.year < from_year
    visits = region.visits[earlier.to_numpy(bool)]
    kept = region.contacts["visit_id"].isin(visits.index)
    return replace(
        region, status=status, visits=visits, contacts=region.contacts[kept.to_numpy(bool)]
    )


def hindcast_summary(result: Hindcast) -> str:
    """
    The scores in a few lines, with a plain word where there are too few finds.

    Parameters
    ----------
    result : Hindcast
        Result of `hindcast`.

    Returns
    -------
    text : str
        Several lines, without a final line break.
    """
    lines = [
        f"{result.region}: finds of {result.from_year} to {result.through}, foretold from what was "
        f"known before {result.from_year}"
    ]
    for name, row in result.finds.iterrows():
        lines.append("")
        lines.append(
            f"{row['label']}: {row['since']:.0f} found of {row['lakes']:.0f} lakes, "
            f"{figure(row['expected'])} expected; {row['before']:.0f} finds before"
        )
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
                f"{score['hits_20']:.1f} in the first 5 / 10 / 20, AUC {score['auc']:.2f} "
                f"({score['auc_low']:.2f} to {score['auc_high']:.2f}), "
                f"Brier skill {score['brier_skill']:+.2f}"
            )
    return "\n".join(lines)


def _scope(region: Region) -> list[str]:
    """Species in scope."""
    return list(region.settings.species)


def _check(region: Region, years: Mapping[str, Array], from_year: int) -> int:
    """Last year foretold; refused where there is nothing before or after."""
    dated = np.concatenate([y[np.isfinite(y)] for y in years.values()])
    through = region.settings.season_first_day.year - 1
    if not dated.size:
        message = (
            "no find has a date, so nothing can be foretold from what came before\n\nhint: fill in "
            "`first_found` in status"
        )
        raise ModelError(message)
    through = max(through, int(dated.max()))
    first = int(dated.min()) + 1
    if not first <= from_year <= through:
        message = (
            f"finds are dated from {int(dated.min())} and known of through {through}, so they "
            f"can't be foretold from {from_year}\n\nhint: give a year from {first} to {through}"
        )
        raise ModelError(message)
    return through


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


def _lake_rows(
    region: Region,
    past: Region,
    name: str,
    *,
    chance: Array,
    year: Array,
) -> pd.DataFrame:
    """One row a lake that could be foretold: not known to be infested then, nor undated now."""
    then = _known(past, name)
    undated = _known(region, name) & ~np.isfinite(year)
    table = pd.DataFrame(
        {
            "lake_id": region.lakes.index,
            "name": region.lakes["name"].to_numpy(),
            "species": name,
            "chance": chance,
            "found": np.isfinite(year) & ~then,
            "year": np.where(then, np.nan, year),
            "area_ha": region.lakes["area_ha"].to_numpy(float),
            "place": np.arange(len(year)),
        }
    )
    return table.assign(counted=~then & ~undated)


def _known(region: Region, name: str) -> NDArray[np.bool_]:
    """Lakes known to hold the species."""
    rows = region.status[
        (region.status["species"] == name) & (region.status["status"] == "present")
    ]
    return np.asarray(region.lakes.index.isin(rows["lake_id"]), bool)


def _near(table: pd.DataFrame, region: Region, past: Region, movement: Movement) -> pd.DataFrame:
    """Only the lakes that count, with the distance to the nearest one known infested then."""
    infested = _known(past, str(table["species"].iloc[0]))
    middles = region.lakes.geometry.representative_point().get_coordinates().to_numpy()
    at = region.landings.geometry.get_coordinates().to_numpy()
    points = lake_points(at, movement.landing_lake, middles)
    distance_km = np.full(len(points), np.inf)
    if infested.any():
        distance_km = planar_km(points, points[infested]).min(axis=1)
    table = table.assign(distance_km=distance_km)
    return table[table["counted"]].drop(columns="counted")


def _scores(
    lakes: pd.DataFrame, past: Region, *, launches: Array, year: Array, span: tuple[int, int]
) -> pd.DataFrame:
    """Scores of the model and of the rules for one species."""
    found = lakes["found"].to_numpy(bool)
    foretold = {"spreadnet": lakes["chance"].to_numpy(float)}
    foretold.update(_by_rules(lakes, past, launches=launches, year=year, span=span))
    same = brier(foretold["same for all"], found)
    rows = {}
    for predictor, chance in foretold.items():
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


def _by_rules(
    lakes: pd.DataFrame, past: Region, *, launches: Array, year: Array, span: tuple[int, int]
) -> dict[str, NDArray[np.float64]]:
    """What each simple rule would have foretold, fitted to the finds before."""
    from_year, through = span
    position = lakes["place"].to_numpy()
    dated = year[(year < from_year)]
    before = np.arange(int(dated.min()) + 1 if dated.size else from_year, from_year)
    ever = np.where(year < from_year, year, np.inf)
    everywhere = np.zeros(len(year), bool)
    everywhere[position] = True
    counted = everywhere | np.isfinite(ever)
    at_risk = (ever[None, :] >= before[:, None]) & counted
    now = (ever[None, :] == before[:, None]) & counted
    middles = past.lakes.geometry.representative_point().get_coordinates().to_numpy()
    apart = planar_km(middles, middles) if len(year) <= MOST_APART else None
    predictors = {
        "lake area alone": np.maximum(past.lakes["area_ha"].to_numpy(float), 0.01),
        "traffic alone": 1 + launches,
        "same for all": np.ones(len(year)),
    }
    chances = {}
    for name in PREDICTORS[1:]:
        if name == "distance alone":
            by_year = _distance_by_year(apart, ever, before, lakes)
            today = 1 / (1 + np.minimum(lakes["distance_km"].to_numpy(float), FAR_KM))
        else:
            by_year = np.broadcast_to(predictors[name], at_risk.shape)
            today = predictors[name][position]
        rule = fit_rule(by_year, at_risk.astype(float), now.astype(float))
        if name == "same for all":
            rule = replace(rule, exponent=0.0)
        chances[name] = rule.chance(today, years=through - from_year + 1)
    return chances


def _distance_by_year(
    apart: Array | None, ever: Array, years: NDArray[np.integer], lakes: pd.DataFrame
) -> Array:
    """1 / (1 + km) to the nearest lake known infested before each year, (Y, L)."""
    out = np.full((len(years), len(ever)), 1 / (1 + FAR_KM))
    if apart is None:
        today = np.minimum(lakes["distance_km"].to_numpy(float), FAR_KM)
        out[:, lakes["place"].to_numpy()] = 1 / (1 + today)
        return out
    for y, of in enumerate(years):
        infested = ever < of
        if infested.any():
            out[y] = 1 / (1 + apart[:, infested].min(axis=1))
    return out


def _finds(
    lakes: pd.DataFrame, before: Mapping[str, int], labels: Mapping[str, str]
) -> pd.DataFrame:
    """Finds before and since by species."""
    by_species = lakes.groupby("species", sort=False)
    table = pd.DataFrame(
        {
            "label": pd.Series(labels),
            "before": pd.Series(before),
            "since": by_species["found"].sum(),
            "lakes": by_species.size(),
            "expected": by_species["chance"].sum(),
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


def _notes(region: Region, from_year: int, drop_later_visits: bool) -> list[Note]:
    """What was taken away, and what was not."""
    status = region.status
    present = status["status"] == "present"
    undated = int((present & status["first_found"].isna()).sum())
    seen_later = ~(pd.to_datetime(status["last_survey"]).dt.year < from_year)
    taken = int((~present & seen_later & (status["surveys"].fillna(1) > 0)).sum())
    notes = []
    if undated:
        text = (
            f"{undated} finds without a date are taken as unknown then, and are neither foretold "
            "nor scored"
        )
        notes.append(Note("undated", text))
    if taken:
        text = (
            f"surveys of {taken} lakes and species that go on past {from_year - 1}, or have no "
            "date, are left out: how many were made before is not known"
        )
        notes.append(Note("surveys-left-out", text))
    if drop_later_visits:
        text = f"visits and contacts of {from_year} and later are left out too"
    else:
        text = (
            "visits and contacts of all years are used: they say how boats move, which is taken "
            "not to change, and nothing of what is infested"
        )
    notes.append(Note("visits", text))
    return notes
