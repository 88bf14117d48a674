"""
Small regions in memory whose truth is drawn from the model itself, every assumed number included.

Where `demo_region/make_demo.py` has one truth and tables with all their faults, here every number
is drawn from its stated range, so that intervals can be held to what they promise.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date
from types import SimpleNamespace

import geopandas as gpd
import numpy as np
import pandas as pd

from spreadnet.assumptions import DEFAULT, Z90
from spreadnet.decisions.draws.run import Run
from spreadnet.decisions.hours.reach import hour_reach
from spreadnet.evidence.estimating.contacts import WATERS
from spreadnet.evidence.estimating.days_out import DaysOut
from spreadnet.evidence.estimating.status import StatusDraw
from spreadnet.evidence.estimating.strata import make_strata, visit_hours
from spreadnet.evidence.estimating.traffic import TrafficDraw
from spreadnet.evidence.region import DIRECTIONS, GAPS, Region, Settings
from spreadnet.evidence.species.species import read_species
from spreadnet.evidence.statistics.intervals import beta_from_range
from spreadnet.model.distance import landing_lake_positions, landing_to_lake_km
from spreadnet.model.estimates import Estimates
from spreadnet.model.finds import Learned
from spreadnet.model.inputs import Place, place_of, spread_inputs
from spreadnet.model.spread.between_lakes import lake_rates
from spreadnet.model.spread.expected import expected_spread, gradient
from spreadnet.model.spread.one_landing import avoided_at_one
from spreadnet.model.spread.types import Coverage
from spreadnet.model.trips.dense import Trips

CRS, MIDDLE = "EPSG:32709", (582_000.0, 5_460_000.0)  # open ocean
SEASON = (date(2027, 5, 15), date(2027, 9, 30))
VISIT_DAYS = ("2025-05-15", "2026-09-30")
YEARS = np.arange(2013, 2027)
SPECIES = ("eurasian_watermilfoil", "dreissenid_mussel")
CRAFT = ("motor", "ballast", "paddle")
CAPACITY = 12.0  # boats that a crew meets in an hour
COEFFICIENTS = ("log_area", "log_traffic", "log_distance")
FEWEST_FINDS, MOST_INFESTED = 3, 0.7  # a history that says something; seen in the tables alone
TRIES = 60


@dataclass(frozen=True, slots=True, eq=False)
class KnownRegion:
    """
    A region with what is true of it, in the model's own terms.

    `truth` holds traffic, shares, gap rates, coefficients, survival and so on; `trips` those
    between landings; `infested` (L,) by species 0 or 1, `establish` by species; `likeness` the
    intraclass correlation of answers.
    """

    region: Region
    truth: Estimates
    trips: Trips
    infested: Mapping[str, np.ndarray]
    establish: Mapping[str, float]
    likeness: float


def make_known_region(seed, *, likeness=None, lasting=False):
    """
    Draw a region: 40-60 lakes, 25-40 landings, a third of them never visited.

    `likeness` is the intraclass correlation of answers, .01 to .05 when left out: of the lakes
    named at a landing (Dirichlet-multinomial), and of gaps and waters on one visit. With `lasting`
    all boats of a landing choose lakes as those interviewed do, which no law knows; else only
    those who were interviewed are alike.
    """
    rng = np.random.default_rng([seed, 7])
    likeness = float(rng.uniform(0.01, 0.05)) if likeness is None else likeness
    name = SPECIES[seed % len(SPECIES)]
    settings = Settings("Invented", *SEASON, {name: 1.0}, crs=CRS, contacts_per_hour=CAPACITY)
    lakes, places, streams = _land(rng, int(rng.integers(25, 41)))
    assumptions = DEFAULT.draw(rng)
    table = _visit_table(rng, places, int(rng.integers(110, 170)))
    traffic, strata, rates, spread = _traffic(rng, settings, lakes, places, table, assumptions)
    shares = _shares(rng, len(places))
    gaps, ballast = _gap_rates(rng, len(places))
    coefficients = np.array([rng.uniform(0, 0.6), rng.uniform(0.3, 1), -rng.uniform(1.2, 2.4)])
    days_out = _days_out(assumptions)
    alpha_beta = beta_from_range(DEFAULT.entries["education_check_together"])
    truth = Estimates(
        traffic=traffic,
        shares=shares[0],
        gaps=gaps,
        ballast=ballast,
        education_ratio=float(rng.beta(*alpha_beta)),
        contacts_per_hour=CAPACITY,
        days_out=days_out,
        coefficients=coefficients,
        species={},
        infested={},
        establish_score={name: 0.0},
        told=None,
        assumptions=assumptions,
    )
    empty = _empty_region(settings, lakes, places, streams)
    by_law = _law_choice(empty, traffic.launches, coefficients)
    named = _alike(rng, by_law, likeness)
    trips = _trips(empty, truth, named if lasting else by_law)
    truth, establish, infested, status = _past(rng, empty, truth, trips, name)
    visits_made, contacts = _answers(
        rng, empty, truth, table, strata, rates, spread, shares, named, likeness
    )
    region = replace(empty, status=status, visits=visits_made, contacts=contacts)
    return KnownRegion(region, truth, trips, {name: infested}, {name: establish}, likeness)


def true_run(known, result):
    """The model run on the truth in place of estimates: what a perfect survey would give."""
    place = place_of(known.region, result.evidence, result.movement)
    inputs = _true_inputs(
        known.region, known.truth, known.trips, place, (known.establish, known.infested)
    )
    nobody = Coverage.none(len(known.region.landings))
    paths = {n: expected_spread(one, nobody, seasons=result.seasons) for n, one in inputs.items()}
    slopes = {n: gradient(one, nobody, paths[n]) for n, one in inputs.items()}
    reach = hour_reach(known.truth, place)
    return Run(place.settings.species, inputs, paths, slopes, {}, reach, result.seasons)


def true_scores(run, block):
    """What 100 hours in a day block of each landing truly avoid, one landing at a time."""
    row, hours = np.arange(len(block)), 100 / run.seasons
    reached = [hours * part[row, block] for part in (run.reach.leaving, run.reach.arriving)]
    return sum(
        run.weights[name] * avoided_at_one(one, row, *np.minimum(reached, 1), seasons=run.seasons)
        for name, one in run.inputs.items()
    )


def _true_inputs(region, truth, trips, place, species):
    """Inputs of the spread with the true chance of establishing and the true lakes."""
    establish, infested = species
    given = {
        name: replace(one, value=establish[name], low=establish[name], high=establish[name])
        for name, one in place.stated_establish.items()
    }
    truth = replace(truth, infested={n: StatusDraw(x, None) for n, x in infested.items()})
    inputs, _ = spread_inputs(
        truth,
        SimpleNamespace(
            landing_lake=landing_lake_positions(region.landings, region.lakes),
            trips=lambda *_, **__: trips,
        ),
        place=replace(place, stated_establish=given),
    )
    return {
        name: replace(one, establish=establish[name], initial=infested[name])
        for name, one in inputs.items()
    }


# --- the land ---------------------------------------------------------------------------------


def _land(rng, count):
    """Lakes as points, landings at them, a few streams."""
    n_lakes = int(rng.integers(40, 61))
    at = rng.uniform(-60_000, 60_000, (n_lakes, 2)) + MIDDLE
    ids = pd.Index([f"L{k:02d}" for k in range(n_lakes)], name="lake_id")
    described = rng.random(n_lakes) < 0.8
    lakes = gpd.GeoDataFrame(
        {
            "name": list(ids),
            "area_ha": np.exp(rng.normal(5, 1.2, n_lakes)),
            "depth_m": np.where(described, rng.gamma(4, 2.5, n_lakes) + 1, np.nan),
            "secchi_m": np.where(described, rng.gamma(6, 0.5, n_lakes) + 0.3, np.nan),
            "calcium_mg_l": np.where(described, rng.gamma(4, 6, n_lakes), np.nan),
            "worth": np.ones(n_lakes),
        },
        index=ids,
        geometry=gpd.points_from_xy(*at.T),
        crs=CRS,
    )
    large = np.exp(0.3 * np.log(lakes["area_ha"]))
    lake = np.sort(rng.choice(n_lakes, count, p=large / large.sum()))
    lanes = 1 + rng.poisson(0.6, count)
    spots = at[lake] + rng.normal(0, 500, (count, 2))
    landings = gpd.GeoDataFrame(
        {
            "lake_id": ids[lake].astype("str"),
            "name": [f"Landing {k}" for k in range(count)],
            "ramp_lanes": pd.array(lanes, dtype="Int64"),
            "trailer_stalls": pd.array(rng.poisson(12 * lanes), dtype="Int64"),
            "jurisdiction": pd.array([None] * count, dtype="str"),
            "can_staff": pd.array([True] * count, dtype="boolean"),
            "shore_distance_m": np.zeros(count),
        },
        index=pd.Index([f"A{k:02d}" for k in range(count)], name="landing_id"),
        geometry=gpd.points_from_xy(*spots.T),
        crs=CRS,
    )
    ends = ids.to_numpy()[rng.permutation(n_lakes)[:12]].reshape(2, -1)
    streams = pd.DataFrame(
        {
            "upstream_lake_id": ends[0],
            "downstream_lake_id": ends[1],
            "distance_km": rng.uniform(1, 15, 6),
            "barrier": pd.array(rng.random(6) < 0.2, dtype="boolean"),
        }
    )
    return lakes, landings, streams


def _empty_region(settings, lakes, landings, streams):
    """Region of which nobody has said anything yet."""
    none = pd.DataFrame()
    return Region(settings, lakes, landings, none, streams, none, none, none, none, none, CRS)


# --- boats ------------------------------------------------------------------------------------


def _visit_table(rng, landings, number):
    """When and where people stood, in the season's months of two years; nothing counted yet."""
    visited = rng.permutation(len(landings))[: round(0.67 * len(landings))]
    keen = rng.gamma(2, 1, len(visited))
    more = rng.choice(visited, number - len(visited), p=keen / keen.sum())
    days = pd.date_range(*VISIT_DAYS)
    days = days[days.month.isin(range(5, 10))]
    start = rng.integers(12, 37, number) / 2
    return pd.DataFrame(
        {
            "landing_id": landings.index[np.concatenate([visited, more])].astype("str"),
            "date": days[rng.integers(0, len(days), number)].astype("datetime64[s]"),
            "start": start,
            "end": np.minimum(start + rng.integers(4, 9, number) / 2, 22),
            "educators": pd.array([1] * number, dtype="Int64"),
        },
        index=pd.Index([f"V{k:03d}" for k in range(number)], name="visit_id"),
    )


