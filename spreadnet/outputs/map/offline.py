"""A folium map whose page holds everything it needs, so that it opens with no network."""

from __future__ import annotations

import base64
import re
from collections.abc import Iterator, Mapping
from importlib.resources import files
from pathlib import Path

import folium
from branca.element import Element, Figure
from folium.template import Template
from markupsafe import Markup
from xstatic.pkg import leaflet

from spreadnet.outputs.policy import policy
from spreadnet.outputs.render import fragment

# Where nothing runs, the print sheet is shown in place of the map.
UNSCRIPTED_STYLE = ".screen { display: none } .print { display: flex }"
STYLE_ELEMENT = re.compile(r"<style[^>]*>(.*?)</style>", re.DOTALL | re.IGNORECASE)


class OfflineMap(folium.Map):
    """
    A `folium.Map` that asks for nothing outside its own page.

    folium's own page names ten scripts and styles elsewhere and is blank with no network. Layers
    that need only Leaflet (`folium.GeoJson`, `PolyLine`, `CircleMarker`) can be added to this one;
    `folium.Icon`, `folium.Popup` and most plugins need more and can't.
    """

    default_js = []  # noqa: RUF012 - folium reads the list on the class
    default_css = []  # noqa: RUF012
    _template = Template(
        """
        {% macro header(this, kwargs) %}{% endmacro %}
        {% macro html(this, kwargs) %}
        <div class="folium-map" id="{{ this.get_name() }}"></div>
        {% endmacro %}
        {% macro script(this, kwargs) %}
        var {{ this.get_name() }} = L.map("{{ this.get_name() }}", {
          center: {{ this.location|tojson }}, crs: L.CRS.{{ this.crs }},
          ...{{ this.options|tojavascript }}
        });
        {% endmacro %}
        """
    )


class Page:
    """The finished page around a map: a stand-in for the template of a branca figure."""

    def __init__(self, template: str, values: Mapping[str, object]) -> None:
        """Keep the name of the page's template and what it names, all but what is drawn late."""
        self._template = template
        self._values = dict(values)

    def render(self, *, this: Figure, kwargs: Mapping[str, object]) -> str:
        """Text of the page; two equal maps give the same text."""
        library = leaflet_script()
        parts = {
            "header": this.header.render(**kwargs),
            "map": this.html.render(**kwargs),
            "script": this.script.render(**kwargs),
        }
        parts = {name: _renumbered(text, this) for name, text in parts.items()}
        fixed = {
            "leaflet_script": library,
            "leaflet_style": leaflet_style(),
            "unscripted_style": UNSCRIPTED_STYLE,
        }
        styles = [fixed["leaflet_style"], str(self._values["style"]), UNSCRIPTED_STYLE]
        fixed["policy"] = policy(
            scripts=[library, parts["script"]],
            styles=[*styles, *STYLE_ELEMENT.findall(parts["header"])],  # those of added layers
            images=True,
        )
        ours = {name: Markup(text) for name, text in (fixed | parts).items()}
        return fragment(self._template, page=self._values | ours)


def leaflet_script() -> str:
    """
    Text of the Leaflet library, ready to stand inside a script element.

    Returns
    -------
    text : str
        The library with its licence line, without the address of its source map.
    """
    text = _library_file("leaflet.js").decode("utf-8")
    lines = [line for line in text.splitlines() if not line.startswith("//# sourceMappingURL")]
    return "\n".join(lines).replace("</script", "<\\/script")


def leaflet_style() -> str:
    """
    Text of the Leaflet style sheet with its images in it.

    Returns
    -------
    text : str
        The sheet; every image is a data address.
    """
    text = "\n".join(_library_file("leaflet.css").decode("utf-8").splitlines())
    for name in ("layers.png", "layers-2x.png", "marker-icon.png"):
        image = base64.b64encode(_library_file("images", name)).decode("ascii")
        text = text.replace(f"images/{name}", f"data:image/png;base64,{image}")
    return text


def page_part(name: str) -> str:
    """Text of one of the page's own files (`map_page.css` and its neighbours)."""
    return files("spreadnet.outputs.map").joinpath("web", name).read_text(encoding="utf-8")


def map_html(region: folium.Map) -> str:
    """
    Finished text of a map's page.

    The same text as `region.save` writes: one file that needs no other and no network.

    Parameters
    ----------
    region : folium.Map
        A map made by `region_map`, with or without layers added since.

    Returns
    -------
    text : str
        The whole page, ready to be written as UTF-8.
    """
    return str(region.get_root().render())


def _library_file(*names: str) -> bytes:
    """Bytes of one file of the Leaflet package."""
    return Path(leaflet.BASE_DIR, *names).read_bytes()


def _elements(element: Element) -> Iterator[Element]:
    """Yield the element and all below it, in order."""
    yield element
    for child in element._children.values():
        yield from _elements(child)


def _renumbered(text: str, figure: Figure) -> str:
    """Text with the random ids of branca's elements as running numbers, so builds are equal."""
    for number, element in enumerate(_elements(figure)):
        text = text.replace(element._id, str(number))
    return text
