"""
Which shifts avoid most within all rules, and what are hours worth?

Whole shifts by landing, day type and block: the best for fixed values by linear programming, the
best plan by fresh slopes and swaps, beside what people do today, with the value of hours and the
cost of each rule.
"""

from spreadnet.decisions.plan.plan import SeasonPlan, make_plan
from spreadnet.decisions.plan.rules import first_free_day

__all__ = [
    "SeasonPlan",
    "first_free_day",
    "make_plan",
]
