"""Symbols and steps of the map, and the key that puts each of them in words."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import numpy as np
from markupsafe import Markup
from numpy.typing import ArrayLike

from spreadnet.outputs import palette
from spreadnet.outputs.palette import LANDING, LANDING_OFF, PAPER
from spreadnet.outputs.render import fragment
from spreadnet.words import odds_text, plain_text

TRIP_WIDTHS = (1.0, 2.0, 3.5, 5.5)
NUMBERED = 10  # first landings, that always show their rank
STATUSES = ("infested", "looked for, not found", "not surveyed")


def round_steps(values: ArrayLike, *, count: int, smallest: float, largest: float) -> list[float]:
    """
    Edges of classes: neighbours in the row 1, 2, 5, 10, 20, 50 ...

    Round edges are read at a glance. The top one is the largest that a tenth of the values reach,
    so that the classes are used whatever the size of the numbers.

    Parameters
    ----------
    values : array-like
        What is to be classed; what is not finite is left out.
    count : int
        How many edges; there is one class more.
    smallest, largest : float
        The lowest edge is not below `smallest`, the top edge not above `largest`.

    Returns
    -------
    edges : list of float
        From the lowest to the top one.

    Examples
    --------
    >>> round_steps([0.01, 0.03, 0.2, 0.3], count=4, smallest=0.0001, largest=0.5)
    [0.02, 0.05, 0.1, 0.2]
    """
    known = np.asarray(values, dtype=np.float64)
    known = known[np.isfinite(known)]
    reached = float(np.quantile(known, 0.9)) if known.size else largest
    row = [float(f"{digit}e{power}") for power in range(-9, 10) for digit in (1, 2, 5)]
    row = [step for step in row if smallest <= step <= largest]
    top = max(count - 1, *(place for place, step in enumerate(row) if step <= reached), -1)
    return row[top - count + 1 : top + 1]


def step_words(edges: Sequence[float], *, percent: bool) -> list[str]:
    """
    Each class in words, from the lowest.

    Examples
    --------
    >>> step_words([0.01, 0.02], percent=True)
    ['under 1%', '1–2%', '2%+']
    """
    scale, unit = (100.0, "%") if percent else (1.0, "")
    shown = [plain_text(scale * edge) for edge in edges]
    between = [f"{low}–{high}{unit}" for low, high in pairwise(shown)]
    return [f"under {shown[0]}{unit}", *between, f"{shown[-1]}{unit}+"]


def key_html(
    *,
    steps: Sequence[float],
    trip_steps: Sequence[float],
    sizes: Sequence[tuple[float, float]],
    text: dict[str, str],
    switches: bool,
) -> Markup:
    """
    Key of the map: every symbol drawn and in words, with its unit.

    Parameters
    ----------
    steps : sequence of float
        Edges of the chance classes.
    trip_steps : sequence of float
        Edges of the trip classes; empty when there are no trips.
    sizes : sequence of (value, radius)
        Landings of the sizes to show: avoided per 100 hours, radius in pixels.
    text : dict
        `seasons`, `infested`, `not_surveyed`, `all_there`, `trips`, `no_figure` and `points` (""
        when not on the map), `landings` (what their size or order says), `numbered` ("" when none
        is numbered), `dot` ("" when sizes are shown), `prefix` of ids in the key.
    switches : bool
        Whether each heading is a switch of its layer.

    Returns
    -------
    html : Markup
        Three sections.
    """
    lefts = np.cumsum([0.0, *(2 * r + 4 for _, r in sizes)])
    trips = step_words(trip_steps, percent=False) if trip_steps else []
    return fragment(
        "map/key.html.j2",
        colours=palette,
        landing=landing_symbol,
        ramp=list(zip(palette.CHANCE, step_words(steps, percent=True), strict=True)),
        sizes=[(left + r + 2, r) for left, (_, r) in zip(lefts, sizes, strict=False)],
        sizes_width=f"{max(lefts[-1], 28):g}",
        sizes_words="; ".join(odds_text(value) for value, _ in sizes),
        trips=list(zip(TRIP_WIDTHS, trips, strict=False)),
        text=text,
        switches=switches,
    )


def landing_symbol(x: float, y: float, r: float, kind: str, *, numbered: bool = False) -> Markup:
    """
    Circle of a landing: filled, open (boats not counted) or crossed (can't be staffed).

    Round a number, the stroke that crosses is left out inside.
    """
    fill, edge = {"open": (PAPER, LANDING), "off": (PAPER, LANDING_OFF)}.get(kind, (LANDING, PAPER))
    width = min(1.5, 0.3 * r) if kind == "full" else min(2.5, 0.45 * r)
    circle = (
        f'<circle cx="{x:.1f}" cy="{y:.1f}" r="{r:.1f}" fill="{fill}" stroke="{edge}" '
        f'stroke-width="{width:.1f}"/>'
    )
    if kind != "off":
        return Markup(circle)
    d, e = (0.7 * r, -0.7 * r) if not numbered else (0.7 * (r + 8.0), 0.7 * r)
    strokes = f"M{x - d:.1f} {y + d:.1f}L{x - e:.1f} {y + e:.1f}"
    if numbered:
        strokes += f"M{x + e:.1f} {y - e:.1f}L{x + d:.1f} {y - d:.1f}"
    path = f'<path d="{strokes}" stroke="{edge}" stroke-width="{min(2.0, width):.1f}"/>'
    return Markup(circle + path)


def landing_words(unit: str, *, ranked: bool, sized: bool) -> dict[str, str]:
    """Words of the key on landings; `sized` where their size says what they avoid."""
    if not ranked:
        return {"landings": "This run has no ranking", "numbered": "", "dot": "Landing"}
    size = f"Size: {unit}; smaller while the whole region is in view"
    order = f"The first {NUMBERED} by {unit} are numbered"
    return {
        "landings": size if sized else order,
        "numbered": "yes",
        "dot": "" if sized else "Dots: other landings",
    }
