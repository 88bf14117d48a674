"""Files that would take too much time or memory are refused early, with the limit and the mend."""

from __future__ import annotations

import io
import json
import subprocess
import sys
import zipfile
from collections.abc import Callable, Iterable
from pathlib import Path

import openpyxl
import pytest

from spreadnet.evidence import limits
from spreadnet.evidence.files.text import read_csv
from spreadnet.evidence.files.workbook import read_xlsx
from spreadnet.evidence.vector.geojson import read_geojson
from spreadnet.evidence.vector.kml import read_kml
from spreadnet.evidence.vector.layers import CannotRead

FOLDER = {
    "region.toml": 'name = "Invented district"\nseason_first_day = 2027-05-15\n'
    "season_last_day = 2027-09-30\nspecies = {dreissenid_mussel = 1.0}\n",
    "lakes.csv": "lake_id,longitude,latitude,area_ha\nL01,-128.05,-41.02,120\nL02,-127.9,-41.1,9\n",
    "landings.csv": "landing_id,lake_id,longitude,latitude\nA01,L01,-128.05,-41.02\n",
    "status.csv": "lake_id,species,status\nL01,dreissenid_mussel,present\n",
    "visits.csv": "visit_id,landing_id,date,start,end\nV01,A01,2026-07-04,08:00,12:00\n",
}
MOST_SECONDS, MOST_MEMORY = 20.0, 1_000  # of processor time; MB
# What a process that checks a folder says: seconds, MB, and the problems as JSON.
MEASURE = """
import json, resource, sys, time
from spreadnet.evidence.read import check_region
problems, _ = check_region(sys.argv[1], species={"dreissenid_mussel"})
used = resource.getrusage(resource.RUSAGE_SELF)
told = [[p.code, p.file, str(p)] for p in problems[:3]]
print(json.dumps([used.ru_utime + used.ru_stime, used.ru_maxrss / 1000, told]))
"""
SHEET = b'<worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><sheetData>'
HEADING = b'<row r="1"><c r="A1" t="inlineStr"><is><t>visit_id</t></is></c></row>'
END = b"</sheetData></worksheet>"
TEXTS = b'<sst xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><si><t>'
KIND = b"application/vnd.openxmlformats-officedocument.spreadsheetml.sharedStrings+xml"


def book(rows: Iterable[bytes], *, texts: Iterable[bytes] = (), start: bytes = b"") -> bytes:
    """A workbook with a sheet of raw XML, and a list of texts."""
    plain, out = io.BytesIO(), io.BytesIO()
    openpyxl.Workbook().save(plain)
    with zipfile.ZipFile(plain) as old, zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as new:
        for part in old.infolist():
            data = old.read(part)
            if part.filename == "xl/worksheets/sheet1.xml":
                continue
            if part.filename == "[Content_Types].xml" and b"sharedStrings" not in data:
                entry = b'<Override PartName="/xl/sharedStrings.xml" ContentType="%s"/></Types>'
                data = data.replace(b"</Types>", entry % KIND)
            if part.filename != "xl/sharedStrings.xml":
                new.writestr(part, data)
        with new.open("xl/worksheets/sheet1.xml", "w") as sheet:
            sheet.writelines([start, SHEET, HEADING, *rows, END])
        with new.open("xl/sharedStrings.xml", "w") as strings:
            strings.writelines([TEXTS, *texts, b"</t></si></sst>"])
    return out.getvalue()


def far_column() -> bytes:
    """A small workbook with cells in the last column that a sheet has."""
    return book(b'<row r="%d"><c r="XFD%d"><v>1</v></c></row>' % (i, i) for i in range(2, 20_000))


def million_rows() -> bytes:
    """A workbook of a million rows."""
    return book(b'<row r="%d"><c><v>1</v></c></row>' % i for i in range(2, 1_000_002))


def large_cell() -> bytes:
    """A workbook with a cell of 400 MB."""
    return book([b'<row r="2"><c r="A2" t="s"><v>0</v></c></row>'], texts=[b"a" * 1_000_000] * 400)


def one_text_everywhere() -> bytes:
    """A workbook that shows one long text 100,000 times."""
    rows = (b'<row r="%d"><c t="s"><v>0</v></c></row>' % i for i in range(2, 100_002))
    return book(rows, texts=[b"a" * 30_000])


def entities() -> bytes:
    """A workbook of one text made of texts made of texts, a thousand million in all."""
    names = b"".join(b'<!ENTITY l%d "%s">' % (i, b"&l%d;" % (i - 1) * 10) for i in range(1, 10))
    cell = b'<row r="2"><c r="A2" t="inlineStr"><is><t>&l9;</t></is></c></row>'
    return book([cell], start=b'<!DOCTYPE w [<!ENTITY l0 "lol">%s]>' % names)


def far_row() -> bytes:
    """A workbook whose second row says that it is the 2,000,000,000th."""
    return book([b'<row r="2000000000"><c r="A2000000000"><v>1</v></c></row>'])


