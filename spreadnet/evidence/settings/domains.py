"""How far from its stated range an assumed number may be set and still mean anything."""

from __future__ import annotations

from spreadnet.assumptions import Assumption
from spreadnet.evidence.columns import plain_number

MOST_TIMES = 100.0  # a positive number may lie this many times outside its stated range
# Ends for numbers that are no size: a temperature, an exponent, the spread of a logarithm.
TEMPERATURE_C = (-5.0, 50.0)
EXPONENT = (-5.0, 10.0)
LOG_SPREAD = (0.001, 5.0)
# A survey that finds nothing ever says nothing of any lake, and there is no dividing by it.
DETECTION = (1e-6, 1.0)


def domain(entry: Assumption) -> tuple[float, float]:
    """
    The lowest and highest number that is taken in place of an assumed one.

    Parameters
    ----------
    entry : Assumption
        As shipped, with its stated range.

    Returns
    -------
    low, high : float
        Shares lie in 0 to 1; temperatures, exponents and spreads within fixed ends; any other
        number within 100 times of its stated range, downwards and upwards.

    Notes
    -----
    House rule, no source: wide enough for any place or species, narrow enough that no sum
    overflows.

    Examples
    --------
    >>> domain(Assumption("t", 20.0, 10.0, 28.0, "degrees C", "linear", "", "", "assumption"))
    (-5.0, 50.0)
    """
    if entry.name in ("detection", "found_in_year"):
        return DETECTION
    if "share" in (entry.unit, entry.scale):
        least = entry.low / MOST_TIMES if entry.scale == "log" else 0.0
        return least, 1.0
    if entry.unit.startswith("degrees"):
        return TEMPERATURE_C
    if entry.unit == "log ratio":
        return LOG_SPREAD
    if entry.scale == "linear" and entry.unit == "no unit":
        return EXPONENT
    return entry.low / MOST_TIMES, entry.high * MOST_TIMES


def outside(entry: Assumption, changed: Assumption) -> str | None:
    """
    What is wrong with a changed number, naming its stated range; None when it can be taken.

    Examples
    --------
    >>> entry = Assumption("w", 2.5, 1.5, 4.0, "ratio", "log", "", "", "assumption")
    >>> outside(entry, Assumption("w", 900.0, 900.0, 900.0, "ratio", "log", "", "", ""))
    "'w' is 900; its stated range is 1.5 to 4 (ratio), and 0.015 to 400 is taken"
    """
    low, high = domain(entry)
    for value in (changed.value, changed.low, changed.high):
        if not low <= value <= high:
            stated = f"{plain_number(entry.low)} to {plain_number(entry.high)} ({entry.unit})"
            taken = f"{plain_number(low)} to {plain_number(high)}"
            given = f"'{entry.name}' is {plain_number(value)}"
            return f"{given}; its stated range is {stated}, and {taken} is taken"
    return None
