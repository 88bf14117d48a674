"""
What does the text of one cell mean?

Numbers, dates, ids and words of a list, each by the one stated way of writing it; everything else
is a problem that says how to mend it. Nothing is guessed.
"""

from spreadnet.evidence.cells.cells import convert, default_value, nearest, why
from spreadnet.evidence.cells.days import day_pattern, iso_day
from spreadnet.evidence.cells.ids import (
    CODE_WORDS,
    FORMULA,
    ID_WORDS,
    LONGEST_NAME,
    bad_letter,
    letter_problems,
    plain_id,
    twin_problems,
)

__all__ = [
    "CODE_WORDS",
    "FORMULA",
    "ID_WORDS",
    "LONGEST_NAME",
    "bad_letter",
    "convert",
    "day_pattern",
    "default_value",
    "iso_day",
    "letter_problems",
    "nearest",
    "plain_id",
    "twin_problems",
    "why",
]
