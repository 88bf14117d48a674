"""Mutants of headings and of the bytes of tables: encodings, separators, cuts."""

from __future__ import annotations

import gzip
import random
from dataclasses import replace

from base_region import Folder, Sheet
from judge import ACCEPT, FREE, REFUSE, Right
from written import csv_bytes

Made = tuple[Folder, Right, str]
OTHER_ORDER = Right("accept", any_order=True)
UNSEEN = ("\ufeff", "\u200b", "\u00ad", "\u2060")
LOOK_ALIKES = str.maketrans("aeiocp", "аеіоср")  # Cyrillic


def _headings(folder: Folder, table: str, headings: list[str]) -> Folder:
    """The folder with the headings of a table changed."""
    return folder.with_sheet(table, replace(folder.sheets[table], headings=tuple(headings)))


def plain_other(rng: random.Random, folder: Folder, _: object) -> Made:
    """Headings in another case, with spaces or hyphens, or with letters that nobody sees."""
    table = rng.choice(list(folder.sheets))
    ways = (
        str.upper,
        str.title,
        lambda h: h.replace("_", " "),
        lambda h: h.replace("_", "-"),
        lambda h: f"  {h} ",
        lambda h: h.replace("_", "\u00a0"),
        lambda h: rng.choice(UNSEEN) + h,
    )
    heads = [rng.choice(ways)(h) for h in folder.sheets[table].headings]
    return _headings(folder, table, heads), ACCEPT, f"{table}: {heads}"


def doubled(rng: random.Random, folder: Folder, _: object) -> Made:
    """A heading in place of another."""
    table = rng.choice(list(folder.sheets))
    heads = list(folder.sheets[table].headings)
    first, second = rng.sample(range(len(heads)), 2)
    heads[second] = rng.choice((heads[first], heads[first].upper(), f" {heads[first]}"))
    return _headings(folder, table, heads), REFUSE, f"{table}: {heads[second]!r} twice"


def unknown(rng: random.Random, folder: Folder, _: object) -> Made:
    """A heading that means nothing, though it may look like one that does."""
    table = rng.choice(list(folder.sheets))
    heads = list(folder.sheets[table].headings)
    at = rng.randrange(len(heads))
    odd = (
        *(f"{heads[at]} (ha)", f"{heads[at]}2", "x", "", "geometry", "WKT", f"#{heads[at]}"),
        *(heads[at].translate(LOOK_ALIKES), heads[at][::-1], heads[at][:-1], f"my_{heads[at]}"),
        *(
            "=1+1",
            "x" * 5000,
            "\x1b[31m",
            "\x00",
            "<script>",
            "nan",
            "0",
            "Unnamed: 3",
            "__class__",
        ),
    )
    old, new = heads[at], rng.choice(odd)
    heads[at] = new
    right = ACCEPT if new == old else REFUSE
    return _headings(folder, table, heads), right, f"{table}: {old} became {new[:40]!r}"


def shifted(rng: random.Random, folder: Folder, _: object) -> Made:
    """Headings, or the cells of one row, moved to the side."""
    table = rng.choice(list(folder.sheets))
    sheet = folder.sheets[table]
    if rng.random() < 0.5:
        heads = list(sheet.headings[1:] + sheet.headings[:1])
        return _headings(folder, table, heads), REFUSE, f"{table}: headings moved"
    row = rng.randrange(len(sheet.rows))
    rows = (*sheet.rows[:row], ("", *sheet.rows[row]), *sheet.rows[row + 1 :])
    return folder.with_sheet(table, replace(sheet, rows=rows)), REFUSE, f"{table}[{row}]: moved"


def title(rng: random.Random, folder: Folder, _: object) -> Made:
    """A title above the headings, or the headings once more among the rows."""
    table = rng.choice(list(folder.sheets))
    sheet = folder.sheets[table]
    if rng.random() < 0.5:
        made = folder.with_form(table, first_line="Table of the invented district")
        return made, REFUSE, f"{table}: a title"
    rows = (*sheet.rows[:1], sheet.headings, *sheet.rows[1:])
    return folder.with_sheet(table, replace(sheet, rows=rows)), REFUSE, f"{table}: headings again"


