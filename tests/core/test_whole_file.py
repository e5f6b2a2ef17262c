"""Files that are whole or not there, parts of killed runs, and one writer at a time."""

from __future__ import annotations

import errno
import fcntl
import os
import threading
import time
from pathlib import Path

import pytest

from clearance.core import whole_file as module
from clearance.core.errors import OutputError
from clearance.core.whole_file import only_writer, whole_file


def names(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir())


def aged(path: Path, seconds: float) -> Path:
    path.touch()
    then = time.time() - seconds
    os.utime(path, (then, then))
    return path


def write(path: Path, content: bytes = b"new") -> None:
    with whole_file(path) as file:
        file.write(content)


def test_nothing_has_the_name_before_all_is_written(tmp_path: Path) -> None:
    with whole_file(tmp_path / "a") as file:
        file.write(b"one")
        file.flush()
        assert not (tmp_path / "a").exists()
        file.write(b" two")
    assert (tmp_path / "a").read_bytes() == b"one two"
    assert names(tmp_path) == ["a"]


@pytest.mark.parametrize("error", [KeyboardInterrupt, RuntimeError, OSError(errno.EIO, "broken")])
def test_what_goes_wrong_inside_leaves_the_old_file(
    tmp_path: Path, error: BaseException | type[BaseException]
) -> None:
    def break_off() -> None:
        with whole_file(tmp_path / "a") as file:
            file.write(b"new")
            raise error

    (tmp_path / "a").write_bytes(b"old")
    with pytest.raises((KeyboardInterrupt, RuntimeError, OutputError)):
        break_off()
    assert (tmp_path / "a").read_bytes() == b"old"
    assert names(tmp_path) == ["a"]


@pytest.mark.parametrize("make", [os.mkfifo, os.mkdir], ids=["pipe", "folder"])
def test_what_is_no_file_is_not_replaced(tmp_path: Path, make: object) -> None:
    assert callable(make)
    make(tmp_path / "a")
    before = (tmp_path / "a").stat()
    with pytest.raises(OutputError, match=r"pipe or a device|it is a folder"):
        write(tmp_path / "a")
    assert os.path.samestat((tmp_path / "a").stat(), before)
    assert names(tmp_path) == ["a"]


# --- what the killed leave ---------------------------------------------------------------------------


def test_parts_that_nobody_writes_are_cleared_away(tmp_path: Path) -> None:
    part = aged(tmp_path / ".clearance-0123456789abcdef.part", 120)
    others = [aged(tmp_path / name, 1e6) for name in ("notes.part", ".clearance-x.txt", "clearance-1.part")]
    write(tmp_path / "a")
    assert not part.exists()
    assert all(path.exists() for path in others)


def test_a_part_that_is_being_written_stays_however_old(tmp_path: Path) -> None:
    with whole_file(tmp_path / "large") as file:
        (part,) = tmp_path.glob(module.PART_GLOB)
        aged(part, 1e6)
        write(tmp_path / "small")
        assert part.exists()
        file.write(b"all of it")
    assert (tmp_path / "large").read_bytes() == b"all of it"
    assert names(tmp_path) == ["large", "small"]


def test_a_part_may_be_so_young_that_its_writer_has_not_locked_it_yet(tmp_path: Path) -> None:
    part = aged(tmp_path / ".clearance-0.part", -60)
    write(tmp_path / "a")
    assert part.exists()


@pytest.mark.parametrize("how", ["none", "refused"])
def test_where_nothing_can_be_locked_a_day_must_pass(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, how: str
) -> None:
    def refuse(_handle: int, _how: int) -> None:
        raise OSError(errno.ENOLCK, "no locks")

    if how == "none":
        monkeypatch.setattr(module, "fcntl", None)
    else:
        monkeypatch.setattr(fcntl, "flock", refuse)
    hours, days = aged(tmp_path / ".clearance-0.part", 7200), aged(tmp_path / ".clearance-1.part", 2e5)
    with only_writer(tmp_path / "a"):
        write(tmp_path / "a")
    with only_writer(tmp_path / "a", patience_s=0):
        write(tmp_path / "a", b"newer")
    assert (hours.exists(), days.exists()) == (True, False)
    assert (tmp_path / "a").read_bytes() == b"newer"


# --- one writer at a time ----------------------------------------------------------------------------


def test_the_second_waits_for_the_first_and_says_so(tmp_path: Path) -> None:
    path = tmp_path / "a"
    write(path, b"0")
    told = threading.Event()

    def second() -> None:
        with only_writer(path, waiting=told.set):
            write(path, path.read_bytes() + b"2")

    thread = threading.Thread(target=second)
    with only_writer(path):
        thread.start()
        assert told.wait(30)
        # The file that the second waits for is replaced, and it must not take the old one for it.
        write(path, path.read_bytes() + b"1")
    thread.join()
    assert path.read_bytes() == b"012"


def test_patience_ends_with_an_error_that_says_what_to_do(tmp_path: Path) -> None:
    write(tmp_path / "a")
    with (
        only_writer(tmp_path / "a"),
        pytest.raises(OutputError, match="another program is changing it; try again"),
        only_writer(tmp_path / "a", patience_s=0.1),
    ):
        pass
    with only_writer(tmp_path / "a", patience_s=0):
        pass


def test_by_whatever_name_it_is_the_same_file(tmp_path: Path) -> None:
    write(tmp_path / "a")
    (tmp_path / "link").symlink_to(tmp_path / "a")
    with (
        only_writer(tmp_path / "a"),
        pytest.raises(OutputError),
        only_writer(tmp_path / "link", patience_s=0),
    ):
        pass


@pytest.mark.parametrize("name", ["absent", "folder/absent", "link"])
def test_where_there_is_no_file_there_is_nothing_to_wait_for(tmp_path: Path, name: str) -> None:
    (tmp_path / "link").symlink_to("nowhere")
    with only_writer(tmp_path / name, patience_s=0), only_writer(tmp_path / name, patience_s=0):
        pass
