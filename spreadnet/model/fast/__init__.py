"""
The same answers from compiled loops, with the extra `fast`.

`bridge` is the only way to them: arrays in, arrays out. Without numba, or with
`SPREADNET_FAST=0`, the model works without.
"""

from spreadnet.model.fast.bridge import (
    Seasons,
    fast_available,
    rates_between,
    spread_futures,
    trips_by_origin,
)

__all__ = [
    "Seasons",
    "fast_available",
    "rates_between",
    "spread_futures",
    "trips_by_origin",
]
