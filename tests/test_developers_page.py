"""DEVELOPERS.md names paths that are there."""

import re
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
PAGE = (ROOT / "DEVELOPERS.md").read_text("utf-8")
CHANGES = PAGE[PAGE.index("## Ten usual changes") :].split("\n## ")[0]


@pytest.mark.parametrize("path", sorted(set(re.findall(r"`((?:spreadnet|tests)/[^`]*)`", PAGE))))
def test_paths_are_there(path):
    assert (ROOT / path).exists()


def test_the_ten_usual_changes_say_where_to_go():
    rows = [line for line in CHANGES.splitlines() if line.startswith("| ")][2:]
    assert len(rows) == 10
    assert all(re.search(r"`(spreadnet|tests)/", row) for row in rows)


def test_every_folder_has_its_line():
    package = ROOT / "spreadnet"
    folders = {
        str(init.parent.relative_to(package))
        for init in package.rglob("__init__.py")
        if init.parent != package
    } - {"evidence", "model", "decisions", "outputs"}
    named = set(re.findall(r"^\| `([a-z_/]+)/` \|", PAGE, re.MULTILINE))
    assert named == folders
