"""Numbers as people read them: the one place where they are rounded and written."""

from __future__ import annotations

import numpy as np

SMALLEST_SHOWN = 1e-6  # smaller numbers are said to be under it


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


def number_text(value: float) -> str:
    """
    Number as people read it: two figures, thousands marked, no exponent.

    A number and its interval, written so, keep their order: all are rounded to the same figures.

    Examples
    --------
    >>> number_text(0.02134), number_text(1234.4), number_text(7.0), number_text(float("nan"))
    ('0.021', '1,234', '7.0', 'no figure')
    """
    if not np.isfinite(value):
        return "no figure"
    if value == 0.0:
        return "0"
    if abs(value) < SMALLEST_SHOWN:
        return f"under {SMALLEST_SHOWN:.6f}"
    places = min(max(1 - int(np.floor(np.log10(abs(value)))), 0), 6)
    return f"{value:,.{places}f}"


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
