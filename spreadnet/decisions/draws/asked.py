"""What is asked of a run in numbers: draws, seed, seasons, hours, workers, each in its range."""

from __future__ import annotations

import math

import numpy as np

MOST_SEASONS, MOST_HOURS = 50, 1_000_000  # as in tables.csv
MOST_WORKERS = 1024


def check_asked(
    *,
    draws: int | None = None,
    seed: int | None = None,
    seasons: int | None = None,
    hours: float | None = None,
    workers: int | None = None,
) -> None:
    """
    Refuse numbers that are out of their range, or no numbers; None is not looked at.

    Parameters
    ----------
    draws : int, optional
        1 or more.
    seed : int, optional
        0 or more.
    seasons : int, optional
        1 to 50.
    hours : float, optional
        0 to 1,000,000.
    workers : int, optional
        1 to 1024.

    Raises
    ------
    ValueError
        Names the first number that is wrong.

    Examples
    --------
    >>> check_asked(draws=200, seed=1, workers=None)
    >>> check_asked(workers=0)
    Traceback (most recent call last):
    ValueError: Invalid workers '0'. It must be a whole number of 1 or more and at most 1024.
    """
    ranges = (
        ("seasons", seasons, 1, MOST_SEASONS),
        ("draws", draws, 1, None),
        ("seed", seed, 0, None),
        ("workers", workers, 1, MOST_WORKERS),
    )
    for name, value, least, most in ranges:
        if value is not None:
            check_whole(name, value, least=least, most=most)
    number = isinstance(hours, (int, float, np.integer, np.floating)) and not isinstance(
        hours, bool
    )
    if hours is not None and not (number and math.isfinite(hours) and 0 <= hours <= MOST_HOURS):
        message = f"Invalid hours '{hours}'. They must lie between 0 and {MOST_HOURS:,}."
        raise ValueError(message)


def check_whole(name: str, value: object, *, least: int, most: int | None = None) -> None:
    """
    Refuse what is not a whole number, or out of its range.

    Parameters
    ----------
    name : str
        Of the argument.
    value : object
        What was given.
    least, most : int
        Ends of the range; no upper one when left out.

    Raises
    ------
    ValueError
        Says what the number must be.
    """
    whole = isinstance(value, (int, np.integer)) and not isinstance(value, bool)
    if whole and least <= value and (most is None or value <= most):  # type: ignore[operator]
        return
    upper = "" if most is None else f" and at most {most}"
    message = f"Invalid {name} '{value}'. It must be a whole number of {least} or more{upper}."
    raise ValueError(message)
