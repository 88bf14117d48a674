"""
Which landings come first, by how much, how sure, and why?

`decide` is the order of steps; `Assessment` what comes of it. The first landings are worked out
anew with real hours in place, single futures check the expected course, and the doubt in ranks is
split by what it comes from.
"""

from spreadnet.decisions.ranking.attribution import Attribution, attribute
from spreadnet.decisions.ranking.landings import assumed_lakes
from spreadnet.decisions.ranking.order import ranks
from spreadnet.decisions.ranking.rank import decide
from spreadnet.decisions.ranking.result import Assessment

__all__ = [
    "Assessment",
    "Attribution",
    "assumed_lakes",
    "attribute",
    "decide",
    "ranks",
]
