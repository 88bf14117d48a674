"""
What is the season plan, who can work it, and what are hours worth?

The best shifts with dates and people, one row a landing and time with why it is there, beside what
people do today, with the value of hours, the price of spreading them and the cost of each rule.
"""

from spreadnet.decisions.plan.plan import SeasonPlan, make_plan
from spreadnet.decisions.shifts import first_free_day

__all__ = [
    "SeasonPlan",
    "first_free_day",
    "make_plan",
]
