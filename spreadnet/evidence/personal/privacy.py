"""No personal data: columns and values that look like a person are refused, and never echoed."""

from __future__ import annotations

import re
from collections.abc import Iterable

import pandas as pd

from spreadnet.errors import Problem
from spreadnet.evidence.columns import Column
from spreadnet.evidence.distinct import marked

# Words in a heading that mark a person or their vehicle, and what each stands for.
_WORDS = {
    "a boat": r"registration|reg(_?(no|num|number|nr))?|plate|licen[cs]e|vin|hin|hull(_id|_no)?",
    "a vehicle": r"vehicle|tag_?(no|num|number)",
    "a phone number": r"(tele|cell|mobile)?_?phones?|tel|mobile|cell|fax|sms|whatsapp",
    "an e-mail address": r"e_?mails?|mail",
    "a name": r"(first|last|full|sur|given|family|middle|fore|user|nick)_?names?",
    "a person": r"(owner|boater|driver|person|party|contact|volunteer|educator|surveyor|inspector"
    r"|observer|recorder|captain|angler|manager|staff|crew|submitter|interviewer|respondent)s?"
    r"(_?(name|id|initials))?|(recorded|observed|entered)_by|initials|signature|signed|photo"
    r"|age|sex|gender|race|ethnicity|birth(day|date|_date)?|dob|date_of_birth",
}
# In the tables about people also these; in a table of places they are about the place.
_PEOPLE_WORDS = {
    "an address": r"address|zip(_?code)?|postcode|postal_code",
    "a description of a person": r"description|appearance|notes?|comments?|remarks?",
    "a name": r"names?",
}
_PEOPLE_TABLES = ("visits", "contacts", "hours", "promised")
_PLACE_NAME = re.compile(r"(lake|landing|water|region|place|site|stream|river|species)_?name")
_EMAIL = re.compile(r"[^\s@]{1,64}@[^\s@]{1,255}\.[A-Za-z]{2,}")
_PHONE = re.compile(
    r"(?<![\d-])(?:\+\d[\d\s().-]{7,}\d|\(?\d{3}\)?[\s.-]?\d{3}[\s.-]\d{4}|\d{3}[.-]\d{4}|\d{10})(?![\d-])"
)
_PERSON = re.compile(r"[A-Z][a-z]+,? +(?:[A-Z]\. *)?[A-Z][a-z]+")
SHOWN_LENGTH = 60  # letters of a cell in a message
LOOKED_AT = 1000  # letters of a cell searched for contact details before it is shown


def looks_personal(text: str) -> bool:
    """
    Whether a text holds something like an e-mail address or a phone number.

    Examples
    --------
    >>> looks_personal("someone@example.org"), looks_personal("call 555-010-0199")
    (True, True)
    >>> looks_personal("North ramp"), looks_personal("2026-07-04"), looks_personal("27-0133")
    (False, False, False)
    """
    return bool(_EMAIL.search(text) or _PHONE.search(text))


def shown(text: str) -> str:
    """
    A user's value in quotes for a message; withheld when it looks personal, cut when long.

    Examples
    --------
    >>> shown("12,5")
    "'12,5'"
    >>> shown("someone@example.org")
    'a value not shown here'
    """
    return "a value not shown here" if looks_personal(text[:LOOKED_AT]) else f"'{brief(text)}'"


def coded(text: str) -> str:
    r"""
    Text with the letters that a screen would not show, or would act on, by their codes.

    Examples
    --------
    >>> coded("a\u200bb\x1b[31m")
    'a<U+200B>b<U+001B>[31m'
    """
    if text.isprintable():
        return text
    return "".join(c if c.isprintable() else f"<U+{ord(c):04X}>" for c in text)


def brief(text: object) -> str:
    r"""
    A user's text as it may stand in a message: unseen letters by their codes, cut when long.

    Unlike `shown` it is for identifiers and names of places, which are never withheld.

    Examples
    --------
    >>> brief("Duck Lake"), brief("L\x07"), len(brief("x" * 5000))
    ('Duck Lake', 'L<U+0007>', 63)
    """
    words = str(text)
    made = coded(words[:SHOWN_LENGTH])
    if len(words) <= SHOWN_LENGTH and len(made) <= SHOWN_LENGTH:
        return made
    return re.sub(r"<(U[+0-9A-F]*)?$", "", made[:SHOWN_LENGTH]) + "..."


def personal_heading(heading: str, table: str) -> str | None:
    """
    What personal thing a plain heading stands for, or None.

    A place's `name` is fine in lakes and landings; anywhere else a name is a person's.

    Examples
    --------
    >>> personal_heading("boat_registration", "contacts")
    'a boat'
    >>> personal_heading("name", "lakes") is None, personal_heading("name", "contacts")
    (True, 'a name')
    """
    if _PLACE_NAME.fullmatch(heading):
        return None
    parts = heading.split("_")
    tails = {"_".join(parts[i:j]) for i in range(len(parts)) for j in range(i + 1, len(parts) + 1)}
    lists = (_WORDS, _PEOPLE_WORDS) if table in _PEOPLE_TABLES else (_WORDS,)
    for words in lists:
        for what, pattern in words.items():
            if any(re.fullmatch(pattern, tail) for tail in tails):
                return what
    return None


def personal_headings(headings: Iterable[str], *, table: str, file: str) -> list[Problem]:
    """Problems of headings, other than the table's own, that stand for personal data."""
    return [
        Problem(
            "personal-data",
            file,
            f"the heading looks like personal data ({what})",
            "spreadnet keeps no personal data; nothing of this column was kept.",
            "Delete the column from the file.",
            row=1,
            column=brief(heading),
        )
        for heading in headings
        if (what := personal_heading(heading, table)) is not None
    ]


def personal_values(column: Column, cells: pd.Series, *, file: str) -> list[Problem]:
    """Problems of free text cells that look like contact details; the values are not echoed."""
    if column.kind != "text" or column.allowed or column.key:
        return []
    personal = marked(cells, looks_personal)
    kind = "an e-mail address or a phone number"
    if column.name == "code":
        named = marked(cells, _PERSON.fullmatch)
        kind = "an e-mail address, a phone number or a person's name" if named.any() else kind
        personal |= named
    return [
        Problem(
            "personal-data",
            file,
            f"the cell looks like {kind}",
            "spreadnet keeps no personal data; the value is not shown or kept.",
            "Take it out of the cell; use a place's name, or a code that stands for nobody.",
            row=int(row),
            column=column.name,
        )
        for row in cells.index[personal]
    ]
