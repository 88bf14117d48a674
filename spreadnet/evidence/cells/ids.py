"""
Ids, codes and names that can be written to every file, fit a page, and are told apart by eye.

An id holds at most 100 letters, none that act on a screen, none by which lists and cells are
parted, and begins with nothing that a spreadsheet may take for a formula: ids join tables, so what
is written must be what was read. A code is shorter and plainer, since it stands for a person in
rosters and calendars. Names are free; they are made safe where they are written.
"""

from __future__ import annotations

import re
import unicodedata

import numpy as np
import pandas as pd

from spreadnet.errors import Problem
from spreadnet.evidence.columns import WATERS, Column
from spreadnet.evidence.distinct import marked
from spreadnet.evidence.personal import brief, shown

LONGEST_ID, LONGEST_NAME = 100, 200  # letters; house rule, no source
# Letters that XML, and so GraphML and workbooks, can't hold, or that act on a screen: control
# characters, line and paragraph separators, lone surrogates, and what Unicode calls no character.
_BAD = re.compile(
    r"[\x00-\x1f\x7f-\x9f\u2028\u2029\ud800-\udfff\ufdd0-\ufdef\ufffe\uffff"
    + "".join(f"{chr(plane << 16 | 0xFFFE)}{chr(plane << 16 | 0xFFFF)}" for plane in range(1, 17))
    + "]"
)
# What parts codes in a roster, and cells where a comma does not.
SEPARATORS = ";|"
# What a spreadsheet may take for the beginning of a formula, with its forms in other widths.
FORMULA_STARTS = (
    "=+-@|%\u207a\u207c\u208a\u208c\u2a75\u2a76\ufb29\ufe62\ufe63\ufe66\ufe6a\ufe6b\uff05\uff0b\uff0d\uff1d"
    "\uff20\uff5c"
)
# What may stand before it unseen.
_PASSED_OVER = r"\s\"\u00ad\u200b-\u200f\u202a-\u202e\u2060-\u206f\ufeff"
# The place of a formula: where a cell begins, or would where another mark parts cells.
FORMULA = re.compile(
    rf"(^|[{re.escape(SEPARATORS)}\t\r\n])([{_PASSED_OVER}]*)(?=[{re.escape(FORMULA_STARTS)}])"
)
CODE = re.compile("(?=[^0-9]*[0-9])[A-Za-z0-9_][A-Za-z0-9_-]{0,11}")
ID_WORDS = f"at most {LONGEST_ID} letters, no semicolon or upright line, none of = + - @ % in front"
CODE_WORDS = "at most 12 of the letters A to Z, digits, - and _, with a digit, and no - in front"
_LINE_BREAKS = re.compile(r"[\t\r\n]+")  # in a name they do no harm: Excel writes them
_KNOWN = {0x00: "NUL", 0x07: "bell", 0x09: "tab", 0x0A: "line break", 0x0D: "line break"}


def bad_letter(text: str, *, name: bool = False) -> str | None:
    r"""
    The first letter of a text that no file can hold safely, by its code; None when there is none.

    Parameters
    ----------
    text : str
        An id, or a name.
    name : bool
        Whether line breaks and tabs may pass.

    Returns
    -------
    letter : str or None
        Code point, with its common name where there is one.

    Examples
    --------
    >>> bad_letter("L\x071"), bad_letter("L\ufffe"), bad_letter("L\u00f81")
    ('U+0007 (bell)', 'U+FFFE', None)
    """
    found = _BAD.search(_LINE_BREAKS.sub(" ", text) if name else text)
    if not found:
        return None
    code = ord(found[0])
    return f"U+{code:04X}" + (f" ({_KNOWN[code]})" if code in _KNOWN else "")


def is_id(column: Column) -> bool:
    """Whether a column holds ids of its own table, or the code that stands for one."""
    return column.key == "key" or column.name == "code"


