"""An end to connections that no time-out brings: a server that sends a byte now and then is hung up on."""

from __future__ import annotations

import contextlib
import socket
import threading
from collections.abc import Callable, Iterator
from typing import Any

__all__ = ["hung_up_after"]

#: What this thread's connections are watched by, and what stood where ours stands while anybody watches.
_mine = threading.local()
_lock = threading.Lock()
_watching = 0
_connect: Callable[..., socket.socket] | None = None


class _Watch:
    """The connections of one block, and the moment at which they are hung up."""

    def __init__(self, seconds: float) -> None:
        self._lock = threading.Lock()
        self._sockets: list[socket.socket] = []
        self._over = False
        self._timer = threading.Timer(min(max(seconds, 0.0), threading.TIMEOUT_MAX), self._hang_up)
        self._timer.daemon = True
        self._timer.start()

    def add(self, connected: socket.socket) -> None:
        with self._lock:
            # One of our own: that of the connection is given away where it is wrapped for TLS.
            self._sockets.append(connected.dup())
            if self._over:
                self._shut()

    def _hang_up(self) -> None:
        with self._lock:
            self._over = True
            self._shut()

    def _shut(self) -> None:
        for each in self._sockets:
            with contextlib.suppress(OSError):
                each.shutdown(socket.SHUT_RDWR)

    def end(self) -> None:
        self._timer.cancel()
        with self._lock:
            for each in self._sockets:
                each.close()
            self._sockets.clear()


@contextlib.contextmanager
def hung_up_after(seconds: float) -> Iterator[None]:
    """Within the block, what this thread connects to through urllib3 is hung up on after so many seconds.

    A time-out of requests counts from the last byte, and a server that sends one now and then, in its
    headers or in the body of a redirect, is waited for without end. One that is hung up on seems to break
    off. Looking up a name is not part of it. Other threads are left alone.
    """
    watch = _Watch(seconds)
    before = getattr(_mine, "watch", None)
    _mine.watch = watch
    try:
        with _installed():
            yield
    finally:
        _mine.watch = before
        watch.end()


@contextlib.contextmanager
def _installed() -> Iterator[None]:
    """Our way to connect stands in urllib3 as long as somebody watches, and no longer."""
    from urllib3.util import connection

    global _watching, _connect  # noqa: PLW0603, the one library that all threads share
    with _lock:
        if not _watching:
            _connect, connection.create_connection = connection.create_connection, _connected
        _watching += 1
    try:
        yield
    finally:
        with _lock:
            _watching -= 1
            if not _watching and _connect is not None:
                connection.create_connection, _connect = _connect, None


def _connected(*args: Any, **kwargs: Any) -> socket.socket:
    connect = _connect
    if connect is None:
        # The last block ended between the look-up of this function and here.
        from urllib3.util import connection

        return connection.create_connection(*args, **kwargs)
    made = connect(*args, **kwargs)
    watch: _Watch | None = getattr(_mine, "watch", None)
    if watch is not None:
        watch.add(made)
    return made