def _around(rng, name, size=None):
    """Values over the stated range of an assumed number, on the scale of its prior."""
    entry = DEFAULT.entries[name]
    score = rng.standard_normal(size)
    if entry.scale == "log":
        return entry.value * np.exp(score * np.log(entry.high / entry.low) / (2 * Z90))
    return entry.value + score * (entry.high - entry.low) / (2 * Z90)


def _traffic(rng, settings, lakes, landings, visits, assumptions):
    """Launches by landing and time: size, time, own gamma factor, less where nobody stood."""
    strata = make_strata(settings, visits["date"])
    area = lakes["area_ha"].reindex(landings["lake_id"]).to_numpy()
    size = np.log([landings["ramp_lanes"], 1 + landings["trailer_stalls"], area]).astype(float)
    size -= size.mean(axis=1, keepdims=True)
    exponents = [_around(rng, f"{name}_exponent") for name in ("lanes", "stalls", "lake_area")]
    blocks, months = len(strata.blocks), len(strata.months)
    effects = np.concatenate(
        [
            [np.log(_around(rng, "weekend_ratio"))],
            rng.normal(0, assumptions["block_spread"], blocks - 1),
            rng.normal(0, assumptions["month_spread"], months - 1),
        ]
    )
    by_stratum = np.exp(strata.design @ effects)
    shape, seen = _around(rng, "traffic_shape"), landings.index.isin(visits["landing_id"])
    ratio = np.where(seen, 1.0, assumptions["unvisited_ratio"])
    own = ratio * rng.gamma(shape * ratio, 1 / (shape * ratio))
    level = _around(rng, "launches_per_hour") * np.exp(exponents @ size) * np.maximum(own, 1e-4)
    late = np.exp(rng.normal(0, assumptions["block_spread"], blocks))
    launching, hours = strata.by_day_block(by_stratum), strata.day_block_hours
    retrieving = launching * np.tile(late, 2)
    season = launching @ hours
    scale = season / (retrieving @ hours)
    traffic = TrafficDraw(
        launches=level * season,
        launch_rate=np.outer(level, launching),
        retrieval_rate=np.outer(level, retrieving * scale),
        refusal=assumptions["refusal"],
        area_exponent=float(exponents[2]),
        by_month=strata.by_month(by_stratum),
        visit_spread=assumptions["visit_spread"],
    )
    by_block = np.repeat(np.tile(late, 2), months)
    both = np.array([by_stratum, by_stratum * by_block * scale])
    return traffic, strata, level[:, None] * both[:, None], assumptions["visit_spread"]


