"""
Charts for pages and notebooks: functions that take axes, draw on them and return them.

Without axes they make a figure of their own, outside pyplot. They draw in one colour, told apart
by shape, so that a grey copy, a dark screen and the colours that a reader forces say the same.
matplotlib is loaded when a chart is drawn.
"""

from __future__ import annotations

import io
import re
import textwrap
import warnings
import xml.etree.ElementTree as ET
from contextlib import contextmanager
from typing import TYPE_CHECKING

import numpy as np
from markupsafe import Markup

from spreadnet.outputs.palette import CHART
from spreadnet.outputs.safe import clean_text, short_text
from spreadnet.words import count_text, figure, unit, whole_percent

if TYPE_CHECKING:
    from collections.abc import Iterator

    import pandas as pd
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from spreadnet.decisions.plan import SeasonPlan
    from spreadnet.decisions.ranking import Assessment

SIZE = (480, 340)  # pixels; a phone shows letters of 13 at 10
DPI = 72  # so that a point is a pixel
BAND, GRID = 0.2, 0.18  # how much of the ink they take
NAME_LETTERS = 32
STEPS = [1, 2, 2.5, 5, 10]
FONT = re.compile(r"(?P<before>.*?)(?P<size>[\d.]+)px")
REFERENCE = re.compile(r"url\(#([^)]+)\)")


def rank_chart(result: Assessment, *, first: int = 15, ax: Axes | None = None) -> Axes:
    """
    First landings by what an hour avoids, with 90% intervals.

    Intervals that overlap say that the order of these landings is not sure.

    Parameters
    ----------
    result : Assessment
        Result of `assess`.
    first : int
        Landings shown, 1 or more.
    ax : matplotlib.axes.Axes, optional
        Where to draw; new axes when left out.

    Returns
    -------
    ax : matplotlib.axes.Axes
        The first landing is at the top.

    Raises
    ------
    ValueError
        If no landing has a rank.
    """
    ranked = result.landings[result.landings["rank"].notna()].sort_values("rank", kind="stable")
    if ranked.empty:
        message = "Invalid result. A chart of ranks needs landings with a rank. It has none."
        raise ValueError(message)
    shown = ranked.head(first)
    ax = _axes(ax, height=70 + 24 * len(shown))
    place = np.arange(len(shown))
    middle, low, high = (
        shown[name].to_numpy(float)
        for name in ("avoided_per_100_hours", "avoided_low", "avoided_high")
    )
    ax.hlines(place, low, high, color=CHART, linewidth=1.5)
    ax.plot(middle, place, "o", color=CHART, markersize=6)
    names = [
        f"{short_text(row['name'], letters=NAME_LETTERS)}  {row['rank']}"
        for row in shown.to_dict("records")
    ]
    ax.set_yticks(place, names, parse_math=False)  # a dollar sign in a name is one
    ax.set_ylim(len(shown) - 0.5, -0.5)
    ax.set_xlim(left=0)
    ax.set_xlabel(textwrap.fill(unit(result), 48))
    _finish(ax, grid="x")
    ax.xaxis.set_major_formatter(_tick)
    return ax


def value_chart(plan: SeasonPlan, *, ax: Axes | None = None) -> Axes:
    """
    What plans with more or fewer hours avoid, with 90% intervals and a ring at this one.

    Parameters
    ----------
    plan : SeasonPlan
        Result of `season_plan`.
    ax : matplotlib.axes.Axes, optional
        Where to draw; new axes when left out.

    Returns
    -------
    ax : matplotlib.axes.Axes
        Hours a season across, infestations avoided upwards.

    Raises
    ------
    ValueError
        If the plan has no room for shifts.
    """
    if plan.value.empty:
        message = "Invalid plan. A chart of the value of hours needs room for shifts. It has none."
        raise ValueError(message)
    ax = _axes(ax)
    value = plan.value.sort_values("hours_a_season")
    hours, avoided, low, high = (
        value[name].to_numpy(float)
        for name in ("hours_a_season", "avoided", "avoided_low", "avoided_high")
    )
    ax.fill_between(hours, low, high, color=CHART, alpha=BAND, linewidth=0)
    ax.plot(hours, avoided, "o-", color=CHART, linewidth=2.5, markersize=5, clip_on=False)
    mine = float(plan.ways["hours_a_season"].iloc[0])  # for education, as all others
    here = float(np.interp(mine, hours, avoided))
    ax.plot([mine], [here], "o", mfc="none", mec=CHART, mew=2.5, markersize=16, clip_on=False)
    ax.set_xlim(0, 1.04 * max(hours.max(), mine) or 1)
    ax.set_ylim(0, 1.06 * max(float(high.max()), here) or 1)
    ax.set_xlabel("educator hours a season")
    ax.set_ylabel(f"avoided in {plan.seasons} seasons")
    _finish(ax, grid="y")
    ax.xaxis.set_major_formatter(lambda tick, _: count_text(tick))
    ax.yaxis.set_major_formatter(_tick)
    return ax


