"""A need exactly equal to a clearance, and a tenth of a millimetre either side, however a height is written.

What a sign says is reckoned here in fractions, by rules written down again: 1 ft = 0.3048 m and 1 in =
0.0254 m exactly (international yard and pound, 1959; from memory). A clearance holds for every need up to it,
so that the greatest need that fits is the fraction rounded down to a tenth of a millimetre.
"""

from __future__ import annotations

import json
import re
from fractions import Fraction
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from clearance.assess.day import plan_day
from clearance.core.coach import Coach
from clearance.core.drive import Drive, Unverified, Verdict
from clearance.core.lengths import Length, parse_length, parse_measure
from clearance.core.record import parse_seen_height
from clearance.core.standing import judge
from clearance.core.structure import Standing
from clearance.network.network import Network
from clearance.outputs.csv_table import drive_csv
from clearance.outputs.json_report import drive_json
from clearance.outputs.measures import Units, clearance_text, coach_text
from clearance.outputs.report import drive_text
from clearance.outputs.wording import finding_title
from clearance.routing.mask import coach_costs
from clearance.routing.plan import Widths, greatest_height
from clearance.routing.snap import snap
from clearance.sources.coach_file import read_coach
from clearance.workflow import get_roads, network_of, plan_drive
from tests.assess.towns import END, START, halt, two_ways
from tests.network.moves import arcs_between
from tests.towns import Town, lonlat

M, CM, MM = Fraction(1), Fraction(1, 100), Fraction(1, 1000)
FT, IN = Fraction(3048, 10_000), Fraction(254, 10_000)

#: A height as written, and what it says in metres: whole tenths of a millimetre, or between two of them.
WRITTEN: dict[str, Fraction] = {
    "4.1148": Fraction("4.1148") * M,
    "4.1": Fraction("4.1") * M,
    "4.11486 m": Fraction("4.11486") * M,
    "4,12 m": Fraction("4.12") * M,
    "411.48 cm": Fraction("411.48") * CM,
    "411.489cm": Fraction("411.489") * CM,
    "4114.87 mm": Fraction("4114.87") * MM,
    "13'6\"": 13 * FT + 6 * IN,
    "13’ 6″": 13 * FT + 6 * IN,
    "13'6": 13 * FT + 6 * IN,
    "13'6.5\"": 13 * FT + Fraction("6.5") * IN,
    "13'6.3\"": 13 * FT + Fraction("6.3") * IN,
    "13 ft 6 in": 13 * FT + 6 * IN,
    "13'": 13 * FT,
    "13.5 ft": Fraction("13.5") * FT,
    "13.51'": Fraction("13.51") * FT,
    '162"': 162 * IN,
    "162.05 in": Fraction("162.05") * IN,
    "4.5;13'6\"": 13 * FT + 6 * IN,
}


def tenths(metres: Fraction) -> int:
    """The greatest need that a clearance lets through."""
    return metres * 10_000 // 1


def coach(need: int, *, margin: int = 1524, comfort: int = 43_000) -> Coach:
    return Coach(height=Length(need - margin), margin=Length(margin), comfort=Length(comfort))


@pytest.mark.parametrize("text", WRITTEN)
def test_the_grammar_reads_the_greatest_need_that_fits(text: str) -> None:
    length = parse_length(text).length
    assert length is not None
    assert length.tenths == tenths(WRITTEN[text])
    for off in (-1, 0, 1):
        need = length.tenths + off
        fits = Fraction(need, 10_000) <= WRITTEN[text]
        assert fits is (off <= 0)
        found = judge(length, verified=True, coach=coach(need))
        assert found is (Standing.TIGHT if fits else Standing.TOO_LOW)
        # A figure that may not clear condemns at the very same place.
        found = judge(length, verified=False, coach=coach(need))
        assert found is (Standing.UNVERIFIED if fits else Standing.TOO_LOW)
        found = judge(length, verified=True, coach=coach(30_000, comfort=need))
        assert found is (Standing.CLEAR if fits else Standing.TIGHT)


UNITS = {"m": M, "cm": CM, "mm": MM, " ft": FT, " in": IN}
_SIGNS = st.tuples(st.decimals(2, 5, places=6), st.sampled_from(sorted(UNITS)), st.integers(0, 6))


