from __future__ import annotations

import errno
import os
from pathlib import Path

import pytest

from clearance.core.errors import OutputError
from clearance.outputs.atomic import write_whole


def names(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir())


def test_a_new_file_holds_exactly_what_was_given(tmp_path: Path) -> None:
    write_whole(tmp_path / "a.csv", "été\r\n")
    assert (tmp_path / "a.csv").read_bytes() == "été\r\n".encode()
    write_whole(tmp_path / "b", b"\x00\xff")
    assert (tmp_path / "b").read_bytes() == b"\x00\xff"
    assert names(tmp_path) == ["a.csv", "b"]


def test_the_umask_decides_on_a_new_file_and_an_old_one_keeps_its_mode(tmp_path: Path) -> None:
    old = os.umask(0o027)
    try:
        write_whole(tmp_path / "new", "x")
    finally:
        os.umask(old)
    assert (tmp_path / "new").stat().st_mode & 0o777 == 0o640
    (tmp_path / "new").chmod(0o600)
    write_whole(tmp_path / "new", "y")
    assert (tmp_path / "new").stat().st_mode & 0o777 == 0o600


@pytest.mark.parametrize("fails", ["fsync", "replace"])
def test_a_failure_leaves_the_old_file_and_no_other(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, fails: str
) -> None:
    path = tmp_path / "day.geojson"
    path.write_text("old")

    def full(*_: object) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    if fails == "fsync":
        monkeypatch.setattr(os, "fsync", full)
    else:
        monkeypatch.setattr(Path, "replace", full)
    with pytest.raises(OutputError, match="disk is full"):
        write_whole(path, "new")
    assert path.read_text() == "old"
    assert names(tmp_path) == ["day.geojson"]


def test_an_interrupt_leaves_nothing_behind(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def interrupt(_: int) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(os, "fsync", interrupt)
    with pytest.raises(KeyboardInterrupt):
        write_whole(tmp_path / "a", "x")
    assert names(tmp_path) == []


def test_a_link_is_followed(tmp_path: Path) -> None:
    (tmp_path / "real").mkdir()
    (tmp_path / "link").symlink_to(tmp_path / "real" / "a")
    write_whole(tmp_path / "link", "x")
    assert (tmp_path / "link").is_symlink()
    assert (tmp_path / "real" / "a").read_text() == "x"


def test_a_device_stays_a_device() -> None:
    write_whole("/dev/null", "x")
    assert Path("/dev/null").is_char_device()


@pytest.mark.parametrize(
    ("name", "hint"),
    [
        ("missing/a", "folder does not exist"),
        ("file/a", "not a folder"),
        ("folder", "is a folder"),
        ("x" * 300, "too long"),
        ("nul\0", "cannot write"),
    ],
)
def test_the_error_says_what_to_try(tmp_path: Path, name: str, hint: str) -> None:
    (tmp_path / "file").write_text("f")
    (tmp_path / "folder").mkdir()
    with pytest.raises(OutputError, match=hint):
        write_whole(tmp_path / name, "x")
    assert names(tmp_path) == ["file", "folder"]


@pytest.mark.parametrize(
    ("code", "hint"),
    [(errno.EACCES, "may not write"), (errno.EROFS, "read-only"), (errno.EIO, "Input/output error")],
)
def test_the_error_of_the_system_is_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, code: int, hint: str
) -> None:
    def refuse(*_: object) -> int:
        raise OSError(code, os.strerror(code))

    monkeypatch.setattr(os, "open", refuse)
    with pytest.raises(OutputError, match=hint):
        write_whole(tmp_path / "a", "x")


@pytest.mark.skipif(os.geteuid() == 0, reason="the superuser may write anywhere")
def test_where_one_may_not_write(tmp_path: Path) -> None:
    (tmp_path / "kept").write_text("old")
    (tmp_path / "kept").chmod(0o400)
    with pytest.raises(OutputError, match="may not write"):
        write_whole(tmp_path / "kept", "new")
    tmp_path.chmod(0o500)
    try:
        with pytest.raises(OutputError, match="may not write"):
            write_whole(tmp_path / "a", "x")
    finally:
        tmp_path.chmod(0o700)
