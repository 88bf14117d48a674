"""Numbers as people read them: the one place where they are rounded and written."""

from __future__ import annotations

import numpy as np

SMALLEST_SHOWN = 1e-6  # smaller numbers are said to be under it
SMALL_NUMBER = 0.2  # expected number below which it is said as a chance
SMALL_CHANCE = 0.01  # smaller chances are said to be under it


def figure(value: float) -> str:
    """
    Number to two significant digits, the same for an estimate and the ends of its interval.

    Examples
    --------
    >>> figure(0.003661), figure(12.34), figure(1234.5), figure(5.61e-5)
    ('0.0037', '12', '1,234', '0.000056')
    """
    if abs(value) >= 10 or not np.isfinite(value):
        return f"{value:,.0f}"
    return np.format_float_positional(float(f"{value:.2g}"), trim="-")


def plain_text(value: float) -> str:
    """
    Round value in all its figures, thousands marked, no exponent.

    Examples
    --------
    >>> plain_text(5e-05), plain_text(0.2), plain_text(2e7)
    ('0.00005', '0.2', '20,000,000')
    """
    text = f"{float(f'{value:.10g}'):,.15f}" if abs(value) >= 1 else f"{value:.12f}"
    return text.rstrip("0").rstrip(".")


def count_text(value: float) -> str:
    """
    Whole number with thousands marked.

    Examples
    --------
    >>> count_text(1234.4)
    '1,234'
    """
    return f"{value:,.0f}" if np.isfinite(value) else "no figure"


def percent_text(value: float) -> str:
    """
    Chance in percent, with no more figures than it deserves.

    Examples
    --------
    >>> percent_text(0.234), percent_text(0.034), percent_text(0.0002), percent_text(0.9999)
    ('23%', '3.4%', 'under 0.1%', 'over 99.9%')
    """
    if not np.isfinite(value):
        return "no figure"
    if value <= 0.0 or value >= 1.0:
        return "0%" if value <= 0.0 else "100%"
    if value < 0.001 or value > 0.999:
        return "under 0.1%" if value < 0.5 else "over 99.9%"
    return f"{100 * value:.{0 if 0.095 <= value <= 0.99 else 1}f}%"


def share_text(share: float) -> str:
    """
    Share in percent, with a digit more where it is small.

    Examples
    --------
    >>> share_text(0.234), share_text(0.034)
    ('23%', '3.4%')
    """
    return f"{share:.1%}" if share < 0.0995 else f"{share:.0%}"


def whole_percent(share: float) -> str:
    """
    Share in whole percent.

    Examples
    --------
    >>> whole_percent(0.234), whole_percent(0.004)
    ('23%', '0%')
    """
    return f"{share:.0%}"


def chance_text(chance: float) -> str:
    """
    Chance in whole percent; small ones are not none.

    Examples
    --------
    >>> chance_text(0.234), chance_text(0.004)
    ('23%', 'under 1%')
    """
    return whole_percent(chance) if chance >= SMALL_CHANCE else f"under {SMALL_CHANCE:.0%}"


def rough_text(value: float) -> str:
    """
    Boats or an amount of money to two significant digits: more would look surer than it is.

    Examples
    --------
    >>> rough_text(1234.5), rough_text(7.2)
    ('1,200', '7')
    """
    return f"{float(f'{value:.2g}'):,.0f}"


def odds_text(value: float) -> str:
    """
    How many are expected, such as infestations avoided; a small number as the chance of one.

    Examples
    --------
    >>> odds_text(0.0417), odds_text(0.00059), odds_text(0.42), odds_text(0.0)
    ('1 in 24', '1 in 1,700', '0.42', '0')
    """
    if not np.isfinite(value):
        return "no figure"
    if value <= 0 or value >= SMALL_NUMBER:
        return figure(value) if value else "0"
    if value < SMALLEST_SHOWN:
        return f"under 1 in {1 / SMALLEST_SHOWN:,.0f}"
    return f"1 in {rough_text(1 / value)}"


def odds_range(value: float, low: float, high: float) -> str:
    """
    How many are expected, with the interval.

    Examples
    --------
    >>> odds_range(0.0417, 0.02, 0.066)
    '1 in 24 (1 in 50 to 1 in 15)'
    """
    return f"{odds_text(value)} ({odds_text(low)} to {odds_text(high)})"


def counted(number: int, word: str) -> str:
    """
    Whole number with what it counts.

    Examples
    --------
    >>> counted(1, "shift"), counted(1200, "shift")
    ('1 shift', '1,200 shifts')
    """
    return f"{number:,} {word}{'' if number == 1 else 's'}"


def cost_text(cost: float, low: float, high: float) -> str:
    """
    Cost of one infestation avoided with its interval.

    Parameters
    ----------
    cost, low, high : float
        Not a number where nothing is avoided: `cost` at the best estimates, `high` in some draws.

    Examples
    --------
    >>> cost_text(1234.0, 810.0, float("nan")), cost_text(*3 * [float("nan")])
    ('1,200 (810 to no limit)', 'nothing avoided')
    """
    if np.isnan(cost):
        return "nothing avoided"
    upper = "no limit" if np.isnan(high) else rough_text(high)
    return f"{rough_text(cost)} ({rough_text(low)} to {upper})"


def signed_text(value: float) -> str:
    """
    Number with its sign and two places.

    Examples
    --------
    >>> signed_text(0.123), signed_text(-0.4)
    ('+0.12', '−0.40')
    """
    return f"{value:+.2f}".replace("-", "\u2212")
