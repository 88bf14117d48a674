"""Published figures on cleaning boats, for researchers and for the education ratio."""

from __future__ import annotations

from dataclasses import dataclass
from types import MappingProxyType

METHODS = ("hand", "high-pressure", "low-pressure")
TARGETS = ("plants", "small-bodied")


@dataclass(frozen=True, slots=True)
class Removal:
    """Share of what was on the boat that a method removed, with its standard error."""

    share: float
    standard_error: float


# Rothlisberger et al. 2010, Fisheries 35:121
_REMOVAL = MappingProxyType(
    {
        ("hand", "plants"): Removal(0.88, 0.05),
        ("high-pressure", "plants"): Removal(0.83, 0.04),
        ("low-pressure", "plants"): Removal(0.62, 0.03),
        ("hand", "small-bodied"): Removal(0.65, 0.04),
        ("high-pressure", "small-bodied"): Removal(0.91, 0.02),
        ("low-pressure", "small-bodied"): Removal(0.74, 0.06),
    }
)

# Comeau et al. 2011, Biofouling 27:267: spray on adult quagga mussels in air, all dead
_HEAT_GRID = ((60.0, 5.0), (54.0, 10.0), (50.0, 20.0), (40.0, 40.0))


def removal(method: str, target: str) -> Removal:
    """
    Share removed by one way of cleaning, as measured in controlled trials.

    Parameters
    ----------
    method : str
        `hand` (look and pick off), `high-pressure` or `low-pressure` (washing).
    target : str
        `plants` or `small-bodied` (small animals and seeds).

    Returns
    -------
    removal : Removal
        Share and standard error.

    Raises
    ------
    ValueError
        If the method or target is not one of those measured.

    Notes
    -----
    Rothlisberger et al. 2010, Fisheries 35:121. Hands are best on plants and worst on small
    animals, which is why both a look and a wash are advised.

    Examples
    --------
    >>> removal("hand", "plants")
    Removal(share=0.88, standard_error=0.05)
    """
    if method not in METHODS:
        raise ValueError(f"Invalid method '{method}'. One of {METHODS}.")
    if target not in TARGETS:
        raise ValueError(f"Invalid target '{target}'. One of {TARGETS}.")
    return _REMOVAL[method, target]


def residual_ratio(alone: float, helped: float) -> float:
    """
    What is left on a boat when the boater is helped, over what is left when alone.

    Parameters
    ----------
    alone : float
        Share removed by the boater alone, below 1.
    helped : float
        Share removed with help, 0 to 1.

    Returns
    -------
    ratio : float
        Below 1 when help does good. With hands on the boat; what an educator's words leave is
        `education_check_together`, above this.

    Raises
    ------
    ValueError
        If a share is outside 0 to 1, or nothing is left when alone.

    Notes
    -----
    Angell et al. 2024 (n = 144 staged boats): 56.4% alone, 79.2% by a trained inspector.

    Examples
    --------
    >>> round(residual_ratio(0.564, 0.792), 3)
    0.477
    """
    if not (0 <= alone < 1 and 0 <= helped <= 1):
        message = f"Invalid shares removed '{alone}, {helped}'. Each from 0 to 1, alone below 1."
        raise ValueError(message)
    return (1 - helped) / (1 - alone)


def heat_kill_seconds(temperature_c: float) -> float:
    """
    Seconds of hot spray that killed all adult quagga mussels.

    Parameters
    ----------
    temperature_c : float
        Temperature of the water where it touches, degrees C.

    Returns
    -------
    seconds : float
        Time at the next lower temperature tried; infinity below 40 C, where no time is known.

    Notes
    -----
    Comeau et al. 2011, Biofouling 27:267: 60 C 5 s, 54 C 10 s, 50 C 20 s, 40 C 40 s. At 60 C
    under 10 s killed nearly all of six species (Mohit et al. 2023), but not banded mystery
    snails: take snails off by hand. Spiny waterflea resting eggs need more than a minute at 50 C:
    some hatched after 1 min, none after 5 min (Branstrator et al. 2013). Hot water burns; it is
    for trained staff.

    Examples
    --------
    >>> heat_kill_seconds(60), heat_kill_seconds(52), heat_kill_seconds(30)
    (5.0, 20.0, inf)
    """
    for least_c, seconds in _HEAT_GRID:
        if temperature_c >= least_c:
            return seconds
    return float("inf")