def long_csv() -> bytes:
    """A CSV of 100 MB."""
    return b"visit_id,direction\n" + b"V01,launching\n" * 7_200_000


def short_rows() -> bytes:
    """A CSV of 10 million rows of a letter."""
    return b"visit_id\n" + b"a\n" * 10_000_000


def deep_json() -> bytes:
    """A GeoJSON of brackets in brackets."""
    return b'{"type": "FeatureCollection", "features": ' + b"[" * 5_000_000


def many_objects() -> bytes:
    """A GeoJSON of empty objects, each of which takes 20 times its letters in memory."""
    return b'{"type": "FeatureCollection", "features": [%s{}]}' % (b"{}," * 19_000_000)


CASES: dict[str, tuple[str, Callable[[], bytes], str | None]] = {
    "far column": ("contacts.xlsx", far_column, "too-large"),
    "million rows": ("contacts.xlsx", million_rows, "too-large"),
    "large cell": ("contacts.xlsx", large_cell, "too-large"),
    "one text everywhere": ("contacts.xlsx", one_text_everywhere, "too-large"),
    "entities": ("contacts.xlsx", entities, "unreadable"),
    "long csv": ("contacts.csv", long_csv, "too-large"),
    "short rows": ("contacts.csv", short_rows, "too-large"),
    "deep json": ("lakes.json", deep_json, "unreadable"),
    "many objects": ("lakes.json", many_objects, "too-large"),
    "long settings": ("region.toml", lambda: b"# a\n" * 300_000, "too-large"),
}


@pytest.mark.slow
@pytest.mark.parametrize("case", CASES)
def test_what_is_too_large_is_told_within_seconds_and_a_gigabyte(case: str, tmp_path: Path) -> None:
    file, make, code = CASES[case]
    for name, text in FOLDER.items():
        if name.split(".")[0] != file.split(".")[0]:
            (tmp_path / name).write_text(text, encoding="utf-8")
    (tmp_path / file).write_bytes(make())
    done = subprocess.run(
        [sys.executable, "-c", MEASURE, str(tmp_path)],
        capture_output=True,
        text=True,
        timeout=300,
        check=True,
    )
    seconds, memory, told = json.loads(done.stdout)
    problem = next(said for said in told if said[1] == file)
    assert problem[0] == code
    if code == "too-large":
        assert any(c.isdigit() for c in problem[2])
    assert seconds < MOST_SECONDS
    assert memory < MOST_MEMORY


def test_a_row_number_beyond_every_sheet_takes_no_time() -> None:
    reading = read_xlsx(far_row(), table="contacts", file="contacts.xlsx")
    assert reading.table is not None
    assert reading.table.cells.empty


def test_merged_cells_are_found_without_loading_the_workbook_again(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    rows = [b'<row r="2"><c r="A2"><v>1</v></c></row></sheetData>']
    data = book([*rows, b'<mergeCells><mergeCell ref="A2:A3"/></mergeCells><sheetData>'])
    plain, loads = openpyxl.load_workbook, []

    def counted(*given: object, **named: object) -> object:
        loads.append(named["read_only"])
        return plain(*given, **named)  # type: ignore[arg-type]

    monkeypatch.setattr(openpyxl, "load_workbook", counted)
    (problem,) = read_xlsx(data, table="contacts", file="contacts.xlsx").problems
    assert (problem.code, problem.row, loads) == ("merged-cells", 2, [True])


def test_a_table_at_the_limit_is_read_and_one_row_more_is_not(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr("spreadnet.evidence.files.text.MOST_ROWS", 4)
    heading, row = b"visit_id,direction\n", b"V01,launching\n"
    read = read_csv(heading + row * 3, table="contacts", file="contacts.csv")
    assert (len(read.table.cells) if read.table else None, read.problems) == (3, ())
    read = read_csv(heading + row * 4, table="contacts", file="contacts.csv")
    assert read.table is None
    assert [p.code for p in read.problems] == ["too-large"]
    assert "4 rows" in read.problems[0].why


def test_features_that_each_bring_a_column_of_their_own_are_refused() -> None:
    names = range(limits.MOST_COLUMNS + 1)
    features = [{"type": "Feature", "properties": {f"p{i}": 1}, "geometry": None} for i in names]
    data = json.dumps({"type": "FeatureCollection", "features": features}).encode()
    with pytest.raises(CannotRead) as raised:
        read_geojson(data)
    assert raised.value.code == "too-large"
    marks = "".join(
        f'<Placemark><ExtendedData><Data name="p{i}"><value>1</value></Data></ExtendedData>'
        "</Placemark>"
        for i in names
    )
    with pytest.raises(CannotRead) as raised:
        read_kml(f"<kml>{marks}</kml>".encode(), table="lakes")
    assert raised.value.code == "too-large"
