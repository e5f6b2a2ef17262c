"""A screening as Parquet: read back by other programs, the same bytes every time."""

from __future__ import annotations

import io
import json
from decimal import Decimal

import pyarrow.parquet as pq
import pytest

from clearance.core.coach import Coach
from clearance.core.drive import InOut, InOutAnswer, Unverified, Verdict
from clearance.core.lengths import Length
from clearance.core.places import Place
from clearance.core.screening import Admitted, Flag, Leg, Problem, Row, Screening, Trip
from clearance.core.structure import Standing
from clearance.outputs.screen_parquet import SCREEN_SCHEMA_NAMES, screen_parquet
from tests.outputs.samples import INFO

TALL, LOW = (Coach(height=Length.from_feet(feet), name=name) for feet, name in ((13, "tall"), (10, "low")))
FLAG = Flag(key="way/1:way/2:1", standing=Standing.UNVERIFIED)
THERE = Trip(distance_m=1000.1234, duration_s=60.5, car_distance_m=900.0, car_duration_s=50.0, passed=(FLAG,))
BACK = Trip(distance_m=1100.0, duration_s=70.0, ceiling=Length.from_feet(14), ceiling_key="way/3:own")
PLACE = Place(lon=-40.0, lat=45.0, name="Mill\x1b")


def row(coach: int, **told: object) -> Row:
    base: dict[str, object] = {
        "number": 1,
        "place": PLACE,
        "where": "line 2",
        "coach": coach,
        "verdict": Verdict.CARE,
        "off_road_m": 3.5,
        "tallest": Admitted(way=True, clearance=Length.from_feet(13, 6)),
        "tallest_verified": Admitted(way=False),
    }
    return Row(**(base | told))  # type: ignore[arg-type]


SCREENING = Screening(
    home=PLACE,
    coaches=(TALL, LOW),
    unverified=Unverified.AVOID,
    info=INFO,
    rows=(
        row(0, there=THERE, back=BACK, in_out=InOut(answer=InOutAnswer.DRIVES_THROUGH)),
        row(1, verdict=Verdict.BLOCKED, blocked=Leg.BACK, in_the_way=(FLAG,), notes=("a note",)),
    ),
    problems=(Problem(where="line 3", name="lost", text="is nowhere"),),
)


def test_what_is_read_back() -> None:
    table = pq.read_table(io.BytesIO(screen_parquet(SCREENING, region="north", home="Yard")))
    assert tuple(table.column_names) == SCREEN_SCHEMA_NAMES
    first, second, *problems = table.to_pylist()
    assert (first["region"], first["home"], first["coach"], first["name"]) == (
        "north",
        "Yard",
        "tall",
        "Mill",
    )
    assert (first["distance_m"], first["duration_s"], first["there_distance_m"]) == (2100.12, 130.5, 1000.12)
    assert first["ceiling_m"] == Decimal("4.2672")
    assert (first["ceiling_key"], first["unverified"], first["in_out"]) == (
        "way/3:own",
        ["way/1:way/2:1"],
        "drives through",
    )
    assert (first["tallest_m"], first["tallest_verified_way"]) == (Decimal("4.1148"), False)
    assert first["extra_s"] is None  # the car's way back is not known
    assert first["problem"] is None
    assert (second["verdict"], second["blocked"], second["distance_m"]) == ("blocked", "back", None)
    assert (second["in_the_way"], second["notes"]) == (["way/1:way/2:1"], ["a note"])
    assert [(p["coach"], p["problem"], p["verdict"], p["where"]) for p in problems] == [
        ("tall", "is nowhere", None, "line 3"),
        ("low", "is nowhere", None, "line 3"),
    ]
    about = json.loads(table.schema.metadata[b"clearance"])
    assert (about["format"], about["data_date"]) == ("clearance screening", INFO.data_date)
    assert about["attribution"] == INFO.attribution
    assert [coach["need_m"] for coach in about["coaches"]] == ["4.1148", "3.2004"]


def test_the_same_screening_is_the_same_bytes() -> None:
    made = {screen_parquet(SCREENING, region="north", home="Yard") for _ in range(3)}
    assert len(made) == 1
    assert screen_parquet(SCREENING, region="north", home="Else") not in made


def test_nothing_screened_is_an_empty_table() -> None:
    empty = Screening(home=PLACE, coaches=(TALL,), unverified=Unverified.AVOID, info=INFO, rows=())
    table = pq.read_table(io.BytesIO(screen_parquet(empty, region="r", home="h")))
    assert table.num_rows == 0
    assert tuple(table.column_names) == SCREEN_SCHEMA_NAMES


def test_other_programs_read_it() -> None:
    pandas = pytest.importorskip("pandas")
    frame = pandas.read_parquet(io.BytesIO(screen_parquet(SCREENING, region="north", home="Yard")))
    assert frame["verdict"].fillna("").tolist() == ["care", "blocked", "", ""]
