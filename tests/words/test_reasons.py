"""Reasons say what the numbers support, branch by branch."""

from dataclasses import replace

import pytest

from spreadnet.words.reasons import Facts, Part, assumed_words, reasons

FACTS = Facts(
    lake="Ama Deep",
    launches=1234.0,
    launches_low=900.0,
    launches_high=1600.0,
    traffic_rank=2,
    landings=40,
    visited=True,
    can_staff=True,
    avoided=0.01,
    leaving_share=0.9,
    infested=["Mystery snails"],
    likely=[],
    to_parts=[Part("Borv", 0.5), Part("Cull", 0.2)],
    from_parts=[Part("Drenn", 0.1)],
    gap="plants",
    gap_direction="leaving",
    gap_rate=0.25,
    gap_found=10,
    gap_checked=40,
    best_when="weekend 10:00-14:00",
    boats_met=4.25,
    bridging_boats=23.4,
)


def told(**changes):
    return reasons(replace(FACTS, **changes))


def test_good_on_boats_leaving_names_what_the_lake_has_and_whom_it_protects():
    assert told()[0] == (
        "90% of the good is on boats leaving Ama Deep, which has Mystery snails, and protects "
        "Borv (50% of it), Cull (20%) and others (30%)"
    )


def test_good_on_boats_arriving_names_where_they_come_from():
    first = told(leaving_share=0.1)[0]
    assert first == (
        "90% of the good is on boats arriving at Ama Deep, from Drenn (10% of it) and others (90%)"
    )


def test_both_sides_are_told_where_both_matter():
    sides = [s for s in told(leaving_share=0.55) if "of the good" in s]
    assert [s.split(" of")[0] for s in sides] == ["55%", "45%"]
    assert "leaving" in sides[0]
    assert "arriving" in sides[1]


def test_a_species_overlooked_is_said_with_its_chance():
    never = "never looked for there, taken to be 71% likely"
    assert assumed_words(0, 0.71) == never
    first = told(infested=[], likely=[("Starry stonewort", never)])[0]
    assert f"leaving Ama Deep, which may have Starry stonewort ({never}), and protects" in first
    both = told(likely=[("Starry stonewort", never)])[0]
    assert f"which has Mystery snails, and may have Starry stonewort ({never}), and" in both
    source = [Part("Drenn", 0.1, assumed_words(2, 0.05))]
    first = told(leaving_share=0.1, from_parts=source)[0]
    assert "from Drenn (10% of it, looked for 2 times in vain, taken to be 5.0% likely)" in first


def test_gap_says_what_it_was_counted_from():
    assert any(
        "about 25% of boats leaving have plants attached (10 of 40 checked here" in s
        for s in told()
    )
    borrowed = told(gap_found=0, gap_checked=0)
    assert any("none checked here, so taken from landings like it" in s for s in borrowed)
    assert any("education can't change" in s for s in told(gap="residual"))


def test_traffic_says_whether_it_was_counted():
    assert "about 1,200 boats launched a season (900 to 1,600), 2nd of 40 landings" in told()
    assert any(
        s.startswith("boats were not counted here, so traffic is estimated")
        for s in told(visited=False)
    )


def test_nothing_to_avoid_is_said_plainly():
    words = told(avoided=0.0)
    assert words[0].startswith("an hour here avoids nothing")
    assert not any("of the good" in s or "meets" in s for s in words)


def test_best_time_is_left_out_where_nobody_counted():
    assert any("(weekend 10:00-14:00) meets about 4.2 boats" in s for s in told())
    untimed = told(best_when=None)
    assert not any("meets" in s or "best time" in s for s in untimed)
    assert any(s.startswith("any time, in daylight") for s in untimed)


def test_boats_on_bridging_trips_are_told_where_there_are_some():
    bridge = "100 hours about 23 that go from a lake known to have a species to one not known"
    assert any(bridge in s for s in told())
    assert not any("100 hours" in s for s in told(bridging_boats=0.2))


def test_a_landing_that_cannot_be_staffed_is_marked():
    assert told(can_staff=False)[-1] == "marked as a landing that can't be staffed"


@pytest.mark.parametrize("share", [0.0, 0.25, 0.5, 0.75, 1.0])
def test_every_share_gives_whole_sentences(share):
    for sentence in told(leaving_share=share):
        assert sentence
        assert ";" not in sentence  # sentences are joined by it
        assert "  " not in sentence