def _shares(rng, landings):
    """Shares of the four waters by direction and landing, (2, K, 4)."""
    entries = [DEFAULT.entries[f"share_{water}"] for water in WATERS]
    ends = np.array([[e.low, e.value, e.high] for e in entries]).T
    odds = np.log(ends / (1 - ends))
    spread = (odds[2] - odds[0]) / (2 * Z90) * (1 - ends[1])
    mean = np.exp(np.log(ends[1]) + spread * rng.standard_normal((2, len(WATERS))))
    mean /= mean.sum(axis=1, keepdims=True)
    concentration = _around(rng, "share_concentration", 2)
    gamma = rng.gamma(np.repeat((concentration[:, None] * mean)[:, None], landings, 1)) + 1e-9
    return gamma / gamma.sum(axis=2, keepdims=True)


def _gap_rates(rng, landings):
    """Gap rates (2, 5, K) and shares of boats with ballast (K,)."""

    def pooled(name):
        entry = DEFAULT.entries[name]
        odds = np.log([e / (1 - e) for e in (entry.low, entry.value, entry.high)])
        middle = odds[1] + rng.standard_normal() * (odds[2] - odds[0]) / (2 * Z90)
        share, weight = 1 / (1 + np.exp(-middle)), _around(rng, "gap_precision")
        return np.clip(rng.beta(share * weight, (1 - share) * weight, landings), 1e-9, 1 - 1e-9)

    rates = [[pooled(f"gap_{gap}") for gap in GAPS] for _ in DIRECTIONS]
    return np.array(rates), pooled("ballast_share")


