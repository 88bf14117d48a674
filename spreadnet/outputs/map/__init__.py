"""
The map page: one file, no network.

A folium shell with layers, list, cards and key of our own, data packed small, and a sheet for
print. The page's own scripts and styles are in `web/`.
"""

from spreadnet.outputs.map.region_map import Caption, map_html, region_map
from spreadnet.outputs.map.shapes import off_the_map

__all__ = [
    "Caption",
    "map_html",
    "off_the_map",
    "region_map",
]
