"""The coding of single items of a bridge inventory: heights, places, dates.

Source: FHWA-PD-96-001 (1995), items cited at each function. Heights of the 2022 specification (SNBI, items
B.H.12 and B.H.13) are in feet with one decimal; that unit is from memory.
"""

from __future__ import annotations

import re
from decimal import Decimal

from clearance.core.inventory import CodedHeight, HeightState
from clearance.core.lengths import LOWEST_HEIGHT, Length
from clearance.core.valuetext import shown

__all__ = ["ItemError", "decimal_place", "feet_height", "inspection_month", "metric_height", "place", "under"]


class ItemError(ValueError):
    """An item that cannot be read; the message says which and shows its text."""


# XX.XX with an assumed point, or with the point written (delimited files).
_CODED = re.compile(r"\d{4}", re.ASCII)
_WRITTEN = re.compile(r"\d{1,2}\.\d{0,4}", re.ASCII)
_NOUGHT = re.compile(r"0+", re.ASCII)

#: 30 m and more is coded as no restriction; a figure above it is optional (Items 10, 53, 54).
_UNRESTRICTED_M = 30
#: "No restriction" in the 2022 specification (from memory).
_UNRESTRICTED_FT = Decimal("99.9")
_METRES_PER_FOOT = Decimal("0.3048")

# The United States with Alaska, Hawaii and Puerto Rico, in degrees; wide, from memory. Islands west of the
# date line hold no bridge of the inventory.
_WEST, _SOUTH, _EAST, _NORTH = -180.0, 17.0, -64.0, 72.0

#: Metres of one minute of latitude, about (1852 m is the nautical mile).
_MINUTE_M = 1852.0
#: Minutes and seconds without what cannot be a place.
_DMS = re.compile(r"(\d{2,3})(\d{2})(\d{2})(\d{2})", re.ASCII)


def metric_height(text: str) -> CodedHeight:
    """A height of Item 10 or 53: four digits XX.XX, or metres with a decimal point.

    Blank and 0 are missing, never a clearance of nothing; 30 m and more is unrestricted.

    >>> metric_height("0525").figure
    Length(tenths=52500)
    >>> metric_height("99.99").state.name
    'UNRESTRICTED'

    Raises ItemError for all else, also for whole numbers such as 5, which may be 5 m or 0.05 m.
    """
    raw = text.strip()
    if not raw or _NOUGHT.fullmatch(raw):
        return CodedHeight(HeightState.MISSING, raw=raw)
    if _CODED.fullmatch(raw):
        metres = Decimal(raw) / 100
    elif _WRITTEN.fullmatch(raw):
        metres = Decimal(raw)
    else:
        raise ItemError(f"{shown(raw)} is no height; coded are 0452 or 4.52, both 4.52 m")
    return _checked(metres, raw, unrestricted=metres >= _UNRESTRICTED_M)


def feet_height(text: str) -> CodedHeight:
    """A height of B.H.12 or B.H.13: feet with one decimal, 99.9 for no restriction.

    Raises ItemError where the text is no such figure.
    """
    raw = text.strip()
    if not raw:
        return CodedHeight(HeightState.MISSING, raw=raw)
    if not re.fullmatch(r"\d{1,2}(?:\.\d{0,2})?", raw, re.ASCII):
        raise ItemError(f"{shown(raw)} is no height in feet; coded is 14.3")
    feet = Decimal(raw)
    metres = feet * _METRES_PER_FOOT
    return _checked(metres, raw, unrestricted=feet >= _UNRESTRICTED_FT or metres >= _UNRESTRICTED_M)


def _checked(metres: Decimal, raw: str, *, unrestricted: bool) -> CodedHeight:
    if metres == 0:
        return CodedHeight(HeightState.MISSING, raw=raw)
    if unrestricted:
        return CodedHeight(HeightState.UNRESTRICTED, raw=raw)
    figure = Length.from_metres(metres)
    if figure < LOWEST_HEIGHT:
        raise ItemError(f"{shown(raw)} would be {figure}: no clearance over a road")
    return CodedHeight(HeightState.FIGURE, figure, raw)


def under(reference: str, text: str) -> CodedHeight:
    """Item 54: the reference feature (54A: H, R or N) and the height above it (54B).

    >>> under("H", "1046").figure
    Length(tenths=104600)
    >>> under("H", "0000").state.name
    'MISSING'

    Raises ItemError where either cannot be read, or a height has no reference.
    """
    feature = reference.strip().upper()
    raw = f"{feature} {text.strip()}".strip()
    if feature == "N":
        return CodedHeight(HeightState.NOT_A_ROAD, raw=raw)
    if feature not in ("H", "R", ""):
        raise ItemError(f"54A {shown(feature)} is none of H, R, N")
    told = metric_height(text)
    if not feature:
        if told.state is HeightState.MISSING:
            return CodedHeight(HeightState.MISSING, raw=raw)
        raise ItemError(f"54B {shown(text.strip())} without 54A: measured from a road or from rails?")
    if feature == "R":
        return CodedHeight(HeightState.RAILWAY, told.figure, raw)
    return CodedHeight(told.state, told.figure, raw)


