"""Assumed numbers: draws keep to their ranges' ends and to what the number can be."""

import re

import numpy as np
import pytest

from spreadnet.assumptions import DEFAULT, SCALES, Z90, Assumption
from spreadnet.evidence.species.species import read_species


def every_entry():
    yield from DEFAULT.entries.values()
    for species in read_species().values():
        yield from species.values.entries.values()


def test_draws_far_in_the_tails_stay_what_the_number_can_be():
    """Shares stay in 0 to 1 and nothing that starts above 0 goes below, at 6 deviations."""
    for entry in every_entry():
        for z in (-6.0, -3.0, 0.0, 3.0, 6.0):
            drawn = entry.at(z)
            assert np.isfinite(drawn)
            if "share" in (entry.unit, entry.scale):
                assert 0 <= drawn <= 1, entry.name
            if entry.low >= 0:
                assert drawn >= 0, entry.name


def test_ends_of_the_range_are_the_5_and_95_percent_points():
    for entry in every_entry():
        assert entry.at(0.0) == entry.value
        assert entry.at(-Z90) == pytest.approx(entry.low), entry.name
        assert entry.at(Z90) == pytest.approx(entry.high), entry.name


def test_90_percent_of_draws_fall_in_the_range():
    entry = DEFAULT.entries["outside_infested"]
    rng = np.random.default_rng(1)
    drawn = np.array([entry.at(z) for z in rng.standard_normal(4000)])
    assert np.mean((drawn >= entry.low) & (drawn <= entry.high)) == pytest.approx(0.9, abs=0.02)


def test_a_thousand_draws_of_everything_are_accepted():
    rng = np.random.default_rng(2)
    for _ in range(1000):
        DEFAULT.draw(rng)
    for species in read_species().values():
        for _ in range(200):
            species.draw(rng)


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"refusal": 2.0}, "must lie in 0 to 1"),
        ({"traffic_shape": 0}, "must be above 0"),
        ({"refusal": float("nan")}, "Invalid range"),
        ({"gap_plug": {"value": 0.1, "low": 0.2, "high": 0.3}}, "must hold 0.1"),
        ({"refuse": 0.1}, "Did you mean 'refusal'"),
        ({"refusal": {"value": 0.1, "hgih": 0.3}}, "takes value, low and high, nothing else"),
        ({"refusal": "0.1"}, "must be a number"),
        ({"refusal": True}, "must be a number"),
    ],
)
def test_numbers_that_cannot_be_are_refused(changes, words):
    with pytest.raises(ValueError, match=words):
        DEFAULT.with_changes(changes)


def test_an_allee_exponent_below_1_is_refused():
    with pytest.raises(ValueError, match="allee_exponent"):
        read_species()["mystery_snail"].with_changes({"allee_exponent": 0.5})


def test_every_entry_says_where_it_comes_from():
    for entry in every_entry():
        assert entry.scale in SCALES
        assert entry.basis in {"confirmed", "from memory", "assumption"}
        assert entry.source
        assert entry.meaning
        assert entry.unit


def test_a_confirmed_number_stands_in_its_source():
    for entry in every_entry():
        said = (f"{entry.value:g}", f"{100 * entry.value:g}%")
        assert entry.basis != "confirmed" or any(one in entry.source for one in said), entry.name


def test_sources_name_no_one_by_initials():
    for entry in every_entry():
        assert not re.findall(r"\b[A-Z]{3,}\b|\b[A-Z]&[A-Z]\b", entry.source), entry.name


def test_an_unknown_scale_is_refused():
    with pytest.raises(ValueError, match="Invalid scale 'cubic'"):
        Assumption("a", 1, 0, 2, "x", "cubic", "", "", "assumption")
