"""
How many boats do hours reach, and how are the same hours placed otherwise?

Boats met by an hour in each day type and block, the share of a landing's boats that hours cover,
boats on bridging trips among them, and hours placed by the ranking, busiest first, equally, or
where most boats on bridging trips are met.
"""

from spreadnet.decisions.hours.bridging import Bridging, bridging_trips, place_bridging
from spreadnet.decisions.hours.met import Met
from spreadnet.decisions.hours.placing import WAYS, place_busiest, place_equally, place_ranked
from spreadnet.decisions.hours.reach import (
    Reach,
    coverage_of,
    hour_reach,
    met_in_an_hour,
    steady,
    value_of_an_hour,
)

__all__ = [
    "WAYS",
    "Bridging",
    "Met",
    "Reach",
    "bridging_trips",
    "coverage_of",
    "hour_reach",
    "met_in_an_hour",
    "place_bridging",
    "place_busiest",
    "place_equally",
    "place_ranked",
    "steady",
    "value_of_an_hour",
]
