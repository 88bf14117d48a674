"""
Invented regions whose past is known: lakes, dated finds, and the law that brought the species.

Eleven kinds of worlds, one that follows the model that spreadnet fits and ten that don't. Nothing
of the package is used: a mistake in its spread or its fit would not be repeated here. A lake is
infested once its summed hazard reaches a threshold of its own, so that a higher level never
infests a lake later, and the level that gives the wanted number of finds can be searched for. It
is searched for in a twin of the world, with thresholds of its own: a level that made this world's
own luck come out at a round number would lean against that luck (foretold totals 4% too high).
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

PAST, AHEAD = 30, 12  # years up to the split, and at most to come
YEARS = PAST + AHEAD
FIRST_YEAR = 1985
STARTERS = 3  # lakes infested in the first year
NEVER = 10**6
LEAST, MOST = 0.6, 1.7
WANDER = 0.15  # of the level in worlds whose exponents are drawn


@dataclass(frozen=True, slots=True)
class Law:
    """
    How the species gets about, in the symbols of a hazard of log-linear form.

    Powers of area and depth where it arrives, of distance, of area where it leaves; how much of a
    lake's accessibility stays (1: all, 0: shares of trips are normalised); pressure from outside on
    the log scale, in middling infested lakes 50 km away; deviation from year to year of the log
    level.
    """

    area: float = 0.65
    depth: float = 0.5
    distance: float = 2.2
    source_area: float = 0.2
    access: float = 0.5
    outside: float = -2.0
    wander: float = 0.0


@dataclass(frozen=True, slots=True)
class Kind:
    """What sets a kind of world apart; see `KINDS`."""

    name: str
    pull_sd: float = 0.5  # of the hidden log pull of lakes
    kernel: str = "power"
    hub_share: float = 0.0  # lakes with a pull that is HUB times as large
    flat_share: float = 0.0  # of a lake's trips that go anywhere
    power: float = 1.0  # of the pressure: above 1 a few arrivals found nothing
    later_level: float = 1.0  # times the level in the second half of the years
    noticed: tuple[float, float] = (1.0, 1.0)  # in a year, at first and at last
    never_seen: float = 0.0


HUB = 8.0
KINDS = (
    Kind("model", pull_sd=0.0),
    Kind("with hidden pull"),
    Kind("exponential", kernel="exponential"),
    Kind("lognormal", kernel="lognormal"),
    Kind("radiation", kernel="radiation"),
    Kind("hubs", hub_share=0.04),
    Kind("reporting grows", noticed=(0.1, 0.6)),
    Kind("long jumps", flat_share=0.3),
    Kind("Allee 1.9", power=1.9),
    Kind("two phases", later_level=4.0),
    Kind("40% never seen", never_seen=0.4),
)


@dataclass(frozen=True, slots=True, eq=False)
class World:
    """
    What a user would know of L lakes, and what nobody could.

    `found_year` (L,) is nan where nothing was found by the end of `last`; `through` the last year
    to learn from. `expected` (L,) and `expected_with_pull` are in the order of the hazard of the
    year after `through` by the true law, from the lakes found by then, without and with the hidden
    pull.
    """

    kind: Kind
    law: Law
    easting_m: np.ndarray
    northing_m: np.ndarray
    area_ha: np.ndarray
    max_depth_m: np.ndarray
    found_year: np.ndarray
    through: int
    last: int
    expected: np.ndarray
    expected_with_pull: np.ndarray

    @property
    def at_risk(self):
        """Lakes without a find by the end of `through`, (L,)."""
        return ~(self.found_year <= self.through)

    @property
    def later(self):
        """Lakes found after `through`, (L,)."""
        return self.found_year > self.through


@dataclass(frozen=True, slots=True, eq=False)
class Lakes:
    """Places, sizes and hidden pulls; all but `depth` as the law sees them."""

    place_km: np.ndarray
    area_ha: np.ndarray
    depth_m: np.ndarray
    log_area: np.ndarray = field(init=False)
    log_depth: np.ndarray = field(init=False)

    def __post_init__(self):
        for name, value in (("log_area", self.area_ha), ("log_depth", self.depth_m)):
            object.__setattr__(self, name, np.log(value) - np.log(value).mean())


def make(kind, seed, *, lakes=1200, past=100, later=50, law=None):
    """
    One world of a kind.

    `through` is always the same year; the level and `last` are such that a twin of the world has
    `past` finds by then and `later` more by the end of `last`. Worlds whose own luck leaves them
    with fewer than `LEAST` or more than `MOST` times as many as `past` are passed over.
    """
    law = law or Law()
    rng = np.random.default_rng([seed, [one.name for one in KINDS].index(kind.name), lakes])
    land = _lakes(rng, lakes)
    log_pull = kind.pull_sd * rng.standard_normal(lakes)
    log_pull += np.log(HUB) * (rng.random(lakes) < kind.hub_share)
    start = np.zeros(lakes, bool)
    start[rng.choice(lakes, STARTERS, replace=False, p=_shares(land.log_area))] = True
    drift = law.wander * rng.standard_normal(YEARS).cumsum()
    drift += np.log(kind.later_level) * (np.arange(YEARS) >= PAST // 2)
    true = _hazard_of(kind, law, land, log_pull)
    level, last = _level(true, _chance(rng, kind, start, drift), past, later)
    while True:
        year = _found(true, _chance(rng, kind, start, drift), level)
        if (
            LEAST * past <= (year < PAST).sum() <= MOST * past
            and (year[year <= last] >= PAST).any()
        ):
            break
    known = year < PAST
    depth = np.where(rng.random(lakes) < 0.1, np.nan, land.depth_m)
    return World(
        kind=kind,
        law=law,
        easting_m=1000 * land.place_km[:, 0],
        northing_m=1000 * land.place_km[:, 1],
        area_ha=land.area_ha,
        max_depth_m=depth,
        found_year=np.where(year <= last, FIRST_YEAR + year, np.nan),
        through=FIRST_YEAR + PAST - 1,
        last=FIRST_YEAR + last,
        expected=_hazard_of(kind, law, land, np.zeros(lakes)).at(known),
        expected_with_pull=true.at(known),
    )


def _shares(log_weight):
    weight = np.exp(log_weight - log_weight.max())
    return weight / weight.sum()


def _lakes(rng, number):
    """Lakes in loose groups, one to 90 km2, of log-normal size; depth follows size."""
    side = np.sqrt(90.0 * number)
    centres = rng.uniform(0, side, (max(number // 30, 4), 2))
    grouped = centres[rng.integers(len(centres), size=number)] + rng.normal(0, 14, (number, 2))
    place = np.where(rng.random((number, 1)) < 0.5, grouped, rng.uniform(0, side, (number, 2)))
    area = np.exp(rng.normal(np.log(60), 1.25, 8 * number))
    area = area[(area >= 20) & (area < 40_000)][:number]
    depth = 2.6 * area**0.25 * np.exp(rng.normal(0, 0.6, number))
    return Lakes(place + 500.0, area.round(1), depth.round(1))


@dataclass(frozen=True, slots=True, eq=False)
class _Hazard:
    """Yearly hazard from infested lakes: rates `by_source` (L, L), sources in columns."""

    by_source: np.ndarray
    log_arriving: np.ndarray
    outside: float
    power: float

    def at(self, infested):
        """Hazard up to the level of the year, (L,)."""
        return self.of(self.by_source[:, infested].sum(axis=1))

    def of(self, pressure):
        return np.exp(self.log_arriving) * (pressure + self.outside) ** self.power


def _hazard_of(kind, law, land, log_pull):
    """The law of a kind of world, its hidden pulls given."""
    east, north = land.place_km.T
    away_km = np.hypot(east[:, None] - east, north[:, None] - north)
    np.fill_diagonal(away_km, np.inf)
    others = np.isfinite(away_km)
    if kind.kernel == "radiation":
        kernel = _radiation(away_km, np.exp(0.5 * land.log_area + log_pull))
        arriving = law.area * land.log_area
    else:
        kernel = _kernel(kind.kernel, law, away_km)
        if kind.flat_share:
            share, mean = kind.flat_share, kernel.sum() / (len(east) * (len(east) - 1))
            kernel = (1 - share) * kernel + share * mean
        # Accessibility is meant with distance squared where the law is a power of it.
        power = kind.kernel == "power"
        near = ((away_km + 2) / 50) ** -2.0 if power else kernel * others
        reach = np.log(near @ np.exp(0.5 * land.log_area))
        arriving = law.area * land.log_area + (law.access - 1) * (reach - reach.mean())
    return _Hazard(
        by_source=kernel * others * np.exp(law.source_area * land.log_area + log_pull),
        log_arriving=arriving + law.depth * land.log_depth + log_pull,
        outside=np.exp(law.outside),
        power=kind.power,
    )


def _kernel(name, law, away_km):
    if name == "power":
        return ((away_km + 2) / 50) ** -law.distance
    if name == "exponential":
        return np.exp((50 - away_km) / 25)
    with np.errstate(divide="ignore"):
        return np.exp(-0.5 * (np.log(away_km / 45) / 0.8) ** 2)


def _radiation(away_km, people):
    """Share of a lake's trips that end at each other lake, by what lies nearer (columns: from)."""
    order = np.argsort(away_km, axis=0)
    nearer = np.zeros_like(away_km)
    passed = np.cumsum(people[order], axis=0) - people[order]
    np.put_along_axis(nearer, order, passed, axis=0)
    kernel = people * people[:, None] / ((people + nearer) * (people + people[:, None] + nearer))
    np.fill_diagonal(kernel, 0)
    return kernel / kernel[(away_km > 45) & (away_km < 55)].mean()


