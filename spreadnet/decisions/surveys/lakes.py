"""Which lakes to survey next: what knowing a lake's status would be worth for where hours go."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from spreadnet.decisions.hours import coverage_of
from spreadnet.decisions.ranking import ranks
from spreadnet.decisions.surveys.value import best_placed, whole_shifts
from spreadnet.model.spread import expected_spread, gradient, lake_rates
from spreadnet.words import lake_survey_words, short_repr

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

    from spreadnet.decisions.draws import Run
    from spreadnet.evidence.gather import Evidence
    from spreadnet.evidence.region import Region
    from spreadnet.model.spread import Coverage, Rates, SpreadInputs

    Array = NDArray[np.floating]
    Counts = NDArray[np.integer]

COLUMNS = (
    *("survey_rank", "lake_id", "lake", "species", "gain", "gain_of_one_survey"),
    *("chance_infested", "surveys", "hours_moved_if_infested", "hours_moved_if_free", "why"),
)
SURE = 1e-3  # chance of being infested, or free, below which nobody needs to look
SMALL, LARGE = 200, 60  # lakes worked out, where a run takes no time and where it does
FEW = 400  # landings up to which it takes none


def no_lakes() -> pd.DataFrame:
    """The table of lakes to survey without a row."""
    return pd.DataFrame(columns=list(COLUMNS))


def lakes_to_survey(region: Region, evidence: Evidence, *, run: Run, hours: Array) -> pd.DataFrame:
    """
    Expected gain of knowing whether each lake is infested.

    Knowing gains something only if hours would be placed elsewhere for it, as for landings.

    Parameters
    ----------
    region : Region
        Names.
    evidence : Evidence
        Surveys so far, and how surely one finds the species.
    run : Run
        The model at the best estimates.
    hours : array, shape (K, D)
        Hours placed.

    Returns
    -------
    lakes : DataFrame
        A row a lake and species whose status is not sure, most gain first: `survey_rank`, missing
        where nothing is gained; `gain`: new infestations (weighted, over all seasons) expected to
        be avoided besides by hours placed by the true status; `gain_of_one_survey`: by those
        placed after one survey, which may miss it; `chance_infested` and `surveys` so far;
        `hours_moved_if_infested`, `hours_moved_if_free`: hours a season; `why`.

    Notes
    -----
    Expected value of perfect and of sample information (Raiffa & Schlaifer 1961, Applied
    Statistical Decision Theory, from memory): the value of an hour at every landing in a run with
    the lake infested and in one with it free, and all hours placed anew by each. Values are taken
    to go in a straight line from one to the other. Only lakes whose status counts for most by the
    slope of the spread are run: 200, or 60 in large regions. What a find says of other lakes and
    of the speed of spread is left out.
    """
    known = {name: _Known.of(run, name, hours) for name in run.inputs}
    total = np.sum([one.value for one in known.values()], axis=0)
    placing = _Placing(run, float(hours.sum()), total)
    rows = []
    for name, lake in _candidates(run):
        status, one = evidence.status[name], known[name]
        infested, free = one.either_way(lake)
        infested, free = (np.maximum(total + each - one.value, 0.0) for each in (infested, free))
        chance = float(run.inputs[name].initial[lake])
        found = chance * status.detection
        missed = (chance - found) / (1 - found)
        unseen = missed * infested + (1 - missed) * free
        moved = [placing.moved(each) for each in (infested, free)]
        rows.append(
            {
                "lake_id": region.lakes.index[lake],
                "lake": region.lakes["name"].iloc[lake],
                "species": name,
                "gain": placing.gain((chance, infested), (1 - chance, free)),
                "gain_of_one_survey": placing.gain((found, infested), (1 - found, unseen)),
                "chance_infested": chance,
                "surveys": float(status.surveys[lake]),
                "hours_moved_if_infested": moved[0][0],
                "hours_moved_if_free": moved[1][0],
                "why": lake_survey_words(
                    evidence.species[name].label,
                    chance=chance,
                    surveys=float(status.surveys[lake]),
                    moves=[(n, None if k is None else _named(region, k)) for n, k in moved],
                ),
            }
        )
    return _ranked(pd.DataFrame(rows, columns=list(COLUMNS)))


@short_repr
class _Placing:
    """Hours placed by values of an hour, as whole shifts, beside those placed now."""

    def __init__(self, run: Run, budget: float, total: Array) -> None:
        self.reach = run.reach
        self.hours = min(run.reach.shift_hours, budget)  # of a shift
        self.number = int(np.ceil(budget / run.reach.shift_hours - 1e-9))
        self.now = self.best(total)

    def best(self, values: Array) -> Counts:
        """Shifts placed where they avoid most."""
        return best_placed(values, whole_shifts(values, self.reach), placed=self.number)

    def gain(self, *ways: tuple[float, Array]) -> float:
        """What is avoided besides where hours follow how it turns out, with its chance."""
        gains = [chance * ((self.best(v) - self.now) * v).sum() for chance, v in ways]
        return self.hours * max(float(np.sum(gains)), 0.0)

    def moved(self, values: Array) -> tuple[float, int | None]:
        """Hours a season that move to other landings or times, and where most of them go."""
        more = np.maximum(self.best(values) - self.now, 0).sum(axis=1)
        hours = self.hours * float(more.sum())
        return hours, int(np.argmax(more)) if hours > 0 else None


@short_repr
class _Known:
    """Value of an hour for one species, with what its status changes."""

    def __init__(self, run: Run, name: str, coverage: Coverage, rates: Rates) -> None:
        self.run, self.coverage, self.rates = run, coverage, rates
        self.one, self.weight = run.inputs[name], run.weights[name]
        self.value = self._value(self.one)

    @classmethod
    def of(cls, run: Run, name: str, hours: Array) -> _Known:
        """With the hours placed."""
        coverage = coverage_of(hours, run.reach)
        return cls(run, name, coverage, lake_rates(run.inputs[name], coverage, establish=1.0))

    def _value(self, one: SpreadInputs) -> Array:
        """Avoided by one more hour a season, (K, D)."""
        path = expected_spread(one, rates=self.rates, seasons=self.run.seasons)
        slope = gradient(one, self.coverage, path, rates=self.rates)
        reach = self.run.reach
        each = slope.leaving[:, None] * reach.leaving + slope.arriving[:, None] * reach.arriving
        return np.asarray(self.weight * each)

    def either_way(self, lake: int) -> tuple[Array, Array]:
        """Values with the lake infested and with it free; their mean is the value now."""
        chance = float(self.one.initial[lake])
        surely = 1.0 if chance < 0.5 else 0.0  # the less likely: the other is hardly another
        initial = self.one.initial.copy()
        initial[lake] = surely
        run = self._value(replace(self.one, initial=initial))
        likely = chance if surely else 1 - chance
        other = (self.value - likely * run) / (1 - likely)
        return (run, other) if surely else (other, run)


def _candidates(run: Run) -> Iterator[tuple[str, int]]:
    """Species and lakes whose status is not sure and counts for most, by the slope of spread."""
    names = list(run.inputs)
    chance = np.array([run.inputs[name].initial for name in names])
    slope = np.array([run.weights[name] * np.abs(run.slopes[name].initial) for name in names])
    counts = np.sqrt(chance * (1 - chance)) * slope
    counts[(chance < SURE) | (chance > 1 - SURE)] = 0.0
    most = SMALL if len(run.reach.boats) <= FEW else LARGE
    order = np.argsort(-counts, axis=None, kind="stable")[:most]
    for number in order[counts.ravel()[order] > 0]:
        species, lake = divmod(int(number), chance.shape[1])
        yield names[species], lake


def _named(region: Region, k: int) -> str:
    """A landing in words."""
    return f"{region.landings['name'].iloc[k]} ({region.landings.index[k]})"


def _ranked(table: pd.DataFrame) -> pd.DataFrame:
    """Most gain first; no rank where nothing is gained."""
    gain = table["gain"].to_numpy(float)
    ids = [f"{lake} {name}" for lake, name in zip(table["lake_id"], table["species"], strict=True)]
    order = pd.Series(ranks(gain, ids), index=table.index, dtype="Int64").mask(gain <= 0)
    ordered = table.assign(survey_rank=order).iloc[np.lexsort((np.array(ids, str), -gain))]
    return ordered.reset_index(drop=True)
