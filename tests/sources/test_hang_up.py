"""Connections that end at their moment, and everybody else's that do not."""

from __future__ import annotations

import socket
import threading

import pytest
import urllib3
from urllib3.util import connection

from clearance.sources.hang_up import hung_up_after

CONNECT = connection.create_connection


@pytest.fixture
def silent() -> socket.socket:
    """A server that takes calls and says nothing."""
    return socket.create_server(("127.0.0.1", 0))


def call(server: socket.socket, kind: type[urllib3.HTTPConnectionPool] = urllib3.HTTPConnectionPool) -> str:
    """How a call without any time-out ends."""
    with (
        kind("127.0.0.1", server.getsockname()[1], timeout=None, retries=False) as pool,
        pytest.raises(urllib3.exceptions.HTTPError) as caught,
    ):
        pool.request("GET", "/")
    return str(caught.value)


@pytest.mark.parametrize("kind", [urllib3.HTTPConnectionPool, urllib3.HTTPSConnectionPool])
def test_a_call_without_a_time_out_ends(
    silent: socket.socket, kind: type[urllib3.HTTPConnectionPool]
) -> None:
    """Also while the two agree on keys, which gives the connection another socket."""
    with silent, hung_up_after(0.05):
        assert call(silent, kind)
    assert connection.create_connection is CONNECT


@pytest.mark.parametrize("seconds", [0.0, -5.0])
def test_a_call_after_the_moment_ends_at_once(silent: socket.socket, seconds: float) -> None:
    with silent, hung_up_after(seconds):
        assert "closed" in call(silent)


def heard(server: socket.socket, client: socket.socket) -> bytes:
    """What the client hears of four bytes from the server."""
    accepted, _ = server.accept()
    with accepted, client:
        accepted.sendall(b"well")
        return client.recv(4)


def test_a_moment_that_never_comes(silent: socket.socket) -> None:
    with silent, hung_up_after(float("inf")):
        assert heard(silent, connection.create_connection(silent.getsockname())) == b"well"
    assert connection.create_connection is CONNECT


def test_what_another_thread_connects_to_is_left_alone(silent: socket.socket) -> None:
    made: list[socket.socket] = []
    address = silent.getsockname()
    with silent, hung_up_after(0.0):
        other = threading.Thread(target=lambda: made.append(connection.create_connection(address)))
        other.start()
        other.join()
        assert heard(silent, made[0]) == b"well"
    assert connection.create_connection is CONNECT


def test_blocks_of_two_threads_that_overlap_leave_all_as_it_was() -> None:
    first_in, second_out = threading.Event(), threading.Event()

    def first() -> None:
        with hung_up_after(60):
            first_in.set()
            second_out.wait(10)

    thread = threading.Thread(target=first)
    thread.start()
    first_in.wait(10)
    with hung_up_after(60):
        pass
    assert connection.create_connection is not CONNECT
    second_out.set()
    thread.join()
    assert connection.create_connection is CONNECT


def test_an_inner_block_ends_before_the_outer(silent: socket.socket) -> None:
    with silent, hung_up_after(60):
        with hung_up_after(0.0):
            assert "closed" in call(silent)
        client = connection.create_connection(silent.getsockname())
        accepted, _ = silent.accept()  # the one that was hung up on
        accepted.close()
        assert heard(silent, client) == b"well"
