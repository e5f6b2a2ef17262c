"""When the coach comes to a place and goes on, as clock times where the day has a beginning."""

from __future__ import annotations

from datetime import datetime, timedelta

from clearance.core.drive import Drive, Stop
from clearance.outputs.measures import Units, clock_text, distance_text, duration_text

__all__ = ["clock_at", "moment_at", "stop_text", "times_text"]

#: A shorter stay is no stay: the coach only passes by.
_STAY_S = 60.0


def moment_at(drive: Drive, seconds: float) -> datetime | None:
    """The local time so many seconds from the start, to the second; None where no departure is set.

    Nor has a drive that cannot be driven any times.
    """
    if drive.departure is None or not drive.pieces:
        return None
    return drive.departure + timedelta(seconds=round(seconds))


def clock_at(drive: Drive, seconds: float, units: Units = Units.FEET) -> str:
    """The time of day so many seconds from the start, with the date on another day; empty where unknown."""
    moment = moment_at(drive, seconds)
    if moment is None or drive.departure is None:
        return ""
    day = "" if moment.date() == drive.departure.date() else f" on {moment:%Y-%m-%d}"
    return f"{clock_text(moment, units)}{day}"


def times_text(drive: Drive, stop: Stop, units: Units = Units.FEET) -> str:
    """When the coach is at a stop: ``9:12 AM``, ``9:12 AM to 9:32 AM``; empty where unknown."""
    arrives, leaves = (clock_at(drive, s, units) for s in (stop.arrives_s, stop.leaves_s))
    return f"{arrives} to {leaves}" if arrives and _stays(stop) else arrives


def stop_text(drive: Drive, stop: Stop, units: Units = Units.FEET) -> str:
    """When the coach comes to a stop, how far from the start, how long it stays, when it goes on.

    Empty for a drive that cannot be driven, and for a start of which nothing is known.
    """
    if not drive.pieces:
        return ""
    arrives, leaves = (clock_at(drive, s, units) for s in (stop.arrives_s, stop.leaves_s))
    stay = f"{duration_text(stop.leaves_s - stop.arrives_s)} there" if _stays(stop) else ""
    if stop.distance_m <= 0 and stop.arrives_s <= 0:
        parts = [f"leave {leaves}" if leaves else "", stay]
    elif not arrives:
        parts = [f"after {distance_text(stop.distance_m, units)}, {duration_text(stop.arrives_s)}", stay]
    else:
        parts = [f"arrive {arrives} after {distance_text(stop.distance_m, units)}"]
        parts += [stay, f"leave {leaves}"] if stay else []
    text = ", ".join(part for part in parts if part)
    return f"{text[0].upper()}{text[1:]}." if text else ""


def _stays(stop: Stop) -> bool:
    return stop.leaves_s - stop.arrives_s >= _STAY_S
