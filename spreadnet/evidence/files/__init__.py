"""
Which file of a folder is which table, and what text stands in its cells?

CSV, workbook or vector file: each comes out as text cells with the row numbers that a spreadsheet
shows, so that one set of rules checks them all. Nothing beyond the named file is read, nothing
reaches the network, and what is too large is refused early.
"""

from spreadnet.evidence.files.contents import (
    BOOK_SUFFIXES,
    PARTS,
    TEXT_SUFFIXES,
    Contents,
    read_contents,
)
from spreadnet.evidence.files.earlier_roster import read_roster
from spreadnet.evidence.files.folder import find_files
from spreadnet.evidence.files.text import decode, read_csv
from spreadnet.evidence.files.workbook import plain_text, read_xlsx

__all__ = [
    "BOOK_SUFFIXES",
    "PARTS",
    "TEXT_SUFFIXES",
    "Contents",
    "decode",
    "find_files",
    "plain_text",
    "read_contents",
    "read_csv",
    "read_roster",
    "read_xlsx",
]
