"""The templates explain every column, come from tables.csv alone, and their example is valid."""

from __future__ import annotations

import dataclasses
import re
import tomllib
from pathlib import Path

import pytest

from spreadnet.errors import OutputError
from spreadnet.evidence.columns import all_columns, columns
from spreadnet.evidence.read import check_region
from spreadnet.evidence.region import TABLES
from spreadnet.evidence.settings.settings import read_settings
from spreadnet.outputs.files.templates import readme, template_texts, write_templates

SPECIES = {"dreissenid_mussel"}


def fill(folder: Path) -> None:
    """Write the README's examples over the empty tables."""
    text = (folder / "README.md").read_text(encoding="utf-8")
    found = re.findall(r"^## (\w+)\n.*?```csv\n(.*?)```", text, flags=re.DOTALL | re.MULTILINE)
    assert [name for name, _ in found] == list(TABLES)
    for name, body in found:
        (folder / f"{name}.csv").write_text(body, encoding="utf-8")


def test_the_templates_filled_with_the_readme_example_pass_the_check(tmp_path: Path) -> None:
    folder = write_templates(tmp_path / "district")
    fill(folder)
    problems, region = check_region(folder, species=SPECIES)
    assert problems == []
    assert region is not None and len(region.lakes) == 2


def test_the_empty_templates_lack_only_rows(tmp_path: Path) -> None:
    folder = write_templates(tmp_path / "district")
    problems, _ = check_region(folder, species=SPECIES)
    assert [(p.code, p.file) for p in problems] == [
        ("no-rows", "lakes.csv"),
        ("no-rows", "landings.csv"),
    ]


def test_every_column_is_explained_with_unit_default_and_words() -> None:
    text = readme(all_columns())
    for column in all_columns():
        row = next(line for line in text.splitlines() if line.startswith(f"| `{column.name}` |")
                   and column.description in line)  # fmt: skip
        for part in (column.unit, column.default, *column.allowed):
            assert part in row
        assert ("| always |" in row) == column.required


def test_every_key_of_the_settings_is_valid_once_taken_in() -> None:
    text = template_texts(all_columns())["region.toml"]
    keys = "|".join(columns("region"))
    taken_in = re.sub(rf"^#({keys}) =", r"\1 =", text, flags=re.MULTILINE)
    for version in (text, taken_in):
        assert read_settings(version.encode(), species=SPECIES).problems == ()
    assert set(tomllib.loads(taken_in)) == set(columns("region"))


def test_headings_are_those_of_tables_csv_but_for_geometry() -> None:
    texts = template_texts(all_columns())
    for table in TABLES:
        names = [name for name in columns(table) if name != "geometry"]
        assert texts[f"{table}.csv"] == ",".join(names) + "\n"


def test_a_changed_table_changes_every_file_that_speaks_of_it() -> None:
    column = dataclasses.replace(
        columns("lakes")["depth_m"], name="shade", unit="percent", description="Shaded shore."
    )
    key = dataclasses.replace(
        columns("region")["hours"], name="boots", description="Pairs of boots."
    )
    texts = template_texts((*all_columns(), column, key))
    assert texts["lakes.csv"].rstrip().endswith(",shade")
    assert "| `shade` | Shaded shore. | percent |" in texts["README.md"]
    assert "# Pairs of boots." in texts["region.toml"] and "#boots = 200" in texts["region.toml"]


def test_a_folder_that_holds_anything_is_refused_and_left_alone(tmp_path: Path) -> None:
    (tmp_path / "mine.txt").write_text("mine")
    with pytest.raises(OutputError, match="not an empty folder; nothing was written"):
        write_templates(tmp_path)
    assert [p.name for p in tmp_path.iterdir()] == ["mine.txt"]


def test_an_empty_folder_is_filled(tmp_path: Path) -> None:
    (tmp_path / "new").mkdir()
    assert write_templates(tmp_path / "new") == tmp_path / "new"
    assert (tmp_path / "new" / "README.md").exists()


def test_nothing_is_left_when_writing_fails(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*args: object, **kwargs: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(Path, "write_text", full)
    with pytest.raises(OutputError, match="No space left on device"):
        write_templates(tmp_path / "district")
    assert list(tmp_path.iterdir()) == []
