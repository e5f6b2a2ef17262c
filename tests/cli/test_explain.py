"""What `--explain` of the commands drive and screen tells of what ran."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from clearance.network.landmarks import FEWEST_NODES, LANDMARKS
from clearance.network.roadfile import open_road_file, write_road_file
from clearance.routing.fan import ENGINE as FAN_ENGINE
from clearance.routing.kernels import ENGINE, WIDEST_ENGINE
from clearance.routing.tradeoff_kernel import ENGINE as TRADE_OFF_ENGINE
from tests.cli.test_commands import QUAY, SAMPLE, YARD, run
from tests.synthetic import script

COACH = ["--height", "13'0\"", "--margin", "6in", "--comfort", "14ft"]


@pytest.fixture(scope="module")
def roads(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("roads") / "pellowick.roads"
    assert run("get", SAMPLE, "-o", path).code == 0
    return path


def explained(err: str) -> list[str]:
    """The lines that explain."""
    return [line.removeprefix("explain: ") for line in err.splitlines() if line.startswith("explain: ")]


def searches(lines: list[str]) -> dict[str, tuple[int, int]]:
    """How many searches by each engine, and what they looked at."""
    found = {}
    for line in lines:
        told = re.fullmatch(
            r"(\d+) search(?:es)? by (.+): (\d+) (?:states (?:settled|changed)|labels made)", line
        )
        if told:
            found[told[2]] = (int(told[1]), int(told[3]))
    return found


def stages(lines: list[str]) -> tuple[dict[str, float], float]:
    """Milliseconds by stage, and in all."""
    told = re.fullmatch(r"milliseconds: (.+); in all ([\d.]+)", lines[-1])
    assert told, lines
    pairs = [part.rpartition(" ") for part in told[1].split(", ")]
    return {name: float(ms) for name, _, ms in pairs}, float(told[2])


def test_a_small_area_is_searched_without_landmarks(roads: Path, tmp_path: Path) -> None:
    asked: list[str | Path] = [
        "drive",
        roads,
        "--from",
        YARD,
        "--to",
        QUAY,
        *COACH,
        "-o",
        tmp_path / "day.geojson",
    ]
    plain, told = run(*asked), run(*asked, "--explain")
    assert (told.code, told.out) == (plain.code, plain.out) == (0, plain.out)
    assert explained(plain.err) == []
    lines = explained(told.err)
    assert "no landmarks" in lines[0]
    ran = searches(lines)
    assert set(ran) == {ENGINE}
    assert all(count > 0 and settled > 0 for count, settled in ran.values())
    by_stage, whole = stages(lines)
    assert {"load", "open", "costs", "snap", "search", "write", "rest"} <= set(by_stage)
    assert abs(sum(by_stage.values()) - whole) < 0.06 * (len(by_stage) + 1)


def test_what_else_ran_is_named_too(roads: Path) -> None:
    asked: list[str | Path] = ["drive", roads, "--from", YARD, "--to", QUAY]
    told = run(*asked, *COACH, "--trade-offs", "--explain")
    assert told.code == 0
    assert set(searches(explained(told.err))) == {ENGINE, TRADE_OFF_ENGINE}
    blocked = run(*asked, "--height", "15'6\"", "--explain")
    assert blocked.code == 3
    assert set(searches(explained(blocked.err))) == {ENGINE, WIDEST_ENGINE}


def test_a_large_area_is_searched_with_landmarks(tmp_path: Path) -> None:
    path = tmp_path / "large.roads"
    network = script().synthetic(FEWEST_NODES, 3)
    write_road_file(network, path)
    west, east = int(network.node_lon.argmin()), int(network.node_lon.argmax())
    ends = [f"{network.node_lat[i]:.6f},{network.node_lon[i]:.6f}" for i in (west, east)]
    told = run("drive", path, "--from", ends[0], "--to", ends[1], *COACH, "--explain")
    assert told.code in {0, 3}, told.err
    lines = explained(told.err)
    assert f"{FEWEST_NODES} nodes" in lines[0]
    assert f"{LANDMARKS} landmarks" in lines[0]
    assert f"turn-aware A* with {LANDMARKS} landmarks, 4-ary heap" in searches(lines)


def test_a_screening_searches_once_for_all_destinations(roads: Path, tmp_path: Path) -> None:
    quay = next(place for place in open_road_file(roads).places if place.name == QUAY)
    counts = []
    for copies in (1, 10):
        places = tmp_path / f"places{copies}.csv"
        rows = [f"Place {i},{quay.lat},{quay.lon}" for i in range(copies)]
        places.write_text("\n".join(["name,lat,lon", *rows]) + "\n", encoding="utf-8")
        asked: list[str | Path] = ["screen", roads, places, "--from", YARD, *COACH]
        plain, told = run(*asked), run(*asked, "--explain")
        assert (told.code, told.out) == (plain.code, plain.out)
        assert explained(plain.err) == []
        lines = explained(told.err)
        ran = searches(lines)
        assert {ENGINE, WIDEST_ENGINE} <= set(ran) <= {ENGINE, WIDEST_ENGINE, FAN_ENGINE}
        counts.append({name: ran[name] for name in (ENGINE, WIDEST_ENGINE)})
        by_stage, whole = stages(lines)
        assert {"load", "open", "turns and places", "costs", "snap", "search", "rest"} <= set(by_stage)
        assert abs(sum(by_stage.values()) - whole) < 0.06 * (len(by_stage) + 1)
    assert counts[0] == counts[1]


def test_it_is_told_where_the_drive_fails_as_well(roads: Path) -> None:
    told = run("drive", roads, "--from", "0,0", "--to", QUAY, *COACH, "--explain")
    assert told.code == 1
    lines = explained(told.err)
    assert lines[1] == "no search was needed"
    assert stages(lines)[1] > 0
    assert told.err.splitlines()[-1].startswith("clearance: ")
