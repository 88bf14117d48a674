"""Colours, symbols and steps of the map, and the key that puts each of them in words."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike

from spreadnet.outputs.safe import safe_text
from spreadnet.words.numbers import plain_text

INK, LAND, GROUND, PAPER = "#1c2b33", "#eeece3", "#dbe1df", "#ffffff"
# Light to dark, so that the order holds in grey and for colour-blind eyes; every lake has a dark
# outline since the lightest steps are near the land's colour.
CHANCE = ("#fdf3d1", "#f3ce84", "#e0974a", "#b25a2c", "#6b2a20")
ALL_THERE, NO_FIGURE = "#a9b1b4", "#ffffff"  # classes 5 and 6
LANDING, LANDING_OFF, TRIP = "#14506b", "#5d686d", "#63488f"
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
) -> str:
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
    html : str
        Three sections.
    """
    lakes = _ramp(steps) + _list(_lake_items(text))
    marks = _list(_landing_items(sizes, text))
    lines = _list(_trip_items(trip_steps)) + f"<p>{safe_text(text['trips'])}</p>"
    return (
        _section(
            "lakes",
            "Lakes",
            f"Chance of a new infestation if free now, {text['seasons']}",
            lakes,
            switches,
        )
        + _section("landings", "Landings", text["landings"], marks, switches)
        + _section("trips", "Trips", "Boats from lake to lake in a season", lines, switches)
    )


def _section(name: str, title: str, unit: str, body: str, switches: bool) -> str:
    """One part of the key."""
    head = f"<h3>{title}</h3>"
    if switches:
        head = (
            f'<h3><label><input type="checkbox" checked data-layer="{name}"> {title}</label></h3>'
        )
    return f'<section>{head}<p class="unit">{safe_text(unit)}</p>{body}</section>'


def _list(items: Sequence[tuple[str, str]]) -> str:
    """List of symbols with their words (already safe)."""
    return (
        "<ul>" + "".join(f"<li>{mark}<span>{words}</span></li>" for mark, words in items) + "</ul>"
    )


def _svg(width: float, height: float, body: str) -> str:
    """One symbol of the key, left out for those who hear the page."""
    return (
        f'<svg width="{width:g}" height="{height:g}" viewBox="0 0 {width:g} {height:g}" '
        f'aria-hidden="true">{body}</svg>'
    )


def _ramp(steps: Sequence[float]) -> str:
    """Steps of the chance of a new infestation, each with its numbers."""
    words = step_words(steps, percent=True)
    cells = "".join(
        f'<li><svg height="14" aria-hidden="true"><rect width="100%" height="14" fill="{colour}"/>'
        f"</svg><span>{safe_text(word)}</span></li>"
        for colour, word in zip(CHANCE, words, strict=True)
    )
    return f'<ol class="ramp">{cells}</ol>'


BLOB = "M3 9C2 4 8 1 14 3s10 0 10 6-6 8-12 6S4 14 3 9z"


def _lake_items(text: dict[str, str]) -> list[tuple[str, str]]:
    """Outlines and hatching of the lakes."""
    hatch = "".join(f"M{x} 18L{x + 18} 0" for x in range(-15, 27, 5))
    clip = f'<clipPath id="{text["prefix"]}-blob"><path d="{BLOB}"/></clipPath>'
    inside = f'clip-path="url(#{text["prefix"]}-blob)"'
    lined = f'<path d="{hatch}" stroke="{INK}" stroke-width="1.3" {inside}/>'
    dots = "".join(f'<circle cx="{x}" cy="{y}" r="1" fill="{INK}"/>' for x, y in _DOTS)
    items = [
        (_blob(CHANCE[1], 2.2, "", clip + lined), _switching(text["infested"], "Infested")),
        (_blob(CHANCE[1], 1.2, "", ""), "Looked for, not found"),
        (
            _blob(CHANCE[1], 1.2, ' stroke-dasharray="3 2"', dots),
            _switching(text["not_surveyed"], "Not surveyed"),
        ),
        (_blob(ALL_THERE, 2.2, "", lined), _switching(text["all_there"], "Already there")),
    ]
    if text["no_figure"]:
        items.append((_blob(NO_FIGURE, 1.2, "", ""), safe_text(text["no_figure"])))
    if text["points"]:
        diamond = (
            f'<path d="M14 2l7 7-7 7-7-7z" fill="{CHANCE[1]}" stroke="{INK}" stroke-width="1.2"/>'
        )
        items.append((_svg(28, 18, diamond), safe_text(text["points"])))
    return items


_DOTS = ((8, 6), (14, 6), (20, 6), (11, 10), (17, 10), (8, 13), (14, 13))


def _switching(every: str, one: str) -> str:
    """Words that change when one species is chosen."""
    return f'<span data-one="{safe_text(one)}">{safe_text(every)}</span>'


def _blob(fill: str, width: float, dash: str, inside: str) -> str:
    """Small lake with a fill, an outline and what lies on it."""
    outline = f'<path d="{BLOB}" fill="none" stroke="{INK}" stroke-width="{width}"{dash}/>'
    return _svg(28, 18, f'<path d="{BLOB}" fill="{fill}"/>{inside}{outline}')


def landing_symbol(x: float, y: float, r: float, kind: str, *, numbered: bool = False) -> str:
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
        return circle
    d, e = (0.7 * r, -0.7 * r) if not numbered else (0.7 * (r + 8.0), 0.7 * r)
    strokes = f"M{x - d:.1f} {y + d:.1f}L{x - e:.1f} {y + e:.1f}"
    if numbered:
        strokes += f"M{x + e:.1f} {y - e:.1f}L{x + d:.1f} {y - d:.1f}"
    return f'{circle}<path d="{strokes}" stroke="{edge}" stroke-width="{min(2.0, width):.1f}"/>'


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


def _landing_items(
    sizes: Sequence[tuple[float, float]], text: dict[str, str]
) -> list[tuple[str, str]]:
    """Sizes and kinds of landings."""
    items = []
    if sizes:
        width = sum(2 * r + 4 for _, r in sizes)
        body, left = "", 0.0
        for _, r in sizes:
            body += landing_symbol(left + r + 2, 14, r, "full")
            left += 2 * r + 4
        shown = ", ".join(plain_text(value) for value, _ in sizes)
        items.append((_svg(max(width, 28), 28, body), safe_text(shown)))
    if text["numbered"]:
        number = landing_symbol(14, 10, 9, "full") + (
            f'<text x="14" y="14" fill="{PAPER}" font-size="11" font-weight="700" '
            'text-anchor="middle">1</text>'
        )
        items.append((_svg(28, 20, number), "Number: rank, 1 = first"))
    if text["dot"]:
        items.append((_svg(28, 18, landing_symbol(14, 9, 5, "full")), safe_text(text["dot"])))
    open_mark, off_mark = landing_symbol(14, 9, 7, "open"), landing_symbol(14, 9, 7, "off")
    items.append((_svg(28, 18, open_mark), "Boats not counted yet (traffic estimated)"))
    items.append((_svg(28, 18, off_mark), "Can&#39;t be staffed"))
    return items


def _trip_items(steps: Sequence[float]) -> list[tuple[str, str]]:
    """Widths of the trip lines."""
    if not steps:
        return []
    words = step_words(steps, percent=False)
    return [
        (
            _svg(34, 12, f'<path d="M1 6H33" stroke="{TRIP}" stroke-width="{width}"/>'),
            safe_text(word),
        )
        for width, word in zip(TRIP_WIDTHS, words, strict=True)
    ]
