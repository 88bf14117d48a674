"""Many coverages of few landings each: what they change of one matrix, in thin products."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from spreadnet.model.spread.between_lakes import lake_rates
from spreadnet.model.spread.expected import expected_spread, total
from spreadnet.model.spread.incidence import collapse_matrix
from spreadnet.model.spread.one_landing import unit_changes
from spreadnet.model.trips import Trips
from spreadnet.words import short_repr

if TYPE_CHECKING:
    import scipy.sparse as sp
    from numpy.typing import NDArray

    from spreadnet.model.spread.between_lakes import Rates
    from spreadnet.model.spread.types import Coverage, SpreadInputs

    Array = NDArray[np.floating]

AT_ONCE = 16  # coverages worked on together: each holds its course of every lake
FEW = 1 / 8  # of all landings: coverages that reach no more go through one matrix together


@short_repr
@dataclass(frozen=True, slots=True, eq=False)
class FewRates:
    """
    Introductions between lakes under P coverages that reach U landings between them.

    With B the rates between lakes, coverage shares c of boats leaving and d of boats arriving
    change B by c rows + d columns + c both d, landing by landing: linear in each, so P coverages
    take the product with B and some as thin as U.

    Attributes
    ----------
    lakes, outside
        As in `Rates`, (A,) and (P, A).
    rates : Rates
        B, nobody covered.
    place : array of int, shape (U,)
        Place of each landing's lake among the A lakes.
    home : sparse array, shape (U, A)
        1 at each landing's lake.
    leaving, arriving : arrays, shape (P, U)
        Shares reached.
    rows, columns : arrays, shape (U, A)
        Change of the row and column of its lake when all boats of a landing are reached.
    both : array, shape (U, U)
        What changes twice on trips from one landing to another: less is left to be closed.
    """

    lakes: NDArray[np.integer]
    outside: Array
    rates: Rates
    place: NDArray[np.integer]
    home: sp.csr_array
    leaving: Array
    arriving: Array
    rows: Array
    columns: Array
    both: Array

    def sent(self, infested: Array) -> Array:
        """Introductions to each lake, given how likely each is infested, (P, A) to (P, A)."""
        out = infested[:, self.place] * self.leaving
        into = (infested @ self.columns.T + out @ self.both) * self.arriving
        return self.rates.sent(infested) + out @ self.rows + into @ self.home


def few_rates(inputs: SpreadInputs, coverage: Coverage, rates: Rates) -> FewRates:
    """
    Introductions between lakes under each of P coverages, from those without one.

    Parameters
    ----------
    inputs : SpreadInputs
        The species and region.
    coverage : Coverage
        Shares of boats reached, (P, K); 0 at most landings.
    rates : Rates
        `lake_rates(inputs, establish=1.0)`.

    Returns
    -------
    few : FewRates
        As `lake_rates(inputs, coverage, establish=1.0)`.
    """
    used = np.flatnonzero((coverage.leaving > 0).any(axis=0) | (coverage.arriving > 0).any(axis=0))
    leaving, arriving = coverage.leaving[:, used], coverage.arriving[:, used]
    rows, columns, outside = unit_changes(inputs, rates, used)
    place = np.searchsorted(rates.lakes, inputs.landing_lake[used])
    twice = (inputs.weights * inputs.education_effect**2)[:, None]
    both = (inputs.leaving[:, used] * twice).T @ inputs.arriving[:, used]
    both = both * inputs.trips.rows(used)[:, used]
    home = collapse_matrix(place, len(rates.lakes)).T.tocsr()
    return FewRates(
        lakes=rates.lakes,
        outside=rates.outside + (arriving * outside) @ home,
        rates=rates,
        place=place,
        home=home,
        leaving=leaving,
        arriving=arriving,
        rows=rows,
        columns=columns,
        both=both,
    )


def totals_under(
    inputs: SpreadInputs, coverage: Coverage, *, seasons: int, rates: Rates | None = None
) -> Array:
    """
    New infestations under each of several coverages, weighted by worth.

    Parameters
    ----------
    inputs : SpreadInputs
        The species and region.
    coverage : Coverage
        Share of boats reached at each landing under each of P coverages, (P, K).
    seasons : int
        Seasons to look ahead, 1 or more.
    rates : Rates, optional
        `lake_rates(inputs, establish=1.0)` where that is there already.

    Returns
    -------
    totals : array, shape (P,)
        As `total` of each path. Coverages of few landings go through one matrix together, others
        through the trips, some at once.

    Raises
    ------
    ValueError
        If the shapes disagree or `seasons` is below 1.
    """
    reached = (coverage.leaving > 0) | (coverage.arriving > 0)
    few = (reached.sum(axis=1) <= FEW * reached.shape[1]) & isinstance(inputs.trips, Trips)
    totals = np.zeros(len(reached))
    for alike in (True, False):
        numbers = np.flatnonzero(few == alike)
        for first in range(0, len(numbers), AT_ONCE):
            some = numbers[first : first + AT_ONCE]
            part = coverage[some]
            thin = None
            if alike:
                rates = rates or lake_rates(inputs, establish=1.0)
                thin = few_rates(inputs, part, rates)
            path = expected_spread(inputs, part, seasons=seasons, rates=thin)
            totals[some] = total(inputs, path)
    return totals
