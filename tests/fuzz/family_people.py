"""Mutants that hold something like personal data, and harmless ones that only look like it."""

from __future__ import annotations

import random
from dataclasses import replace

from base_region import Folder
from family_cells import readings
from judge import Right
from oracle import KEYS

Made = tuple[Folder, Right, str]
# Invented: reserved domains, numbers set aside for fiction, plates and registrations of no place.
E_MAILS = (
    *("kim.reed@example.org", "KIM@EXAMPLE.COM", "kim+boat@mail.example.net", "kim@example.org;"),
    *("kim (at) example.org", "kim [at] example [dot] org", "kim at example dot org"),
    *("kim＠example.org", "kim@\u200bexample.org", "mailto:kim@example.org", "kim @ example . org"),
    *("<kim@example.org>", "kim AT example DOT org", "kim&#64;example.org", "kim%40example.org"),
)
PHONES = (
    *("+1 212 555 0142", "(212) 555-0142", "212-555-0142", "212.555.0142", "2125550142"),
    *(
        "+44 20 7946 0018",
        "+12125550142",
        "tel: 212 555 0142",
        "call 212-555-0142",
        "+1-212-555-0142",
    ),
    *("+49 30 23125 014", "001 212 555 0142", "+33 1 99 00 12 34", "+61 2 5550 1234"),
)
PLATES = ("ZZ 1234 QX", "ZZ-1234-QX", "QX 0042 ZZ")
# What an id of a place, or of a visit, may well be.
ID_LIKE = {
    "lake_id": ("2125550142", "ZZ-1234-QX"),
    "landing_id": ("2125550142", "ZZ-1234-QX"),
    "visit_id": ("2125550142",),
}
HEADINGS = (
    *("boat_registration", "Registration No", "licence plate", "plate", "phone", "Cell phone"),
    *("e-mail", "Email address", "boater name", "First Name", "last_name", "contact", "Initials"),
    *("date of birth", "address", "observer", "captain", "signature", "vin", "Hull ID", "fax"),
)
HARMLESS_NAMES = (
    *(
        "Lot 12",
        "Lot 104-2217 pond",
        "Forest Road 2230 ramp",
        "County Road 555 landing",
        "Lake 27-0133",
    ),
    *(
        "Road 1234567 slip",
        "Mile 212.5 ramp",
        "Pond 4-55-0142",
        "Block 7 Lot 1234",
        "Route 66 Lake",
    ),
    *(
        "Lake No. 1000000142",
        "Dam 3, gate 12",
        "At the dot, org hill",
        "Owner's Pond",
        "Plate Lake",
    ),
)
HARMLESS_HEADINGS = {
    "lakes": ("manager", "photo", "age", "cell_coverage", "vehicle_parking"),
    "landings": ("manager", "photo", "age", "cell_coverage", "vehicle_parking", "owner"),
}


def _texts(table: str) -> tuple[str, ...]:
    """Columns of a table that hold ids, codes or free text."""
    return {
        "lakes": ("lake_id", "name"),
        "landings": ("landing_id", "name", "jurisdiction"),
        "visits": ("visit_id",),
        "hours": ("code",),
        "promised": ("code",),
    }.get(table, ())


def _everywhere(folder: Folder, table: str, heading: str, old: str, new: str) -> Folder:
    """The folder with an id changed wherever it stands, so that joins hold."""
    made = folder
    for other, sheet in folder.sheets.items():
        places = [
            i
            for i, h in enumerate(sheet.headings)
            if (h.endswith(heading) or (heading == "lake_id" and h.endswith("_water")))
            and not (heading == "code" and other == "contacts")
        ]
        rows = [
            tuple(new if i in places and c == old else c for i, c in enumerate(row))
            for row in sheet.rows
        ]
        made = made.with_sheet(other, replace(sheet, rows=tuple(rows)))
    return made


