"""A folder of empty tables with a README that explains every column, made from `tables.csv`."""

from __future__ import annotations

import csv
import io
import textwrap
from collections.abc import Sequence
from pathlib import Path

from spreadnet.errors import OutputError
from spreadnet.evidence.cells import CODE_WORDS, ID_WORDS
from spreadnet.evidence.columns import PURPOSE, Column, all_columns, columns
from spreadnet.evidence.region import REQUIRED_TABLES, TABLES
from spreadnet.outputs.folders import put_in_order, whole_folder

WIDTH = 96  # letters a line of the comments in region.toml

# What each table holds, and what the run does when it is not there.
SUBJECTS = {
    "lakes": "Every lake that boats may join, infested or not.",
    "landings": "Every public landing on those lakes, also those you can't staff.",
    "status": "What is known of each species in each lake.",
    "streams": "Running water between lakes. Without it, species spread by boats alone.",
    "visits": "Each stay of educators or surveyors at a landing, with what they counted."
    " Without it, traffic is assumed from lanes, stalls and lake area.",
    "contacts": "Each boat party spoken with during a visit. Without it, where boats go and what"
    " they carry are assumed.",
    "movements": "Boat trips between lakes from another study, used in place of the interviews.",
    "hours": "Who can work when, by a code that names nobody. Without it, shifts get days only.",
    "promised": "Shifts that are already promised; every plan keeps them.",
}


def write_templates(folder: str | Path, *, definitions: Sequence[Column] | None = None) -> Path:
    """
    Write a region folder of empty tables with a README that explains every column.

    Parameters
    ----------
    folder : str or Path
        Where to write; it must not exist, or be empty.
    definitions : sequence of Column, optional
        Definitions in place of the shipped `tables.csv`.

    Returns
    -------
    folder : Path
        The folder written.

    Raises
    ------
    OutputError
        If the folder holds anything or can't be written; nothing is left half-written.

    Examples
    --------
    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as place:
    ...     made = write_templates(Path(place) / "district")
    ...     sorted(path.name for path in made.iterdir())[:3]
    ['README.md', 'contacts.csv', 'hours.csv']
    """
    folder = Path(folder)
    put_in_order(folder)
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        message = f"'{folder}' exists and is not an empty folder; nothing was written"
        raise OutputError(message)
    texts = template_texts(all_columns() if definitions is None else definitions)
    with whole_folder(folder) as staged:
        for name, text in texts.items():
            (staged / name).write_text(text, encoding="utf-8", newline="")
    return folder


def template_texts(definitions: Sequence[Column]) -> dict[str, str]:
    """
    Text of every file of the folder, by name.

    Parameters
    ----------
    definitions : sequence of Column
        All columns of all tables.

    Returns
    -------
    texts : dict of str to str
        `region.toml`, one CSV a table with its headings, and `README.md`.
    """
    texts = {"region.toml": settings_template(columns("region", definitions))}
    for table in TABLES:
        texts[f"{table}.csv"] = _csv([list(written_columns(table, definitions))])
    texts["README.md"] = readme(definitions)
    return texts


def written_columns(table: str, definitions: Sequence[Column]) -> dict[str, Column]:
    """Columns that a CSV can hold: all but `geometry`, which longitude and latitude stand for."""
    return {n: c for n, c in columns(table, definitions).items() if c.kind != "geometry"}


def settings_template(keys: dict[str, Column]) -> str:
    """
    A commented `region.toml`; required keys hold an example, the others are commented out.

    Parameters
    ----------
    keys : dict of str to Column
        The keys of `region.toml`.

    Returns
    -------
    text : str
        Valid as it is, and with every `#key = value` line taken in.
    """
    lines = ["# Settings of the region. Lines that begin with # are comments;", "# to use a key,"]
    lines[1] += " take the # in front of it away. Change the examples to your own."
    for name, column in keys.items():
        lines += ["", *(f"# {line}" for line in textwrap.wrap(_explained(column), WIDTH))]
        lines.append(f"{'' if column.required else '#'}{name} = {column.example}")
    return "\n".join(lines) + "\n"


def _explained(column: Column) -> str:
    """Description with unit, range, words and default, as running text."""
    parts = [column.description]
    if column.unit:
        parts.append(f"Unit: {column.unit}.")
    if column.range_words:
        parts.append(f"Allowed: {column.range_words}.")
    if _words(column):
        parts.append(f"One of: {_words(column)}.")
    if column.default:
        parts.append(f"Left out: `{column.default}`.")
    return " ".join(parts)


def _words(column: Column) -> str:
    """Allowed words of a column, in order."""
    return ", ".join(f"`{word}`" for word in column.allowed)