def column_order(rng: random.Random, folder: Folder, _: object) -> Made:
    """Columns, or rows, in another order."""
    table = rng.choice(list(folder.sheets))
    sheet = folder.sheets[table]
    if rng.random() < 0.5:
        order = rng.sample(range(len(sheet.headings)), len(sheet.headings))
        made = replace(
            sheet,
            headings=tuple(sheet.headings[i] for i in order),
            rows=tuple(tuple(row[i] for i in order) for row in sheet.rows),
        )
        return folder.with_sheet(table, made), ACCEPT, f"{table}: columns {order}"
    made = replace(sheet, rows=tuple(rng.sample(sheet.rows, len(sheet.rows))))
    return folder.with_sheet(table, made), OTHER_ORDER, f"{table}: rows"


def total_row(rng: random.Random, folder: Folder, _: object) -> Made:
    """A row of totals or remarks below the table."""
    table = rng.choice(list(folder.sheets))
    sheet = folder.sheets[table]
    row = [""] * len(sheet.headings)
    row[rng.randrange(len(row))] = rng.choice(("Total", "312", "# end", "checked", "2026"))
    made = replace(sheet, rows=(*sheet.rows, tuple(row)))
    return folder.with_sheet(table, made), REFUSE, f"{table}: {row}"


# bytes of CSV


def manner(rng: random.Random, folder: Folder, _: object) -> Made:
    """Every table in a manner of its own that means the same."""
    made = folder
    if rng.random() < 0.3:
        made = made.with_setting("decimal", '","')
    if rng.random() < 0.3:
        made = made.with_setting("date_format", '"DD/MM/YYYY"')
    said = []
    for table, sheet in folder.sheets.items():
        if sheet.form.kind != "csv":
            continue
        changes = csv_manner(rng, decimal="decimal" in made.settings)
        if "date_format" in made.settings:
            changes["dates"] = rng.choice(("DD/MM/YYYY", "YYYY-MM-DD"))
        made = made.with_form(table, **changes)
        said.append(f"{table} {changes}")
    return made, ACCEPT, "; ".join(said)


def csv_manner(rng: random.Random, *, decimal: bool = False) -> dict[str, object]:
    """Looks of a CSV that mean the same."""
    delimiter = rng.choice((",", ",", ";", "\t", "|"))
    newline = rng.choice(("\n", "\r\n", "\n", "\r"))
    encoding, mark = rng.choice(
        (
            ("utf-8", b""),
            ("utf-8", b"\xef\xbb\xbf"),
            ("utf-16-le", b"\xff\xfe"),
            ("utf-16-be", b"\xfe\xff"),
            ("utf-16-le", b""),
            ("cp1252", b""),
        )
    )
    line = f"sep={delimiter}" if rng.random() < 0.1 and newline != "\r" else ""
    return {
        "delimiter": delimiter,
        "newline": newline,
        "encoding": encoding,
        "mark": mark,
        "quote_all": rng.random() < 0.3,
        "last_newline": rng.random() < 0.7,
        "first_line": line,
        "blank_rows": (rng.randint(0, 3),) if rng.random() < 0.3 else (),
        "pad": rng.choice(("", "", " ", "\u00a0")),
        "extra_delimiters": rng.choice((0, 0, 2)),
        "decimal": "," if decimal else ".",
        "ending": rng.choice((".csv", ".CSV", ".txt", ".tsv")),
    }


def _cut(sheet: Sheet) -> bytes:
    """Bytes of a table as they are before they are spoilt."""
    return csv_bytes(sheet)


def spoilt(rng: random.Random, folder: Folder, _: object) -> Made:
    """A file that is no text, or text of another kind."""
    table = rng.choice(list(folder.sheets))
    data = _cut(folder.sheets[table])
    other, right = rng.choice(
        (
            (data.decode().encode("utf-32"), REFUSE),
            (data.decode().encode("utf-7"), FREE),
            (gzip.compress(data, mtime=0), REFUSE),
            (b"PK\x03\x04" + data, REFUSE),
            (b"%PDF-1.4\n" + bytes(range(32)) * 9 + data, REFUSE),
            (data.replace(b",", b"\x00"), REFUSE),
            (data.replace(b",", b"  "), REFUSE),
            (b"\x00" * 3000, REFUSE),
            (b"", REFUSE),
            (b"\xef\xbb\xbf", REFUSE),
            (b"\n" * 5000, REFUSE),
            (b"<html><body>Sign in</body></html>", REFUSE),
            (b"<<<<<<< HEAD\n" + data, REFUSE),
            (data + b"=======\n" + data, REFUSE),
            (data + bytes(rng.randrange(256) for _ in range(40)), REFUSE),
            (b'"' + data, REFUSE),
            (data.replace(b"\n", b'\n"', 2), REFUSE),
            (b"\xff\xfe" + data, REFUSE),
            (data.decode().encode("utf-16-le")[1:], REFUSE),
        )
    )
    return folder.with_raw(**{f"{table}__csv": other}), right, f"{table}: {other[:24]!r}"


