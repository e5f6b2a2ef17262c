"""INVENTED records of an inventory, for tests: no such bridge is listed anywhere."""

from __future__ import annotations

from typing import Any

from clearance.core.inventory import CodedHeight, HeightState, InventoryRecord, ListedHeight
from clearance.core.lengths import Length
from tests.towns import lonlat

SOURCE = "National Bridge Inventory 2024"
NONE = CodedHeight(HeightState.UNRESTRICTED, None, "99.99")
MISSING = CodedHeight(HeightState.MISSING)
RIVER = CodedHeight(HeightState.NOT_A_ROAD, None, "N 0.0")


def figure(metres: str, reference: str = "H") -> CodedHeight:
    state = HeightState.FIGURE if reference in ("H", "") else HeightState.RAILWAY
    return CodedHeight(state, Length.from_metres(metres), f"{reference} {metres}".strip())


def record(number: str, place: tuple[float, float], **items: Any) -> InventoryRecord:
    """A record of a highway over a highway at `place` (lon, lat), unless `items` say otherwise."""
    told: dict[str, Any] = {
        "source": SOURCE,
        "line": int(number),
        "record_type": "1",
        "place_step_m": 0.3,
        "item_10": NONE,
        "item_53": NONE,
        "item_54": MISSING,
        "date": "2023-06",
        "service_on": "1",
        "service_under": "1",
        "traffic": "2",
    }
    return InventoryRecord(number=number, lon=place[0], lat=place[1], **(told | items))


def at(number: str, x: float, y: float, **items: Any) -> InventoryRecord:
    """The same in the metres of a tiny town."""
    return record(number, lonlat(x, y), **items)


def listed(x: float, y: float, metres: str, name: str = "", where: str = "line 2") -> ListedHeight:
    lon, lat = lonlat(x, y)
    return ListedHeight(
        source="Invented County",
        where=where,
        lon=lon,
        lat=lat,
        height=Length.from_metres(metres),
        key="height",
        raw=metres,
        name=name,
        date="2022-05-01",
    )
