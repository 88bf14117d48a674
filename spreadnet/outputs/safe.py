"""Text from the user's tables made safe: in HTML, in script data, in file names nobody chose."""

from __future__ import annotations

import html
import json
import re
import unicodedata

import pandas as pd

from spreadnet.evidence.cells.ids import FORMULA

SHOWN_LETTERS = 120  # of a name: longer ones push all else off the page
JOINERS = "\u200c\u200d"  # part of how Persian, Indic scripts and some emoji are written
# All that XML 1.0 (production 2, Char) does not allow, in any way of writing it.
NOT_XML = re.compile("[^\t\n\r\u0020-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")
LINE_ENDS = re.compile("[\t\n\r\u0085\u2028\u2029]+")
# How a workbook writes a letter by its number; text that only looks so is written with _x005F_.
LETTER_BY_NUMBER = re.compile("_(?=x[0-9A-Fa-f]{4}_)")
PLAIN = frozenset(" .,:;-()/%+")  # with letters and digits, all that is written as it is


def clean_text(value: object) -> str:
    r"""
    Text of one cell on one line, without characters that can't be shown.

    Control characters (line ends, halves of pairs) can break a file; marks that turn the reading
    direction are invisible, and can hide what a name really is. Only joiners stay: without them
    some scripts are written wrongly.

    Parameters
    ----------
    value : object
        Any cell; missing values give the empty text.

    Returns
    -------
    text : str
        The text with each run of such characters and spaces as one space, and without marks.

    Examples
    --------
    >>> clean_text("Amber\nWater")
    'Amber Water'
    >>> clean_text(None)
    ''
    """
    if value is None or value is pd.NA or value is pd.NaT or value != value:
        return ""
    text = str(value)
    if not (text.isascii() and text.isprintable()):
        text = "".join(_letter(c) for c in text)
    text = " ".join(text.split())
    return text if text.strip(f" {JOINERS}") else ""


def _letter(letter: str) -> str:
    """One character as it is shown: itself, a space, or nothing."""
    kind = unicodedata.category(letter)
    if kind == "Cf":
        return letter if letter in JOINERS else ""
    return " " if kind[0] in "CZ" else letter


def short_text(value: object, *, letters: int = SHOWN_LETTERS) -> str:
    """
    Clean text cut to what there is room for, with three dots where something is left out.

    Parameters
    ----------
    value : object
        Any cell; missing values give the empty text.
    letters : int
        Letters shown at most, 2 or more.

    Returns
    -------
    text : str
        At most that many letters.

    Examples
    --------
    >>> short_text("Amber Water", letters=7)
    'Amber…'
    """
    text = clean_text(value)
    if len(text) <= letters:
        return text
    end = letters - 1
    while end > 1 and (unicodedata.combining(text[end]) or text[end] in JOINERS):
        end -= 1  # a mark belongs to the letter before it
    return text[:end].rstrip(f" {JOINERS}") + "…"


def xml_text(value: object) -> str:
    r"""
    Text without the characters that no XML file may hold.

    Parameters
    ----------
    value : object
        Any text.

    Returns
    -------
    text : str
        Without most control characters and halves of pairs.

    Examples
    --------
    >>> xml_text("Am\x00ber\x1b Water")
    'Amber Water'
    """
    return NOT_XML.sub("", str(value))


def sheet_text(value: str) -> str:
    r"""
    Text that no spreadsheet runs as a formula, whatever parts the cells of a table there.

    A table written with commas may be opened where semicolons, tabs or upright lines part cells:
    then cells begin in the middle of a text. So an apostrophe goes before what may begin a formula
    at the start of a text and after each such mark, and line ends and tabs become spaces. An id
    that `check` takes never changes.

    Parameters
    ----------
    value : str
        Any text.

    Returns
    -------
    text : str
        One line.

    Examples
    --------
    >>> sheet_text("=2+5"), sheet_text("North;\n=cmd()"), sheet_text("Ama-Deep = 3 m")
    ("'=2+5", "North; '=cmd()", 'Ama-Deep = 3 m')
    """
    return FORMULA.sub(r"\1\2'", line_text(value))


def line_text(value: str) -> str:
    r"""
    Text on one line, without letters that no XML file, and so no workbook, may hold.

    Examples
    --------
    >>> line_text("Amber\r\n\x00Water")
    'Amber Water'
    """
    return LINE_ENDS.sub(" ", xml_text(value))


def book_text(value: str) -> str:
    r"""
    Text for a cell of a workbook, where it stays the text it is.

    Examples
    --------
    >>> book_text("L_x0041_"), book_text("=1+1")
    ('L_x005F_x0041_', '=1+1')
    """
    return LETTER_BY_NUMBER.sub("_x005F_", line_text(value))


def safe_text(value: object) -> str:
    """
    Text that stays text wherever it is put in a page or a folium call.

    `html.escape` is not enough there: a backtick, `${` or a backslash leaves a script's text too.

    Parameters
    ----------
    value : object
        Any cell; missing values give the empty text.

    Returns
    -------
    text : str
        Letters, digits and `` .,:;-()/%+`` as they are, all else as numeric entities.

    Examples
    --------
    >>> safe_text("<b>Ann's</b>")
    '&#60;b&#62;Ann&#39;s&#60;/b&#62;'
    """
    text = clean_text(value)
    return "".join(c if c.isalnum() or c in PLAIN else f"&#{ord(c)};" for c in text)


def for_html(value: object) -> str:
    """
    Text of anybody's as part of a page.

    Examples
    --------
    >>> for_html("<b>Amber</b>")
    '&lt;b&gt;Amber&lt;/b&gt;'
    """
    return html.escape(clean_text(value), quote=True)


def safe_json(data: object) -> str:
    r"""
    JSON that can stand inside a script element.

    No text in it can close the element, and no number is one that JSON does not have.

    Parameters
    ----------
    data : object
        Lists, mappings, text, numbers and None.

    Returns
    -------
    text : str
        Compact JSON with ``<``, ``>`` and ``&`` as escapes (so also ``</``).

    Raises
    ------
    ValueError
        If a number is not finite.

    Examples
    --------
    >>> safe_json({"name": "</script>"})
    '{"name":"\\u003c/script\\u003e"}'
    """
    text = json.dumps(data, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
    for letter in "<>&\u2028\u2029":
        text = text.replace(letter, f"\\u{ord(letter):04x}")
    return text