@dataclass(frozen=True, slots=True, eq=False)
class _Chance:
    """All that is left to chance once the law is given, and how the log level drifts."""

    threshold: np.ndarray
    start: np.ndarray
    noticed: np.ndarray
    seen: np.ndarray
    drift: np.ndarray


def _chance(rng, kind, start, drift):
    lakes = len(start)
    return _Chance(
        threshold=rng.exponential(size=lakes),
        start=start,
        noticed=rng.random((YEARS, lakes)) < np.linspace(*kind.noticed, YEARS)[:, None],
        seen=rng.random(lakes) >= kind.never_seen,
        drift=drift,
    )


def _found(hazard, chance, level):
    """Year number of each lake's find at a log level, `NEVER` where there is none."""
    infested = chance.start.copy()
    pressure = hazard.by_source[:, infested].sum(axis=1)
    since = np.where(infested, 0, NEVER)
    summed = np.zeros(len(infested))
    for year in range(1, YEARS):
        summed += np.exp(level + chance.drift[year]) * hazard.of(pressure)
        new = (summed >= chance.threshold) & ~infested
        since[new] = year
        infested |= new
        pressure = pressure + hazard.by_source[:, new].sum(axis=1)
    open_years = chance.noticed & (np.arange(YEARS)[:, None] >= since)
    found = np.where(open_years.any(axis=0), open_years.argmax(axis=0), NEVER)
    return np.where(chance.seen, found, NEVER)


def _level(hazard, chance, past, later):
    """Log level at which as many as wanted are found by the split, and when `later` more are."""
    low, high = -40.0, 5.0
    for _ in range(40):
        middle = (low + high) / 2
        year = _found(hazard, chance, middle)
        number = (year < PAST).sum()
        if number == past:
            break
        low, high = (middle, high) if number < past else (low, middle)
    enough = np.bincount(year[year < YEARS], minlength=YEARS)[PAST:].cumsum() >= later
    return middle, PAST + int(enough.argmax()) if enough[-1] else YEARS - 1


def drawn_law(rng):
    """Exponents drawn from wide normal ranges, for worlds that follow the model."""
    return Law(
        area=rng.normal(0.6, 0.3),
        depth=rng.normal(0.3, 0.3),
        distance=float(np.clip(rng.normal(2.2, 0.6), 0.8, 4.0)),
        access=rng.normal(0.6, 0.35),
        outside=rng.normal(-2, 1.5),
        source_area=rng.normal(0.1, 0.3),
        wander=WANDER,
    )
