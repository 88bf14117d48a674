r"""
E-mail addresses and phone numbers in a text, plain or disguised, without taking ids for them.

An e-mail address is told by its at-sign and its dot, also in brackets, spelled out, in full width
or with spaces between. A phone number is told by how it is written: with `+` and the code of a
country; in groups of 3-3-4 digits, or with a number in brackets; in the manner of the region's own
country, by the library phonenumbers, when `region.toml` names it. Digits alone are an id, unless
something else says that they are a phone number: a word before them, or the column.

Seven digits in groups of 3-4 are a phone number in a text, but not in an id of a place, nor after
a word such as `lot` or `Hwy`. Dates, clock times, years and decimal numbers are never one. Numbers
of fewer than seven digits are not looked for.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterator
from typing import Literal

Kind = Literal["text", "id", "code", "number"]

LEAST_DIGITS = 7  # of a phone number that is looked for
LEAST_BARE_DIGITS = 9  # of a code that is digits alone and so looks like a phone number
LOOKED_AT = 1000  # letters of a text that are searched; no text that is accepted is longer
NOT_SHOWN = "(not shown)"

_BRACKETS = (r"[\s_]*[(\[{<][\s_]*(?i:", r")[\s_]*[)\]}>][\s_]*")
_AT_SIGN, _AT_BRACKET, _AT_WORD = r"\s*@\s*", "at|@".join(_BRACKETS), r"[\s_]+(?i:at)[\s_]+"
_DOT_BRACKET, _DOT_WORD = r"dot|\.".join(_BRACKETS), r"[\s_]+(?i:dot)[\s_]+"
_SPELLED = f"(?:{_DOT_BRACKET}|{_DOT_WORD})"
_DOT = rf"(?:\.|\s+\.\s+|{_SPELLED})"
_LOCAL = rf"(?:[\w.+%'-]{{1,64}}{_SPELLED})?[\w.+%'-]{{1,64}}"
_LABEL = r"[^\W_][^\W_]{0,62}(?:-[^\W_]{1,62}){0,5}"
_ENDING = r"(?:[a-z]{2,24}|[A-Z]{2,24}|Com|Org|Net|Edu|Gov|Info)(?![^\W_])"
# Where nothing but words tells an address from a place ("Camp at Polka Dot Lake").
_COMMON = (
    r"(?i:com|org|net|edu|gov|mil|info|biz|eu|us|ca|uk|ie|nz|au|de|at|ch|fr|be|nl|lu|it|es|pt|se|no"
    r"|fi|dk|pl|cz)(?![^\W_])"
)
_EMAIL = re.compile(
    "|".join(
        (
            r"[^\s@]{1,64}@[^\s@]{1,255}\.(?:[^\W\d_]{2,}|xn--[\w-]+)",
            r"(?i:mailto):\s*\S+",
            rf"{_LOCAL}(?:{_AT_SIGN}|{_AT_BRACKET}){_LABEL}(?:{_DOT}{_LABEL}){{0,4}}{_DOT}{_ENDING}",
            rf"{_LOCAL}{_AT_WORD}{_LABEL}(?:{_DOT}{_LABEL}){{0,4}}{_SPELLED}{_COMMON}",
            rf"{_LOCAL}{_AT_WORD}[a-z0-9-]+(?:\.[a-z0-9-]+){{0,4}}\.(?=[a-z]){_COMMON}",
        )
    )
)
_CODED_AT = re.compile(r"(?i)%40|&#0*64;|&#x0*40;|&commat;")  # as addresses are coded in links
_MAY_BE_EMAIL = re.compile(r"(?i)@|\bmailto\b|(?<![^\W_])at(?![^\W_])")

_JOINT = r"[\s().\-/]{0,3}"
_MAY_BE_PHONE = re.compile(rf"\d(?:{_JOINT}\d){{{LEAST_DIGITS - 1}}}")
_GROUPS = re.compile(
    r"(?<![\w.+-])(?:\(\d{2,5}\)[ .-]{0,2}\d{3,4}[ .-]?\d{3,4}|(?:1[ .-])?\d{3}([ .-])\d{3}\1\d{4})"
    r"(?!\w|[.-]\d)"
)
_LOCAL_GROUPS = re.compile(r"(?<![\w.+-])\d{3}-\d{4}(?!\w|[.-]\d)")
_AFTER_A_WORD = re.compile(
    r"(?i:(?<![^\W_])(?:tele?|telephone|phone|ph|call|text|txt|cell|mobile|mob|fax|sms|whatsapp)"
    r"(?![^\W_])(?:[\s.:]*(?:no|nr|number|me|us)\b)?[\s.:#]*)"
    rf"(\(?\d(?:{_JOINT}\d){{{LEAST_DIGITS - 1},14}})(?!\d)"
)
_ABROAD = re.compile(r"(?<![\w.+-])00(?=[1-9]\d{0,2}[\s().\-/])")
# What has digits in groups and is no phone number; taken out before one is looked for.
_NO_PHONE = re.compile(
    r"(?<!\d)(?:"
    r"(?:1[89]|20|21)\d\d([-/. ])\d{1,2}\1\d{1,2}"  # a date, year first
    r"|\d{1,2}([-/. ])\d{1,2}\2(?:1[89]|20|21)\d\d"  # a date, year last
    r"|(?:1[89]|20|21)\d\d\s*[-/]\s*(?:1[89]|20|21)\d\d"  # years
    r"|\d{1,2}[.:h]\d\d\s*-\s*\d{1,2}[.:h]\d\d"  # clock times
    r"|\d{1,3}\.\d{5,}|\d{1,3}[ -]\d{1,2}[ -]\d{1,2}\.\d+"  # degrees
    r")(?!\d)"
    r"|(?i:(?<![^\W_])(?:lots?|parcels?|tract|plat|section|sec|apn|huc|wbic|dow|gauge|grid)\b)\W{0,3}"
    r"(?i:(?:no|nr|number)\b\W{0,2})?\d++(?:[-/.]\d++)*"
    r"|(?i:(?<![^\W_])(?:hwy|highway|roads?|rd|route|rte|street|avenue|ave|mile|unit|site|campsite"
    r"|ponds?|lakes?|reservoir|unnamed|quarry|pit|marker|buoy|station|dam|map|quad|fr|fs|sr|cr|cth"
    r"|sth|permit|box)\b)\W{0,3}(?i:(?:no|nr|number)\b\W{0,2})?\d++(?:[-/. ]\d++)?(?![-/. ]?\d)"
)


def contact_details(
    text: str, *, country: str | None = None, kind: Kind = "text"
) -> list[tuple[int, int]]:
    r"""
    Where a text, as `plainly` writes it, holds an e-mail address or a phone number.

    Parameters
    ----------
    text : str
        Any text; looked at as `plainly` writes it.
    country : str, optional
        Two letters of a country (ISO 3166), whose manner of writing phone numbers is known then.
    kind : str
        `text`; `id` of a place or a visit, where groups of 3-4 digits are no phone number; `code`
        of a person, where nine digits are one; `number`, for numbers, dates and times, where the
        manner of a country is not asked for.

    Returns
    -------
    spans : list of (int, int)
        First letter and the one after the last.

    Examples
    --------
    >>> contact_details("ask someone@example.org")
    [(4, 23)]
    >>> bool(contact_details("someone [at] example (dot) org"))
    True
    >>> contact_details("1234567890"), contact_details("Lot 123-4567"), contact_details("Hwy 61")
    ([], [], [])
    >>> bool(contact_details("030 123456", country="DE"))
    True
    """
    plain = plainly(text)
    spans = []
    if _MAY_BE_EMAIL.search(plain):
        spans += [found.span() for found in _EMAIL.finditer(plain)]
    if _MAY_BE_PHONE.search(plain.replace("_", "-")):
        spans += _phones(plain.replace("_", "-"), country, kind)
    return sorted(spans)


def plainly(text: str) -> str:
    r"""
    A text with full-width letters, dashes and spaces in their plain form, and none unseen.

    Examples
    --------
    >>> plainly("someone\uff20example\u200b.org"), plainly("555\u2011010\u20110199")
    ('someone@example.org', '555-010-0199')
    >>> plainly("someone%40example.org")
    'someone@example.org'
    """
    text = _CODED_AT.sub("@", text)
    if text.isascii():
        return text
    seen = unicodedata.normalize("NFKC", text)
    seen = "".join(c for c in seen if unicodedata.category(c) != "Cf")
    return re.sub("[\u2010-\u2015\u2212]", "-", seen)


def withheld(text: str, country: str | None = None) -> str:
    """
    A text with its e-mail addresses and phone numbers taken out.

    Examples
    --------
    >>> withheld("no lake someone@example.org")
    'no lake (not shown)'
    """
    spans = contact_details(text, country=country)
    if not spans:
        return text
    plain, made, end = plainly(text), "", 0
    for first, last in spans:
        if first >= end:
            made += plain[end:first] + NOT_SHOWN
        end = max(end, last)
    return made + plain[end:]


def _phones(text: str, country: str | None, kind: Kind) -> Iterator[tuple[int, int]]:
    """Where a text holds a phone number."""
    if kind in ("text", "code"):
        yield from (found.span(1) for found in _AFTER_A_WORD.finditer(text))
    rest = _NO_PHONE.sub(lambda found: "|" * len(found[0]), text)
    if not _MAY_BE_PHONE.search(rest) or (kind == "id" and rest.isdigit()):
        return
    yield from (found.span() for found in _GROUPS.finditer(rest))
    if kind in ("text", "code"):
        yield from (found.span() for found in _LOCAL_GROUPS.finditer(rest))
    if kind == "code" and rest.isdigit() and len(rest) >= LEAST_BARE_DIGITS:
        yield 0, len(rest)
    rest = _ABROAD.sub(" +", rest)
    if "+" in rest:
        yield from _by_library(rest, None, "id" if kind == "number" else kind)
    if country is not None and kind != "number":
        yield from _by_library(rest, country, kind)


def _by_library(text: str, country: str | None, kind: Kind) -> Iterator[tuple[int, int]]:
    """Where phonenumbers finds one that is not digits alone, unless other words stand by it."""
    from phonenumbers import Leniency, PhoneNumberMatcher  # takes 0.05 s, and is seldom needed

    strict = Leniency.STRICT_GROUPING if kind == "id" else Leniency.VALID
    leniency = Leniency.POSSIBLE if country is None else strict
    for found in PhoneNumberMatcher(text, country, leniency=leniency):
        beside = kind == "text" and bool(re.search(r"[^\W\d_]", text))
        if beside or not found.raw_string.isdigit():
            yield found.start, found.end
