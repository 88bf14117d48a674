"""A line with its interval against numbers across, as a picture that scales and prints."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from spreadnet.outputs.safe import for_html as safe
from spreadnet.words.numbers import figure

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Array = NDArray[np.floating]

WIDTH, HEIGHT, LEFT, TOP, RIGHT, BOTTOM = 640, 380, 84, 20, 24, 60


def curve_chart(
    x: Array,
    y: Array,
    *,
    low: Array,
    high: Array,
    marked: float,
    caption: str,
    across: str,
    up: str,
) -> str:
    """
    Picture of a curve with a band around it.

    Parameters
    ----------
    x, y : arrays, shape (N,)
        Points of the curve, x ascending.
    low, high : arrays, shape (N,)
        Ends of the interval at each point.
    marked : float
        Value of x that gets a ring.
    caption, across, up : str
        What it shows, and what the two axes are; not yet escaped.

    Returns
    -------
    html : str
        SVG with title and description; the numbers belong in a table beside it.
    """
    across_step, up_step = nice_step(float(x.max())), nice_step(float(high.max()))
    most = (
        across_step * max(np.ceil(x.max() / across_step), 1.0),
        up_step * max(np.ceil(high.max() / up_step), 1.0),
    )

    def at(a: float, b: float) -> str:
        return (
            f"{LEFT + (WIDTH - LEFT - RIGHT) * a / most[0]:.1f},"
            f"{HEIGHT - BOTTOM - (HEIGHT - TOP - BOTTOM) * b / most[1]:.1f}"
        )

    marks = []
    for tick in np.arange(0, most[1] * 1.001, up_step):
        left, right = at(0, tick).split(","), at(most[0], tick).split(",")
        marks.append(
            f'<line x1="{left[0]}" y1="{left[1]}" x2="{right[0]}" y2="{right[1]}" stroke="#ddd"/>'
            f'<text x="{LEFT - 8}" y="{float(left[1]) + 5:.1f}" text-anchor="end">'
            f"{figure(tick) if tick else 0}</text>"
        )
    for tick in np.arange(0, most[0] * 1.001, across_step):
        place = at(tick, 0).split(",")
        marks.append(
            f'<text x="{place[0]}" y="{HEIGHT - BOTTOM + 22}" text-anchor="middle">{tick:,.0f}'
            "</text>"
        )
    band = [at(a, b) for a, b in zip(x, high, strict=True)]
    band += [at(a, b) for a, b in zip(x[::-1], low[::-1], strict=True)]
    line = [at(a, b) for a, b in zip(x, y, strict=True)]
    marks.append(f'<polygon points="{" ".join(band)}" fill="#ccc" stroke="none"/>')
    marks.append(
        f'<polyline points="{" ".join(line)}" fill="none" stroke="#1a1a1a" stroke-width="2.5"/>'
    )
    for point in line:
        a, b = point.split(",")
        marks.append(f'<circle cx="{a}" cy="{b}" r="3" fill="#1a1a1a"/>')
    ring = at(marked, float(np.interp(marked, x, y))).split(",")
    marks.append(
        f'<circle cx="{ring[0]}" cy="{ring[1]}" r="8" fill="none" stroke="#1a1a1a" '
        'stroke-width="2.5"/>'
    )
    told = "; ".join(f"{a:,.0f}: {figure(b)}" for a, b in zip(x, y, strict=True))
    return (
        f'<svg viewBox="0 0 {WIDTH} {HEIGHT}" width="{WIDTH}" height="{HEIGHT}" role="img" '
        f'aria-label="{safe(caption)}" font-size="15" font-family="inherit">'
        f"<title>{safe(caption)}</title><desc>{safe(told)}</desc>{''.join(marks)}"
        f'<text x="{(LEFT + WIDTH - RIGHT) / 2}" y="{HEIGHT - 12}" text-anchor="middle">'
        f"{safe(across)}</text>"
        f'<text transform="translate(18 {(HEIGHT - BOTTOM + TOP) / 2}) rotate(-90)" '
        f'text-anchor="middle">{safe(up)}</text></svg>'
    )


def nice_step(most: float) -> float:
    """
    Step of an axis that has four to eight of them.

    Examples
    --------
    >>> nice_step(7.3), nice_step(0.031), nice_step(1900.0)
    (1.0, 0.005, 250.0)
    """
    if most <= 0:
        return 1.0
    rough = most / 7.6
    ten = 10.0 ** np.floor(np.log10(rough))
    return float(next(m * ten for m in (1, 2, 2.5, 5, 10) if m * ten >= rough * (1 - 1e-9)))
