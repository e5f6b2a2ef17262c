"""Questions to a server with a deadline, a size limit, bounded retry and a check of the answer."""

from __future__ import annotations

import io
import json
import time
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime
from email.utils import parsedate_to_datetime
from typing import TYPE_CHECKING, Any
from urllib.parse import urljoin, urlsplit

from clearance.core.errors import DataUnavailableError
from clearance.sources.hang_up import hung_up_after

if TYPE_CHECKING:
    import requests

__all__ = [
    "Ask",
    "Deadline",
    "Hook",
    "Limits",
    "RefusedAnswerError",
    "TooMuchError",
    "ask",
    "plain_reason",
    "web_host",
]

Hook = Callable[..., None]
#: Sends one question: given the hook for requests to call with the response, and a time-out in seconds.
Ask = Callable[[Hook, float], None]

_CHUNK = 1 << 16
#: Answers that another try may mend: too many requests, and a server or gateway in trouble.
_PASSING = frozenset({408, 425, 429, 500, 502, 503, 504})


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """How long, how often and how much. Times in seconds.

    `attempts` for one question; `wait_s` before the second, doubled each time; a server that asks
    for a longer wait gets it, up to `longest_wait_s`. `silence_s` without a byte ends an attempt.
    """

    attempts: int = 4
    wait_s: float = 3.0
    longest_wait_s: float = 120.0
    silence_s: float = 120.0
    largest_answer_bytes: int = 256 << 20


class Deadline:
    """A moment after which nothing more is tried."""

    def __init__(self, seconds: float) -> None:
        """So many seconds from now."""
        self.seconds = seconds
        self._end = time.monotonic() + seconds

    def left(self) -> float:
        """Seconds left, zero or less when it has passed."""
        return self._end - time.monotonic()


class RefusedAnswerError(Exception):
    """An answer that must not be used.

    `again`: another try may help, after `wait_s` if the server says so. `too_much`: a smaller
    question may help.
    """

    def __init__(
        self, text: str, *, again: bool = True, wait_s: float | None = None, too_much: bool = False
    ) -> None:
        """Say what is wrong with the answer, without the server's name."""
        super().__init__(text)
        self.again = again
        self.wait_s = wait_s
        self.too_much = too_much


class TooMuchError(DataUnavailableError):
    """The question asked for more than the server or the size limit allows; a smaller one may pass."""


def web_host(url: str) -> str:
    """The host that a web address names, without its port; empty where the text is no web address.

    >>> web_host("https://maps.invalid:8080/api"), web_host("ftp://maps.invalid"), web_host("http://a..b/")
    ('maps.invalid', '', '')
    """
    try:
        parts = urlsplit(url)
        host = parts.hostname or ""
        # What connects fails on odd names and ports with errors of several other kinds.
        sound = parts.scheme.lower() in ("http", "https") and host.encode("idna") and (parts.port or 0) >= 0
    except ValueError:
        return ""
    return host if sound else ""


def ask(
    send: Ask,
    *,
    server: str,
    limits: Limits,
    deadline: Deadline,
    check: Callable[[object], None],
    can_split: bool = False,
    tell: Callable[[str], None] = lambda _text: None,
) -> object:
    """The JSON answer to a question, checked, within the deadline and the bounded number of attempts.

    `send` must let requests call the hook; the hook reads the body itself, so that neither a slow
    drip nor an endless body gets past it, and a bad answer stops before the sender acts on it.
    Whatever is still connected at the deadline is hung up on. Nobody is followed elsewhere: what another
    server answers is not the answer of this one, and the area asked for is nobody else's business.
    `check` raises RefusedAnswerError where the answer is not what was asked for.

    Raises DataUnavailableError, naming the server, the last fault and what to try; with `can_split`
    TooMuchError at the first sign that a smaller question would do better.
    """
    import requests

    wrong = requests.exceptions
    hopeless = (wrong.InvalidURL, wrong.MissingSchema, wrong.InvalidSchema, wrong.TooManyRedirects)
    fault = RefusedAnswerError("no answer")
    for attempt in range(1, limits.attempts + 1):
        if deadline.left() <= 0:
            break
        got: list[object] = []
        try:
            with hung_up_after(deadline.left()):
                send(_hook(limits, deadline, check, got), max(min(limits.silence_s, deadline.left()), 0.1))
        except RefusedAnswerError as error:
            fault = error
        except requests.RequestException as error:
            again = not isinstance(error, hopeless)
            # At the deadline it is we who hang up, whatever that looks like from here.
            late = again and deadline.left() <= 0
            fault = _too_slow() if late else RefusedAnswerError(plain_reason(error), again=again)
        if got:
            return got[0]
        if fault.too_much and can_split:
            raise TooMuchError(f"{server}: {fault}")
        wait = max(limits.wait_s * 2 ** (attempt - 1), fault.wait_s or 0.0)
        if not fault.again or wait > limits.longest_wait_s or wait >= deadline.left():
            break
        if attempt < limits.attempts:
            tell(f"{server}: {fault}; trying again in {wait:.0f} s")
            time.sleep(wait)
    over = f" (the total time of {deadline.seconds:g} s is over)" if deadline.left() <= 0 else ""
    raise DataUnavailableError(
        f"{server}: {fault}{over}; wait a while and run the same command again (finished parts are kept), "
        "or use a local extract file"
    )


