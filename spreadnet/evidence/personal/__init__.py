"""
What looks like a person, and what may be kept and shown?

Looked for in every cell, key and heading before anything else; what is found is refused and never
repeated in a message or an output.
"""

from spreadnet.evidence.personal.contact_details import withheld
from spreadnet.evidence.personal.privacy import (
    brief,
    coded,
    left_aside,
    personal_heading,
    personal_headings,
    shown,
)
from spreadnet.evidence.personal.private_cells import private_settings, without_private

__all__ = [
    "brief",
    "coded",
    "left_aside",
    "personal_heading",
    "personal_headings",
    "private_settings",
    "shown",
    "withheld",
    "without_private",
]
