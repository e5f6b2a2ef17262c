"""The coach file: what is written is read back, and every problem is told with its line."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from clearance.core.coach import Coach, Fuel
from clearance.core.errors import ClearanceError, InputError
from clearance.core.lengths import Length
from clearance.sources.coach_file import coach_text, read_coach

FULL = """\
name = "Heron"
height = "12'10\\""
height_at = "rear air conditioner"
margin = "0"
comfort = "4.4m"
width = "8ft 6in"
length = "38ft"
wheelbase = "24ft"
rear_overhang = "3.1m"
weight = "26000lbs"
fuel = "diesel"
propane = false

[towed]
name = "small car"
length = "17ft"
reversible = true
"""


def _file(tmp_path: Path, text: str | bytes) -> Path:
    path = tmp_path / "coach.toml"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return path


def _refusal(tmp_path: Path, text: str) -> str:
    with pytest.raises(InputError) as caught:
        read_coach(_file(tmp_path, text))
    return str(caught.value)


def test_every_item_is_read(tmp_path: Path) -> None:
    assert read_coach(_file(tmp_path, FULL)) == Coach(
        name="Heron",
        height=Length.from_feet(12, 10),
        height_at="rear air conditioner",
        margin=Length(0),
        comfort=Length.from_metres("4.4"),
        width=Length.from_feet(8, 6),
        length=Length.from_feet(55),
        own_length=Length.from_feet(38),
        wheelbase=Length.from_feet(24),
        rear_overhang=Length.from_metres("3.1"),
        weight_kg=11793,  # 26000 lb of 0.45359237 kg, rounded down as limits are
        fuel=Fuel.DIESEL,
        propane=False,
        towing=True,
        towed_name="small car",
        towed_length=Length.from_feet(17),
        tow_reversible=True,
    )


def test_a_height_alone_is_enough_and_the_rest_is_on_the_safe_side(tmp_path: Path) -> None:
    coach = read_coach(_file(tmp_path, '\ufeffheight = "3.9116m"\r\n'))
    assert coach == Coach(height=Length.from_feet(12, 10))
    assert coach.propane
    assert not coach.tow_reversible


@pytest.mark.parametrize(
    "text",
    [
        'height = "4m"\ntowed = {length = "5m"}\nlength = "11m"',
        'height = "4m"\ntowed.length = "5m"\nlength = "11m"',
        'length = "11m"\nheight = """4m"""\n[towed]\nlength = "5m"',
    ],
)
def test_all_ways_of_toml_to_say_it_are_read(tmp_path: Path, text: str) -> None:
    coach = read_coach(_file(tmp_path, text))
    assert coach.towing
    assert coach.length == Length.from_metres("16")


@pytest.mark.parametrize("value", ["3.9", "4", "154", "true", "[1]", "2020-01-01", "{}", "nan"])
def test_a_height_that_is_no_text_with_a_unit_is_refused(tmp_path: Path, value: str) -> None:
    message = _refusal(tmp_path, f"height = {value}")
    assert "line 1" in message or value == "{}"
    assert "in quotes" in message or value == "{}"
    assert "missing" not in message or value == "{}"


def test_a_missing_height_is_never_guessed(tmp_path: Path) -> None:
    assert "height is missing" in _refusal(tmp_path, 'width = "8ft"')


def test_every_problem_is_told_at_once_with_its_line(tmp_path: Path) -> None:
    message = _refusal(
        tmp_path,
        '# a comment\nheight = "12.10"\nwidht = "8ft"\nweight = "3 tons"\nmargin = 0.5\nfuel = "water"\n'
        'towing = true\n[towed]\nlength = "200ft"\nreversable = false\n',
    )
    lines = message.splitlines()
    assert "8 problems" in lines[0]
    for number, words in {
        2: "has no unit",
        3: "did you mean width?",
        4: "cannot be read",
        5: "has no unit",
        6: "none of gasoline, diesel",
        7: "[towed]",
        9: "outside",
        10: "did you mean towed.reversible?",
    }.items():
        assert any(f"line {number}:" in line and words in line for line in lines), (number, message)


def test_lines_that_are_not_toml_are_told_with_all_else(tmp_path: Path) -> None:
    message = _refusal(tmp_path, 'height = "12\'10""\nwidth = 8ft\nwhat\nmargin = 1\nheight = "4m"\n')
    for number, words in {1: "inch mark", 2: "cannot be read", 3: "not TOML", 4: "no unit"}.items():
        assert f"line {number}:" in message
        assert words in message
    assert "height is missing" not in message


def test_a_key_that_stands_twice_is_told_with_both_lines(tmp_path: Path) -> None:
    message = _refusal(tmp_path, 'height = "4m"\nname = "a"\nheight = "3m"\n')
    assert "line 3" in message
    assert "line 1" in message


def test_one_length_without_the_other_is_not_enough(tmp_path: Path) -> None:
    assert "towed.length is missing" in _refusal(tmp_path, 'height = "4m"\nlength = "9m"\n[towed]\n')
    assert "length is missing" in _refusal(tmp_path, 'height = "4m"\n[towed]\nlength = "5m"\n')


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"", "is empty"),
        (b'name = "\xe9"\n', "UTF-8"),
        (b"#" * 70_000, "more than"),
        (b'height = "4m"\nx = ' + b"[" * 5000, "line 2"),
        (b'height = "4m"\nx = ' + b"9" * 5000, "line 2"),
    ],
)
def test_files_that_are_no_coach_files_are_refused(tmp_path: Path, content: bytes, words: str) -> None:
    with pytest.raises(InputError, match=words):
        read_coach(_file(tmp_path, content))


def test_a_missing_file_and_a_folder_are_refused(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="no such file"):
        read_coach(tmp_path / "none.toml")
    with pytest.raises(InputError, match="is a folder"):
        read_coach(tmp_path)


def _lengths(low: str, high: str) -> st.SearchStrategy[Length]:
    bounds = Length.from_metres(low).tenths, Length.from_metres(high).tenths
    return st.one_of(
        st.integers(*bounds).map(Length),
        st.integers(-(-bounds[0] // 254), bounds[1] // 254).map(lambda inches: Length(inches * 254)),
    )


_NAMES = st.text(st.characters(exclude_categories=["C", "Z"]), max_size=20)


@st.composite
def _coaches(draw: st.DrawFn) -> Coach:
    towing = draw(st.booleans())
    own, towed = draw(
        st.one_of(st.none(), st.tuples(_lengths("2", "15"), _lengths("1", "15"))).map(
            lambda p: p or (None, None)
        )
    )
    if not towing:
        towed = None
    return Coach(
        height=draw(_lengths("1.5", "6")),
        margin=draw(_lengths("0", "2")),
        comfort=draw(_lengths("1.5", "10")),
        width=draw(st.none() | _lengths("1", "4")),
        length=None if own is None else own + (towed or Length(0)),
        own_length=own,
        # They fit on the shortest coach drawn here.
        wheelbase=draw(st.none() | _lengths("1.5", "1.8")),
        rear_overhang=draw(st.none() | st.just(Length.from_metres("0.2"))),
        weight_kg=draw(st.none() | st.integers(300, 60_000)),
        towing=towing,
        tow_reversible=towing and draw(st.booleans()),
        towed_name=draw(_NAMES) if towing else "",
        towed_length=towed,
        propane=draw(st.booleans()),
        name=draw(_NAMES) or "coach",
        height_at=draw(_NAMES),
        fuel=draw(st.none() | st.sampled_from(Fuel)),
    )


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
@given(_coaches())
def test_what_is_written_is_read_back(tmp_path: Path, coach: Coach) -> None:
    text = coach_text(coach)
    assert read_coach(_file(tmp_path, text)) == coach
    assert all(len(line) <= 110 for line in text.splitlines() if line.startswith("#"))


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
@given(
    st.binary(max_size=200)
    | st.text(max_size=200).map(lambda t: t.encode("utf-8", "surrogatepass"))
    | st.tuples(st.integers(0, len(FULL)), st.integers(0, 12), st.text(max_size=6)).map(
        lambda cut: (FULL[: cut[0]] + cut[2] + FULL[cut[0] + cut[1] :]).encode("utf-8", "surrogatepass")
    )
)
def test_no_content_raises_anything_but_our_own_error(tmp_path: Path, content: bytes) -> None:
    try:
        coach = read_coach(_file(tmp_path, content))
    except ClearanceError:
        return
    assert Length.from_metres("1.5") <= coach.height <= Length.from_metres("6")
