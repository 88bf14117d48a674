"""
What do visits, contacts and surveys say of every landing and lake?

Launches by landing and time, gap rates, where boats come from, days out of water, and the chance
that a lake without a find holds the species. Landings with few visits are pulled towards those
like them; each estimate comes with draws.
"""

from spreadnet.evidence.estimating.days_out import DaysOut, days_out
from spreadnet.evidence.estimating.gap_rates import CONTACTS, Gaps, fit_gaps
from spreadnet.evidence.estimating.status import (
    Status,
    StatusDraw,
    find_years,
    fit_status,
    surveys_for_detection,
)
from spreadnet.evidence.estimating.traffic import Traffic, TrafficDraw, fit_traffic
from spreadnet.evidence.estimating.where_from import WATERS, Shares, fit_shares

__all__ = [
    "CONTACTS",
    "WATERS",
    "DaysOut",
    "Gaps",
    "Shares",
    "Status",
    "StatusDraw",
    "Traffic",
    "TrafficDraw",
    "days_out",
    "find_years",
    "fit_gaps",
    "fit_shares",
    "fit_status",
    "fit_traffic",
    "surveys_for_detection",
]
