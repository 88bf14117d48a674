"""Interviews counted by hand."""

import numpy as np
import pandas as pd
import pytest

from spreadnet.model.movement.interviews import LEFT_OUT, build_interviews

LAKES = pd.DataFrame(index=pd.Index(["007", "8", "9", "dry"], name="lake_id"))
LANDINGS = pd.DataFrame(
    {"lake_id": ["8", "007", "9", "8"]}, index=pd.Index(["n", "s", "e", "w"], name="landing_id")
)
VISITS = pd.DataFrame(
    {"landing_id": ["s", "n", "s"]}, index=pd.Index(["1", "2", "3"], name="visit_id")
)


def make_contacts(*rows):
    columns = ["visit_id", "direction", "last_water", "next_water"]
    return pd.DataFrame(rows, columns=columns).astype("str")


CONTACTS = make_contacts(
    ("1", "launching", "9", None),
    ("3", "launching", "9", "8"),  # next_water isn't asked when launching
    ("1", "retrieving", None, "8"),
    ("2", "launching", "007", None),
    ("2", "retrieving", "9", "outside"),
    ("1", "launching", "none", None),
    ("1", "launching", "007", None),  # the same lake
    ("1", "launching", "dry", None),  # a lake without a landing
    ("1", "launching", None, "9"),
)


def test_interviews_are_counted_by_landing_and_direction():
    interviews = build_interviews(CONTACTS, VISITS, LANDINGS, LAKES)
    assert interviews.landing.tolist() == [0, 1, 1]
    assert interviews.direction.tolist() == [0, 0, 1]
    assert interviews.own_lake.tolist() == [1, 0, 0]
    assert interviews.candidates.tolist() == [True, True, True, False]
    expected = [[1, 0, 0, 0], [0, 0, 2, 0], [0, 1, 0, 0]]
    np.testing.assert_array_equal(interviews.counts.toarray(), expected)
    assert interviews.total == 4


def test_what_is_left_out_is_counted_by_reason():
    left_out = build_interviews(CONTACTS, VISITS, LANDINGS, LAKES).left_out
    assert tuple(left_out) == LEFT_OUT
    assert left_out == {
        "no answer": 1,
        "none": 1,
        "outside": 1,
        "same lake": 1,
        "lake without a landing": 1,
    }


def test_no_contact_gives_no_rows():
    interviews = build_interviews(CONTACTS.iloc[:0], VISITS, LANDINGS, LAKES)
    assert interviews.counts.shape == (0, 4)
    assert interviews.total == 0


def test_order_of_contacts_does_not_matter():
    forward = build_interviews(CONTACTS, VISITS, LANDINGS, LAKES)
    backward = build_interviews(CONTACTS.iloc[::-1], VISITS, LANDINGS, LAKES)
    np.testing.assert_array_equal(forward.counts.toarray(), backward.counts.toarray())
    assert forward.left_out == backward.left_out


def test_inputs_are_unchanged():
    before = CONTACTS.copy()
    build_interviews(CONTACTS, VISITS, LANDINGS, LAKES)
    pd.testing.assert_frame_equal(CONTACTS, before)


def test_unknown_ids_are_refused_not_dropped():
    with pytest.raises(ValueError, match="'7'"):
        build_interviews(make_contacts(("1", "launching", "7", None)), VISITS, LANDINGS, LAKES)
    with pytest.raises(ValueError, match="visit_id '5'"):
        build_interviews(make_contacts(("5", "launching", "9", None)), VISITS, LANDINGS, LAKES)
