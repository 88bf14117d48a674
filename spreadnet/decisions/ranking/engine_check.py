"""The fast expected course checked by the slow simulated one, with words where they part."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from spreadnet.model.spread import new_infestations, simulate
from spreadnet.words import short_repr

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from spreadnet.decisions.draws import Run
    from spreadnet.model.spread import Futures, SpreadInputs

    Array = NDArray[np.floating]

MOST_FUTURES, FEWEST_FUTURES = 1000, 200
CELLS = 2_000_000  # futures times lakes that a check may take
APART = 0.05  # share by which the two may differ before a word is said
ERRORS = 3.0  # standard errors that must lie between the two as well
ERRORS_BELOW = 4.5  # the same where the expected is the lower one: a fault, if it is no chance
ERRORS_LAKE = 4.5  # the same for one lake, the worst of thousands
FEW_LAKES = 5.0  # infested at the start, below which the first new ones decide what happens
UNSURE = 0.3  # share of the infested lakes that are only perhaps so
FAST = 1.0  # new infestations for each one at the start
LAKE_APART = 0.1  # difference in the chance of one lake that is worth naming it


@short_repr
@dataclass(frozen=True, slots=True, eq=False)
class EngineCheck:
    """
    Expected and simulated new infestations of one species at the best estimates.

    Attributes
    ----------
    expected, simulated : float
        New infestations by the end of the seasons, not weighted.
    error : float
        Monte Carlo standard error of `simulated`; not below that of lakes on their own with the
        expected chances, since futures in which nothing happens show no spread.
    futures : int
        Number of futures simulated.
    initial : float
        Lakes infested at the start.
    unsure : float
        Share of those that are only perhaps infested.
    lake : int
        Position of the lake whose expected chance is most above the simulated one.
    lake_apart : float
        By how much; 0 where chance explains it.
    allee_exponent : float
        As in the inputs: above 1 the expected course may be the lower one.
    """

    expected: float
    simulated: float
    error: float
    futures: int
    initial: float
    unsure: float
    lake: int
    lake_apart: float
    allee_exponent: float = 1.0

    @property
    def ratio(self) -> float:
        """Expected over simulated; 1 where nothing happens in either."""
        if self.simulated > 0:
            return self.expected / self.simulated
        return 1.0 if self.expected < self.error + 1e-9 else np.inf

    @property
    def errors_above(self) -> float:
        """Standard errors by which the expected is above the simulated; 0 where they are equal."""
        above = self.expected - self.simulated
        if self.error > 0:
            return above / self.error
        return float(np.copysign(np.inf, above)) if above else 0.0

    @property
    def apart(self) -> bool:
        """Whether the two differ by more than is worth a word, and than chance explains."""
        much = abs(self.expected - self.simulated) > APART * self.simulated
        return much and not -ERRORS_BELOW <= self.errors_above <= ERRORS


def check_engine(run: Run, *, seed: int) -> dict[str, EngineCheck]:
    """
    Simulate every species at the best estimates and set it against the expected course.

    Parameters
    ----------
    run : Run
        The model at the best estimates.
    seed : int
        Seed of the run.

    Returns
    -------
    checks : dict of species to EngineCheck
        One a species.
    """
    return {
        name: _check(
            inputs,
            new_infestations(inputs, run.paths[name]),
            simulate(
                inputs,
                seasons=run.seasons,
                seed=seed,
                species=name,
                futures=range(_number(len(inputs.initial))),
            ),
        )
        for name, inputs in run.inputs.items()
    }


def why_apart(check: EngineCheck, lake_names: Sequence[str]) -> str:
    """
    Why the expected and the simulated total part, in words.

    Parameters
    ----------
    check : EngineCheck
        Result of `check_engine` for one species.
    lake_names : sequence of str, length L
        Names of the lakes.

    Returns
    -------
    words : str
        Empty where they do not part.
    """
    if not check.apart:
        return ""
    if check.expected < check.simulated:
        if check.allee_exponent > 1:
            return (
                "few boats together rarely found a population, and a small chance in many lakes "
                "counts as few boats where an infested lake would send many"
            )
        return "the expected course is the lower one, which it should never be: please report it"
    reasons = []
    if check.initial < FEW_LAKES:
        reasons.append("few lakes hold it, so when the first new ones come decides what follows")
    if check.expected > FAST * check.initial:
        reasons.append("it spreads fast")
    if check.unsure > UNSURE:
        reasons.append(
            "which lakes hold it is unsure, and a small chance in many lakes is not the same as a "
            "few infested ones"
        )
    if check.lake_apart > LAKE_APART:
        reasons.append(
            f"{lake_names[check.lake]} is fed mostly by a neighbour that may not be infested itself"
        )
    return "; ".join(reasons or ["chances of neighbouring lakes hang together"])


def _number(n_lakes: int) -> int:
    """Futures that a region of so many lakes is checked with."""
    return int(np.clip(CELLS // max(n_lakes, 1), FEWEST_FUTURES, MOST_FUTURES))


def _check(inputs: SpreadInputs, chance: Array, found: Futures) -> EngineCheck:
    """Check of one species."""
    new, futures = found.new(), len(found.first_season)
    alone = chance * (1 - chance) / futures
    above = chance - found.counts_by_season()[-1] / futures
    above[above <= ERRORS_LAKE * alone**0.5] = 0.0
    lake = int(np.argmax(above))
    initial = float(inputs.initial.sum())
    unsure = float(inputs.initial[inputs.initial < 1].sum())
    return EngineCheck(
        expected=float(chance.sum()),
        simulated=float(new.mean()),
        error=float(np.sqrt(max(new.var(ddof=1) / futures, alone.sum()))),
        futures=futures,
        initial=initial,
        unsure=unsure / initial if initial > 0 else 0.0,
        lake=lake,
        lake_apart=float(above[lake]),
        allee_exponent=float(inputs.allee_exponent),
    )