def _days_out(assumptions):
    """Days between two launches: some within five days, the others with a long tail."""
    quick, mean = assumptions["days_out_quick"], assumptions["days_out_mean"]
    later = np.arange(5, 200) + 0.5
    tail = np.exp(-(later - 5) / mean)
    days = np.concatenate([np.arange(5) + 0.5, later])
    weight = np.concatenate([np.full(5, quick / 5), (1 - quick) * tail / tail.sum()])
    entries = assumptions.entries
    return DaysOut(
        days, weight, 0, days, weight, entries["days_out_quick"], entries["days_out_mean"]
    )


def _law_choice(region, launches, coefficients):
    """Chance of each lake with a landing, (K, A), by the true law; none of the own lake."""
    lake = landing_lake_positions(region.landings, region.lakes)
    lakes, group = np.unique(lake, return_inverse=True)
    terms = (
        np.log(region.lakes["area_ha"].to_numpy(float)[lakes]),
        np.log(np.bincount(group, launches)),
        np.log(landing_to_lake_km(region.landings, region.lakes)[:, lakes] + 1),
    )
    pull = sum(c * term for c, term in zip(coefficients, terms, strict=True))
    weight = np.exp(pull - pull.max(axis=1, keepdims=True))
    weight[np.arange(len(lake)), group] = 0
    return weight / weight.sum(axis=1, keepdims=True)


def _trips(region, truth, choice):
    """Trips between landings: boats of a lake split among its landings by traffic."""
    launches = truth.traffic.launches
    _, group = np.unique(region.landings["lake_id"], return_inverse=True)
    arriving = launches * truth.shares[:, WATERS.index("other")]
    return Trips(choice * arriving[:, None], group, launches / np.bincount(group, launches)[group])