def calibration_chart(groups: pd.DataFrame, *, ax: Axes | None = None) -> Axes:
    """
    Share of lakes with a find against the chance foretold, with the numbers of lakes.

    Parameters
    ----------
    groups : DataFrame
        Rows of one species in `groups` of a hindcast.
    ax : matplotlib.axes.Axes, optional
        Where to draw; new axes when left out.

    Returns
    -------
    ax : matplotlib.axes.Axes
        Circles with upright lines: share found and its 90% interval. Dashed bars: chance foretold.
    """
    ax = _axes(ax)
    place = np.arange(len(groups))
    foretold, share, low, high = (
        groups[name].to_numpy(float) for name in ("foretold", "share", "low", "high")
    )
    ax.vlines(place, low, high, color=CHART, linewidth=1.5)
    for at, chance in zip(place, foretold, strict=True):
        ax.plot([at - 0.34, at + 0.34], [chance, chance], color=CHART, linewidth=3, dashes=(2, 1.2))
    ax.plot(place, share, "o", color=CHART, markersize=9, clip_on=False)
    for at, row in zip(place, groups.to_dict("records"), strict=True):
        told = f"{row['found']:.0f} of {row['lakes']:.0f}"
        ax.annotate(
            told, (at, row["high"]), (0, 5), textcoords="offset points", ha="center", va="bottom"
        )
    ax.set_xticks(
        place,
        [
            f"{whole_percent(row['from'])}\u2013{whole_percent(row['to'])}"
            for row in groups.to_dict("records")
        ],
    )
    ax.set_xlim(-0.5, len(groups) - 0.5)
    most = float(max(foretold.max(), high.max()))
    ax.set_ylim(0, next(top for top in (0.2, 0.4, 0.6, 0.8, 1.0) if most <= top))
    ax.set_xlabel("lakes grouped by the chance of a find foretold")
    ax.set_ylabel("share of lakes with a find")
    _finish(ax, grid="y")
    ax.yaxis.set_major_formatter(lambda tick, _: whole_percent(tick))
    return ax


@contextmanager
def plain_style() -> Iterator[None]:
    """Draw with the settings of matplotlib as it comes, so that pages are the same everywhere."""
    from matplotlib import rc_context, style

    with style.context("default"), rc_context({"font.size": 13}):
        yield


def svg_of(drawn: Axes | Figure, *, name: str, title: str, description: str) -> Markup:
    """
    Picture of axes or a figure as part of a page.

    What is black takes the colour of the words round it, letters stay letters, and nothing in it
    has a style of its own, so that a page may forbid those. Equal charts give equal bytes.

    Parameters
    ----------
    drawn : matplotlib.axes.Axes or matplotlib.figure.Figure
        What a chart function returned, or anything drawn with matplotlib.
    name : str
        Letters and hyphens; once on a page, since ids in the picture begin with it.
    title : str
        What the chart shows, as a screen reader names it.
    description : str
        Its numbers in words.

    Returns
    -------
    svg : Markup
        One element, as wide as it is drawn or as there is room for.
    """
    from matplotlib import rc_context
    from matplotlib.figure import Figure

    whole = drawn if isinstance(drawn, Figure) else drawn.get_figure(root=True)
    assert isinstance(whole, Figure)
    buffer = io.BytesIO()
    nothing = dict.fromkeys(("Creator", "Date", "Format", "Type"))
    letters = rc_context({"svg.fonttype": "none", "svg.hashsalt": "spreadnet"})
    with letters, warnings.catch_warnings():
        warnings.filterwarnings("ignore", r"Glyph .* missing", UserWarning)  # browsers have it
        whole.savefig(buffer, format="svg", metadata=nothing, transparent=True, dpi=DPI)
    return _inline(ET.fromstring(buffer.getvalue()), name, title, description)