def value(rng: random.Random, folder: Folder, _: object) -> Made:
    """An e-mail address, phone number, plate or registration as an id, code or name."""
    table = rng.choice(("lakes", "landings", "visits", "hours", "promised"))
    heading = rng.choice(_texts(table))
    secret = rng.choice(rng.choice((E_MAILS, PHONES, PLATES)))
    text = secret
    if heading in ("name", "jurisdiction") and secret not in PLATES and rng.random() < 0.4:
        text = rng.choice(("ask {}", "{}", "Mill ramp, {}", "{} (office)")).format(secret)
    sheet = folder.sheets[table]
    row = rng.randrange(len(sheet.rows))
    old = sheet.cell(row, heading)
    row, old = (0, sheet.cell(0, heading)) if not old else (row, old)
    if heading == KEYS.get(table) or heading == "code":
        made = _everywhere(folder, table, heading, old, text)
    else:
        made = folder.with_cell(table, row, heading, text)
    if heading in ("lake_id", "landing_id", "visit_id") and secret in ID_LIKE[heading]:
        return made, Right("free"), f"{table}.{heading}[{row}] = {text!r}"  # ids may look so
    right = Right("refuse", secrets=(secret,))
    return made, right, f"{table}.{heading}[{row}] = {text!r}"


def elsewhere(rng: random.Random, folder: Folder, _: object) -> Made:
    """Personal data in a cell that takes no text, or as a heading: no message may repeat it."""
    secret = rng.choice(E_MAILS[:3] + PHONES[:3])
    table = rng.choice(list(folder.sheets))
    sheet = folder.sheets[table]
    heading = rng.choice(sheet.headings)
    if heading in _texts(table) or rng.random() < 0.3:
        made = replace(
            sheet,
            headings=(*sheet.headings, secret),
            rows=tuple((*row, "x") for row in sheet.rows),
        )
        return folder.with_sheet(table, made), Right("refuse", secrets=(secret,)), "as a heading"
    row = rng.randrange(len(sheet.rows))
    made = folder.with_cell(table, row, heading, secret)
    unread = not readings(folder, table, row, heading, secret)
    right = Right("refuse" if unread else "either", secrets=(secret,))
    return made, right, f"{table}.{heading}[{row}] = {secret!r}"


def column(rng: random.Random, folder: Folder, _: object) -> Made:
    """A column about people; what stands under it is told to nobody."""
    table = rng.choice(list(folder.sheets))
    heading, secret = rng.choice(HEADINGS), "Quillon Sedgeworth"
    sheet = folder.sheets[table]
    made = replace(
        sheet,
        headings=(*sheet.headings, heading),
        rows=tuple((*row, secret) for row in sheet.rows),
    )
    # In a table of places such a column may be left aside with a note; it is never kept or shown.
    verdict = "refuse" if table in ("visits", "contacts", "hours", "promised") else "either"
    right = Right(verdict, secrets=(secret,))
    return folder.with_sheet(table, made), right, f"{table}: column {heading!r}"


def setting(rng: random.Random, folder: Folder, _: object) -> Made:
    """Personal data in `region.toml`."""
    secret = rng.choice(E_MAILS[:3] + PHONES[:3])
    key = rng.choice(("name", "education", "time_zone", "crs", "unknown_key", "date_format"))
    right = Right("refuse", secrets=(secret,))
    return folder.with_setting(key, f'"{secret}"'), right, f"{key} = {secret!r}"


def harmless_name(rng: random.Random, folder: Folder, _: object) -> Made:
    """A name of a place with numbers in it, which is no personal data."""
    table = rng.choice(("lakes", "landings"))
    row = rng.randrange(len(folder.sheets[table].rows))
    text = rng.choice(HARMLESS_NAMES)
    right = Right("accept", {(table, row, "name"): (text,)}, no_alarm=True)
    return folder.with_cell(table, row, "name", text), right, f"{table}.name[{row}] = {text!r}"


def harmless_column(rng: random.Random, folder: Folder, _: object) -> Made:
    """A column about a place whose heading might be about people."""
    table = rng.choice(list(HARMLESS_HEADINGS))
    heading = rng.choice(HARMLESS_HEADINGS[table])
    sheet = folder.sheets[table]
    made = replace(
        sheet, headings=(*sheet.headings, heading), rows=tuple((*row, "3") for row in sheet.rows)
    )
    return folder.with_sheet(table, made), Right("either", no_alarm=True), f"{table}: {heading!r}"


MUTATORS = {
    "people": (value, value, value, elsewhere, column, setting, harmless_name, harmless_column)
}