def _text(metres: Fraction, unit: str, places: int) -> tuple[str, Fraction]:
    """About so many metres in a unit, with so many decimals, and what it says exactly."""
    number = round(metres / UNITS[unit], places)
    return f"{float(number):.{places}f}{unit}", Fraction(f"{float(number):.{places}f}") * UNITS[unit]


@given(_SIGNS, st.sampled_from(sorted(UNITS)), st.integers(0, 6), st.fractions(-1, 1).map(lambda f: f / 500))
def test_no_unit_on_either_side_lets_through_what_does_not_fit(
    sign: tuple[object, str, int], unit: str, places: int, more: Fraction
) -> None:
    """Signs are rounded down, coaches up: at most two tenths of a millimetre are lost, and none is won."""
    posted, clearance = _text(Fraction(str(sign[0])), sign[1], sign[2])
    typed, need = _text(clearance + more, unit, places)
    height = parse_length(posted, low=Length(1)).length
    assert height is not None
    seen = parse_seen_height(posted) if height >= Length(10_000) else height
    assert seen == height
    wanted = parse_measure(typed)
    if not Length(16_000) <= wanted <= Length(59_000):
        return
    found = judge(height, verified=True, coach=Coach(height=wanted, margin=Length(0)))
    if need > clearance:
        assert found is Standing.TOO_LOW, f"{typed} under {posted}"
    elif need + Fraction(2, 10_000) <= clearance:
        assert found is not Standing.TOO_LOW, f"{typed} under {posted}"
    if need == clearance and (need * 10_000).denominator == 1:
        assert found is not Standing.TOO_LOW, f"{typed} under {posted}"


#: One of each unit and way of rounding, for what takes longer.
DRIVEN = (
    *("4.1148", "4.11486 m", "411.489cm", "4114.87 mm", "13'6\"", "13'6.3\"", "13 ft 6 in", "13.51'"),
    "162.05 in",
)

# --- whole drives --------------------------------------------------------------------------------------

#: The way round is so slow that it is taken only where the other is closed.
SLOW = {"highway": "service", "maxspeed": "3"}
ROUND, DIRECT = "High Street", "Low Street"


def _tags(kind: str, text: str) -> dict[str, str]:
    return {
        "posted": {"maxheight": text},
        "measured": {"maxheight:physical": text},
        "unverified": {"maxheight": text, "source:maxheight": "estimated"},
        "one way": {"maxheight:forward": text, "maxheight:backward": "2.5"},
        "lanes": {"maxheight:lanes": f"5|{text}|4.9"},
    }[kind]


@cache
def _town(kind: str, text: str) -> Network:
    return two_ways(_tags(kind, text), SLOW)


def _drive(network: Network, coach: Coach, policy: Unverified = Unverified.ACCEPT) -> Drive:
    return plan_day(network, coach, [halt(*START), halt(*END)], unverified=policy)


def _roads(drive: Drive) -> set[str]:
    return {piece.road for piece in drive.pieces}


@pytest.mark.parametrize("kind", ["posted", "measured", "unverified", "one way", "lanes"])
@pytest.mark.parametrize("text", DRIVEN)
def test_a_drive_turns_at_a_tenth_of_a_millimetre(kind: str, text: str) -> None:
    network, most = _town(kind, text), tenths(WRITTEN[text])
    known = Standing.UNVERIFIED if kind == "unverified" else Standing.TIGHT
    for off in (-1, 0, 1):
        drive = _drive(network, coach(most + off))
        if off > 0:
            assert ROUND in _roads(drive)
            assert not drive.findings
            continue
        assert DIRECT in _roads(drive)
        (finding,) = drive.findings
        assert finding.standing is known
        assert finding.clearance == Length(most)
        assert finding.headroom == Length(most) - drive.coach.height
        assert drive.ceiling == Length(most)


@pytest.mark.parametrize("text", ["4.1148", "13'6.3\"", "411.489cm", "162.05 in", "13.51'"])
def test_a_drive_is_clear_from_the_comfort_on(text: str) -> None:
    network, most = _town("posted", text), tenths(WRITTEN[text])
    for off, standing in ((-1, Standing.CLEAR), (0, Standing.CLEAR), (1, Standing.TIGHT)):
        (finding,) = _drive(network, coach(38_000, comfort=most + off)).findings
        assert finding.standing is standing


