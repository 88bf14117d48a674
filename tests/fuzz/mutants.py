"""Every mutant by its seed and number, and how it is put on the disk."""

from __future__ import annotations

import os
import random
from dataclasses import dataclass
from pathlib import Path

import family_bombs
import family_cells
import family_drivers
import family_formats
import family_people
import family_places
import family_settings
import family_tables
from base_region import Folder, Link, Pipe, base_folder
from family_drivers import World
from family_formats import book_manner
from family_tables import csv_manner
from judge import Right
from written import rendered

FAMILIES = (
    family_cells.MUTATORS
    | family_tables.MUTATORS
    | family_formats.MUTATORS
    | family_places.MUTATORS
    | family_settings.MUTATORS
    | family_people.MUTATORS
    | family_drivers.MUTATORS
    | family_bombs.MUTATORS
)
WEIGHTS = {
    "cells": 20,
    "words": 20,
    "headings": 8,
    "encodings": 10,
    "formats": 8,
    "workbooks": 8,
    "geometry": 8,
    "settings": 10,
    "people": 10,
    "drivers": 12,
}
BOMB_EVERY = 100  # one mutant in so many is a bomb
DRESSED = 0.5  # share of mutants of cells, words, headings and people in a format of their own


@dataclass(frozen=True, slots=True)
class Mutant:
    """A folder to be checked, with what is right of it."""

    seed: int
    number: int
    family: str
    name: str
    folder: Folder
    right: Right
    detail: str


def make(seed: int, number: int, world: World) -> Mutant:
    """
    One mutant, always the same for its seed and number.

    Parameters
    ----------
    seed, number : int
        Which one.
    world : World
        Where files outside are, and the address of the server that must see no request.
    """
    family, place, rng = family_of(seed, number)
    mutator = rng.choice(FAMILIES[family])
    folder, right, detail = mutator(rng, base_folder(place), world)
    if family in ("cells", "words", "people") and rng.random() < DRESSED:
        folder, said = _dressed(rng, folder)
        detail = f"{detail}; {said}"
    return Mutant(seed, number, family, mutator.__name__, folder, right, detail)


def family_of(seed: int, number: int) -> tuple[str, int, random.Random]:
    """Family and place of one mutant, and the chance that makes the rest of it."""
    rng = random.Random(f"spreadnet {seed} {number}")
    place = rng.choice((0, 0, 0, 1, 2))
    family = rng.choices(list(WEIGHTS), list(WEIGHTS.values()))[0]
    return "bombs" if number % BOMB_EVERY == BOMB_EVERY - 1 else family, place, rng


def _dressed(rng: random.Random, folder: Folder) -> tuple[Folder, str]:
    """The folder with every table as CSV or workbook in a manner of its own."""
    made, said = folder, []
    for table, sheet in folder.sheets.items():
        kind = rng.choice(("csv", "xlsx"))
        changes = csv_manner(rng) if kind == "csv" else book_manner(rng)
        if kind == "csv" and changes["encoding"] == "cp1252" and not _fits(sheet.rows):
            changes |= {"encoding": "utf-8", "mark": b""}
        if sheet.form.dates != "YYYY-MM-DD":
            continue
        made = made.with_form(table, **{**changes, "kind": kind, "pad": ""})
        said.append(f"{table} {kind} {changes.get('encoding', '')}")
    return made, ", ".join(said)


def _fits(rows: tuple[tuple[str, ...], ...]) -> bool:
    """Whether all texts can be written in Windows-1252."""
    try:
        repr(rows).encode("cp1252")
        "".join(c for row in rows for c in row).encode("cp1252")
    except UnicodeEncodeError:
        return False
    return True


def write(folder: Folder, home: Path) -> None:
    """Put a folder on the disk."""
    for name, content in rendered(folder).items():
        path = home / name
        if isinstance(content, Link):
            path.symlink_to(content.target)
        elif isinstance(content, Pipe):
            os.mkfifo(path)
        else:
            path.write_bytes(content)
