"""
What does region.toml say?

Keys and values in their types and ranges, assumptions that the region overrides, documented
defaults for what is left out.
"""

from spreadnet.evidence.settings.settings import NO_SEASON, SettingsReading, read_settings
from spreadnet.evidence.settings.values import LEAST_WEIGHT, block_of

__all__ = [
    "LEAST_WEIGHT",
    "NO_SEASON",
    "SettingsReading",
    "block_of",
    "read_settings",
]
