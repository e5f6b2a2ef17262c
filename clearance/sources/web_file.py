"""A file from a web address of the user's: whole or not at all, within a time and a size."""

from __future__ import annotations

import io
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path, PurePosixPath
from typing import IO
from urllib.parse import unquote, urljoin, urlsplit

import requests
import urllib3

from clearance.core.errors import DataUnavailableError, UsageError
from clearance.sources.guarded import Deadline, Limits, plain_reason, web_host
from clearance.sources.hang_up import hung_up_after
from clearance.sources.progress import Progress

__all__ = ["FetchSettings", "fetched_file", "is_web_address"]

_CHUNK = 1 << 18
_PASSING = frozenset({408, 425, 429, 500, 502, 503, 504})
_MIB = 1 << 20


@dataclass(frozen=True, slots=True, kw_only=True)
class FetchSettings:
    """How long and how much: seconds for all of it, and the limits of each attempt."""

    deadline_s: float = 1800.0
    limits: Limits = field(default_factory=lambda: Limits(largest_answer_bytes=1 << 30))


def is_web_address(text: str) -> bool:
    """Whether a text is a web address rather than the name of a file."""
    return text.partition("://")[0].lower() in ("http", "https")


@contextmanager
def fetched_file(
    url: str, settings: FetchSettings | None = None, *, progress: Progress | None = None
) -> Iterator[Path]:
    """The file at a web address, in a folder that is gone afterwards, under the name it has there.

    Raises UsageError where the address is none, DataUnavailableError, with the address and what to try, where
    the file could not be had in time, is larger than allowed, empty, cut off, or a web page.
    """
    settings = settings or FetchSettings()
    if not web_host(url):
        raise UsageError(f"{url!r} is no web address; give http://... or https://...")
    name = PurePosixPath(unquote(urlsplit(url).path)).name or "file"
    tell = progress or (lambda _what, _done, _total: None)
    with tempfile.TemporaryDirectory(prefix="clearance-") as folder:
        target = Path(folder) / name.replace("\x00", "")[-100:]
        _fetch(url, target, settings, tell)
        yield target


class _RefusedError(Exception):
    """An attempt that brought nothing; `again` where another may."""

    def __init__(self, text: str, *, again: bool) -> None:
        super().__init__(text)
        self.again = again


def _fetch(url: str, target: Path, settings: FetchSettings, tell: Progress) -> None:
    limits, deadline = settings.limits, Deadline(settings.deadline_s)
    fault = _RefusedError("no answer", again=True)
    for attempt in range(1, limits.attempts + 1):
        if deadline.left() <= 0:
            break
        try:
            with target.open("wb") as file, hung_up_after(deadline.left()):
                _attempt(url, file, limits, deadline, tell)
        except _RefusedError as error:
            fault = error
        except OSError as error:
            if not isinstance(error, requests.RequestException):
                raise DataUnavailableError(
                    f"{url}: cannot be kept in {target.parent} ({error.strerror or error}); free some space"
                ) from error
            again = not isinstance(error, ValueError | requests.exceptions.TooManyRedirects)
            # At the deadline it is we who hang up, whatever that looks like from here.
            late = again and deadline.left() <= 0
            fault = _too_slow() if late else _RefusedError(plain_reason(error), again=again)
        else:
            return
        wait = limits.wait_s * 2 ** (attempt - 1)
        if not fault.again or attempt == limits.attempts or wait >= deadline.left():
            break
        tell(f"{url}: {fault}; trying again in {wait:.0f} s", 0, 0)
        time.sleep(wait)
    over = f" (the {settings.deadline_s:g} s allowed are over)" if deadline.left() <= 0 else ""
    raise DataUnavailableError(
        f"{url}: {fault}{over}; check the address, try again later, or download the file with a browser and "
        "name it instead"
    )


def _attempt(url: str, file: IO[bytes], limits: Limits, deadline: Deadline, tell: Progress) -> None:
    timeout = max(min(limits.silence_s, deadline.left()), 0.1)
    most = limits.largest_answer_bytes
    with requests.get(url, stream=True, timeout=timeout, hooks={"response": _go_on}) as response:
        if response.status_code != 200:
            status = response.status_code
            raise _RefusedError(
                f"answered {status} {response.reason or ''}".rstrip(), again=status in _PASSING
            )
        kind = response.headers.get("Content-Type", "").split(";")[0].strip().lower()
        if kind in ("text/html", "application/xhtml+xml"):
            raise _RefusedError("is a web page, not a file", again=False)
        stated = response.headers.get("Content-Length", "")
        total = int(stated) if stated.isascii() and stated.isdigit() else 0
        if total > most:
            raise _RefusedError(
                f"has {total // _MIB} MiB, more than the {most // _MIB} MiB allowed", again=False
            )
        done = 0
        # Piece by piece as it comes, so that neither a slow drip nor an endless body gets past.
        while chunk := _piece(response, done, deadline):
            done += len(chunk)
            if done > most:
                raise _RefusedError(f"is larger than the {most // _MIB} MiB allowed", again=False)
            if deadline.left() <= 0:
                break
            file.write(chunk)
            tell("fetching", done // _MIB, total // _MIB)
    # At the deadline it is we who break it off, and what has come may end anywhere.
    if deadline.left() <= 0:
        raise _too_slow()
    if done == 0:
        raise _RefusedError("is empty", again=False)
    if total and "Content-Encoding" not in response.headers and done != total:
        raise _RefusedError(f"broke off after {done:,} of {total:,} bytes", again=True)


def _go_on(response: requests.Response, *_args: object, **_kwargs: object) -> None:
    """Before a redirect is followed: never from a protected address to an open one, and without its body.

    requests would read that to its end, whatever its size.
    """
    if not response.is_redirect:
        return
    target = urljoin(response.url, response.headers["Location"])
    response.close()
    response.raw = io.BytesIO()
    if urlsplit(response.url).scheme == "https" and urlsplit(target).scheme != "https":
        raise _RefusedError(f"sends on to {target[:200]}, which anybody on the way could change", again=False)


def _piece(response: requests.Response, done: int, deadline: Deadline) -> bytes:
    """The next bytes; none at the end, and none where we broke it off."""
    try:
        return bytes(response.raw.read1(_CHUNK, decode_content=True))
    except (urllib3.exceptions.HTTPError, OSError) as error:
        if deadline.left() <= 0:
            return b""
        raise _RefusedError(f"broke off after {done:,} bytes ({plain_reason(error)})", again=True) from error


def _too_slow() -> _RefusedError:
    return _RefusedError("came too slowly and was given up", again=False)
