"""
What does a boat bring alive, and can it live there?

Rates at which each gap is open, the chance that an open one carries the species, survival over
the days out of water, and the suitability of the lake.
"""

from spreadnet.model.carriage.carriage import (
    ROUTES,
    arriving_relative,
    carriage,
    leaving_rates,
    route_weights,
)
from spreadnet.model.carriage.habitat import habitat, stream_rates
from spreadnet.model.carriage.survival import mean_survival

__all__ = [
    "ROUTES",
    "arriving_relative",
    "carriage",
    "habitat",
    "leaving_rates",
    "mean_survival",
    "route_weights",
    "stream_rates",
]
