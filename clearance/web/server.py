"""Starting the server: the application, its processes, and the loop that answers."""

from __future__ import annotations

import contextlib
import socket
from collections.abc import AsyncIterator, Callable

import uvicorn
from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import Response

from clearance import workflow
from clearance.core.errors import UsageError
from clearance.web import api, pages, work
from clearance.web.guard import Guard, TooLargeError
from clearance.web.jobs import BusyError, Jobs
from clearance.web.packed import packed_routes
from clearance.web.page import error_page
from clearance.web.settings import Settings, is_loopback
from clearance.web.state import State

__all__ = ["application", "serve"]


def application(settings: Settings) -> Guard:
    """The application over a road file. Its processes start and end with it.

    Raises RoadFileError where the road file is none.
    """
    state = State(settings)
    workflow.about_area(settings.roads)

    @contextlib.asynccontextmanager
    async def lifespan(_: Starlette) -> AsyncIterator[None]:
        limits = settings.limits
        state.jobs = Jobs(
            workers=limits.workers,
            most_waiting=limits.waiting,
            most_waiting_bytes=limits.waiting_bytes,
            most_kept=limits.kept,
            most_kept_bytes=limits.kept_bytes,
            setup=work.warm,
            setup_given=(state.files,),
        )
        try:
            yield
        finally:
            state.jobs.close()

    app = Starlette(
        routes=[*pages.routes(), *api.routes(), *packed_routes()],
        exception_handlers={
            404: _refused,
            405: _refused,
            500: _refused,
            BusyError: _refused,
            TooLargeError: _refused,
        },
        lifespan=lifespan,
    )
    app.state.own = state
    # Outermost, so that no answer goes out without its headers, not even that of a failure.
    return Guard(app, settings)


async def _refused(request: Request, error: Exception) -> Response:
    """A page for people, a problem for programs."""
    status, message = _status(error)
    if request.url.path.startswith("/api/"):
        return api.problem(status, type(error).__name__, message)
    return error_page(request, status, message)


def _status(error: Exception) -> tuple[int, str]:
    if isinstance(error, BusyError):
        return 503, str(error)
    if isinstance(error, TooLargeError):
        return 413, str(error)
    status = getattr(error, "status_code", 500)
    said = {404: "There is nothing at this address.", 405: "This address is not asked in that way."}
    return status, said.get(status, "The program itself failed here. Try again, and report it if it stays.")


def serve(settings: Settings, tell: Callable[[str], None]) -> None:
    """Serve until Ctrl-C; `tell` is given the address once somebody can come in.

    Raises UsageError where the port is taken or the host is not this machine's.
    """
    app = application(settings)
    listener = _listener(settings)
    port = listener.getsockname()[1]
    config = uvicorn.Config(
        app,
        log_level="warning",
        access_log=False,
        server_header=False,
        proxy_headers=False,
        lifespan="on",
        timeout_graceful_shutdown=3,
    )
    server = uvicorn.Server(config)
    name = "127.0.0.1" if is_loopback(settings.host) else settings.host
    shown = f"[{name}]" if ":" in name else name
    query = f"/?token={settings.token}" if settings.token else "/"
    tell(f"http://{shown}:{port}{query}")
    with contextlib.suppress(KeyboardInterrupt):
        server.run(sockets=[listener])


def _listener(settings: Settings) -> socket.socket:
    """A socket that listens already, so that an address is only told when it is ours."""
    try:
        family, kind, protocol, _, address = socket.getaddrinfo(
            settings.host, settings.port, type=socket.SOCK_STREAM, flags=socket.AI_PASSIVE
        )[0]
        listener = socket.socket(family, kind, protocol)
        listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listener.bind(address)
        listener.listen(128)
    except OSError as error:
        raise UsageError(
            f"cannot listen on {settings.host}:{settings.port}: {error.strerror}; "
            "choose another --port, or end the server that has it"
        ) from None
    return listener
