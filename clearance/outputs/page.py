"""A drive as one HTML file that opens without a network and asks for nothing."""

from __future__ import annotations

import re
from collections.abc import Sequence
from importlib.resources import files
from typing import Any
from urllib.parse import urlsplit

from clearance.core.drive import Drive
from clearance.core.errors import UsageError
from clearance.core.mapline import MapLine
from clearance.outputs.measures import Units
from clearance.outputs.page_parts import FONTS, asset, content_policy, font_faces, script_json
from clearance.outputs.page_view import page_data, page_texts

__all__ = ["drive_page", "page_files"]

_SCRIPTS = ("leaflet/leaflet.js", "page/basemap.js", "page/marks.js", "page/page.js")
_TEMPLATES = ("page/marks.html", "page/verdict.html", "page/map.html", "page/lists.html")
_STYLES = ("leaflet/leaflet.css", "page/page.css")
#: What a server's other pages share with the files of this room.
_SHARED = (
    *("page/screen_marks.html", "page/screen_totals.html", "page/screen_lists.html"),
    *("page/screen.css", "page/screen.js", "page/waychart.html", "page/waychart.css"),
)


def drive_page(
    drive: Drive,
    roads: Sequence[MapLine],
    units: Units = Units.FEET,
    *,
    tiles: str | None = None,
    tiles_attribution: str = "",
) -> str:
    """The page of a drive over the lines of the road file.

    Everything is inside, and a content policy in the page itself forbids any request. `units` is what it
    shows first (BOTH: feet); the reader may switch. `tiles` is the address of a tile server with {z}, {x}
    and {y}; only then, images of that one host are let in and drawn beneath the roads.

    Raises UsageError where `tiles` is no such address.
    """
    from jinja2 import Environment, FunctionLoader
    from markupsafe import Markup

    image_source = _tile_source(tiles) if tiles is not None else ""
    styles = [font_faces(), *(asset(name) for name in _STYLES)]
    scripts = [asset(name) for name in _SCRIPTS]
    policy = content_policy(styles, scripts, images=f"data: {image_source}".rstrip())
    environment = Environment(
        autoescape=True, trim_blocks=True, lstrip_blocks=True, loader=FunctionLoader(asset)
    )
    environment.globals |= {"say": _said, "told": _said}
    data = page_data(drive, roads)
    if tiles is not None:
        data["tiles"] = {"url": tiles, "attribution": tiles_attribution}
    return environment.get_template("page/page.html").render(
        **page_texts(drive),
        units=Units.METRES.value if units is Units.METRES else Units.FEET.value,
        csp=policy,
        styles=[Markup(s) for s in styles],
        scripts=[Markup(s) for s in scripts],
        data=script_json(data),
    )


def page_files() -> dict[str, bytes]:
    """The packed files of the page by name, for a server that shows the same: styles, scripts, letters.

    Names are ``leaflet/leaflet.js``, ``page/page.css``, ``page/lists.html`` and so on; ``page/letters.css``
    names the letters as files beside it. The templates among them ask for two functions: `say` turns a
    text of the page into the reader's language, `told` gives a text of `page_texts`, which is English.
    """
    folder = files("clearance.outputs") / "assets"
    letters = {name: (folder / name).read_bytes() for name, _ in FONTS}
    faces = "\n".join(
        f'@font-face{{font-family:"Sheet";font-weight:{weight};font-display:swap;'
        f'src:url({name.rpartition("/")[2]}) format("woff2")}}'
        for name, weight in FONTS
    )
    texts = {name: asset(name) for name in (*_SCRIPTS, *_STYLES, *_TEMPLATES, *_SHARED)}
    texts["page/letters.css"] = faces
    return {name: text.encode() for name, text in texts.items()} | letters


# --- parts of the file --------------------------------------------------------------------------------


def _said(text: Any, **values: object) -> Any:
    """A text of the page as it stands in the template, with its values: the one language of a file."""
    return text.format(**values) if values else text


_HOST = re.compile(r"(?:\{s\}\.)?[A-Za-z0-9](?:[A-Za-z0-9.-]*[A-Za-z0-9])?(?::\d{1,5})?", re.ASCII)
_LOCAL = re.compile(r"(?:127\.0\.0\.1|localhost)(?::\d{1,5})?", re.ASCII)


def _tile_source(tiles: str) -> str:
    """The source expression of a tile server. Raises UsageError where there is none in the address."""
    parts = urlsplit(tiles)
    host = parts.netloc
    local = parts.scheme == "http" and _LOCAL.fullmatch(host)
    if not local and (parts.scheme != "https" or not _HOST.fullmatch(host)):
        raise UsageError(
            f"tile address {tiles!r} is no https address of a plain host; "
            "write it like https://tiles.example/{z}/{x}/{y}.png"
        )
    if missing := [part for part in ("{z}", "{x}", "{y}") if part not in tiles]:
        raise UsageError(f"tile address {tiles!r} lacks {', '.join(missing)}, which stand for the tile")
    return f"{parts.scheme}://{host.replace('{s}', '*')}"