# --- the species ------------------------------------------------------------------------------


def _past(rng, region, truth, trips, name):
    """A spread and what was found of it, drawn until the finds say something or tries end."""
    known, most = read_species()[name], MOST_INFESTED * region.landings["lake_id"].nunique()
    for _ in range(TRIES):
        species = known.draw(rng)
        now = replace(truth, species={name: species})
        establish = min(species.values["establish"], 1.0)
        since = _spread(rng, region, now, trips, name, establish)
        status = _status(rng, region, since, species, now.assumptions, name)
        finds = status["first_found"].dropna().dt.year
        later = int((finds > finds.min()).sum())
        present = (status["status"] == "present").sum()
        if later >= FEWEST_FINDS and present <= most:
            break
    return now, establish, np.isfinite(since).astype(float), status


def _spread(rng, region, truth, trips, name, establish):
    """Year in which each lake was infested, inf for never."""
    place = _bare_place(region, name)
    nowhere = np.zeros(len(region.lakes))
    one = _true_inputs(region, truth, trips, place, ({name: establish}, {name: nowhere}))[name]
    rates = lake_rates(one)
    since = np.full(len(region.lakes), np.inf)
    busy = np.bincount(one.landing_lake, truth.traffic.launches, minlength=len(since))
    since[rng.permutation(np.argsort(-busy)[:8])[:2]] = YEARS[0]
    for year in YEARS[1:]:
        infested = (since < year).astype(float)
        brought = np.zeros(len(since))
        brought[rates.lakes] = infested[rates.lakes] @ rates.between + rates.outside
        hazard = one.habitat * (brought**one.allee_exponent + infested @ one.streams)
        new = (infested == 0) & (rng.random(len(since)) < -np.expm1(-hazard))
        since[new] = year
    return since


class _NothingFound:
    """Status of a species of which nobody has said anything."""

    def __init__(self, lakes):
        self.first_found, self.known = np.full(lakes, np.nan), np.zeros(lakes, bool)

    def watched(self, **_chances):
        """Nobody looked."""
        return np.zeros(len(self.known))


def _bare_place(region, name):
    """What `place_of` gives where no evidence was gathered yet."""
    return Place(
        settings=region.settings,
        landing_ids=tuple(region.landings.index),
        can_staff=np.ones(len(region.landings), bool),
        day_blocks=pd.DataFrame(),
        month_hours=np.zeros((0, 0)),
        lakes=pd.DataFrame(region.lakes.drop(columns=["geometry", "name"])),
        streams=region.streams,
        worth=np.ones(len(region.lakes)),
        status={name: _NothingFound(len(region.lakes))},
        finds=Learned.nothing(),
        traffic=None,
        checked=np.ones(len(region.landings), bool),
        stated_establish={name: read_species()[name].values.entries["establish"]},
        outside_answers=0.0,
        named_without_landing=np.zeros(len(region.lakes)),
    )


def _status(rng, region, since, species, assumptions, name):
    """What was found and when; much was never looked at."""
    detection, in_year = species.values["detection"], species.values["found_in_year"]
    rows, last = [], int(YEARS[-1])
    for lake_id, year in zip(region.lakes.index, since, strict=True):
        number = int(rng.poisson(1.5))
        seen = np.isfinite(year) and rng.random() < 1 - (1 - detection) ** number
        told = rng.random() < assumptions["found_anyway"]
        found = year + rng.geometric(in_year) - 1 if told or seen else np.inf
        present = found <= last or year == YEARS[0]
        if present or number:
            found_in = f"{int(min(found, last)) if year > YEARS[0] else int(year)}-01-01"
            status, day = ("present", found_in) if present else ("absent", None)
            rows.append((lake_id, name, status, day, number, f"{last}-08-01"))
    columns = ["lake_id", "species", "status", "first_found", "surveys", "last_survey"]
    table = pd.DataFrame(rows, columns=columns)
    dates = {c: pd.to_datetime(table[c]).astype("datetime64[s]") for c in columns[3::2]}
    return table.assign(**dates, surveys=table["surveys"].astype("Int64"))


