"""
Reading of awkward tables, and the help: processor seconds against the plain case in the same run.

Each figure is a ratio, so that neither a slow nor a busy machine counts. Walking every empty cell
of a sheet, measuring every pair of outlines or loading numpy for the help would be tens to hundreds
of times the reference.
"""

import io
import resource
import subprocess
import sys
import time

import geopandas as gpd
import numpy as np
import openpyxl
import pandas as pd
import shapely

from spreadnet.evidence.files.text import read_csv
from spreadnet.evidence.files.workbook import read_xlsx
from spreadnet.evidence.personal.private_cells import without_private
from spreadnet.evidence.where.overlaps import overlapping

TIMES = 5
ROWS = 12_000  # lakes of a state
LAKES = 3_000  # outlines in one place


def rows():
    plain, stray = workbook(stray=False), workbook(stray=True)
    far = ratio(lambda: read_book(stray), lambda: read_book(plain))
    yield row("a workbook with stray cells far below, against none", far, 4)
    apart = outlines(200.0)
    for step, words in ((0.0, "one and the same place"), (0.001, "nearly one place")):
        crowded = outlines(step)
        slower = ratio(lambda lakes=crowded: overlaps(lakes), lambda: overlaps(apart))
        yield row(f"{LAKES:,} lakes in {words}, against side by side", slower, 5)
    table = lake_table()
    texts = {"lakes": read_csv(table, table="lakes", file="lakes.csv").table}
    for country in (None, "NZ"):
        looked = ratio(
            lambda land=country: without_private(texts, country=land),
            lambda: read_csv(table, table="lakes", file="lakes.csv"),
        )
        yield row(f"{ROWS:,} rows looked through for people ({country}), against read", looked, 15)
    told = ratio(lambda: child("-m", "spreadnet.cli", "--help"), lambda: child("-c", "import json"))
    yield row("spreadnet --help, against a Python that does nothing", told, 5)


def ratio(one, other):
    """Middle of the ratios of processor seconds, in turns, after both ran once."""
    one(), other()
    return float(np.median([seconds(one) / seconds(other) for _ in range(TIMES)]))


def seconds(call):
    """Processor seconds of a call, with those of the processes it started and waited for."""
    began = spent()
    call()
    return max(spent() - began, 1e-4)


def spent():
    """Processor seconds so far."""
    children = resource.getrusage(resource.RUSAGE_CHILDREN)
    return time.process_time() + children.ru_utime + children.ru_stime


def child(*words):
    """Run Python with these words."""
    subprocess.run([sys.executable, *words], check=True, capture_output=True)


def workbook(*, stray):
    """A workbook of 2,000 lakes, with a space in the last row of the sheet or without."""
    book = openpyxl.Workbook()
    book.active.append(["lake_id", "name"])
    for number in range(2_000):
        book.active.append([f"L{number:04d}", f"Lake {number}"])
    if stray:
        book.active.cell(1_048_576, 2).value = " "
        book.active.cell(200_000, 3).font = openpyxl.styles.Font(bold=True)
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def read_book(data):
    """Read it, and make sure that it was."""
    reading = read_xlsx(data, table="lakes", file="lakes.xlsx")
    if reading.problems or len(reading.table.cells) != 2_000:
        raise RuntimeError("the workbook was not read as it was written")


def outlines(apart):
    """Squares of 100 m, so far apart."""
    return gpd.GeoSeries([shapely.box(k * apart, 0, k * apart + 100, 100) for k in range(LAKES)])


def overlaps(lakes):
    """Which outlines overlap."""
    return overlapping(lakes, pd.Series([f"N{k}" for k in range(LAKES)]), file="lakes.gpkg")


def lake_table():
    """A table of lakes whose names and numbers look a little like plates and telephones."""
    rng = np.random.default_rng(5)
    lines = [
        f"{7_000_000 + k},Pond {k} at Hwy {rng.integers(10, 999)}-{rng.integers(1000, 9999)},"
        f"{rng.uniform(-128, -127):.7f},{rng.uniform(-42, -41):.7f}"
        for k in range(ROWS)
    ]
    return "\n".join(["lake_id,name,longitude,latitude", *lines, ""]).encode()


def row(name, figure, bar):
    return {"name": name, "figure": figure, "bar": bar, "unit": "times", "ok": figure <= bar}
