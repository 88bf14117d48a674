"""How much of a file is read: one place for every limit, each with its reason.

Together they keep a check of the largest folder that is let in within 20 seconds and 1 GB. A
nation of 30,000 landings, as CSV and GeoPackage, stays below half of each.
"""

from __future__ import annotations

MEGABYTE = 1_000_000
SETTINGS_BYTES = 1 * MEGABYTE  # region.toml; a long one has 10 kB
TEXT_BYTES = 30 * MEGABYTE  # a CSV; as cells it takes some ten times that in memory
BOOK_BYTES = 20 * MEGABYTE  # a workbook as it is stored, packed
BOOK_UNPACKED_BYTES = 100 * MEGABYTE  # and unpacked, pictures too
BOOK_OTHER_BYTES = 2 * MEGABYTE  # styles, names and links, each of which is read whole
BOOK_TAGS = 2 * MEGABYTE  # of its XML, four to a cell: half a million cells, 10 s
BOOK_LETTERS = 30 * MEGABYTE  # in its cells: one text of the list may be shown many times
VECTOR_BYTES = 60 * MEGABYTE  # a vector file, all parts; 3 million points of outlines
MOST_ROWS = 300_000  # of a table; a nation of 30,000 landings has 150,000 contacts
MOST_COLUMNS = 500  # of a table; the widest has 20 of its own, a GIS may add some
MOST_CELLS = 3_000_000  # rows times columns, empty ones too
SHEET_ROWS = 1_048_576  # of a sheet, by its format
LOOKED_AT = 100_000  # cells of a sheet looked at before it is taken to hold something
MOST_SHEETS = 30  # of a workbook
CRS_LETTERS = 20_000  # of a coordinate system written out; a long one has 5,000
DEEPEST = 8  # shapes inside shapes; a multipolygon in a collection is 3
JSON_PARTS = 10 * MEGABYTE  # brackets and commas of a GeoJSON, each some 60 bytes in memory
XML_PARTS = 1 * MEGABYTE  # elements of a KML; a lake with its data takes some 15
DEEPEST_XML = 100  # folders inside folders of a KML
RING_PAIRS = 100 * MEGABYTE  # rings of a shapefile's shape that are told apart, two by two


def size_words(count: int) -> str:
    """
    Bytes as people say them.

    Examples
    --------
    >>> size_words(104_857_600), size_words(3_000)
    ('105 MB', '3 kB')
    """
    if count >= MEGABYTE:
        return f"{count / MEGABYTE:.0f} MB"
    return f"{count / 1000:.0f} kB"
