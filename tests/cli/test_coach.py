"""clearance coach, and the coach that --coach and the options make together."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click
import pytest
from click.testing import CliRunner, Result

from clearance.cli.main import cli
from clearance.cli.options import coach_from, coach_options
from clearance.core.coach import Coach, Fuel
from clearance.core.errors import InputError, UsageError
from clearance.core.lengths import Length
from clearance.sources.coach_file import coach_text, read_coach

TOWED_ANSWERS = (
    "Heron\n12'10\"\nrear air conditioner\n\n\n8ft 6in\n38ft\n24ft\n10ft\n26000lbs\n"
    "gasoline\ny\ny\nsmall car\n17ft\nn\n"
)
HERON = Coach(
    name="Heron",
    height=Length.from_feet(12, 10),
    height_at="rear air conditioner",
    width=Length.from_feet(8, 6),
    own_length=Length.from_feet(38),
    length=Length.from_feet(55),
    weight_kg=11793,
    fuel=Fuel.GASOLINE,
    towing=True,
    wheelbase=Length.from_feet(24),
    rear_overhang=Length.from_feet(10),
    towed_name="small car",
    towed_length=Length.from_feet(17),
)


def _run(*args: str, answers: str = "") -> Result:
    return CliRunner().invoke(cli, ["coach", *args], input=answers)


def test_answers_become_a_file(tmp_path: Path) -> None:
    path = tmp_path / "heron.toml"
    result = _run("new", "-o", str(path), answers=TOWED_ANSWERS)
    assert result.exit_code == 0, result.output
    assert read_coach(path) == HERON
    assert "straight board" in result.stderr
    assert "13'4\" (4.07 m)" in result.stdout  # the need: 12'10" and 6 in, 4.0640 m


def test_bad_answers_are_asked_again(tmp_path: Path) -> None:
    path = tmp_path / "coach.toml"
    answers = "\n\n12.10\n3.9m, or so\n39m\n3.9m\n\n\n\n\n\n\n\n\nwater\n\nmaybe\nn\nn\n"
    result = _run("new", "-o", str(path), answers=answers)
    assert result.exit_code == 0, result.output
    assert read_coach(path) == Coach(height=Length.from_metres("3.9"), propane=False)
    for words in ("is needed", "has no unit", "has a comma", "outside", "none of gasoline", "invalid input"):
        assert words in result.stderr, words


def test_a_towed_length_is_needed_beside_a_length(tmp_path: Path) -> None:
    path = tmp_path / "coach.toml"
    answers = "\n4m\n\n\n\n\n11m\n\n\n\n\n\ny\n\n\n5m\n\n"
    result = _run("new", "-o", str(path), answers=answers)
    assert result.exit_code == 0, result.output
    assert read_coach(path).length == Length.from_metres("16")


def test_a_file_that_exists_is_kept_unless_forced(tmp_path: Path) -> None:
    path = tmp_path / "coach.toml"
    path.write_text("kept", encoding="utf-8")
    result = _run("new", "-o", str(path), answers=TOWED_ANSWERS)
    assert isinstance(result.exception, UsageError)
    assert "--force" in str(result.exception)
    assert path.read_text(encoding="utf-8") == "kept"
    result = _run("new", "-o", str(path), "--force", answers=TOWED_ANSWERS)
    assert result.exit_code == 0
    assert read_coach(path) == HERON


def test_answers_that_end_early_leave_nothing_behind(tmp_path: Path) -> None:
    path = tmp_path / "coach.toml"
    result = _run("new", "-o", str(path), answers="Heron\n12ft 10in\n")
    assert result.exit_code != 0
    assert list(tmp_path.iterdir()) == []


def test_show_tells_what_the_file_says(tmp_path: Path) -> None:
    path = tmp_path / "coach.toml"
    path.write_text(coach_text(HERON), encoding="utf-8")
    result = _run("show", str(path))
    assert result.exit_code == 0
    for words in (
        "Heron",
        "12'10\" (3.92 m)",
        "rear air conditioner",
        "55'0\"",
        "must not be reversed",
        "26,000 lb",
        "overhangs 4'0\" (1.22 m) in front and 10'0\" (3.05 m) behind\n",
    ):
        assert words in result.stdout, words


def test_show_tells_every_problem(tmp_path: Path) -> None:
    path = tmp_path / "coach.toml"
    path.write_text("height = 4\nwidth = 2\n", encoding="utf-8")
    result = _run("show", str(path))
    assert isinstance(result.exception, InputError)
    assert "line 1" in str(result.exception)
    assert "line 2" in str(result.exception)


def _coach(*args: str) -> Coach | None:
    made: list[Coach | None] = []

    @click.command()
    @coach_options
    def probe(**given: Any) -> None:
        made.append(coach_from(given))

    probe.main(list(args), standalone_mode=False)
    return made[0]


@pytest.fixture
def heron_file(tmp_path: Path) -> str:
    path = tmp_path / "heron.toml"
    path.write_text(coach_text(HERON), encoding="utf-8")
    return str(path)


def test_the_file_alone_is_the_coach(heron_file: str) -> None:
    assert _coach("--coach", heron_file) == HERON


def test_an_option_overrides_the_file(heron_file: str) -> None:
    coach = _coach(
        "--coach", heron_file, "--height", "13ft", "--margin", "0", "--no-propane", "--weight", "9t"
    )
    assert coach is not None
    assert (coach.height, coach.margin, coach.propane, coach.weight_kg) == (
        Length.from_feet(13),
        Length(0),
        False,
        9000,
    )
    # The fitting that the file names was not the one measured now.
    assert coach.height_at == ""
    assert coach.length == HERON.length


def test_without_the_towed_car_the_coach_is_as_long_as_itself(heron_file: str) -> None:
    coach = _coach("--coach", heron_file, "--no-towing")
    assert coach is not None
    assert not coach.towing
    assert coach.length == Length.from_feet(38)
    assert coach.towed_name == ""


def test_a_length_option_is_the_whole(heron_file: str) -> None:
    coach = _coach("--coach", heron_file, "--length", "60ft")
    assert coach is not None
    assert coach.length == Length.from_feet(60)
    assert coach.towing


def test_towing_with_a_file_that_tells_the_coach_alone_needs_the_whole_length(tmp_path: Path) -> None:
    path = tmp_path / "c.toml"
    path.write_text('height = "4m"\nlength = "11m"\n', encoding="utf-8")
    with pytest.raises(UsageError, match="--length"):
        _coach("--coach", str(path), "--towing")
    coach = _coach("--coach", str(path), "--towing", "--length", "16m")
    assert coach is not None
    assert coach.length == Length.from_metres("16")


def test_options_alone_are_enough_and_no_height_is_an_error() -> None:
    assert _coach("--height", "12'10\"") == Coach(height=Length.from_feet(12, 10))
    with pytest.raises(UsageError, match="no default"):
        _coach("--width", "8ft")
    with pytest.raises(UsageError, match="--weight"):
        _coach("--height", "4m", "--weight", "12")
