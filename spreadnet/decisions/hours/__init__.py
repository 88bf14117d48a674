"""
How many boats do hours reach, and how are the same hours placed otherwise?

Boats met by an hour in each day type and block, the share of a landing's boats that hours cover,
and hours placed by the ranking, busiest first, or equally.
"""

from spreadnet.decisions.hours.placing import WAYS, place_busiest, place_equally, place_ranked
from spreadnet.decisions.hours.reach import Reach, coverage_of, hour_reach, steady, value_of_an_hour

__all__ = [
    "WAYS",
    "Reach",
    "coverage_of",
    "hour_reach",
    "place_busiest",
    "place_equally",
    "place_ranked",
    "steady",
    "value_of_an_hour",
]
