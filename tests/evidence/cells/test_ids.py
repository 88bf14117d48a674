"""Ids and codes follow one pattern; what does not is refused with the mend."""

import pandas as pd
import pytest

from spreadnet.evidence.cells.ids import CODE, letter_problems
from spreadnet.evidence.columns import columns


def codes_of(table, column, *values):
    cells = pd.Series(values, index=range(2, 2 + len(values)), dtype="str")
    found = letter_problems(columns(table)[column], cells, file=f"{table}.csv")
    assert all(problem.mend and problem.why for problem in found)
    return [problem.code for problem in found]


@pytest.mark.parametrize("table", ["hours", "promised"])
@pytest.mark.parametrize(
    "code",
    [
        "E1;E2",
        "E1; E2",
        "E1,E2",
        "E",
        "crew",
        "=1",
        "-1",
        "+1",
        "@1",
        "E 1",
        "E1\n",
        "Å1",
        "Ｅ1",
        "１",
        "A123456789012",
        "E1|E2",
        "E1.0",
    ],
)
def test_what_is_no_code_is_refused_and_not_repeated(table, code):
    assert codes_of(table, "code", "E1", code) == ["not-a-code"]
    cells = pd.Series([code], index=[2], dtype="str")
    problem = letter_problems(columns(table)["code"], cells, file="t.csv")[0]
    assert code not in problem.what


@pytest.mark.parametrize("code", ["E1", "1", "007", "e-1_b", "_1", "A12345678901"])
def test_codes_of_letters_and_digits_are_taken(code):
    assert CODE.fullmatch(code)
    assert codes_of("hours", "code", code, "") == []


@pytest.mark.parametrize(
    ("name", "code"),
    [
        ("a;b", "id-separator"),
        ("a|b", "id-separator"),
        ("=1", "id-formula"),
        ("+1", "id-formula"),
        ("-1", "id-formula"),
        ("@a", "id-formula"),
        ("％1", "id-formula"),
        ("＝1", "id-formula"),
        ("＋1", "id-formula"),
        ("－1", "id-formula"),
        ("＠1", "id-formula"),
        ("﹦1", "id-formula"),
        ('"=1', "id-formula"),
        ("\u00a0=1", "id-formula"),
        ("\u200b-1", "id-formula"),
        ("a\tb", "control-letter"),
        ("a\nb", "control-letter"),
        ("a\x00b", "control-letter"),
    ],
)
@pytest.mark.parametrize(
    ("table", "column"),
    [("lakes", "lake_id"), ("landings", "landing_id"), ("visits", "visit_id")],
)
def test_ids_that_could_not_be_written_as_they_are_are_refused(table, column, name, code):
    assert codes_of(table, column, "A1", name) == [code]


@pytest.mark.parametrize(
    "name", ["007", "a-b", "L 01", "Ø=1", "湖", "a,b", "(1)", "#1", "'1", "x%"]
)
def test_other_ids_are_taken(name):
    assert codes_of("lakes", "lake_id", name) == []


def test_names_are_free():
    assert codes_of("lakes", "name", "=1+1", "a;=b", "-", "two\nlines") == []
