"""
How does a result take its place, whole or not at all?

`whole_folder` exchanges it by a journal that a kill at any instant can't break, `recover`
finishes or undoes what was broken off, and locks of dead processes are recognised.
"""

from spreadnet.outputs.folders.exchange import recover, undisturbed
from spreadnet.outputs.folders.folder import put_in_order, refuse_if_taken, whole_folder

__all__ = [
    "put_in_order",
    "recover",
    "refuse_if_taken",
    "undisturbed",
    "whole_folder",
]
