"""
No personal data: what looks like a person is refused or left aside, and never echoed.

The rule. *Refused*, with a message that does not show the value: a heading that can only stand for
something of a person (an e-mail address, a phone number, a registration or plate, the name of a
person; in the tables about people also a person's part in the work, a description, an address), and
a cell that holds contact details, or a registration or plate where it stands for a visit or a
person (`private_cells`). *Left aside*, with one note: a heading of a table about places or species
that may or may not be about a person, such as `owner`, `manager`, `photo`, `license` or
`recordedBy`, and one that names a thing, such as `cell_coverage`; such a column is not read and not
copied. A person's name in the name of a place can't be told from a place, so it is not looked for.
"""

from __future__ import annotations

import re
from collections.abc import Iterable

from spreadnet.errors import Problem
from spreadnet.evidence.personal.contact_details import LOOKED_AT, NOT_SHOWN, contact_details

# Words in a heading that can only mean a person or their vehicle, and what each stands for.
_PART = (
    r"(owner|boater|driver|person|party|contact|volunteer|educator|surveyor|inspector"
    r"|observer|recorder|captain|angler|manager|staff|crew|submitter|interviewer|respondent)"
)
_WORDS = {
    "a boat": r"registration|reg(_?(no|num|number|nr))?|(licen[cs]e_?)?plates?"
    r"|licen[cs]e_?(no|num|number|nr)|vin|hin|hull(_id|_no)?",
    "a phone number": r"(tele|cell|mobile)?_?phones?(_?(no|nr|number))?|tel|fax|sms|whatsapp",
    "an e-mail address": r"e_?mails?(_?address(es)?)?",
    "a name": r"(first|last|full|sur|given|family|middle|fore|user|nick)_?names?",
    "a person": rf"{_PART}s?_?(name|id|initials|phone|mail)s?|signature|birth(day|date|_date)?"
    r"|dob|date_of_birth|race|ethnicity",
}
# Words that mean a person in a table about people; elsewhere they may be about the place.
_EITHER = {
    "a vehicle": r"vehicles?|tag_?(no|num|number)|licen[cs]e",
    "a phone number": r"mobile|cell",
    "an e-mail address": r"mail",
    "a person": rf"{_PART}s?|(recorded|observed|entered|identified)_?by|initials|signed|photos?"
    r"|age|sex|gender",
}
# In the tables about people also these; in a table of places they are about the place.
_PEOPLE_WORDS = {
    "an address": r"address|zip(_?code)?|postcode|postal_code",
    "a description of a person": r"description|appearance|notes?|comments?|remarks?",
    "a name": r"names?",
}
# After one of these words the heading is about a thing, and not about a person.
_THING = re.compile(
    r"\w+_(access|allowed|area|class|count|coverage|fees?|hours|kinds?|lots?|parking|reception"
    r"|required|service|signal|size|spaces|stalls|towers?|types?)"
)
_PEOPLE_TABLES = ("visits", "contacts", "hours", "promised")
_PLACE_NAME = re.compile(r"(lake|landing|water|region|place|site|stream|river|species)_?name")
SHOWN_LENGTH = 60  # letters of a cell in a message


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
    return bool(contact_details(text))


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
    words = brief(text)
    return "a value not shown here" if words == NOT_SHOWN else f"'{words}'"


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
    A user's text as it may stand in a message: withheld when it looks personal, cut when long.

    Every text of the user comes into a message through here; unseen letters are told by their
    codes.

    Examples
    --------
    >>> brief("Duck Lake"), brief("L\x07"), len(brief("x" * 5000))
    ('Duck Lake', 'L<U+0007>', 63)
    >>> brief("someone@example.org")
    '(not shown)'
    """
    words = str(text)[:LOOKED_AT]
    if looks_personal(words):
        return NOT_SHOWN
    made = coded(words[:SHOWN_LENGTH])
    if len(words) <= SHOWN_LENGTH and len(made) <= SHOWN_LENGTH:
        return made
    return re.sub(r"<(U[+0-9A-F]*)?$", "", made[:SHOWN_LENGTH]) + "..."


def personal_heading(heading: str, table: str) -> str | None:
    """
    What personal thing a plain heading can only stand for, or None.

    A place's `name` is fine in lakes and landings; anywhere else a name is a person's.

    Examples
    --------
    >>> personal_heading("boat_registration", "contacts")
    'a boat'
    >>> personal_heading("name", "lakes") is None, personal_heading("name", "contacts")
    (True, 'a name')
    >>> personal_heading("owner", "contacts"), personal_heading("owner", "landings")
    ('a person', None)
    """
    if _PLACE_NAME.fullmatch(heading) or _THING.fullmatch(heading):
        return None
    people = table in _PEOPLE_TABLES
    return _meaning(heading, *((_WORDS, _EITHER, _PEOPLE_WORDS) if people else (_WORDS,)))


def left_aside(heading: str, table: str) -> bool:
    """
    Whether a plain heading may be about a person, or the place, and is therefore not read.

    Examples
    --------
    >>> left_aside("manager", "landings"), left_aside("cell_coverage", "landings")
    (True, True)
    >>> left_aside("manager", "visits"), left_aside("colour", "landings")
    (False, False)
    """
    return personal_heading(heading, table) is None and bool(_meaning(heading, _WORDS, _EITHER))


def _meaning(heading: str, *lists: dict[str, str]) -> str | None:
    """What the first word, or run of words, of a heading that is on one of the lists stands for."""
    parts = heading.split("_")
    runs = {"_".join(parts[i:j]) for i in range(len(parts)) for j in range(i + 1, len(parts) + 1)}
    for words in lists:
        for what, pattern in words.items():
            if any(re.fullmatch(pattern, run) for run in runs):
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