def other_letters(rng: random.Random, folder: Folder, _: object) -> Made:
    """Names in an encoding that can't be told: read with a note, if read."""
    table = rng.choice(("lakes", "landings"))
    way = rng.choice(("mac-roman", "cp850", "latin-1", "iso8859-15", "twice", "one bad byte"))
    data = _cut(folder.sheets[table])
    if way == "twice":
        data = data.decode("cp1252", errors="ignore").encode()
    elif way == "one bad byte":
        data = data.replace(b"Mill", b"Mi\xe9l").replace(b"East", b"E\xe9st")
    else:
        data = data.decode().encode(way)
    named = {("lakes", ..., "name"): (...,), ("landings", ..., "name"): (...,)}
    if way in ("latin-1", "iso8859-15"):  # as Windows-1252 for all letters of the base
        named = {}
    right = Right("either", told=("encoding", "garbled")) if named else ACCEPT
    return folder.with_raw(**{f"{table}__csv": data}), right, f"{table}: {way}"


def cut_short(rng: random.Random, folder: Folder, _: object) -> Made:
    """A CSV cut off within a row that other tables name, or within its headings."""
    table = rng.choice(("lakes", "landings", "visits"))
    data = _cut(folder.sheets[table])
    lines = data.split(b"\n")
    last = len(b"\n".join(lines[: len(lines) - 3]))
    at = rng.randrange(1, last)
    right = REFUSE  # at least one row that is named is gone
    return folder.with_raw(**{f"{table}__csv": data[:at]}), right, f"{table}: first {at} bytes"


def bits(rng: random.Random, folder: Folder, _: object) -> Made:
    """Bytes of a file overwritten, taken out or put in at random."""
    table = rng.choice(list(folder.sheets))
    data = bytearray(_cut(folder.sheets[table]))
    for _times in range(rng.randint(1, 8)):
        at = rng.randrange(len(data))
        way = rng.randrange(3)
        if way == 0:
            data[at] = rng.randrange(256)
        elif way == 1:
            del data[at : at + rng.randint(1, 5)]
        else:
            data[at:at] = bytes(rng.choice((b",", b"\n", b'"', b"\x00", b"\xff", b"\r", b";")))
    return folder.with_raw(**{f"{table}__csv": bytes(data)}), FREE, f"{table}: bytes changed"


def files_about(rng: random.Random, folder: Folder, _: object) -> Made:
    """Files of other names, or two for one table."""
    table = rng.choice(list(folder.sheets))
    data = _cut(folder.sheets[table])
    name, content, right = rng.choice(
        (
            (f"{table}__txt", data, REFUSE),
            (f"{table.upper()}__tsv", data, REFUSE),
            (f"{table}__xls", data, REFUSE),
            (f"{table}__ods", data, REFUSE),
            (f"{table} (1)__csv", b"junk", ACCEPT),
            (f"{table}__csv__bak", b"junk", ACCEPT),
            (f"~${table}__xlsx", b"junk", ACCEPT),
            (f"__{table}__csv", b"junk", ACCEPT),
            ("README__csv", b"junk", ACCEPT),
            ("desktop__ini", b"junk", ACCEPT),
            ("x" * 200 + "__csv", b"junk", ACCEPT),
            ("\x1b[31m__csv", b"junk", ACCEPT),
            ("lakes__prj", b"junk", ACCEPT),
            ("Region__toml", b'name = "Other"\n', REFUSE),
            ("REGION__TOML", b"", REFUSE),
        )
    )
    return folder.with_raw(**{name: content}), right, f"{name[:40]!r} beside the others"


MUTATORS = {
    "headings": (plain_other, doubled, unknown, shifted, title, column_order, total_row),
    "encodings": (manner, manner, manner, spoilt, other_letters, cut_short, bits, files_about),
}
