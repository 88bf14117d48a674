"""Text from the user's tables made safe: in HTML, in script data, in file names nobody chose."""

from __future__ import annotations

import json
import unicodedata

import pandas as pd

PLAIN = frozenset(" .,:;-()/%+")  # with letters and digits, all that is written as it is


def clean_text(value: object) -> str:
    r"""
    Text of one cell on one line, without characters that can't be shown.

    Control characters (line ends, marks that turn the reading direction, halves of pairs) are
    invisible, and can hide what a name really is or break a file.

    Parameters
    ----------
    value : object
        Any cell; missing values give the empty text.

    Returns
    -------
    text : str
        The text with each run of such characters and spaces as one space.

    Examples
    --------
    >>> clean_text("Amber\nWater")
    'Amber Water'
    >>> clean_text(None)
    ''
    """
    if value is None or value is pd.NA or value is pd.NaT or value != value:
        return ""
    letters = (" " if unicodedata.category(c)[0] in "CZ" else c for c in str(value))
    return " ".join("".join(letters).split())


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
