"""
Which whole shifts avoid most within all rules?

What a plan must keep to, from settings and tables; the best shifts for fixed values by linear
programming; the best plan in the mean of draws by fresh slopes and swaps; of plans that can't be
told apart the one that is easier to work; and which rules clash where there is none.
"""

from spreadnet.decisions.shifts.best_linear import best_for
from spreadnet.decisions.shifts.clash import clash_words
from spreadnet.decisions.shifts.easier import easier_of_equals, effort_of
from spreadnet.decisions.shifts.objective import Avoided, MeanAvoided, best_plan, mean_avoided
from spreadnet.decisions.shifts.region_rules import (
    first_free_day,
    hours_by_block,
    last_ends,
    plan_rules,
    unasked,
)
from spreadnet.decisions.shifts.rules import SMALL, PlanRules, Spread
from spreadnet.decisions.shifts.search import Found, Objective, search, straight_line

__all__ = [
    "SMALL",
    "Avoided",
    "Found",
    "MeanAvoided",
    "Objective",
    "PlanRules",
    "Spread",
    "best_for",
    "best_plan",
    "clash_words",
    "easier_of_equals",
    "effort_of",
    "first_free_day",
    "hours_by_block",
    "last_ends",
    "mean_avoided",
    "plan_rules",
    "search",
    "straight_line",
    "unasked",
]
