"""What a server of the page is told once, when it starts."""

from __future__ import annotations

import ipaddress
import secrets
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

from clearance.core.errors import UsageError

if TYPE_CHECKING:
    from clearance.core.coach import Coach

__all__ = ["Limits", "Settings", "is_loopback"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """Bounds that keep one visitor from taking the machine from the others. Sizes are bytes, times seconds.

    `screen_rows` are destinations times coaches of one screening.
    All are judgement, no source: a day's line is a few megabytes, a drive takes well under a second.
    """

    upload: int = 32 << 20
    text: int = 256 << 10
    fields: int = 300
    quick_s: float = 60.0
    long_s: float = 3600.0
    waiting: int = 200
    waiting_bytes: int = 256 << 20
    screen_rows: int = 10_000
    kept: int = 200
    kept_bytes: int = 256 << 20
    workers: int = 2


@dataclass(frozen=True, slots=True, kw_only=True)
class Settings:
    """The road file that is served, the coach that forms begin with, and who may come in.

    `host` and `port` are where the server listens. Off the loopback a `token` is needed. `names` are host
    names, beside numbers and localhost, by which it may be called.

    Raises UsageError where a server would be open to anybody.
    """

    roads: Path
    coach: Coach | None = None
    host: str = "127.0.0.1"
    port: int = 8765
    token: str = ""
    names: tuple[str, ...] = ()
    records: Path | None = None
    limits: Limits = field(default_factory=Limits)
    #: Tells this run from earlier ones in the names of cookies and files.
    run: str = field(default_factory=lambda: secrets.token_hex(4))

    def __post_init__(self) -> None:
        """Refuse to listen to a network without a token."""
        if not is_loopback(self.host) and len(self.token) < 16:
            raise UsageError(
                f"--host {self.host} is open to other machines: give a --token of 16 characters or more, "
                "or --token new to have one made"
            )


def is_loopback(host: str) -> bool:
    """Whether a host to listen on is reached from this machine alone.

    >>> is_loopback("127.0.0.1"), is_loopback("localhost"), is_loopback("0.0.0.0")
    (True, True, False)
    """
    if host == "localhost":
        return True
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return False