def _hook(limits: Limits, deadline: Deadline, check: Callable[[object], None], got: list[object]) -> Hook:
    """The function requests calls with a response before its body is read."""

    def judge(response: requests.Response, *_args: object, **_kwargs: object) -> None:
        if response.is_redirect:
            target = urljoin(response.url, response.headers["Location"])
            response.close()
            raise RefusedAnswerError(
                f"answered {response.status_code}, pointing to {target[:200]!r}; if you trust that server, "
                "name it instead of this one",
                again=False,
            )
        if response.status_code != 200:
            _refuse_status(response)
        body = _body(response, limits, deadline)
        answer = _parsed(body, response)
        check(answer)
        got.append(answer)
        # The sender's library reads the body again: a list of names is of use to it, a map is not,
        # for it is stopped before it would draw a graph.
        response.raw = io.BytesIO(json.dumps(answer).encode() if isinstance(answer, list) else b"{}")
        response.encoding = "utf-8"

    return judge


def _refuse_status(response: requests.Response) -> None:
    status, reason = response.status_code, response.reason or "no reason given"
    again = status in _PASSING
    wait = _retry_after(response.headers.get("Retry-After", "")) if again else None
    asked = f", asking to wait {wait:.0f} s" if wait is not None else ""
    response.close()
    raise RefusedAnswerError(f"answered {status} {reason}{asked}", again=again, wait_s=wait)


def _retry_after(text: str) -> float | None:
    """Seconds a server asks to wait: a number or an HTTP date (RFC 9110, section 10.2.3)."""
    # Digits of other scripts are digits to Python too.
    if text.isascii() and text.strip().isdigit():
        return float(text)
    try:
        moment = parsedate_to_datetime(text)
        moment = moment if moment.tzinfo else moment.replace(tzinfo=UTC)
        return max((moment - datetime.now(UTC)).total_seconds(), 0.0)
    except (ValueError, TypeError, OverflowError):
        return None


def _body(response: requests.Response, limits: Limits, deadline: Deadline) -> bytes:
    """The whole body, unpacked, read piece by piece under the deadline and the size limit."""
    from urllib3.exceptions import HTTPError

    body = io.BytesIO()
    try:
        while chunk := response.raw.read1(_CHUNK, decode_content=True):
            body.write(chunk)
            if body.tell() > limits.largest_answer_bytes:
                raise RefusedAnswerError(
                    f"the answer is larger than {limits.largest_answer_bytes >> 20} MiB; "
                    "ask for a smaller area",
                    again=False,
                    too_much=True,
                )
            if deadline.left() <= 0:
                break
    except (HTTPError, OSError) as error:
        if deadline.left() > 0:
            what = "answer" if isinstance(error, HTTPError) else "connection"
            raise RefusedAnswerError(f"the {what} broke off ({plain_reason(error)})") from error
    finally:
        response.close()
    # At the deadline it is we who break it off, and what has come may end anywhere.
    if deadline.left() <= 0:
        raise _too_slow()
    return body.getvalue()


def _parsed(body: bytes, response: requests.Response) -> object:
    """The body as JSON in UTF-8, whatever the header calls its encoding (RFC 8259, section 8.1)."""
    try:
        answer: object = json.loads(body.decode("utf-8-sig"))
    except UnicodeDecodeError as error:
        raise RefusedAnswerError(f"the answer is not in UTF-8 (byte {error.start})") from error
    except (ValueError, RecursionError) as error:
        kind = response.headers.get("Content-Type", "no content type")
        start = " ".join(body[:60].decode("utf-8", errors="replace").split())
        raise RefusedAnswerError(f"the answer is not JSON ({kind}: {start!r})") from error
    if b"\\ud" in body or b"\\uD" in body:
        _refuse_half_characters(answer)
    return answer


def _refuse_half_characters(answer: object) -> None:
    """JSON may spell half of a surrogate pair, which no file and no other program takes (RFC 8259, 8.2)."""
    try:
        json.dumps(answer, ensure_ascii=False).encode()
    except UnicodeEncodeError as error:
        raise RefusedAnswerError("the answer holds half a character, which is no text") from error


def _too_slow() -> RefusedAnswerError:
    return RefusedAnswerError("the answer came too slowly and was given up", again=False)


def plain_reason(error: BaseException) -> str:
    """An exception as one line of 160 characters at most: the innermost cause says most."""
    inner: Any = error
    while inner.__cause__ or inner.__context__:
        inner = inner.__cause__ or inner.__context__
    text = " ".join(str(inner).split()) or type(inner).__name__
    return text if len(text) <= 160 else f"{text[:157]}..."
