"""Text of anybody's made safe: one escaper for each medium that it is written to."""

from __future__ import annotations

import json
import re
import unicodedata
import xml.sax.saxutils

import pandas as pd
from markupsafe import Markup, escape

from spreadnet.evidence.cells import FORMULA

SHOWN_LETTERS = 120  # of a name: longer ones push all else off the page
JOINERS = "\u200c\u200d"  # part of how Persian, Indic scripts and some emoji are written
# All that XML 1.0 (production 2, Char) does not allow, in any way of writing it.
NOT_XML = re.compile("[^\t\n\r\u0020-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")
LINE_ENDS = re.compile("[\t\n\r\u0085\u2028\u2029]+")
# How a workbook writes a letter by its number; text that only looks so is written with _x005F_.
LETTER_BY_NUMBER = re.compile("_(?=x[0-9A-Fa-f]{4}_)")
MARKS = {'"': "&quot;", "\n": "&#10;", "\r": "&#13;", "\t": "&#09;"}


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


def for_html(value: object) -> Markup:
    """
    Text as part of a page, between tags or in quotation marks.

    Parameters
    ----------
    value : object
        Any cell; missing values give the empty text, and HTML of our own stays as it is.

    Returns
    -------
    html : Markup
        Clean text with all that means something in HTML as entities.

    Examples
    --------
    >>> print(for_html("<b>Ann's</b>"), for_html(for_html("<")))
    &lt;b&gt;Ann&#39;s&lt;/b&gt; &lt;
    """
    return escape(value) if hasattr(value, "__html__") else escape(clean_text(value))


def for_script(data: object) -> str:
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
    >>> for_script({"name": "</script>"})
    '{"name":"\\u003c/script\\u003e"}'
    """
    text = json.dumps(data, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
    for letter in "<>&\u2028\u2029":
        text = text.replace(letter, f"\\u{ord(letter):04x}")
    return text


def for_xml(value: object, *, in_quotes: bool = False) -> str:
    r"""
    Text as part of an XML file.

    Parameters
    ----------
    value : object
        Any text.
    in_quotes : bool
        Whether it is the value of an attribute.

    Returns
    -------
    text : str
        Without the characters that no XML file may hold.

    Examples
    --------
    >>> for_xml("Am\x00ber & Co"), for_xml('"Drake"', in_quotes=True)
    ('Amber &amp; Co', '&quot;Drake&quot;')
    """
    return xml.sax.saxutils.escape(for_layer(value), MARKS if in_quotes else {})


def for_layer(value: object) -> str:
    r"""
    Text as an attribute of a layer: a GIS may pass it on as XML.

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
    >>> for_layer("Am\x00ber\x1b Water")
    'Amber Water'
    """
    return NOT_XML.sub("", str(value))


def for_cell(value: str) -> str:
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
    >>> for_cell("=2+5"), for_cell("North;\n=cmd()"), for_cell("Ama-Deep = 3 m")
    ("'=2+5", "North; '=cmd()", 'Ama-Deep = 3 m')
    """
    return FORMULA.sub(r"\1\2'", _on_one_line(value))


def for_book(value: str) -> str:
    r"""
    Text for a cell of a workbook, where it stays the text it is.

    Examples
    --------
    >>> for_book("L_x0041_"), for_book("=1+1"), for_book("Amber\r\n\x00Water")
    ('L_x005F_x0041_', '=1+1', 'Amber Water')
    """
    return LETTER_BY_NUMBER.sub("_x005F_", _on_one_line(value))


def _on_one_line(value: str) -> str:
    """Text on one line, without letters that no XML file, and so no workbook, may hold."""
    return LINE_ENDS.sub(" ", for_layer(value))
