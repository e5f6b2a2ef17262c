"""The file of records: what goes in comes out, nothing is lost or changed, and other files are refused."""

from __future__ import annotations

import os
import signal
import sqlite3
import subprocess
import sys
import time
from dataclasses import replace
from pathlib import Path

import pytest

from clearance.core.errors import InputError, OutputError, UsageError
from clearance.core.lengths import Length
from clearance.core.record import Record, Removal
from clearance.sources.records import default_records_file, read_records, record_file

GONE = Removal(when="2026-06-02T08:00:00Z", who="Bo", why="other bridge")


def record(number: int = 0, **told: object) -> Record:
    return replace(
        Record(
            uid=f"{number:032x}",
            height=Length(40640),
            raw="13'4\"",
            date="2026-06-01",
            who="Ines",
            lon=-40.0,
            lat=45.0,
            key="way/11:way/20:1",
            kind="railway bridge",
            name="Coast Line",
            road="Low Street",
            elements=("way/11", "way/20"),
            photo="p1.jpg",
            note="left lane; 'quoted' \u2014 \u65e5\u672c",
            added="2026-06-01T10:00:00Z",
        ),
        **told,  # type: ignore[arg-type]
    )


@pytest.fixture
def file(tmp_path: Path) -> Path:
    return tmp_path / "data" / "records.sqlite"


def test_what_goes_in_comes_out(file: Path) -> None:
    with record_file(file) as records:
        kept = records.add([record(7), record(8, key="", elements=(), photo="", note="")])
    assert [r.number for r in kept] == [1, 2]
    assert read_records(file) == kept
    assert [replace(r, number=0) for r in kept] == [
        record(7),
        record(8, key="", elements=(), photo="", note=""),
    ]


def test_a_record_is_taken_in_once(file: Path) -> None:
    with record_file(file) as records:
        records.add([record(1)])
        assert [r.uid for r in records.add([record(1, who="Bo"), record(2)])] == [record(2).uid]
    assert [r.who for r in read_records(file)] == ["Ines", "Ines"]


def test_a_removed_record_stays_with_who_and_why(file: Path) -> None:
    with record_file(file) as records:
        records.add([record(1), record(2)])
        assert records.remove(1, GONE).removal == GONE
        with pytest.raises(UsageError, match="was removed on 2026-06-02 by Bo: other bridge"):
            records.remove(1, GONE)
        with pytest.raises(UsageError, match="no record 3"):
            records.remove(3, GONE)
    assert [r.number for r in read_records(file)] == [2]
    everything = read_records(file, removed=True)
    assert [(r.number, r.removal) for r in everything] == [(1, GONE), (2, None)]


def test_numbers_are_not_used_again(file: Path) -> None:
    with record_file(file) as records:
        records.add([record(1), record(2, removal=GONE)])
    with record_file(file) as records:
        (kept,) = records.add([record(3)])
    assert kept.number == 3


def test_the_file_itself_keeps_records_from_being_changed(file: Path) -> None:
    with record_file(file) as records:
        records.add([record(1, removal=GONE)])
    connection = sqlite3.connect(file)
    for statement in (
        "UPDATE record SET height_tenths = 50000",
        "DELETE FROM record",
        "UPDATE removal SET why = 'none'",
        "DELETE FROM removal",
        "INSERT INTO record SELECT 9, 'short', 1, '', '', 'x', 0, 0, '', '', '', '', '', '', '', ''",
        "INSERT INTO record (uid, height_tenths) VALUES (1, 'high')",
    ):
        with pytest.raises(sqlite3.IntegrityError):
            connection.execute(statement)
    connection.close()


def test_all_of_a_change_or_none(file: Path) -> None:
    """The second of three cannot be kept: so neither are the others."""
    with record_file(file) as records:
        with pytest.raises(sqlite3.IntegrityError):
            records.add([record(1), record(2, who=""), record(3)])
        assert records.all() == ()


# --- other files ------------------------------------------------------------------------------------


def test_no_file_is_said_so(file: Path) -> None:
    with pytest.raises(InputError, match="record add"):
        read_records(file)


def test_an_empty_file_holds_no_records(file: Path) -> None:
    file.parent.mkdir()
    file.touch()
    assert read_records(file) == ()


@pytest.mark.parametrize(
    "content", [b"height,date\n4.05,2026-06-01\n", b"SQLite format 3\x00" + b"\xff" * 200]
)
def test_what_is_no_file_of_records_is_refused_and_left_alone(file: Path, content: bytes) -> None:
    file.parent.mkdir()
    file.write_bytes(content)
    with pytest.raises(InputError, match="is no file of records"), record_file(file):
        pass
    assert file.read_bytes() == content


def test_another_programs_database_is_refused(file: Path) -> None:
    file.parent.mkdir()
    with sqlite3.connect(file) as connection:
        connection.execute("CREATE TABLE mail (id)")
    connection.close()
    before = file.read_bytes()
    with pytest.raises(InputError, match="another program"), record_file(file):
        pass
    with pytest.raises(InputError, match="another program"):
        read_records(file)
    assert file.read_bytes() == before


def test_a_later_version_is_refused(file: Path) -> None:
    with record_file(file) as records:
        records.add([record(1)])
    connection = sqlite3.connect(file)
    connection.execute("PRAGMA user_version = 99")
    connection.close()
    with pytest.raises(InputError, match="another version"):
        read_records(file)


def test_a_folder_and_a_folder_that_cannot_be_made(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="is a folder"), record_file(tmp_path):
        pass
    (tmp_path / "plain").touch()
    with (
        pytest.raises(OutputError, match="folder cannot be made"),
        record_file(tmp_path / "plain" / "r.sqlite"),
    ):
        pass


