"""What is taken from settings, from assumptions, or from neither."""

from dataclasses import replace

import pytest

from spreadnet.assumptions import DEFAULT
from spreadnet.evidence.gather import gather_evidence


def hands_of(region, **settings):
    changed = replace(region, settings=replace(region.settings, **settings))
    return gather_evidence(changed).contacts_per_hour


@pytest.mark.parametrize("education", ["check together", "talk only"])
def test_hands_are_assumed_by_what_educators_do(demo_region, education):
    entry = hands_of(demo_region, education=education)
    assert entry == DEFAULT.entries[f"contacts_{education.replace(' ', '_')}"]
    assert entry.at(-1.0) < entry.value < entry.at(1.0)


@pytest.mark.parametrize("education", ["check together", "talk only"])
def test_hands_stated_in_the_settings_win_and_are_not_drawn(demo_region, education):
    entry = hands_of(demo_region, education=education, contacts_per_hour=9.5)
    assert entry.at(-2.0) == entry.value == entry.at(2.0) == 9.5


def test_talking_alone_leaves_hands_for_more_boats():
    assert DEFAULT["contacts_talk_only"] > DEFAULT["contacts_check_together"]
