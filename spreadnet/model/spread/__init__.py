"""
Which lakes are infested when, and what does reaching boats avoid?

One expected recursion on the rates between lakes (`expected_spread`) with one adjoint
(`gradient`): single courses, many coverages at once and small changes at one landing alike. One
simulation of single futures (`simulate`) checks it. `lake_network` is the region as a directed
graph.
"""

from spreadnet.model.spread.between_lakes import FlowRates, LakeRates, Rates, lake_rates
from spreadnet.model.spread.coverages import totals_under
from spreadnet.model.spread.expected import (
    expected_spread,
    gradient,
    new_infestations,
    total,
)
from spreadnet.model.spread.futures import Futures, simulate
from spreadnet.model.spread.incidence import collapse_matrix
from spreadnet.model.spread.network import lake_network, trips_table
from spreadnet.model.spread.one_landing import avoided_at_one
from spreadnet.model.spread.types import Coverage, Gradient, Path, SpreadInputs, covered

__all__ = [
    "Coverage",
    "FlowRates",
    "Futures",
    "Gradient",
    "LakeRates",
    "Path",
    "Rates",
    "SpreadInputs",
    "avoided_at_one",
    "collapse_matrix",
    "covered",
    "expected_spread",
    "gradient",
    "lake_network",
    "lake_rates",
    "new_infestations",
    "simulate",
    "total",
    "totals_under",
    "trips_table",
]