def _axes(ax: Axes | None, *, height: float = SIZE[1]) -> Axes:
    """The axes given, or new ones."""
    if ax is not None:
        return ax
    from matplotlib.figure import Figure

    size = (SIZE[0] / DPI, height / DPI)
    return Figure(figsize=size, dpi=DPI, layout="constrained").add_subplot()


def _finish(ax: Axes, *, grid: str) -> None:
    """Quiet axes: a faint grid along one of them, no frame."""
    from matplotlib.ticker import MaxNLocator

    numbers = ax.xaxis if grid == "x" else ax.yaxis
    numbers.set_major_locator(MaxNLocator(nbins=6, steps=STEPS))
    ax.grid(axis=grid, color=CHART, alpha=GRID, linewidth=1)  # type: ignore[arg-type]
    ax.set_axisbelow(True)
    ax.spines[:].set_visible(False)
    ax.tick_params(length=0, pad=6)


def _tick(value: float, _: float) -> str:
    """Number at a tick."""
    return figure(value) if value else "0"


def _inline(root: ET.Element, name: str, title: str, description: str) -> Markup:
    """Matplotlib's file as an element that says what it shows and leaves colours to the page."""
    used = set()
    for element in root.iter():
        element.tag = element.tag.rpartition("}")[2]
        for key in list(element.attrib):
            value = element.attrib.pop(key)
            plain = key.rpartition("}")[2]
            given = _declared(value) if plain == "style" else {plain: value}
            element.attrib |= {k: v.replace(CHART, "currentColor") for k, v in given.items()}
        used |= {element.get("href", "").removeprefix("#")} - {""}
        used |= {id_ for value in element.attrib.values() for id_ in REFERENCE.findall(value)}
    for element in root.iter():
        element.tail = None
        if element.tag != "text":
            element.text = None
        for child in [c for c in element if c.tag in ("metadata", "style")]:
            element.remove(child)
        id_ = element.attrib.pop("id", "")
        if id_ in used:
            element.set("id", f"{name}-{id_}")
        for key, value in element.attrib.items():
            value = REFERENCE.sub(rf"url(#{name}-\1)", value)
            element.set(key, f"#{name}-{value[1:]}" if key == "href" else value)
    width, height = root.attrib["viewBox"].split()[2:]
    root.attrib = {
        **{"viewBox": root.attrib["viewBox"], "width": width, "height": height, "role": "img"},
        **{"aria-labelledby": f"{name}-title", "aria-describedby": f"{name}-told"},
        **{"fill": "currentColor", "stroke-linejoin": "round", "stroke-linecap": "butt"},
        "font-family": "inherit",
    }
    for number, (tag, id_, text) in enumerate(
        (("title", "title", title), ("desc", "told", description))
    ):
        element = ET.Element(tag, id=f"{name}-{id_}")
        element.text = clean_text(text)
        root.insert(number, element)
    return Markup(ET.tostring(root, encoding="unicode"))


def _declared(style: str) -> dict[str, str]:
    """Declarations of a style attribute as attributes; the font's family is the page's."""
    found = {}
    for declaration in filter(None, (part.strip() for part in style.split(";"))):
        key, value = (part.strip() for part in declaration.split(":", 1))
        found[key] = value
    found.pop("font-family", None)
    font = FONT.match(found.pop("font", ""))
    if font:
        found["font-size"] = font["size"]
        found |= {"font-weight": "bold"} if re.search(r"bold|[6-9]00", font["before"]) else {}
        found |= {"font-style": "italic"} if "italic" in font["before"] else {}
    return found
