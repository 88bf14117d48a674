"""The notebooks run as they stand, without a network, and are kept short and without outputs."""

from pathlib import Path

import nbformat
import pytest

NOTEBOOKS = Path(__file__).parents[2] / "notebooks"
ALL = sorted(NOTEBOOKS.glob("*.ipynb"))
MOST_CELLS = 15
NO_NETWORK = """
import socket

def refuse(*_, **__):
    raise OSError("a notebook asked for the network")

socket.socket.connect = socket.getaddrinfo = socket.create_connection = refuse
"""


def read(path):
    return nbformat.read(path, as_version=4)


def test_the_first_three_notebooks_are_there():
    names = {path.stem for path in ALL}
    assert {"first_look", "change_how_boats_move", "your_own_data"} <= names


@pytest.mark.parametrize("path", ALL, ids=lambda path: path.stem)
def test_notebooks_are_short_without_outputs_and_caution(path):
    notebook = read(path)
    assert len(notebook.cells) < MOST_CELLS
    for cell in notebook.cells:
        if cell.cell_type == "code":
            assert cell.outputs == []
            assert cell.execution_count is None
    words = "".join(c.source for c in notebook.cells if c.cell_type == "markdown")
    assert "not findings" in words
    assert "does not authorise anyone" in words


@pytest.fixture
def run(monkeypatch):
    """Run a notebook on few draws with the network refused, and give it back with its outputs."""
    from nbclient import NotebookClient

    monkeypatch.setenv("SPREADNET_NOTEBOOK_DRAWS", "2")
    monkeypatch.setenv("JUPYTER_PLATFORM_DIRS", "1")

    def done(path):
        notebook = read(path)
        notebook.cells.insert(0, nbformat.v4.new_code_cell(NO_NETWORK))
        where = {"metadata": {"path": str(NOTEBOOKS)}}
        NotebookClient(notebook, timeout=300, kernel_name="python3", resources=where).execute()
        return notebook.cells[1:]

    return done


def shown(cells, kind="text/plain"):
    """All that the cells show, as one text."""
    parts = [o for cell in cells if cell.cell_type == "code" for o in cell.outputs]
    told = [part.get("text", "") for part in parts]
    return "\n".join([*told, *(part.get("data", {}).get(kind, "") for part in parts)])


@pytest.mark.slow
def test_the_first_look_shows_ranking_map_and_plan(run):
    cells = run(NOTEBOOKS / "first_look.ipynb")
    html = shown(cells, "text/html")
    assert "avoided per 100 hours" in html
    assert "Season plan of Ovrin Shelf" in html
    assert "<iframe" in html
    assert "of the good is on boats" in shown(cells)


@pytest.mark.slow
def test_changing_how_boats_move_says_what_moved(run):
    cells = run(NOTEBOOKS / "change_how_boats_move.ipynb")
    assert shown(cells).count("of the first 10 landings are among the first 10 there too") == 2
    assert "placed by the other" in shown(cells)


@pytest.mark.slow
def test_your_own_data_is_mended_and_ranked(run):
    cells = run(NOTEBOOKS / "your_own_data.ipynb")
    told = shown(cells)
    assert "landings.csv, row 5, column lake_id: 'L9' is not in lakes" in told
    assert "lakes.csv, row 4, column area_ha" in told
    assert "visits.csv, row 3, column launches" in told
    assert "0 problems" in told
    assert "Brindle north ramp" in shown(cells, "text/html")