def _barrier(text: str) -> Network:
    """A height bar on a node of the one road, and a slow way round it."""
    town = (
        Town()
        .node(1, -500, 0)
        .node(2, 0, 0)
        .node(3, 500, 0, {"barrier": "height_restrictor", "maxheight": text})
    )
    town.node(4, 1000, 0).node(5, 1500, 0).node(6, 0, 500).node(7, 1000, 500)
    for ref, nodes, name in ((10, [1, 2], "West Road"), (11, [2, 3, 4], DIRECT), (13, [4, 5], "East Road")):
        town.way(ref, nodes, {"highway": "residential", "name": name})
    return network_of(town.way(12, [2, 6, 7, 4], {**SLOW, "name": ROUND}).extract())


@pytest.mark.parametrize("text", ["4.1148", "13'6.3\"", "13.51 ft", '162.05"'])
def test_a_height_bar_on_a_node_turns_at_a_tenth_of_a_millimetre(text: str) -> None:
    network = _barrier(text)
    length = parse_length(text).length
    assert length is not None
    for off in (-1, 0, 1):
        drive = _drive(network, coach(length.tenths + off))
        assert (ROUND in _roads(drive)) is (off > 0)
        assert [f.clearance for f in drive.findings] == ([] if off > 0 else [length])


@pytest.mark.parametrize("kind", ["posted", "measured", "unverified", "one way", "lanes"])
@pytest.mark.parametrize("text", ["4.11486 m", "13'6.3\"", "13'6\"", "162.05 in"])
def test_the_mask_and_the_widest_way_agree_to_a_tenth_of_a_millimetre(kind: str, text: str) -> None:
    tags, most = _tags(kind, text), tenths(WRITTEN[text])
    # The way round is lower, so that the widest way leads under the bridge.
    network = two_ways(tags, {"maxheight": "3.1"})
    arc = arcs_between(network, 2, 3)[0]
    free = coach_costs(network, coach(38_000), Unverified.ACCEPT, None, ignore=frozenset({"height"}))
    start, end = (snap(network, *lonlat(*at), free.usable, limit_m=20) for at in (START, END))
    widths = Widths.of(network, free, unverified_passable=True)
    assert int(widths.on_arcs(network)[arc]) == most
    for off in (-1, 0, 1):
        closed = coach_costs(network, coach(most + off), Unverified.ACCEPT, None)
        assert bool(np.isinf(closed.cost[arc])) is (off > 0)
        assert bool(np.isinf(widths.at_least(network, free, most + off).cost[arc])) is (off > 0)
    best = greatest_height(network, free, start, end, unverified_passable=True)
    assert best.height == Length(most)
    verified = greatest_height(network, free, start, end, unverified_passable=False)
    assert verified.height == Length(31_000 if kind == "unverified" else most)


@pytest.mark.parametrize("text", DRIVEN)
def test_a_blocked_drive_tells_what_gets_through_to_a_tenth_of_a_millimetre(text: str) -> None:
    most = tenths(WRITTEN[text])
    network = two_ways({"maxheight": text}, {"access": "no"})
    assert _drive(network, coach(most)).verdict is not Verdict.BLOCKED
    drive = _drive(network, coach(most + 1))
    assert drive.verdict is Verdict.BLOCKED
    assert drive.gets_through == Length(most)
    assert [f.clearance for f in drive.in_the_way] == [Length(most)]
    assert [f.standing for f in drive.in_the_way] == [Standing.TOO_LOW]
    again = _drive(network, coach(drive.gets_through.tenths))
    assert again.verdict is not Verdict.BLOCKED


