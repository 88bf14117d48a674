"""
What rows and shapes stand in a vector file, with nothing else read?

GeoJSON, GeoPackage, Shapefile and KML, each by one reader from bytes that are read once. No other
file is opened, no link followed, no database acts.
"""

from spreadnet.evidence.vector.stated_crs import parse_crs
from spreadnet.evidence.vector.vector import from_degrees, read_vector

__all__ = [
    "from_degrees",
    "parse_crs",
    "read_vector",
]