def _csv(rows: Sequence[Sequence[str]]) -> str:
    """Rows as CSV, lines ended as spreadsheets on any system read them."""
    out = io.StringIO()
    csv.writer(out, lineterminator="\n").writerows(rows)
    return out.getvalue()


def readme(definitions: Sequence[Column]) -> str:
    """
    The README of the folder: every table, every column, and an example of each.

    Parameters
    ----------
    definitions : sequence of Column
        All columns of all tables.

    Returns
    -------
    text : str
        Markdown; the examples together make a valid region.
    """
    return "\n\n".join(
        [_OPENING, *(_section(t, definitions) for t in TABLES), _closing(definitions)]
    )


_OPENING = """# Your region

Fill in these tables and run `spreadnet check` on this folder: it names every problem, with the row
as your spreadsheet shows it, and says what the answer will do without. Nothing here is sent
anywhere.

- `region.toml`, `lakes`, `landings` and `status` are needed. The others make the answer better;
  delete those you have no data for, or leave them with their headings only.
- Any table may be a CSV or an XLSX file; lakes and landings also a GeoJSON, GeoPackage or
  Shapefile, with the outline in place of longitude and latitude. Keep the names of the files.
- Keep the headings. The first row holds them, with nothing above.
- Ids are text: `007` stays `007`. Format id columns as text in a spreadsheet.
- An empty cell means what the column "when empty" says. It is never taken for a no.
- Dates are written `YYYY-MM-DD` (another format can be set in `region.toml`), times `HH:MM`.
- No personal data: nothing that names or describes a person, no registration, plate, phone or
  e-mail. Columns and cells that look like it are refused, or left aside with a note; a person's
  name in the name of a place can't be told, so look for it yourself."""


def _section(table: str, definitions: Sequence[Column]) -> str:
    """One table: subject, columns, example."""
    needed = "Needed." if table in REQUIRED_TABLES else "May be left out."
    given = columns(table, definitions)
    rows = ["| column | what it means | unit | fill in | when empty | allowed |"]
    rows.append("| --- | --- | --- | --- | --- | --- |")
    rows += [_row(column) for column in given.values()]
    example = _csv(example_rows(table, definitions)).rstrip("\n")
    return "\n\n".join(
        [
            f"## {table}",
            f"{SUBJECTS.get(table, '')} {PURPOSE.get(table, '')} {needed}".strip(),
            "\n".join(rows),
            f"Example (invented):\n\n```csv\n{example}\n```",
        ]
    )


def _row(column: Column) -> str:
    """One column as a row of a Markdown table."""
    cells = (
        f"`{column.name}`",
        column.description,
        column.unit,
        "always" if column.required else "if known",
        column.default or ("" if column.required else "not known"),
        _allowed(column),
    )
    return "| " + " | ".join(cell.replace("|", "\\|") for cell in cells) + " |"


def _allowed(column: Column) -> str:
    """What a cell may hold, in words."""
    if column.allowed:
        return _words(column)
    if column.key == "key":
        return f"each id once; {ID_WORDS}"
    if column.name == "code":
        return CODE_WORDS
    if column.key == "species":
        return "a name of `spreadnet species`"
    if column.key:
        return f"an id of {column.key.split('.')[0]}"
    kind = {
        "number": "number",
        "integer": "whole number",
        "yes/no": "yes, no",
        "yes/no/not checked": "yes, no, not checked",
        "date": "day",
        "date or year": "day or year",
        "clock": "HH:MM",
        "geometry": "polygon or point",
    }.get(column.kind, "text")
    return f"{kind}, {column.range_words}" if column.range_words else kind


def example_rows(table: str, definitions: Sequence[Column]) -> list[list[str]]:
    """
    Heading and example rows of a table, from the `example` of its columns.

    Examples
    --------
    >>> example_rows("streams", all_columns())[1]
    ['L01', 'L02', '6.5', 'no']
    """
    given = written_columns(table, definitions)
    parts = {name: column.example.split(";") for name, column in given.items()}
    count = max(len(cells) for cells in parts.values())
    body = [[p[i] if i < len(p) else "" for p in parts.values()] for i in range(count)]
    return [list(given), *body]


def _closing(definitions: Sequence[Column]) -> str:
    """The keys of region.toml, explained like the columns."""
    rows = ["| key | what it means | unit | fill in | when left out | allowed |"]
    rows.append("| --- | --- | --- | --- | --- | --- |")
    rows += [_row(column) for column in columns("region", definitions).values()]
    head = "## region.toml\n\nThe settings. The file itself explains each key above its line."
    return head + "\n\n" + "\n".join(rows) + "\n"
