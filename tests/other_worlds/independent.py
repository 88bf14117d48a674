"""
Spread by single boats on the demo's true tables, and what an educator's hour truly avoids.

No recursion and no adjoint: all boats that could found a population in the seasons to come are
drawn one by one, whatever state their lakes are in, and each future is played from its list of
boats. A boat counts if the lake it left was infested when the season began. What it would change
to have stopped one boat is found by playing the future again without it; by Russo's formula the
mean of such changes is the slope by the share of boats that educators reach. Nothing of the
package is used.
"""

import io
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from scipy.stats import nbinom

OUTSIDE = -1  # where a boat or a stream comes from that no state of a lake stops
BALLAST = 5


@dataclass(frozen=True, slots=True, eq=False)
class Boats:
    """
    Boats, and flows down streams, that found a population if what they left was infested.

    One element each: `future`, `season`, lakes `left` (`OUTSIDE`: outside the region) and
    `reached`; `leaving`, `arriving` the landings and `route` the gap, all -1 for streams.
    """

    future: np.ndarray
    season: np.ndarray
    left: np.ndarray
    reached: np.ndarray
    leaving: np.ndarray
    arriving: np.ndarray
    route: np.ndarray

    def take(self, which):
        return Boats(*(getattr(self, name)[which] for name in self.__slots__))


def drawn_boats(maker, made, species, *, seasons, futures, rng):
    """
    All boats of all futures that could found a population of a species.

    A boat with two gaps open counts as two, which at chances of a thousandth says the same.
    """
    known, truth, lake = made.known, made.truth, made.known.landing_lake
    landings = len(lake)
    leaving = np.vstack([known.gap_rates[1], known.ballast])
    mean_in = known.gap_rates[0] @ known.launches / known.launches.sum()
    arriving = np.clip(known.gap_rates[0] / mean_in[:, None], 1 / 3, 3)
    arriving = np.vstack([arriving, np.ones(landings)])
    founded = species.establish * maker._route_weights(truth, species)[:, None] * arriving
    founded = founded * known.habitat[species.name][lake]  # (route, landing reached)
    by_trip = leaving[:, :, None] * known.trips * founded[:, None, :]
    mean_out = leaving @ known.launches / known.launches.sum()
    from_outside = known.launches * known.shares[0, :, 2] * truth.outside_infested
    by_outsider = mean_out[:, None] * from_outside * founded
    rates = np.concatenate([by_trip, by_outsider[:, None]], axis=1)
    drawn = _events(rates.ravel(), seasons, futures, rng)
    route, origin, goal = np.unravel_index(drawn[2], rates.shape)
    outsider = origin == landings
    boats = Boats(
        future=drawn[0],
        season=drawn[1],
        left=np.where(outsider, OUTSIDE, lake[np.where(outsider, 0, origin)]),
        reached=lake[goal],
        leaving=np.where(outsider, OUTSIDE, origin),
        arriving=goal,
        route=route,
    )
    return _joined(boats, _flows(made, species, seasons=seasons, futures=futures, rng=rng))


def _events(rates, seasons, futures, rng):
    """Future, season and kind of every event of a Poisson stream of many kinds."""
    number = rng.poisson(rates.sum() * seasons * futures)
    ends = rates.cumsum()
    kind = np.searchsorted(ends, rng.uniform(0, ends[-1], number), side="right")
    return rng.integers(futures, size=number), rng.integers(seasons, size=number), kind


def _flows(made, species, *, seasons, futures, rng):
    """What streams carry down, in the lakes' order of the file."""
    table = pd.read_csv(io.StringIO(made.files["streams.csv"]), keep_default_na=False)
    above, below = (
        table[f"{side}_lake_id"].str.removeprefix("L").astype(int).to_numpy() - 1
        for side in ("upstream", "downstream")
    )
    strength = species.stream_per_year * np.exp(-table["distance_km"] / species.stream_efold_km)
    rates = (
        np.where(table["barrier"] == "yes", 0.0, strength) * made.known.habitat[species.name][below]
    )
    future, season, stream = _events(rates, seasons, futures, rng)
    none = np.full(len(future), -1)
    return Boats(future, season, above[stream], below[stream], none, none, none)


def _joined(one, two):
    return Boats(*(np.concatenate([getattr(one, n), getattr(two, n)]) for n in Boats.__slots__))


def played(boats, infested, *, seasons, futures):
    """Season from which each lake is infested in each future (F, L): 0 now, `seasons` + 1 never."""
    since = np.tile(np.where(infested, 0, seasons + 1), (futures, 1))
    for season in range(seasons):
        now = boats.take(boats.season == season)
        active = _active(now, since, season)
        came = np.zeros(since.shape, bool)
        came[now.future[active], now.reached[active]] = True
        since[came & (since > seasons)] = season + 1
    return since