# --- what people wrote down -------------------------------------------------------------------


def _alike(rng, chances, likeness):
    """Chances of one visit each, (V, C), with the given correlation of answers on a visit."""
    if not likeness:
        return chances
    gamma = (rng.gamma(chances * (1 - likeness) / likeness) + 1e-12) * (chances > 0)
    return gamma / gamma.sum(axis=-1, keepdims=True)


def _pick(rng, chances):
    """One position for each row of chances."""
    below = np.cumsum(chances, axis=1)
    return (rng.random((len(chances), 1)) * below[:, -1:] >= below).sum(axis=1)


def _answers(rng, region, truth, visits, strata, rates, spread, shares, choice, likeness):
    """Visits with their counts, and contacts."""
    at = region.landings.index.get_indexer(visits["landing_id"])
    stratum, hours = visit_hours(visits, region.settings, strata)
    luck = rng.gamma(spread**-2, spread**2, len(visits))
    means = [luck * (rate[at[:, None], stratum] * hours).sum(axis=1) for rate in rates]
    boats = rng.poisson(means)  # (2, V): launched, taken out
    most = (CAPACITY * (visits["end"] - visits["start"])).to_numpy(int)
    met = np.minimum(boats.sum(axis=0), most)
    refused = rng.binomial(met, truth.traffic.refusal)
    visit = np.repeat(np.arange(len(visits)), met - refused)
    share_out = boats[1] / np.maximum(boats.sum(axis=0), 1)
    direction = (rng.random(len(visit)) < share_out[visit]).astype(int)
    made = visits.assign(
        launches=pd.array(boats[0], dtype="Int64"),
        retrievals=pd.array(boats[1], dtype="Int64"),
        refused=pd.array(refused, dtype="Int64"),
    )
    kinds = np.array([_alike(rng, one[at], likeness) for one in shares])
    kind = _pick(rng, kinds[direction, visit])
    other = np.unique(region.landings["lake_id"])[_pick(rng, choice[at[visit]])]
    own = landing_lake_positions(region.landings, region.lakes)[at[visit]]
    ids = region.lakes.index.to_numpy(object)
    words = np.select(
        [kind == 0, kind == 1, kind == 2], [ids[own], other, "outside"], default="none"
    ).astype(object)
    words[rng.random(len(words)) < 0.06] = None
    return made, _contacts(rng, region, truth, at, visit, direction, words, likeness)


def _contacts(rng, region, truth, at, visit, direction, words, likeness):
    """One row a party spoken with."""
    count, landing = len(visit), at[visit]
    two = np.stack([truth.gaps[..., at], 1 - truth.gaps[..., at]], axis=-1)
    daily = _alike(rng, two, likeness)[..., 0]  # (2, 5, V)
    found = rng.random((count, len(GAPS))) < daily[direction, :, visit]
    checked = rng.random(found.shape) < 0.9
    ballast = rng.random(count) < truth.ballast[landing]
    craft = np.where(ballast, 1, np.where(rng.random(count) < 0.2, 2, 0))
    days = rng.choice(truth.days_out.days, count, p=truth.days_out.weight)
    missed = (found & checked).any(axis=1)
    corrected = rng.random(count) >= truth.education_ratio
    columns = {
        "visit_id": pd.array([f"V{v:03d}" for v in visit], dtype="str"),
        "direction": pd.array(np.array(DIRECTIONS, object)[direction], dtype="str"),
        "craft": pd.array(np.array(CRAFT, object)[craft], dtype="str"),
        "last_water": pd.array(np.where(direction == 0, words, None), dtype="str"),
        "next_water": pd.array(np.where(direction == 1, words, None), dtype="str"),
        "days_out": np.where(direction == 0, days, np.nan),
    }
    for g, gap in enumerate(GAPS):
        columns[gap] = pd.arrays.BooleanArray(found[:, g].copy(), ~checked[:, g])
    columns["corrected"] = pd.arrays.BooleanArray(corrected, ~missed)
    return pd.DataFrame(columns)
