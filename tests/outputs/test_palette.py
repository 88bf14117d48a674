"""One palette: every colour once, readable in grey, by colour-blind eyes and on a dark screen."""

import re
from itertools import combinations, pairwise
from pathlib import Path

import numpy as np
import pytest

import spreadnet
from spreadnet.outputs import palette

OUTPUTS = Path(spreadnet.__file__).parent / "outputs"
WRITTEN = [
    path
    for path in sorted(OUTPUTS.rglob("*"))
    if path.suffix in (".py", ".css", ".js", ".html", ".j2", ".svg") and path.stem != "palette"
]
COLOUR = re.compile(
    r"(?<![&\w])#(?:[0-9a-fA-F]{8}|[0-9a-fA-F]{6}|[0-9a-fA-F]{3,4})\b|\b(?:rgb|hsl)a?\("
    r"|[:=]\s*[\"']?(?:black|white|gr[ae]y|red|green|blue)\b"
)
# From linear red, green, blue to what is seen without one kind of cone: Vienot, Brettel and
# Mollon (1999), Color Research and Application 24, 243-252.
BLIND = {
    "protan": [[0.11238, 0.88762, 0.0], [0.11238, 0.88762, 0.0], [0.00401, -0.00401, 1.0]],
    "deutan": [[0.29275, 0.70725, 0.0], [0.29275, 0.70725, 0.0], [-0.02234, 0.02234, 1.0]],
}


def linear(colour):
    parts = np.array([int(colour[k : k + 2], 16) for k in (1, 3, 5)]) / 255
    return np.where(parts <= 0.04045, parts / 12.92, ((parts + 0.055) / 1.055) ** 2.4)


def luminance(light):
    """Relative luminance as WCAG 2.2 defines it."""
    return float(light @ [0.2126, 0.7152, 0.0722])


def contrast(one, other, eye=None):
    seen = [linear(c) if eye is None else np.clip(eye @ linear(c), 0, 1) for c in (one, other)]
    low, high = sorted(luminance(light) for light in seen)
    return (high + 0.05) / (low + 0.05)


def test_the_rule_finds_colours_and_leaves_entities_and_ids_alone():
    for text in ('fill="#fff"', "color:#1c2b33;", "rgba(1,2,3,.4)", "stroke='black'", "#1c2b3321"):
        assert COLOUR.search(text), text
    for text in ("&#39;", "url(#paper-hatch)", 'href="#list"', "var(--ink)", "currentColor"):
        assert not COLOUR.search(text), text


@pytest.mark.parametrize("path", WRITTEN, ids=lambda path: path.name)
def test_no_other_file_of_outputs_holds_a_colour(path):
    text = path.read_text("utf-8")
    lines = [line for line in text.splitlines() if COLOUR.search(line)]
    assert lines == []


def test_the_chance_keeps_its_order_in_grey_and_for_colour_blind_eyes():
    light = [luminance(linear(colour)) for colour in palette.CHANCE]
    assert light == sorted(light, reverse=True)
    for eye in (None, *map(np.array, BLIND.values())):
        assert min(contrast(a, b, eye) for a, b in pairwise(palette.CHANCE)) > 1.3


def test_marks_stand_out_from_the_land():
    for colour in (palette.INK, palette.LANDING, palette.LANDING_OFF, palette.TRIP):
        for eye in (None, *map(np.array, BLIND.values())):
            assert contrast(colour, palette.LAND, eye) >= 3.0  # WCAG 2.2, 1.4.11


def test_words_can_be_read_on_every_ground_in_light_and_dark():
    for words in (palette.VARIABLES, palette.DARK):
        for name in ("ink", "soft"):
            for ground in ("paper", "tint"):
                assert contrast(words[name], words[ground]) >= 4.5  # WCAG 2.2, 1.4.3
        assert contrast(words["edge"], words["paper"]) >= 3.0
    for name, ground in (("soft", "pick"), ("blue", "pick"), ("soft", "ground"), ("paper", "blue")):
        assert contrast(palette.VARIABLES[name], palette.VARIABLES[ground]) >= 4.5
    assert set(palette.DARK) <= set(palette.VARIABLES)


def test_no_colour_has_two_names_for_one_meaning():
    for words in (palette.VARIABLES, palette.DARK):
        assert all(words[a] != words[b] for a, b in combinations(words, 2))
