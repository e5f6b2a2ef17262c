"""The checklist of structures to look at."""

from __future__ import annotations

import csv
import io
from dataclasses import replace

import pytest

from clearance.core.places import Place
from clearance.core.scouting import Scouted, Scouting, ranked
from clearance.core.screening import Destination, Problem
from clearance.core.structure import Kind
from clearance.outputs.scouting import SCOUT_COLUMNS, scout_csv, scout_geojson, scout_text
from tests.outputs.samples import COACH, INFO, structure

FIRST = structure(Kind.RAIL_BRIDGE, (0.0, 0.0), name="Coast Line", way=7)
SECOND = structure(Kind.TUNNEL, (100.0, 0.0), name="=Long Hole\x1b[2J", way=8)


@pytest.fixture
def found() -> Scouting:
    names = ["Mill", "Quay", "Camp", "Fair", "Dock", "Hill"]
    return Scouting(
        home=Place(lon=-40.0, lat=45.0, name="Yard"),
        coach=COACH,
        info=INFO,
        destinations=tuple(Destination(place=Place(lon=-40.0, lat=45.0, name=name)) for name in names),
        items=ranked(
            [
                Scouted(number=0, structure=SECOND, saves=((1, 60.0), (2, 240.0)), passed_by=(1,)),
                Scouted(number=0, structure=FIRST, opens=(1, 2, 3, 4, 5), with_others=((6, 3),)),
            ]
        ),
        open_now=(1, 2),
        shut=(3, 4, 5),
        blocked=(6,),
        idle=3,
        problems=(Problem(where="line 4", name="Nowhere", text="is not in the map data"),),
        notes=("a note",),
    )


def test_the_list_tells_what_hangs_on_each_and_has_room_to_write(found: Scouting) -> None:
    text = scout_text(found)
    flat = " ".join(text.split())
    assert flat.index("[ ] 1 railway bridge (Coast Line)") < flat.index("[ ] 2 tunnel (=Long Hole [2J)")
    assert "opens Mill, Quay, Camp, Fair and 1 more; opens, once others are known too, Hill" in flat
    assert "saves 5 min there and back in all, on Quay and Mill" in flat
    assert text.count("height ____________") == 2
    assert "2 destinations can be driven to and back past nothing of unknown height, 3 cannot" in flat
    assert "No drive fits the coach, whatever is known of these structures: Hill." in flat
    assert "- line 4: Nowhere: is not in the map data" in flat
    assert max(map(len, text.splitlines())) <= 80
    assert "\x1b" not in text
    assert text.endswith("\n")


def test_a_list_with_nothing_on_it_says_so(found: Scouting) -> None:
    assert "Nothing that anybody could look at" in scout_text(replace(found, items=()))


def test_the_table_has_a_line_for_each_and_columns_to_fill_in(found: Scouting) -> None:
    rows = list(csv.DictReader(io.StringIO(scout_csv(found))))
    assert tuple(rows[0]) == SCOUT_COLUMNS
    assert [(r["number"], r["opens"], r["saves_minutes"], r["with_others"]) for r in rows] == [
        ("1", "5", "0.0", "1"),
        ("2", "0", "5.0", "0"),
    ]
    assert rows[0]["opens_places"] == "Mill; Quay; Camp; Fair; Dock"
    assert rows[1]["name"] == "'=Long Hole [2J"
    assert {rows[0][name] for name in ("height", "date", "who", "photo", "note")} == {""}
    assert rows[0]["key"] == FIRST.key


def test_points_in_order_and_home(found: Scouting) -> None:
    collection = scout_geojson(found)
    roles = [f["properties"]["role"] for f in collection["features"]]
    assert roles == ["scout", "scout", "home"]
    first = collection["features"][0]
    assert (first["id"], first["properties"]["number"], first["properties"]["opens"]) == (FIRST.key, 1, 5)
    assert (collection["open_now"], collection["shut"], collection["blocked"]) == (2, 3, 1)
    assert collection["problems"] == [
        {"where": "line 4", "name": "Nowhere", "text": "is not in the map data"}
    ]


def test_rank_is_by_what_opens_then_with_others_then_time() -> None:
    base = Scouted(number=0, structure=FIRST)
    items = [
        replace(base, passed_by=(1,)),
        replace(base, saves=((1, 900.0),)),
        replace(base, with_others=((1, 2),)),
        replace(base, with_others=((1, 2), (2, 3))),
        replace(base, opens=(1,)),
        replace(base, opens=(1, 2)),
    ]
    assert [replace(item, number=0) for item in ranked(items)] == items[::-1]
    assert [item.number for item in ranked(items)] == [1, 2, 3, 4, 5, 6]
