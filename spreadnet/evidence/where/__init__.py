"""
Where do lakes and landings lie, and which landing belongs to which lake?

One projected coordinate system for the region, outlines that enclose an area, landings matched to
the lake they lie on, distances in metres.
"""

from spreadnet.evidence.where.crs import MOST_SHARE_ODD, swapped
from spreadnet.evidence.where.daylight import sun_times, sunsets
from spreadnet.evidence.where.place_tables import Placed, place_lakes, place_landings

__all__ = [
    "MOST_SHARE_ODD",
    "Placed",
    "place_lakes",
    "place_landings",
    "sun_times",
    "sunsets",
    "swapped",
]
