"""Registrations of boats and plates of vehicles where a cell holds nothing else."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence

# Two letters, four digits, two letters, parted: so boats are registered, and places are not named.
_BOAT = re.compile(r"[A-Z]{2}([ -])\d{4}\1[A-Z]{2}")
_HULL = re.compile(r"[A-Z]{3}(?=[A-Z0-9]{0,4}\d)[A-Z0-9]{5}[A-L]\d[0-9]{2}")
_VEHICLE = re.compile(r"(?=.*\d)(?=.*[A-Z])[A-HJ-NPR-Z0-9]{13}\d{4}")
_PLATE = re.compile(
    r"([A-Z]{2,3})[ -]?(\d{3,4})"
    r"|([A-Z]{1,3})[ -]?(\d{2,4})[ -]?([A-Z]{1,3})"
    r"|(\d{1,4})[ -]?([A-Z]{2,3})[ -]?(\d{0,3})"
    r"|([A-Z]{1,3})-([A-Z]{1,2}) ?(\d{2,4})"
    r"|(\d{2})-([A-Z]{2})-(\d{2})"
)
LEAST_LETTERS, LEAST_SIGNS = 2, 5  # of a plate
# Words before the number of a visit, a crew or a place.
_COUNTED = re.compile(
    "VIS|VST|VT|EVT?|ID|NO|NR|NUM|EDU?|CR|TM|STF|STA|PER|SHF?|LK|LA|LND|RMP|WB|SIT|ST|TR|INT|SUR|SRV"
    "|OBS|REC|RUN|DAY|JOB|EMP|VOL|INS|REF|SEQ|ROW|KEY"
)


def boat_registration(text: str) -> bool:
    """
    Whether a text is a boat's registration and nothing else.

    Examples
    --------
    >>> boat_registration("ZZ 0000 QX"), boat_registration("L07"), boat_registration("AB1234CD")
    (True, False, False)
    """
    return _BOAT.fullmatch(text.upper()) is not None


def plates(ids: Sequence[str]) -> set[str]:
    """
    Those of the ids of visits, or codes of people, that are like a registration or a plate.

    Ids of one series share their letters and differ by a number, as no plates do; so what shares
    its letters with another id, is counted from zeros on, or begins with a year is left alone.

    Parameters
    ----------
    ids : sequence of str
        The distinct texts of a column.

    Returns
    -------
    plates : set of str

    Examples
    --------
    >>> sorted(plates(["V001", "V002", "QXZ-4821", "WN 0417 KB"]))
    ['QXZ-4821', 'WN 0417 KB']
    >>> plates(["ABC-1001", "ABC-1002", "E1", "2026-17-B", "EDU104", "NRA-007"])
    set()
    """
    letters = {text: re.sub(r"[^A-Z]", " ", text.upper()).split() for text in ids}
    shared = Counter(tuple(words) for words in letters.values())
    found = set()
    for text, words in letters.items():
        plain, alone = text.upper(), shared[tuple(words)] == 1
        sure = _BOAT.fullmatch(plain) or _HULL.fullmatch(plain) or _VEHICLE.fullmatch(plain)
        if sure or (alone and _like_a_plate(plain, words)):
            found.add(text)
    return found


def _like_a_plate(text: str, words: Sequence[str]) -> bool:
    """Whether a text has the letters and digits of a plate, and is no numbered word or year."""
    signs = re.sub(r"[^A-Z0-9]", "", text)
    if not _PLATE.fullmatch(text) or len(signs) < LEAST_SIGNS:
        return False
    if sum(map(len, words)) < LEAST_LETTERS or _COUNTED.fullmatch(words[0]):
        return False
    number = re.search(r"\d+", text)
    assert number is not None  # every form of a plate has a digit
    counted = number[0].startswith("0") and text.endswith(number[0])
    return not (counted or re.match(r"(19|20)\d\d", text))
