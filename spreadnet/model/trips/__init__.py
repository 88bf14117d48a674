"""
How are trips between landings held?

As a matrix (`Trips`), by the law where they are many (`LawTrips`), or lumped for a nation
(`LumpedTrips`). The spread asks only for sums over origins and destinations (`TripFlow`), so each
serves alike.
"""

from spreadnet.model.trips.by_law import LawTrips
from spreadnet.model.trips.dense import Trips
from spreadnet.model.trips.lumped import LumpedTrips, lumped_trips
from spreadnet.model.trips.types import TripFlow

__all__ = [
    "LawTrips",
    "LumpedTrips",
    "TripFlow",
    "Trips",
    "lumped_trips",
]
