"""
What people read: numbers, reasons, findings and plans in plain words.

`numbers` is the one place where a number is rounded and written, `finding` what every output says
of its limits. Works on plain values and tables, so it imports nothing of the rooms and any room
may use it; what it asks of a result stands in `types`.
"""

from spreadnet.words.finding import (
    ALONE,
    CAUTIONS,
    ON_SITE,
    compared,
    finding,
    first_landings,
    outlook,
    read_first,
    top_landings,
    unit,
)
from spreadnet.words.hindcast import (
    auc_words,
    finds_words,
    groups_words,
    hindcast_title,
    hindcast_words,
    skill_lines,
)
from spreadnet.words.notebook import card, short_repr
from spreadnet.words.numbers import (
    cost_text,
    count_text,
    counted,
    figure,
    odds_range,
    odds_text,
    percent_text,
    plain_text,
    rough_text,
    share_text,
    signed_text,
    whole_percent,
)
from spreadnet.words.plan import (
    BRIDGING,
    COUNTING,
    EDUCATION,
    PERMISSION,
    bridging_words,
    dropped_words,
    near_best_words,
    plan_compared,
    plan_finding,
    plan_words,
    shift_words,
    side_words,
)
from spreadnet.words.reasons import ANY_TIME, OUTSIDE, Facts, Part, assumed_words, reasons
from spreadnet.words.survey import survey_words

__all__ = [
    "ALONE",
    "ANY_TIME",
    "BRIDGING",
    "CAUTIONS",
    "COUNTING",
    "EDUCATION",
    "ON_SITE",
    "OUTSIDE",
    "PERMISSION",
    "Facts",
    "Part",
    "assumed_words",
    "auc_words",
    "bridging_words",
    "card",
    "compared",
    "cost_text",
    "count_text",
    "counted",
    "dropped_words",
    "figure",
    "finding",
    "finds_words",
    "first_landings",
    "groups_words",
    "hindcast_title",
    "hindcast_words",
    "near_best_words",
    "odds_range",
    "odds_text",
    "outlook",
    "percent_text",
    "plain_text",
    "plan_compared",
    "plan_finding",
    "plan_words",
    "read_first",
    "reasons",
    "rough_text",
    "share_text",
    "shift_words",
    "short_repr",
    "side_words",
    "signed_text",
    "skill_lines",
    "survey_words",
    "top_landings",
    "unit",
    "whole_percent",
]
