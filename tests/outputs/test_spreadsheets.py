"""No text of a table runs as a formula wherever it is opened, and no id is changed for that."""

import csv
import io
import unicodedata
from importlib import resources

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from spreadnet.evidence.cells.cells import Manner
from spreadnet.evidence.cells.ids import FORMULA_STARTS
from spreadnet.evidence.checking.table import check_table
from spreadnet.evidence.files.text import read_csv
from spreadnet.outputs.files.tables import write_csv
from spreadnet.outputs.safe import for_cell

DELIMITERS = (",", ";", "\t", "|")
LETTERS = st.text("=+-@|%;,\t\r\n \"'\uff1d\uff0b\ufe62\u200b\u00a0aB1(!)", max_size=14)
HOSTILE = [
    "=2+5", "+1", "-lake", "@sum", "\tx=1", " =1", "\uff1d1", "\uff20a", "|cmd", "%a",
    "North;=cmd()", "North\t=cmd()", "North\n=cmd()", "North\r\n-1", 'a;"=cmd()"', "a;  @b",
    '"=1', "a|+1", "\u200b=1", "\ufe66a",
]  # fmt: skip


def cells_of(path, delimiter):
    """Cells as a program finds them that parts them by a mark of its own."""
    text = path.read_text("utf-8-sig")
    return [cell for row in csv.reader(io.StringIO(text), delimiter=delimiter) for cell in row]


def runs(cell):
    """Whether a spreadsheet may take a cell for a formula."""
    shown = "".join(c for c in cell if unicodedata.category(c) != "Cf").strip().lstrip('" ')
    return unicodedata.normalize("NFKC", shown)[:1] in tuple("=+-@|%")


def written(texts, folder):
    table = pd.DataFrame({"rank": range(len(texts)), "name": texts, "why": texts[::-1], "km": -0.5})
    return write_csv(table, folder / "t.csv", index=False)


@pytest.mark.parametrize("delimiter", DELIMITERS)
@pytest.mark.parametrize("text", HOSTILE)
def test_no_text_begins_a_formula_whatever_parts_the_cells(text, delimiter, tmp_path):
    cells = cells_of(written([text], tmp_path), delimiter)
    assert [cell for cell in cells if runs(cell) and cell != "-0.5"] == []


@given(st.lists(LETTERS, min_size=1, max_size=3))
@settings(max_examples=300, deadline=None)
def test_no_mixture_of_marks_begins_a_formula(tmp_path_factory, texts):
    path = written(texts, tmp_path_factory.mktemp("csv"))
    for delimiter in DELIMITERS:
        assert [c for c in cells_of(path, delimiter) if runs(c) and c != "-0.5"] == []


@given(st.text(min_size=1, max_size=12) | LETTERS.filter(bool))
@settings(max_examples=400, deadline=None)
def test_an_id_that_check_takes_is_written_as_it_is(name):
    text = io.StringIO()
    csv.writer(text, lineterminator="\n").writerows([["lake_id", "longitude", "latitude"], [name]])
    try:
        data = text.getvalue().encode()
    except UnicodeEncodeError:
        return
    read = read_csv(data, table="lakes", file="lakes.csv")
    if read.table is None or read.problems:
        return
    checked = check_table(read.table, manner=Manner())
    if not [p for p in checked.problems if p.column == "lake_id"]:
        for taken in checked.frame["lake_id"].dropna():
            assert for_cell(taken) == taken


def test_all_forms_of_what_begins_a_formula_are_known():
    found = {
        chr(code)
        for code in range(0x110000)
        if unicodedata.normalize("NFKC", chr(code))[:1] in tuple("=+-@|%")
    }
    assert set(FORMULA_STARTS) == found


def test_the_table_of_meanings_needs_no_change():
    text = resources.files("spreadnet.outputs.files").joinpath("columns.csv").read_text("utf-8")
    cells = [cell for row in csv.reader(io.StringIO(text)) for cell in row]
    assert [cell for cell in cells if for_cell(cell) != cell] == []