def test_the_usual_file_lies_in_the_users_data_folder(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setattr(sys, "platform", "linux")
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))
    assert default_records_file() == tmp_path / "clearance" / "records.sqlite"
    monkeypatch.setenv("XDG_DATA_HOME", "relative")
    monkeypatch.setenv("HOME", str(tmp_path / "home"))
    assert default_records_file() == tmp_path / "home" / ".local/share/clearance/records.sqlite"


def test_a_flipped_bit_in_a_height_is_no_other_height(file: Path) -> None:
    """SQLite keeps no sums of what it holds: a height that differs from how it was written is damage."""
    with record_file(file) as records:
        records.add([record(number) for number in range(3)])
    connection = sqlite3.connect(file)
    connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    connection.close()
    whole = file.read_bytes()
    height, raw = (40640).to_bytes(3, "big"), b"13'4\""
    at = whole.index(raw)
    places = [at + 1, whole.rindex(height, 0, at) + 1, whole.rindex(height, 0, at) + 2]
    for place in places:
        for bit in range(8):
            flipped = bytearray(whole)
            flipped[place] ^= 1 << bit
            file.write_bytes(flipped)
            with pytest.raises(InputError, match="damaged"):
                read_records(file)
    file.write_bytes(whole)
    assert len(read_records(file)) == 3


# --- two programs, and one that is killed -----------------------------------------------------------

_WRITER = """
import sys
from pathlib import Path
from dataclasses import replace
from clearance.sources.records import record_file
from tests.sources.test_records import record
file, first, count, batch = Path(sys.argv[1]), *map(int, sys.argv[2:5])
for at in range(first, first + count, batch):
    with record_file(file) as records:
        records.add([record(number) for number in range(at, at + batch)])
    print(at, flush=True)
"""


def writer(file: Path, first: int, count: int, batch: int) -> subprocess.Popen[str]:
    root = Path(__file__).resolve().parents[2]
    return subprocess.Popen(
        [sys.executable, "-c", _WRITER, str(file), str(first), str(count), str(batch)],
        stdout=subprocess.PIPE,
        text=True,
        cwd=root,
        env=os.environ | {"PYTHONPATH": str(root)},
    )


def test_two_programs_write_at_once(file: Path) -> None:
    """Both find no file and make it; every record of both is there, each once."""
    both = [writer(file, first, 40, 1) for first in (0, 1000)]
    for one in both:
        out, _ = one.communicate(timeout=60)
        assert (one.returncode, len(out.split())) == (0, 40)
    found = [int(r.uid, 16) for r in read_records(file)]
    assert sorted(found) == [*range(40), *range(1000, 1040)]


def test_a_killed_program_loses_nothing_that_it_said_it_kept(file: Path) -> None:
    """Killed at some moment while it writes five records at a time: all of a change are there, or none."""
    for round_ in range(3):
        doomed = writer(file, 100_000 * (round_ + 1), 90_000, 5)
        assert doomed.stdout is not None
        said = [int(doomed.stdout.readline())]
        time.sleep(0.05 + 0.03 * round_)
        doomed.send_signal(signal.SIGKILL)
        rest, _ = doomed.communicate(timeout=60)
        said += [int(line) for line in rest.split()]
        assert doomed.returncode == -signal.SIGKILL
        found = {int(r.uid, 16) for r in read_records(file)}
        for at in said:
            assert set(range(at, at + 5)) <= found
        assert len(found) % 5 == 0
    connection = sqlite3.connect(file)
    assert connection.execute("PRAGMA integrity_check").fetchone() == ("ok",)
    connection.close()
    with record_file(file) as records:
        assert records.add([record(1)])


def _without_rules(file: Path, *statements: str) -> None:
    """Change a file of records as damage would, past what its tables refuse."""
    with record_file(file) as records:
        records.add([record(7)])
    connection = sqlite3.connect(file)
    connection.execute("PRAGMA ignore_check_constraints = ON")
    connection.executescript("DROP TRIGGER IF EXISTS record_stays;")
    for statement in statements:
        connection.execute(statement)
    connection.commit()
    connection.close()


@pytest.mark.parametrize(
    "change",
    [
        "height_tenths = -40640",
        "height_tenths = '40640 and more'",
        "height_tenths = 9e18",
        "lon = 'west'",
        "lat = 91.0",
        "lat = 9e999",
        "elements = '5'",
        "elements = '" + "[" * 3000 + "'",
        "elements = '[1]'",
        "note = x'ff'",
        "date = 'once'",
        "who = ''",
    ],
)
def test_a_record_with_a_value_that_was_never_written_is_damaged(file: Path, change: str) -> None:
    _without_rules(file, f"UPDATE record SET {change}")
    with pytest.raises(InputError, match=r"records\.sqlite: record 1 is damaged"):
        read_records(file)


def test_a_view_in_the_place_of_a_table_is_not_asked(file: Path) -> None:
    """It could reckon for ever."""
    _without_rules(
        file,
        "ALTER TABLE record RENAME TO kept",
        "CREATE VIEW record AS WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n) "
        "SELECT * FROM n, kept",
    )
    with pytest.raises(InputError, match="its tables are not as they were made"):
        read_records(file)


def test_a_name_in_the_file_that_is_no_text_is_damage(file: Path) -> None:
    _without_rules(file)
    whole = file.read_bytes()
    assert b"record (uid)" in whole
    file.write_bytes(
        whole.replace(b"record (uid)", b"recor\x8a (uid)").replace(
            b"  uid TEXT NOT NULL U", b"  \x8aid TEXT NOT NULL U"
        )
    )
    with pytest.raises((InputError, OutputError), match=r"records\.sqlite"):
        read_records(file)