def test_a_coach_of_a_file_under_a_sign_of_a_map_in_any_two_units(tmp_path: Path) -> None:
    """From files to the drive: the same 13'6" in four units, and a coach a hair taller in each."""
    coaches = {
        "12'9.5\\\"": False,
        "154in": False,
        "3.9116m": False,
        "391.16cm": False,
        "3.91161m": True,
        "12.8334ft": True,
    }
    signs = ("13'4\"", '160"', "4.064", "406.4 cm")
    start, end = (",".join(str(v) for v in reversed(lonlat(*at))) for at in (START, END))
    for number, sign in enumerate(signs):
        town = Town()
        for ref, (x, y) in enumerate(
            [(-500, 0), (0, 0), (1000, 0), (1500, 0), (0, 900), (1000, 900)], start=1
        ):
            town.node(ref, x, y)
        town.node(7, 500, -100).node(8, 500, 100)
        town.way(10, [1, 2]).way(13, [3, 4]).way(12, [2, 5, 6, 3], {**SLOW, "name": ROUND})
        town.way(11, [2, 3], {"highway": "residential", "name": DIRECT, "maxheight": sign})
        town.way(20, [7, 8], {"railway": "rail", "bridge": "yes", "layer": "1"})
        (tmp_path / "town.osm").write_text(town.osm_xml(), encoding="utf-8")
        roads = tmp_path / f"{number}.roads"
        get_roads(str(tmp_path / "town.osm"), roads)
        for height, taller in coaches.items():
            file = tmp_path / "heron.toml"
            file.write_text(f'height = "{height}"\nmargin = "6in"\ncomfort = "14ft"\n', encoding="utf-8")
            heron = read_coach(file)
            assert (heron.need > Length(40_640)) is taller
            drive = plan_drive(roads, [start, end], heron, unverified="accept")
            assert (ROUND in _roads(drive)) is taller, f"{height} under {sign}"


# --- what is shown -------------------------------------------------------------------------------------


def _feet(text: str) -> Fraction:
    found = re.search(r"(\d+)'(\d+)\"", text)
    assert found, text
    return int(found[1]) * FT + int(found[2]) * IN


def _metres(text: str) -> Fraction:
    found = re.search(r"(\d+\.\d\d) m\b", text)
    assert found, text
    return Fraction(found[1])


@given(st.integers(15_000, 60_000), st.integers(-3000, 3000))
def test_what_is_shown_never_fits_where_the_figures_do_not(clearance: int, more: int) -> None:
    need = clearance + more
    for units, read in (
        (Units.FEET, _feet),
        (Units.METRES, _metres),
        (Units.BOTH, _feet),
        (Units.BOTH, _metres),
    ):
        room, wanted = read(clearance_text(Length(clearance), units)), read(coach_text(Length(need), units))
        assert room <= Fraction(clearance, 10_000)
        assert wanted >= Fraction(need, 10_000)
        if need > clearance:
            assert room < wanted


@pytest.mark.parametrize("text", DRIVEN)
def test_no_output_of_a_drive_shows_more_room_than_there_is(text: str) -> None:
    most = tenths(WRITTEN[text])
    drive = _drive(_town("posted", text), coach(most))
    (finding,) = drive.findings
    for units, read in ((Units.FEET, _feet), (Units.METRES, _metres)):
        step = IN if units is Units.FEET else CM
        shown = read(finding_title(finding, units))
        assert Fraction(most, 10_000) - step < shown <= WRITTEN[text]
        # The sign is quoted as it stands; every figure of ours beside it is that of the title.
        words = drive_text(drive, units)
        assert finding_title(finding, units).split(":")[-1].strip() in " ".join(words.split())
    told = json.loads(json.dumps(drive_json(drive)))
    (stated,) = told["findings"]
    assert stated["clearance"]["tenths_of_mm"] == most
    assert Fraction(str(stated["clearance"]["metres"])) == Fraction(most, 10_000)
    assert _feet(stated["clearance"]["feet"]) <= WRITTEN[text]
    assert stated["headroom"]["tenths_of_mm"] == most - drive.coach.height.tenths
    row = drive_csv(drive).splitlines()
    assert str(float(Length(most).metres)) in " ".join(row)


@pytest.mark.parametrize("text", ["4.11486 m", "13'6.3\"", "13.51'", "162.05 in"])
def test_the_verdict_is_the_same_in_feet_and_in_metres(text: str) -> None:
    most = tenths(WRITTEN[text])
    for off in (-1, 0, 1):
        drive = _drive(two_ways({"maxheight": text}, {"access": "no"}), coach(most + off))
        said = {units: json.loads(json.dumps(drive_json(drive, units)))["verdict"] for units in Units}
        assert len(set(said.values())) == 1
        assert (drive.verdict is Verdict.BLOCKED) is (off > 0)
