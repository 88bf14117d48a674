"""Numbers of one species changed in region.toml."""

import pytest

from spreadnet.evidence.settings.settings import read_settings
from spreadnet.evidence.species.species import read_species

BASE = (
    'name = "x"\nseason_first_day = 2027-05-01\nseason_last_day = 2027-09-01\n'
    "species = {mystery_snail = 1}\n"
)


def read(line):
    return read_settings(f"{BASE}{line}\n".encode(), species=set(read_species()))


def test_a_number_of_one_species_can_be_changed():
    reading = read("assumptions = {refusal = 0.1, mystery_snail = {establish = 0.01}}")
    assert not reading.problems
    assert reading.settings.assumptions["mystery_snail"] == {"establish": 0.01}


@pytest.mark.parametrize(
    ("line", "message"),
    [
        ("assumptions = {mystery_snail = {establsh = 0.01}}", "Did you mean 'establish'"),
        ("assumptions = {mystery_snail = {establish = {low = 0.1}}}", "range but no value"),
        ("assumptions = {mystery_snail = 3}", "Unknown assumption 'mystery_snail'"),
    ],
)
def test_each_fault_is_told(line, message):
    problems = read(line).problems
    assert len(problems) == 1
    assert message in str(problems[0])
    assert problems[0].file == "region.toml"