def letter_problems(column: Column, cells: pd.Series, *, file: str) -> list[Problem]:
    """
    Ids, codes and free texts that are too long, or hold what no file can hold safely.

    Parameters
    ----------
    column : Column
        Only ids, and texts that are neither references nor words of a list, are looked at.
    cells : Series of str
        The index holds spreadsheet row numbers.
    file : str
        Name of the file in messages.

    Returns
    -------
    problems : list of Problem
        One for each kind of fault, at its first row, with how many rows share it.
    """
    own = is_id(column)
    refers = (column.key and not own) or column.name in WATERS
    if column.kind != "text" or column.allowed or refers:
        return []
    if column.name == "code":
        return _code_problems(column, cells, file=file)
    most = LONGEST_ID if own else LONGEST_NAME
    word = "id" if own else "text"
    faulty = cells[marked(cells, lambda text: bad_letter(text, name=not own))]
    long = cells[(cells.str.len() > most).to_numpy(dtype=bool)]
    problems = []
    if len(faulty):
        text = str(faulty.iloc[0])
        what = f"the {word} '{brief(text)}' holds the letter {bad_letter(text, name=not own)}"
        why = "It can't be seen, and some of the files that are written can't hold it."
        problems.append(_problem(column, faulty, file, "control-letter", what, why, "Take it out."))
    if len(long):
        first = str(long.iloc[0])
        what = f"{'an' if own else 'a'} {word} of {len(first)} letters, '{brief(first)}'"
        why = "It fits no table, map or page."
        mend = f"Write one of {most} letters or fewer."
        problems.append(_problem(column, long, file, "too-long", what, why, mend))
    return problems + (_form_problems(column, cells, file=file) if own else [])


def _form_problems(column: Column, cells: pd.Series, *, file: str) -> list[Problem]:
    """Ids that hold what parts lists, or begin as a formula does."""
    parted = cells[marked(cells, lambda text: set(SEPARATORS) & set(text))]
    opening = cells[marked(cells, FORMULA.match)]
    problems = []
    if len(parted):
        text = str(parted.iloc[0])
        mark = next(letter for letter in text if letter in SEPARATORS)
        what = f"the id {shown(text)} holds a {mark}"
        why = "Where that parts the cells of a table or the items of a list, it would become two."
        mend = "Write - or _ in place of it, in every table that names the id."
        problems.append(_problem(column, parted, file, "id-separator", what, why, mend))
    if len(opening):
        text = str(opening.iloc[0])
        first = next(letter for letter in text if letter in FORMULA_STARTS)
        what = f"the id {shown(text)} begins with {first}"
        why = "A spreadsheet may run it as a formula; an id made safe would join nothing any more."
        mend = "Begin it with a letter or a digit, in every table that names the id."
        problems.append(_problem(column, opening, file, "id-formula", what, why, mend))
    return problems


def _code_problems(column: Column, cells: pd.Series, *, file: str) -> list[Problem]:
    """Cells that are no code; what they hold is not repeated, since it may be a name."""
    odd = cells[marked(cells, lambda text: text and not CODE.fullmatch(text))]
    if not len(odd):
        return []
    why = "Codes stand in rosters and calendars in lists, for people whom they must not name."
    mend = f"Write one code a cell, such as E1: {CODE_WORDS}."
    return [_problem(column, odd, file, "not-a-code", "the cell is not a code", why, mend)]


def _problem(
    column: Column, cells: pd.Series, file: str, code: str, what: str, why: str, mend: str
) -> Problem:
    """One problem of several cells, at the first of them."""
    more = f" (and {len(cells) - 1} more such cells)" if len(cells) > 1 else ""
    return Problem(code, file, what + more, why, mend, row=int(cells.index[0]), column=column.name)


def plain_id(text: str) -> str:
    r"""
    An id as the eye sees it: no unseen letters, one plain space for each run of spaces.

    Examples
    --------
    >>> plain_id("a\u00a0b\u200b") == plain_id("a b")
    True
    """
    if text.isalnum() and text.isascii():  # as nearly all are
        return text
    seen = "".join(c for c in unicodedata.normalize("NFC", text) if unicodedata.category(c) != "Cf")
    return re.sub(r"\s+", " ", seen).strip()


def twin_problems(column: Column, ids: pd.Series, *, file: str) -> list[Problem]:
    """
    Ids that differ only by letters nobody sees, one problem for each but the first.

    Parameters
    ----------
    column : Column
        The key of the table.
    ids : Series of str
        May be missing; the index holds row numbers. Ids that are equal are told elsewhere.
    file : str
        Name of the file in messages.

    Returns
    -------
    problems : list of Problem
    """
    known = ids.dropna().drop_duplicates()
    seen = known.map(lambda text: plain_id(str(text)))
    first = pd.Series(known.index, index=known.index).groupby(seen).transform("min")
    again = np.flatnonzero((first != known.index).to_numpy())
    return [
        Problem(
            "looks-alike",
            file,
            f"'{brief(known.iloc[i])}' looks the same as '{brief(known.loc[first.iloc[i]])}' in row"
            f" {first.iloc[i]}",
            "They differ only by letters that nobody sees, so nobody can tell them apart.",
            "If they are one, write them in the same way; else give one another id.",
            row=int(known.index[int(i)]),
            column=column.name,
        )
        for i in again
    ]
