"""
How well would the finds since a year have been foretold?

The past without what came later, the same model run on it, and simple rules fitted to the same
earlier finds beside it.
"""

from spreadnet.decisions.hindcast.foretell import ALL, Hindcast, hindcast

__all__ = [
    "ALL",
    "Hindcast",
    "hindcast",
]
