"""Files in shared storage, through real file systems of fsspec."""

from __future__ import annotations

import threading
import zipfile
from pathlib import Path

import fsspec
import pytest

from clearance.core.errors import DataUnavailableError, InputError, UsageError
from clearance.sources.shared_file import identity_of, local_file


def test_a_path_is_itself(tmp_path: Path) -> None:
    file = tmp_path / "a b.roads"
    file.write_bytes(b"x")
    assert local_file(str(file)) == file
    assert local_file(f"file://{str(file).replace(' ', '%20')}") == file
    before = identity_of(str(file))
    file.write_bytes(b"xy")
    assert identity_of(str(file)) != before


def test_an_address_is_copied_once_for_each_state(tmp_path: Path) -> None:
    """A file within a ZIP file, read through two file systems one on top of the other."""
    packed, cache = tmp_path / "packed.zip", tmp_path / "cache"

    def pack(content: bytes) -> None:
        with zipfile.ZipFile(packed, "w") as zip_file:
            zip_file.writestr("inside/north.roads", content)

    place = f"zip://inside/north.roads::file://{packed}"
    pack(b"first")
    copy = local_file(place, cache=cache)
    assert (copy.read_bytes(), copy.suffix, copy.parent) == (b"first", ".roads", cache)
    when = copy.stat().st_mtime_ns
    assert local_file(place, cache=cache) == copy
    assert copy.stat().st_mtime_ns == when
    assert len(list(cache.iterdir())) == 1


def test_another_state_is_another_copy(tmp_path: Path) -> None:
    storage = fsspec.filesystem("memory")
    storage.pipe("/roads/a.roads", b"old")
    place, cache = "memory://roads/a.roads", tmp_path / "cache"
    old, before = local_file(place, cache=cache), identity_of(place)
    storage.pipe("/roads/a.roads", b"newer")
    new = local_file(place, cache=cache)
    assert (old.read_bytes(), new.read_bytes()) == (b"old", b"newer")
    assert identity_of(place) != before


def test_many_ask_at_once_and_all_get_the_whole_file(tmp_path: Path) -> None:
    content = bytes(range(256)) * 40_000
    packed = tmp_path / "packed.zip"
    with zipfile.ZipFile(packed, "w") as zip_file:
        zip_file.writestr("big.roads", content)
    sizes: list[int] = []

    def ask() -> None:
        place = f"zip://big.roads::file://{packed}"
        sizes.append(len(local_file(place, cache=tmp_path / "cache").read_bytes()))

    threads = [threading.Thread(target=ask) for _ in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sizes == [len(content)] * 8
    assert len(list((tmp_path / "cache").iterdir())) == 1


@pytest.mark.parametrize(
    ("place", "error", "said"),
    [
        ("memory://none/none.roads", InputError, "no such file in the storage"),
        ("nosuch://x/y", UsageError, "no such kind of storage"),
        ("zip://a::file:///nowhere.zip", InputError, "no such file in the storage"),
    ],
)
def test_what_cannot_be_had_is_said(tmp_path: Path, place: str, error: type[Exception], said: str) -> None:
    with pytest.raises(error, match=said):
        local_file(place, cache=tmp_path / "cache")


def test_a_failed_copy_leaves_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    storage = fsspec.filesystem("memory")
    storage.pipe("/roads/cut.roads", b"whole")

    def cut(_self: object, _inside: str, part: str, **_: object) -> None:
        Path(part).write_bytes(b"wh")
        raise OSError("connection lost")

    def short(_self: object, _inside: str, part: str, **_: object) -> None:
        Path(part).write_bytes(b"who")

    for how, said in ((cut, "connection lost"), (short, "3 bytes came of 5")):
        monkeypatch.setattr(type(storage), "get_file", how)
        with pytest.raises(DataUnavailableError, match=said):
            local_file("memory://roads/cut.roads", cache=tmp_path / "cache")
        assert list((tmp_path / "cache").iterdir()) == []


def test_no_file_has_no_identity(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="no such file"):
        identity_of(str(tmp_path / "none"))
