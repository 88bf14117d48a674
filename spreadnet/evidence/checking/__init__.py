"""
Do the rows of the tables hold together, and what will a run do without?

Headings and types of a whole table, references between tables, counts that contradict each other,
defaults that are filled in, and notes on what is missing.
"""

from spreadnet.evidence.checking.counts import count_notes, count_problems
from spreadnet.evidence.checking.missing import without_notes
from spreadnet.evidence.checking.rows import (
    fill_defaults,
    row_problems,
    settle_blocks,
    settle_directions,
    settle_waters,
    visit_notes,
)
from spreadnet.evidence.checking.table import check_table, reference_problems

__all__ = [
    "check_table",
    "count_notes",
    "count_problems",
    "fill_defaults",
    "reference_problems",
    "row_problems",
    "settle_blocks",
    "settle_directions",
    "settle_waters",
    "visit_notes",
    "without_notes",
]
