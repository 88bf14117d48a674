"""
How well would the finds since a year have been foretold?

The past without what came later, the same model run on it, and simple rules fitted to the same
earlier finds beside it.
"""

from spreadnet.decisions.hindcast.foretell import ALL, Hindcast, hindcast
from spreadnet.decisions.hindcast.skill import region_skill, skill_table

__all__ = [
    "ALL",
    "Hindcast",
    "hindcast",
    "region_skill",
    "skill_table",
]
