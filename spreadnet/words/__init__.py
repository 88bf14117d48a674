"""
What people read: numbers, reasons, findings and plans in plain words.

`numbers` is the one place where a number is rounded and written, `finding` what every output says
of its limits. Works on plain values and tables, so it imports nothing of the rooms and any room
may use it; what it asks of a result stands in `types`.
"""

from spreadnet.words.finding import (
    CAUTIONS,
    ON_SITE,
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
)
from spreadnet.words.notebook import card, short_repr
from spreadnet.words.numbers import (
    cost_text,
    count_text,
    counted,
    figure,
    number_text,
    percent_text,
    plain_text,
    rough_text,
    signed_text,
    whole_percent,
    with_range,
)
from spreadnet.words.plan import (
    BRIDGING,
    bound_words,
    bridging_words,
    dropped_words,
    plan_finding,
    plan_words,
    shift_words,
    side_words,
)
from spreadnet.words.reasons import OUTSIDE, Facts, Part, reasons
from spreadnet.words.survey import survey_words

__all__ = [
    "BRIDGING",
    "CAUTIONS",
    "ON_SITE",
    "OUTSIDE",
    "Facts",
    "Part",
    "auc_words",
    "bound_words",
    "bridging_words",
    "card",
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
    "number_text",
    "outlook",
    "percent_text",
    "plain_text",
    "plan_finding",
    "plan_words",
    "read_first",
    "reasons",
    "rough_text",
    "shift_words",
    "short_repr",
    "side_words",
    "signed_text",
    "survey_words",
    "top_landings",
    "unit",
    "whole_percent",
    "with_range",
]
