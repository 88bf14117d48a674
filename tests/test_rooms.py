"""Rooms import one way only: outputs -> decisions -> model -> evidence."""

import ast
import re
import subprocess
import sys
from pathlib import Path

import pytest

import spreadnet

PACKAGE = Path(spreadnet.__file__).parent
ROOMS = ("evidence", "model", "decisions", "outputs")
ANYWHERE = {"assumptions", "errors"}


def imported(path):
    """Names of the package's modules that a file imports, at any depth of nesting."""
    found = set()
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        if isinstance(node, ast.Import):
            found |= {name.name for name in node.names}
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path.name} imports by a relative path"
            found.add(node.module or "")
    return {name for name in found if name.split(".")[0] == "spreadnet"}


def modules():
    return sorted(PACKAGE.rglob("*.py"))


@pytest.mark.parametrize("path", modules(), ids=lambda p: str(p.relative_to(PACKAGE)))
def test_imports_go_one_way(path):
    room = path.relative_to(PACKAGE).parts[0]
    if room not in ROOMS:
        return
    allowed = set(ROOMS[: ROOMS.index(room) + 1]) | ANYWHERE
    for name in imported(path):
        target = name.split(".")[1] if "." in name else ""
        assert target in allowed, f"{path.relative_to(PACKAGE)} imports {name}"


def test_root_holds_only_the_chain():
    root = {path.name for path in PACKAGE.glob("*.py")}
    command_line = {"cli.py", "arguments.py", "commands.py", "screen.py"}
    assert root == {"__init__.py", "assess.py", "assumptions.py", "errors.py"} | command_line


@pytest.mark.parametrize("room", ["model", "decisions"])
def test_files_are_touched_only_at_the_edges(room):
    """No file is opened, and nothing printed, inside the science."""
    touch = re.compile(r"\b(open|print|read_csv|read_file|to_csv|to_file|write_text)\(")
    for path in (PACKAGE / room).rglob("*.py"):
        code = "\n".join(
            line
            for line in path.read_text("utf-8").splitlines()
            if not line.strip().startswith(">>>")
        )
        assert not touch.search(code), f"{path.relative_to(PACKAGE)} touches files or the screen"


def test_help_loads_no_heavy_library():
    """Loading the geography and map libraries takes most of a second; help must not."""
    code = (
        "import sys\nfrom spreadnet.cli import main\n"
        "try:\n    main(['--help'])\nexcept SystemExit:\n    pass\n"
        "heavy = {'numpy', 'pandas', 'geopandas', 'networkx', 'folium'} & set(sys.modules)\n"
        "sys.exit(f'loaded {heavy}' if heavy else 0)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    assert "spreadnet new" in done.stdout


def test_every_public_name_can_be_loaded():
    for name in spreadnet.__all__:
        assert getattr(spreadnet, name) is not None
    with pytest.raises(AttributeError, match="no attribute 'nonsense'"):
        spreadnet.nonsense  # noqa: B018


def test_assess_stays_a_function_however_it_was_imported():
    from spreadnet.chain import assess

    assert spreadnet.assess is assess
    assert spreadnet.assess is assess  # asking twice must not give the module of that name
