"""
Who stands where on which date?

Shifts of a plan get dates and people within rest, weeks and distance; first as many as can be
filled, then fairly, then with short ways; what was promised or dated before stays.
"""

from spreadnet.decisions.roster.axis import RosterRules
from spreadnet.decisions.roster.book import codes_in
from spreadnet.decisions.roster.roster import Roster, make_roster

__all__ = [
    "Roster",
    "RosterRules",
    "codes_in",
    "make_roster",
]
