"""
Where do boats go next, and how often?

A gravity law fitted to what boaters say on launching and on retrieving, chosen among several by
landings held out; or a ready table of trips. `fit_movement` gives the `Movement` from which trips
are drawn.
"""

from spreadnet.model.movement.fit import GravityFit, fit_gravity
from spreadnet.model.movement.interviews import Interviews
from spreadnet.model.movement.movement import Movement, TripLaw, fit_movement
from spreadnet.model.movement.ready_table import table_positions
from spreadnet.model.movement.shares import TRAFFIC, destination_shares, within_lake_split

__all__ = [
    "TRAFFIC",
    "GravityFit",
    "Interviews",
    "Movement",
    "TripLaw",
    "destination_shares",
    "fit_gravity",
    "fit_movement",
    "table_positions",
    "within_lake_split",
]
