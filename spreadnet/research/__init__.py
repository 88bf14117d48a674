"""
For those who study movement itself: fits to a table of trips, other laws, fit indices.

Nothing else imports it. `fit_movements` fits a gravity law to any table of trips, `laws` holds
laws of other families for comparison, `cleaning` published figures on cleaning and heat.
"""

from spreadnet.research.fit import fit_movements

__all__ = [
    "fit_movements",
]
