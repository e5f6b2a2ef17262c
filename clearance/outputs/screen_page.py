"""A screening as one HTML file with a map and tables that can be sorted; it asks nobody for anything."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from clearance.core.mapline import MapLine
from clearance.core.screening import Screening
from clearance.outputs.basemap import base_map
from clearance.outputs.measures import Units
from clearance.outputs.page_parts import asset, content_policy, font_faces, script_json
from clearance.outputs.screen_view import screen_data, screen_texts

__all__ = ["screen_page"]

_STYLES = ("leaflet/leaflet.css", "page/page.css", "page/screen.css")
_SCRIPTS = ("leaflet/leaflet.js", "page/basemap.js", "page/screen.js")


def screen_page(screening: Screening, roads: Sequence[MapLine], units: Units = Units.FEET) -> str:
    """The page of a screening over the lines of the road file.

    Everything is inside, and a content policy in the page itself forbids any request. `units` is what it
    shows first (BOTH: feet); the reader may switch.
    """
    from jinja2 import Environment, FunctionLoader
    from markupsafe import Markup

    styles = [font_faces(), *(asset(name) for name in _STYLES)]
    scripts = [asset(name) for name in _SCRIPTS]
    environment = Environment(
        autoescape=True, trim_blocks=True, lstrip_blocks=True, loader=FunctionLoader(asset)
    )
    # The marks are shared with pages that speak more languages than one.
    environment.globals |= {"say": _as_it_is, "told": _as_it_is}
    return environment.get_template("page/screen.html").render(
        **screen_texts(screening),
        units=Units.METRES.value if units is Units.METRES else Units.FEET.value,
        csp=content_policy(styles, scripts),
        styles=[Markup(style) for style in styles],
        scripts=[Markup(script) for script in scripts],
        data=script_json(screen_data(screening) | _beneath(screening, roads)),
    )


def _as_it_is(text: Any, **values: object) -> Any:
    return text.format(**values) if values else text


def _beneath(screening: Screening, roads: Sequence[MapLine]) -> dict[str, Any]:
    """The roads of the map, packed (see BaseMap)."""
    home = screening.home
    about = [((home.lon, home.lat),), *(((r.place.lon, r.place.lat),) for r in screening.rows)]
    near = base_map(roads, about)
    return {"roads": near.lines, "names": near.names}