def _degrees(text: str, *, digits: int, what: str) -> tuple[Decimal, int, int]:
    """Degrees, and the seconds and hundredths as coded, of a text DDMMSSss or DDDMMSSss."""
    raw = text.strip()
    plain = re.sub(r"\.0*$", "", raw).lstrip("-")
    if not plain or not plain.isascii() or not plain.isdigit() or not digits - 2 <= len(plain) <= digits:
        raise ItemError(f"{what} {shown(raw)} is not {digits} digits of degrees, minutes, seconds")
    found = _DMS.fullmatch(plain.zfill(digits))
    if found is None:
        raise ItemError(f"{what} {shown(raw)} is not {digits} digits of degrees, minutes, seconds")
    degrees, minutes, seconds, hundredths = map(int, found.groups())
    if minutes >= 60 or seconds >= 60:
        raise ItemError(f"{what} {shown(raw)} has {minutes} minutes and {seconds} seconds")
    exact = degrees + Decimal(minutes) / 60 + (seconds + Decimal(hundredths) / 100) / 3600
    return exact, seconds, hundredths


def place(latitude: str, longitude: str) -> tuple[float, float, float]:
    """Items 16 and 17 as (lon, lat, step): WGS84 degrees to 7 decimals, and metres of the coded step.

    Both are degrees, minutes and hundredths of seconds run together; the longitude is west of Greenwich
    without a sign. The step is the coarsest that the digits look like: the minute (least precision that
    the guide allows), tenths of it, the second, its tenths or hundredths.

    >>> place("31061110", "087204000")[:2]
    (-87.3444444, 31.1030833)

    Raises ItemError where there is no place (zeros, blank), no such digits, or one outside the country.
    """
    if not latitude.strip(" 0.-") or not longitude.strip(" 0.-"):
        raise ItemError(f"place is not known: coded {shown(latitude.strip())}, {shown(longitude.strip())}")
    north, lat_s, lat_h = _degrees(latitude, digits=8, what="latitude")
    west, lon_s, lon_h = _degrees(longitude, digits=9, what="longitude")
    lon, lat = round(-float(west), 7), round(float(north), 7)
    _check_country(lon, lat, latitude, longitude)
    parts = 600 if lat_h % 10 == lon_h % 10 == 0 else 6000
    if lat_h == lon_h == 0:
        parts = next(p for whole, p in ((60, 1), (6, 10), (1, 60)) if lat_s % whole == lon_s % whole == 0)
    return lon, lat, round(_MINUTE_M / parts, 1)


def decimal_place(latitude: str, longitude: str) -> tuple[float, float, float]:
    """Latitude and longitude in decimal degrees (2022 specification) as (lon, lat, step).

    Raises ItemError as `place` does.
    """
    number = re.compile(r"-?\d{1,3}(?:\.(\d{0,12}))?", re.ASCII)
    texts = latitude.strip(), longitude.strip()
    if not texts[0].strip("0.-") or not texts[1].strip("0.-"):
        raise ItemError(f"place is not known: coded {shown(texts[0])}, {shown(texts[1])}")
    found = [number.fullmatch(text) for text in texts]
    if found[0] is None or found[1] is None:
        raise ItemError(f"latitude {shown(texts[0])}, longitude {shown(texts[1])} are no decimal degrees")
    lon, lat = round(float(texts[1]), 7), round(float(texts[0]), 7)
    _check_country(lon, lat, *texts)
    decimals = max(len(f[1] or "") for f in found if f is not None)
    return lon, lat, float(round(60 * _MINUTE_M / 10**decimals, 1))


def _check_country(lon: float, lat: float, latitude: str, longitude: str) -> None:
    if not (_WEST <= lon <= _EAST and _SOUTH <= lat <= _NORTH):
        raise ItemError(
            f"place {lat:.4f}, {lon:.4f} is outside the United States: coded {shown(latitude.strip())}, "
            f"{shown(longitude.strip())}"
        )


def inspection_month(text: str, year: int | None) -> str:
    """Item 90, MMYY, as ``YYYY-MM``; empty where it is blank or no month.

    The century is the latest that does not lie after `year`, the year of the inventory; without one,
    70 to 99 are of the last century (common practice, no source).

    >>> inspection_month("1192", 1995)
    '1992-11'
    """
    raw = re.sub(r"\.0*$", "", text.strip()).zfill(4)
    if not _CODED.fullmatch(raw):
        return ""
    month, short = int(raw[:2]), int(raw[2:])
    if not 1 <= month <= 12:
        return ""
    latest = year if year is not None else 2069
    full = latest - (latest - short) % 100
    return f"{full:04d}-{month:02d}"
