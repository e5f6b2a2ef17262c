"""Times as lines of points carry them."""

from __future__ import annotations

from datetime import UTC, datetime

__all__ = ["utc_seconds"]


def utc_seconds(text: str) -> float:
    """Seconds since 1970 of an ISO 8601 time, in UTC where no zone is told; NaN where it is none."""
    try:
        moment = datetime.fromisoformat(text.strip())
        return (moment if moment.tzinfo else moment.replace(tzinfo=UTC)).timestamp()
    except (ValueError, OverflowError):
        return float("nan")
