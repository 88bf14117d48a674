"""Every colour of map, pages and charts, once, with what it stands for."""

from __future__ import annotations

from types import MappingProxyType
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Mapping

# Read and drawn on: dark on light, so that paper and grey copies hold.
INK = "#1c2b33"  # words, outlines, hatching, charts
SOFT = "#4a5a62"  # words of less weight
LINE = "#c5cbc9"  # between rows and parts
PAPER = "#ffffff"  # ground of words; marks on dark
TINT = "#f4f3ee"  # ground of what stands apart
EDGE = "#76858c"  # of buttons and fields
BLUE = "#14506b"  # what can be pressed
PICK = "#ffe7a8"  # row that is chosen
CHOSEN = "#ffd257"  # ring round the place that is chosen

# The map's.
LAND, GROUND = "#eeece3", "#dbe1df"  # inside the region, and beyond it
# Chance of a new infestation, light to dark, so that the order holds in grey and for colour-blind
# eyes; every lake has a dark outline since the lightest steps are near the land's colour.
CHANCE = ("#fdf3d1", "#f3ce84", "#e0974a", "#b25a2c", "#6b2a20")
ALL_THERE, NO_FIGURE = "#a9b1b4", PAPER  # classes 5 and 6 of the chance
LANDING, LANDING_OFF = BLUE, "#5d686d"  # where educators may stand, and may not
TRIP = "#63488f"  # boats from lake to lake
GRATICULE = f"{INK}21"  # hardly seen
HALO = f"{PAPER}e6"  # round numbers on the map

# A chart draws in one colour, so that it takes that of the words round it.
CHART = "#000000"

VARIABLES = MappingProxyType(
    {
        **{"ink": INK, "soft": SOFT, "line": LINE, "paper": PAPER, "tint": TINT, "edge": EDGE},
        **{"blue": BLUE, "pick": PICK, "ground": GROUND, "off": LANDING_OFF, "halo": HALO},
    }
)
# The same on a dark screen; the map has none, its colours mean something on light ground.
DARK = MappingProxyType(
    {
        **{"ink": "#e4eaec", "soft": "#b3c0c5", "line": "#46545b", "paper": "#141b1f"},
        **{"tint": "#202a2f", "edge": "#8b999f"},
    }
)


def declarations(colours: Mapping[str, str] = VARIABLES) -> str:
    """
    Colours as variables of a style sheet.

    Parameters
    ----------
    colours : mapping of name to colour
        `VARIABLES` or `DARK`.

    Returns
    -------
    text : str
        Declarations for a rule.

    Examples
    --------
    >>> declarations({"ink": INK})
    '--ink: #1c2b33;'
    """
    return " ".join(f"--{name}: {colour};" for name, colour in colours.items())
