"""Rooms, then folders: imports go one way, to a folder's front door, and never in a circle."""

import ast
import re
import subprocess
import sys
from pathlib import Path

import networkx as nx
import pytest

import spreadnet

PACKAGE = Path(spreadnet.__file__).parent
TESTS = Path(__file__).parent
ROOMS = ("evidence", "model", "decisions", "outputs")
LEAVES = {"assumptions", "chance", "errors", "options", "words"}  # any room may use them
ROOT = {"__init__", "assumptions", "chain", "chance", "errors", "options"}
BESIDE = {"cli", "research", "words"}  # folders beside the rooms
FEWEST, MOST = 3, 9  # files in a folder, its __init__ not counted among the most


def module_name(path):
    parts = path.relative_to(PACKAGE.parent).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


MODULES = {module_name(path): path for path in sorted(PACKAGE.rglob("*.py"))}


def is_folder(name):
    """Whether a package answers one question: a folder of a room, or one beside the rooms."""
    depth = name.count(".")
    return depth == 2 or (depth == 1 and name.split(".")[1] in BESIDE)


FOLDERS = {n for n, path in MODULES.items() if path.name == "__init__.py" and is_folder(n)}


def home(module):
    """The folder that a module lies in, itself if it is one, None for those of a room's root."""
    return next((f for f in FOLDERS if module == f or module.startswith(f + ".")), None)


def imports(path):
    """(module, name) of what a file imports from the package, `TYPE_CHECKING` ones included."""
    found = set()
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        if isinstance(node, ast.Import):
            found |= {(alias.name, "") for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path.name} imports by a relative path"
            found |= {(node.module or "", alias.name) for alias in node.names}
    return {(m, n) for m, n in found if m.split(".")[0] == "spreadnet"}


def target(module, name):
    """The module that an import reads from."""
    inner = f"{module}.{name}"
    return inner if inner in MODULES else module


EDGES = {(name, target(*one)) for name, path in MODULES.items() for one in imports(path)}


@pytest.mark.parametrize("name", sorted(MODULES))
def test_imports_go_one_way(name):
    room = name.split(".")[1] if "." in name else ""
    for module, what in imports(MODULES[name]):
        there = target(module, what).split(".")[1:2]
        if room in ROOMS:
            allowed = set(ROOMS[: ROOMS.index(room) + 1]) | LEAVES
        elif room == "research":
            allowed = {"research", "model"} | LEAVES
        elif room == "words":
            allowed = {"words", "errors"}
        elif room in ("assumptions", "chance", "errors", "options"):
            allowed = {"errors", "words"}
        else:
            continue
        assert set(there) <= allowed, f"{name} imports {module}"


@pytest.mark.parametrize("name", sorted(MODULES))
def test_a_folder_is_entered_by_its_front_door(name):
    """From outside only what the folder's `__init__` exports; inside by the module itself."""
    for module, what in imports(MODULES[name]):
        folder = home(module)
        if folder is None or folder == home(name):
            continue
        assert module == folder, f"{name} imports past {folder}: {module}"
        exported = MODULES[folder].read_text("utf-8")
        assert re.search(rf'^    "{re.escape(what)}",$', exported, re.MULTILINE), (
            f"{name} imports {what}, which {folder} does not export"
        )


def test_there_is_no_circle_of_modules():
    graph = nx.DiGraph((a, b) for a, b in EDGES if a != b and home(a) != b and home(b) != a)
    assert list(nx.simple_cycles(graph)) == []


def test_there_is_no_circle_of_folders():
    graph = nx.DiGraph((home(a) or a, home(b) or b) for a, b in EDGES)
    graph.remove_edges_from(list(nx.selfloop_edges(graph)))
    assert list(nx.simple_cycles(graph)) == []


@pytest.mark.parametrize("folder", sorted(FOLDERS))
def test_a_folder_holds_a_handful_of_files_and_says_what_it_answers(folder):
    path = MODULES[folder].parent
    files = [one for one in path.iterdir() if one.is_file()]
    assert len(files) >= FEWEST, f"{folder}: {len(files)} files"
    assert len([one for one in files if one.name != "__init__.py"]) <= MOST
    lines = (ast.get_docstring(ast.parse(MODULES[folder].read_text("utf-8"))) or "").splitlines()
    assert 3 <= len(lines) <= 15, f"{folder} says in {len(lines)} lines what it answers"


def test_root_and_rooms_hold_only_what_joins_the_folders():
    assert {path.stem for path in PACKAGE.glob("*.py")} <= ROOT
    assert {p.name for p in PACKAGE.iterdir() if p.is_dir()} - {"__pycache__"} == {*ROOMS, *BESIDE}
    for room in ROOMS:
        loose = [path for path in (PACKAGE / room).glob("*.py") if path.name != "__init__.py"]
        assert len(loose) <= MOST, f"{room}: {len(loose)} files beside its folders"


def test_tests_mirror_the_folders():
    """A test of a room lies in a folder of the same name as one of the room's."""
    for room in (*ROOMS, *BESIDE):
        for path in (TESTS / room).rglob("test_*.py"):
            folder = path.parent.relative_to(TESTS)
            assert (PACKAGE / folder).is_dir(), f"{path.relative_to(TESTS)} mirrors no folder"


@pytest.mark.parametrize("room", ["model", "decisions", "words"])
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
    with pytest.raises(AttributeError, match="nonsense"):
        spreadnet.nonsense  # noqa: B018