def _active(boats, since, season):
    """Boats whose lake was infested when the season began."""
    left = np.where(boats.left == OUTSIDE, 0, boats.left)
    return (boats.left == OUTSIDE) | (since[boats.future, left] <= season)


def value_of_boats(boats, since, *, worth, seasons):
    """
    What each boat's being stopped would have changed: worth of infestations no longer there.

    Only a boat that founded a population, alone in its season, can have changed anything.
    """
    values = np.zeros(len(boats.future))
    first = since[boats.future, boats.reached] == boats.season + 1
    founders = np.flatnonzero(first & _active(boats, since, boats.season))
    cell = boats.future[founders] * since.shape[1] + boats.reached[founders]
    _, place, count = np.unique(cell, return_inverse=True, return_counts=True)
    founders = founders[count[place] == 1]
    start = since[0] == 0
    order = np.argsort(boats.future, kind="stable")
    begin = np.searchsorted(boats.future[order], np.arange(len(since) + 1))
    for part in np.array_split(founders, max(len(founders) // 2000, 1)):
        numbers = begin[boats.future[part] + 1] - begin[boats.future[part]]
        copy = np.repeat(np.arange(len(part)), numbers)
        offset = np.arange(numbers.sum()) - np.repeat(numbers.cumsum() - numbers, numbers)
        row = order[np.repeat(begin[boats.future[part]], numbers) + offset]
        kept = row != part[copy]
        again = replace(boats.take(row[kept]), future=copy[kept])
        without = played(again, start, seasons=seasons, futures=len(part))
        before = since[boats.future[part]]
        values[part] = ((before <= seasons).astype(int) - (without <= seasons)) @ worth
    return values


def hour_shares(maker, made):
    """
    Shares of boats that an hour reaches in each day block (K, D): launching, retrieving.

    Hours differ by a gamma luck and boats come by chance; a crew has hands for so many an hour.
    """
    truth, known = made.truth, made.known
    hours = maker._season_hours()
    passing = known.rate + known.retrieval_rate
    shape = truth.visit_spread**-2
    fewer = np.arange(int(truth.contacts_per_hour))
    odds = (shape / (shape + passing))[..., None]
    met = nbinom.sf(fewer, shape, odds).sum(axis=-1) * (1 - truth.refusal)
    spoken = met / passing  # of the boats of that hour
    weight = hours / np.maximum(hours.sum(axis=2, keepdims=True), 1)
    shares = []
    for rate in (known.rate, known.retrieval_rate):
        season = (rate * hours).sum(axis=(1, 2, 3))
        share = (spoken * rate * weight).sum(axis=3) / season[:, None, None]
        shares.append(share.reshape(len(season), -1))
    return shares


@dataclass(frozen=True, slots=True, eq=False)
class Truth:
    """What 100 hours avoid at each landing (K,), new infestations by species, and their error."""

    avoided: np.ndarray
    totals: dict
    new: dict
    avoided_error: np.ndarray


def true_spread(maker, made, *, year, seasons, weights, worth, futures=2000, seed=1):
    """
    What education truly avoids at every landing of a demo region, by single boats.

    `weights` say what an infestation of each species counts, `worth` (L,) what one of each lake
    does. `new` holds, by species, the chance of every lake of being newly infested.
    """
    known, truth = made.known, made.truth
    landings = len(known.landing_lake)
    leave, arrive = np.zeros((2, landings))
    error, totals, new = np.zeros(landings), {}, {}
    for number, species in enumerate(truth.species):
        rng = np.random.default_rng([seed, number])
        infested = known.infested_from[species.name] <= year
        boats = drawn_boats(maker, made, species, seasons=seasons, futures=futures, rng=rng)
        since = played(boats, infested, seasons=seasons, futures=futures)
        fresh = (since > 0) & (since <= seasons)
        new[species.name] = fresh.mean(axis=0)
        totals[species.name] = float((fresh @ worth).mean())
        value = value_of_boats(boats, since, worth=worth, seasons=seasons)
        value *= weights[species.name] * truth.corrected * (boats.route != BALLAST) / futures
        for slope, landing in ((leave, boats.leaving), (arrive, boats.arriving)):
            told = landing >= 0
            slope += np.bincount(landing[told], value[told], minlength=landings)
            error += np.bincount(landing[told], value[told] ** 2, minlength=landings)
    arriving, leaving = hour_shares(maker, made)
    by_block = leaving * leave[:, None] + arriving * arrive[:, None]
    best = by_block.argmax(axis=1)
    scale = 100 / seasons
    share = np.maximum(leaving, arriving)[np.arange(landings), best]
    return Truth(scale * by_block.max(axis=1), totals, new, scale * share * np.sqrt(error))
