"""Styles, scripts and letters: a fixed table made when the server starts. No request names a file."""

from __future__ import annotations

import hashlib
from functools import cache
from importlib.resources import files

from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from clearance import workflow

__all__ = ["packed_address", "packed_routes", "templates"]

_KINDS = {
    "css": "text/css; charset=utf-8",
    "js": "text/javascript; charset=utf-8",
    "woff2": "font/woff2",
    "svg": "image/svg+xml",
}


@cache
def _table() -> dict[str, tuple[bytes, str]]:
    """Content and media type by the name in the address: its own, without folders."""
    found = {name.rpartition("/")[2]: content for name, content in workflow.page_files().items()}
    for file in (files("clearance.web") / "assets").iterdir():
        found[file.name] = file.read_bytes()
    kinds = {name: _KINDS.get(name.rpartition(".")[2]) for name in found}
    return {name: (content, kind) for name, content in found.items() if (kind := kinds[name]) is not None}


@cache
def packed_address(name: str) -> str:
    """The address of a packed file; it changes with the content, so that browsers may keep it."""
    digest = hashlib.sha256(_table()[name][0]).hexdigest()[:12]
    return f"/packed/{name}?v={digest}"


@cache
def templates() -> dict[str, str]:
    """Every template by its name: those of the server, and ``page/...`` that its pages share with files."""
    found = {
        name: content.decode() for name, content in workflow.page_files().items() if name.endswith(".html")
    }
    for file in (files("clearance.web") / "templates").iterdir():
        found[file.name] = file.read_text(encoding="utf-8")
    return found


async def _packed(request: Request) -> Response:
    found = _table().get(request.path_params["name"])
    if found is None:
        return Response("no such file\n", status_code=404, media_type="text/plain")
    headers = {"Cache-Control": "private, max-age=31536000, immutable"} if request.query_params else {}
    return Response(found[0], headers=headers, media_type=found[1])


def packed_routes() -> list[Route]:
    """The one route of packed files."""
    return [Route("/packed/{name:str}", _packed)]
